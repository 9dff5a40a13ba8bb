package api

import (
	"context"
	"encoding/json"
	"net"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/visitor"
	"stallkeeper/internal/web/webtest"
)

// alone is the API over a shelf, without a door before it: whoever asks is a manager.
func alone(t testing.TB, s *webtest.Shelf) (*API, http.Handler) {
	tell := problem.Teller{Log: webtest.NoLog(), Trouble: func(*http.Request) string { return "" }}
	api := New(Options{Shop: s.Shop(t), Log: webtest.NoLog(), Tell: tell})
	mux := http.NewServeMux()
	api.Register(mux)
	return api, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		mux.ServeHTTP(w, r.WithContext(visitor.Visitor{Level: visitor.Manage}.In(r.Context())))
	})
}

func TestLive_RefusesTooManyStreams(t *testing.T) {
	api, server := alone(t, webtest.NewShelf(t))
	for range 64 {
		api.streams <- struct{}{}
	}
	w := webtest.Send(server, webtest.Request("GET", "/api/v1/live", ""))
	webtest.MustProblem(t, w, 503)
	if w.Header().Get("Retry-After") == "" {
		t.Error("no Retry-After")
	}
}

// A cook log takes memory: two at once are not taken in.
func TestImport_IsOneAtATime(t *testing.T) {
	api, server := alone(t, webtest.NewShelf(t))
	api.imports <- struct{}{}
	r := webtest.Request("POST", ImportPath, "PK")
	r.Header.Set("Content-Type", "application/zip")
	w := webtest.Send(server, r)
	if detail := webtest.MustProblem(t, w, 503); !strings.Contains(detail, "when it is done") || w.Header().Get("Retry-After") == "" {
		t.Errorf("refused with %q", detail)
	}
	<-api.imports
	webtest.MustProblem(t, webtest.Send(server, r), 400) // not an archive: it was looked at
	if len(api.imports) != 0 {
		t.Error("the place is not free again")
	}
}

// HEAD is answered and over: it has no body to go on with.
func TestLive_HeadEnds(t *testing.T) {
	api, server := alone(t, webtest.NewShelf(t))
	if w := webtest.Send(server, webtest.Request("HEAD", "/api/v1/live", "")); w.Code != 200 || len(api.streams) != 0 {
		t.Errorf("HEAD: %d, %d streams", w.Code, len(api.streams))
	}
}

// pipe is a response writer over one end of a net.Pipe, which is durably blocking, so that time in the bubble goes on.
type pipe struct {
	header http.Header
	net.Conn
}

func (p pipe) Header() http.Header { return p.header }
func (p pipe) WriteHeader(int)     {}
func (p pipe) Flush()              {}

// In the bubble minutes pass at once.
func TestLive_GivesSignsOfLifeAndRests(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		shelf := webtest.NewShelf(t)
		_, server := alone(t, shelf)
		here, there := net.Pipe()
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() {
			defer close(done)
			server.ServeHTTP(pipe{http.Header{}, there}, webtest.Request("GET", "/api/v1/live", "").WithContext(ctx))
		}()
		s := webtest.ReadStream(t, here)
		s.Snapshot()
		began := time.Now()
		if e := s.Next(); e.Kind != "clock" || e.Data != `{"now":"2026-11-26T08:14:20Z"}` || time.Since(began) != liveComment {
			t.Errorf("after %v: %v", time.Since(began), e)
		}
		for i := range 50 { // a burst of changes, within half a second
			shelf.Change(func() { shelf.Snap.Intake.Received = uint64(i) })
			time.Sleep(10 * time.Millisecond)
			if i == 0 {
				s.Snapshot() // the first goes out at once: the last was long ago
			}
		}
		if _, doc := s.Snapshot(); doc.Intake.Received != 49 {
			t.Errorf("the burst ends with %d, want 49", doc.Intake.Received)
		}
		cancel()
		<-done
		here.Close()
		if shelf.Watching() != 0 {
			t.Error("the stream still listens for changes")
		}
	})
}

func TestLive_LetsASlowReaderGo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		api, server := alone(t, webtest.NewShelf(t))
		here, there := net.Pipe() // nobody reads
		defer here.Close()
		began := time.Now()
		server.ServeHTTP(pipe{http.Header{}, there}, webtest.Request("GET", "/api/v1/live", ""))
		if waited := time.Since(began); waited != liveDeadline {
			t.Errorf("waited %v, want %v", waited, liveDeadline)
		}
		if len(api.streams) != 0 {
			t.Error("its place is not free again")
		}
	})
}

func TestSnapshot_HasNoNumberForWhatIsUnknown(t *testing.T) {
	api, _ := alone(t, webtest.NewShelf(t))
	doc, err := api.snapshotDocOf(monitor.Snapshot{Probes: []monitor.ProbeView{{ID: "core"}}}, true)
	if err != nil {
		t.Fatal(err)
	}
	data, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	const want = `{"id":"core","role":"","silent":false,"suspect":false,"time":null,"celsius":null,"interval_seconds":null}`
	if !strings.Contains(string(data), want) {
		t.Errorf("snapshot %s has no %s", data, want)
	}
}
