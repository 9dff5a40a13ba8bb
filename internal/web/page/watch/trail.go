package watch

import (
	"context"
	"encoding/json"
	"fmt"
	"sync"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/shop"
)

// stretch is a time that a piece spent in one state.
type stretch struct {
	State    estimator.State
	From, To time.Time
}

// trails keeps the stages that the kept forecasts of each piece tell of, so that a page reads only those made since the last.
type trails struct {
	mu    sync.Mutex // guards known
	known map[trailKey]trail
}

type trailKey struct {
	cook  cook.ID
	piece cook.PieceID
}

type trail struct {
	begun  time.Time // when it was last read from the start
	at     time.Time // of the newest forecast seen
	stages []stretch
}

// trailLife is how long a trail is only prolonged: a recount of the cook may have changed its beginning.
const trailLife = 30 * time.Minute

// maxTrails bounds what is kept; it is more pieces than one fire holds many times over.
const maxTrails = 256

func newTrails() *trails { return &trails{known: map[trailKey]trail{}} }

// of gives the stages of a piece, the last one running up to now.
func (t *trails) of(ctx context.Context, lib shop.Library, id cook.ID, piece cook.PieceID, now time.Time) ([]stretch, error) {
	key := trailKey{id, piece}
	t.mu.Lock()
	had := t.known[key]
	t.mu.Unlock()
	if age := now.Sub(had.begun); age < 0 || age > trailLife {
		had = trail{begun: now}
	}
	kept, err := lib.Forecasts(ctx, id, piece, had.at, time.Time{})
	if err != nil {
		return nil, fmt.Errorf("read the stages of %s: %w", piece, err)
	}
	next := trail{begun: had.begun, at: had.at, stages: append([]stretch(nil), had.stages...)}
	for _, k := range kept {
		var f struct {
			State estimator.State `json:"state"`
		}
		if err := json.Unmarshal(k.JSON, &f); err != nil {
			return nil, fmt.Errorf("read the forecast of %s at %s: %w", piece, k.At.Format(time.RFC3339), err)
		}
		next.add(f.State, k.At)
	}
	t.mu.Lock()
	if len(t.known) >= maxTrails {
		clear(t.known)
	}
	t.known[key] = next
	t.mu.Unlock()
	out := append([]stretch(nil), next.stages...)
	if n := len(out); n > 0 && now.After(out[n-1].To) {
		out[n-1].To = now
	}
	return out, nil
}

func (t *trail) add(state estimator.State, at time.Time) {
	if !at.After(t.at) {
		return
	}
	t.at = at
	n := len(t.stages)
	if n > 0 {
		t.stages[n-1].To = at
		if t.stages[n-1].State == state {
			return
		}
	}
	t.stages = append(t.stages, stretch{State: state, From: at, To: at})
}
