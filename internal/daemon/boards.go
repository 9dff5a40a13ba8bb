package daemon

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/ingest"
	"stallkeeper/internal/monitor"
)

// board hands on what a board said about itself.
func (w *watch) board(b ingest.Board) {
	select {
	case w.boards <- monitor.Board{Name: b.Name, Online: b.Online, Probes: b.Probes}:
	case <-w.ended:
	}
}

// setBoard lets the monitor know of a board, and keeps what is to be known of it after a restart.
func (w *watch) setBoard(ctx context.Context, b monitor.Board) {
	w.act(ctx, w.core.SetBoard(b, w.now()))
	w.keepBoards(ctx)
}

// boardsKey is where the boards with their probes are kept.
const boardsKey = "boards"

// keepBoards keeps the boards when they are others than before. What could not be kept is tried again with the next that speaks.
func (w *watch) keepBoards(ctx context.Context) {
	data, err := json.Marshal(w.core.Boards())
	if err == nil && !bytes.Equal(data, w.wired) {
		if err = w.db.KeepValue(ctx, boardsKey, data); err == nil {
			w.wired = data
		}
	}
	if err != nil {
		w.log.Warn("the probes of the boards are not kept, so that after a restart their silence has no cause", "error", err)
	}
}

func (w *watch) restoreBoards(ctx context.Context) error {
	data, err := w.db.Value(ctx, boardsKey)
	if errors.Is(err, cook.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	var boards []monitor.Wired
	if err := json.Unmarshal(data, &boards); err != nil {
		return fmt.Errorf("read the boards that were kept: %w (delete the row %q of the table kept)", err, boardsKey)
	}
	w.wired = data
	w.core.RestoreBoards(boards, w.now())
	return nil
}
