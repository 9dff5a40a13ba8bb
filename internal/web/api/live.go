package api

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"stallkeeper/internal/web/problem"
)

// Limits of the live stream. Choices of this project.
const (
	maxStreams   = 64
	liveEvery    = time.Second      // at most one snapshot in this time
	liveComment  = 15 * time.Second // a sign of life when nothing changes
	liveDeadline = 10 * time.Second // for each event: a reader that does not take it is let go
)

// getLive streams the live state (server-sent events, HTML standard section 9.2): an event "snapshot" at once and after
// every change, without the fans, and an event "clock" with a comment each 15 s. The id of a snapshot is drawn from
// its content: who reconnects with a Last-Event-ID that is still true gets the next change only.
func (api *API) getLive(w http.ResponseWriter, r *http.Request) error {
	select {
	case api.streams <- struct{}{}:
		defer func() { <-api.streams }()
	default:
		e := problem.New(http.StatusServiceUnavailable, "Too many live streams", "too many pages are open: close some, or ask /api/v1/snapshot now and then")
		e.Header = http.Header{"Retry-After": {"30"}}
		return e
	}
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Accel-Buffering", "no") // proxies: pass it on at once
	w.WriteHeader(http.StatusOK)
	if r.Method == http.MethodHead {
		return nil
	}
	l := &liveStream{api: api, w: w, control: http.NewResponseController(w), last: r.Header.Get("Last-Event-ID")}
	if err := l.run(r); err != nil {
		api.opts.Log.Debug("live stream ended", "error", err)
	}
	return nil
}

// liveStream is one open stream.
type liveStream struct {
	api     *API
	w       http.ResponseWriter
	control *http.ResponseController
	last    string // id of the last snapshot that the reader has
}

func (l *liveStream) run(r *http.Request) error {
	changed, stop := l.api.opts.View.Changed()
	defer stop()
	if err := l.write("retry: 3000\n\n"); err != nil {
		return err
	}
	comment := time.NewTicker(liveComment)
	defer comment.Stop()
	pause := time.NewTicker(liveEvery)
	defer pause.Stop()
	for {
		if err := l.snapshot(); err != nil {
			return err
		}
		for due := false; !due; {
			select {
			case <-r.Context().Done():
				return nil
			case <-l.api.closing:
				return nil
			case <-comment.C:
				if err := l.clock(); err != nil {
					return err
				}
			case <-changed:
				due = true
			}
		}
		select { // several changes within the pause make one event
		case <-pause.C:
		case <-r.Context().Done():
			return nil
		case <-l.api.closing:
			return nil
		}
	}
}

// snapshot sends the state unless the reader has it.
func (l *liveStream) snapshot() error {
	state := l.api.opts.View.Snapshot()
	doc, err := l.api.snapshotDocOf(state, false)
	if err != nil {
		return err
	}
	now := doc.Now
	doc.Now = nil
	body, err := json.Marshal(doc)
	if err != nil {
		return err
	}
	sum := sha256.Sum256(body)
	id := hex.EncodeToString(sum[:8])
	if id == l.last {
		return nil
	}
	doc.Now = now
	if body, err = json.Marshal(doc); err != nil {
		return err
	}
	l.last = id
	return l.write(fmt.Sprintf("id: %s\nevent: snapshot\ndata: %s\n\n", id, body))
}

// clock sends a sign of life: a comment for proxies, an event for the page.
func (l *liveStream) clock() error {
	now := l.api.opts.Now().UTC().Format(time.RFC3339)
	return l.write(fmt.Sprintf(": still here\n\nevent: clock\ndata: {\"now\":%q}\n\n", now))
}

func (l *liveStream) write(text string) error {
	late, err := within(l.control, liveDeadline)
	if err != nil {
		return err
	}
	defer late.Stop()
	if _, err := l.w.Write([]byte(text)); err != nil {
		return err
	}
	return l.control.Flush()
}
