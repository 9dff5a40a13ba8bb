package notify

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"time"
)

// Heartbeat calls an address regularly, so that somebody else notices when the calls stop: a daemon that is dead cannot
// say so itself.
type Heartbeat struct {
	URL   string
	Post  bool // POST instead of GET
	Every time.Duration
	Well  func() error // no call is made while it gives an error: a daemon that cannot watch is as good as dead
}

// run calls until ctx ends. What fails is logged when it begins and when it is over.
func (h *Heartbeat) run(ctx context.Context, log *slog.Logger) {
	client := newClient(min(h.Every, 30*time.Second))
	ticks := time.NewTicker(h.Every)
	defer ticks.Stop()
	failing := false
	for {
		err := h.call(ctx, client)
		switch {
		case ctx.Err() != nil:
			return
		case err != nil && !failing:
			log.Warn("no heartbeat sent", "error", err)
		case err == nil && failing:
			log.Info("heartbeats are sent again")
		}
		failing = err != nil
		select {
		case <-ctx.Done():
			return
		case <-ticks.C:
		}
	}
}

func (h *Heartbeat) call(ctx context.Context, client *http.Client) error {
	if h.Well != nil {
		if err := h.Well(); err != nil {
			return fmt.Errorf("held back, for the watch is not well: %w", err)
		}
	}
	method := http.MethodGet
	if h.Post {
		method = http.MethodPost
	}
	req, err := http.NewRequestWithContext(ctx, method, h.URL, nil)
	if err != nil {
		return err
	}
	return finish(client.Do(req))
}
