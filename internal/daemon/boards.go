package daemon

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
)

// setBoard lets the monitor know of a board. What is to be known of it after a restart is kept at the next tick: a commit for each
// message would let a board that says too much stop the watch.
func (w *watch) setBoard(ctx context.Context, b monitor.Board) {
	w.act(ctx, w.core.SetBoard(b, w.now()))
}

// Where the boards with their probes are kept, the charges of batteries, and why probes measure nothing.
const (
	boardsKey    = "boards"
	batteriesKey = "batteries"
	faultsKey    = "faults"
)

// keepBoards keeps the boards, the charges and the faults when they are others than before. What could not be kept is tried again a second later.
func (w *watch) keepBoards(ctx context.Context) {
	err := errors.Join(w.keepValue(ctx, boardsKey, w.core.Boards(), &w.wired), w.keepValue(ctx, batteriesKey, w.core.Batteries(), &w.charged),
		w.keepValue(ctx, faultsKey, w.core.Faults(), &w.faulty))
	if err != nil && ctx.Err() == nil && (w.unkeptBoards == nil || w.unkeptBoards.Error() != err.Error()) {
		w.log.Warn("boards, batteries and faults are not kept: after a restart their probes' silence has no cause, and their charge is not known", "error", err)
	}
	w.unkeptBoards = err
}

// keepValue writes a value as JSON, if it is another than the last one.
func (w *watch) keepValue(ctx context.Context, key string, v any, last *[]byte) error {
	data, err := json.Marshal(v)
	if err != nil || bytes.Equal(data, *last) {
		return err
	}
	if err := w.db.KeepValue(ctx, key, data); err != nil {
		return err
	}
	*last = data
	return nil
}

func (w *watch) restoreBoards(ctx context.Context) error {
	var boards []monitor.Wired
	var charges []cook.Battery
	var faults []monitor.Faulty
	if err := errors.Join(w.restoreValue(ctx, boardsKey, &boards, &w.wired), w.restoreValue(ctx, batteriesKey, &charges, &w.charged),
		w.restoreValue(ctx, faultsKey, &faults, &w.faulty)); err != nil {
		return err
	}
	w.core.RestoreBoards(boards, w.now())
	w.core.RestoreBatteries(charges)
	w.core.RestoreFaults(faults)
	return nil
}

// restoreValue reads what keepValue wrote; nothing, if there is none.
func (w *watch) restoreValue(ctx context.Context, key string, into any, last *[]byte) error {
	data, err := w.db.Value(ctx, key)
	if errors.Is(err, cook.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	if err := json.Unmarshal(data, into); err != nil {
		return fmt.Errorf("read what was kept of %s: %w (delete the row %q of the table kept)", key, err, key)
	}
	*last = data
	return nil
}
