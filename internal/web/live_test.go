package web

import (
	"bufio"
	"context"
	"encoding/json"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"stallkeeper/internal/monitor"
)

// event is one event of a stream.
type event struct{ id, kind, data string }

// stream reads events from an open answer.
type stream struct {
	t     testing.TB
	lines *bufio.Scanner
	close func()
}

// openStream connects to a real server.
func openStream(t *testing.T, url, last string) *stream {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	r, err := http.NewRequestWithContext(ctx, "GET", url+"/api/v1/live", nil)
	if err != nil {
		t.Fatal(err)
	}
	if last != "" {
		r.Header.Set("Last-Event-ID", last)
	}
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	if res.StatusCode != 200 || res.Header.Get("Content-Type") != "text/event-stream" {
		t.Fatalf("live = %d %s", res.StatusCode, res.Header.Get("Content-Type"))
	}
	lines := bufio.NewScanner(res.Body)
	lines.Buffer(nil, 1<<20)
	s := &stream{t, lines, func() { cancel(); res.Body.Close() }}
	t.Cleanup(s.close)
	return s
}

// next reads up to the next event, by the rules of the HTML standard, section 9.2.6.
func (s *stream) next() event {
	s.t.Helper()
	var e event
	for s.lines.Scan() {
		line := s.lines.Text()
		field, value, _ := strings.Cut(line, ": ")
		switch {
		case line == "" && e.data != "":
			return e
		case field == "id":
			e.id = value
		case field == "event":
			e.kind = value
		case field == "data":
			e.data += value
		}
	}
	s.t.Fatalf("the stream ended: %v", s.lines.Err())
	return e
}

func (s *stream) snapshot() (string, snapshotDoc) {
	s.t.Helper()
	e := s.next()
	var doc snapshotDoc
	if err := json.Unmarshal([]byte(e.data), &doc); err != nil || e.kind != "snapshot" || e.id == "" {
		s.t.Fatalf("event %q: %v", e, err)
	}
	return e.id, doc
}

func TestLive_CatchesUpAfterReconnecting(t *testing.T) {
	shelf := newShelf(t)
	server := httptest.NewServer(newServer(t, shelf, nil))
	t.Cleanup(func() { http.DefaultClient.CloseIdleConnections(); server.Close() }) // after the streams, which are closed first

	first := openStream(t, server.URL, "")
	id, doc := first.snapshot()
	if len(doc.Cooks) != 1 || len(doc.Alarms) != 3 || doc.Now == nil {
		t.Errorf("first snapshot: %+v", doc)
	}
	for _, p := range doc.Cooks[0].Pieces {
		if p.Path != nil {
			t.Error("the stream carries the fan")
		}
	}
	shelf.change(func() { shelf.snap.Alarms = shelf.snap.Alarms[:1] })
	id2, doc := first.snapshot()
	if id2 == id || len(doc.Alarms) != 1 {
		t.Errorf("after a change: id %s, %d alarms", id2, len(doc.Alarms))
	}
	first.close()

	behind := openStream(t, server.URL, id) // missed the change
	if got, _ := behind.snapshot(); got != id2 {
		t.Errorf("who is behind gets %s, want %s at once", got, id2)
	}
	behind.close()

	abreast := openStream(t, server.URL, id2)
	for deadline := time.Now().Add(5 * time.Second); ; {
		shelf.mu.Lock()
		waiting := len(shelf.stop)
		shelf.mu.Unlock()
		if waiting > 0 || time.Now().After(deadline) {
			break
		}
		time.Sleep(time.Millisecond)
	}
	shelf.change(func() { shelf.snap.Alarms = nil })
	if id3, doc := abreast.snapshot(); id3 == id2 || len(doc.Alarms) != 0 {
		t.Errorf("who is abreast gets %s with %d alarms first, want the change", id3, len(doc.Alarms))
	}
}

func TestLive_IsDocumented(t *testing.T) {
	shelf := newShelf(t)
	server := httptest.NewServer(newServer(t, shelf, nil))
	t.Cleanup(func() { http.DefaultClient.CloseIdleConnections(); server.Close() }) // after the streams, which are closed first
	e := openStream(t, server.URL, "").next()
	var v any
	if err := json.Unmarshal([]byte(e.data), &v); err != nil {
		t.Fatal(err)
	}
	if err := mustDocument(t).Components.Schemas["Snapshot"].Value.VisitJSON(v); err != nil {
		t.Error(err)
	}
}

func TestLive_RefusesTooManyStreams(t *testing.T) {
	server := newServer(t, newShelf(t), nil)
	for range 64 {
		server.api.streams <- struct{}{}
	}
	w := send(server, request("GET", "/api/v1/live", ""))
	mustProblem(t, w, 503)
	if w.Header().Get("Retry-After") == "" {
		t.Error("no Retry-After")
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
		shelf := newShelf(t)
		server := newServer(t, shelf, nil)
		here, there := net.Pipe()
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() {
			defer close(done)
			server.ServeHTTP(pipe{http.Header{}, there}, request("GET", "/api/v1/live", "").WithContext(ctx))
		}()
		s := &stream{t: t, lines: bufio.NewScanner(here)}
		s.lines.Buffer(nil, 1<<20)
		s.snapshot()
		began := time.Now()
		if e := s.next(); e.kind != "clock" || e.data != `{"now":"2026-11-26T08:14:20Z"}` || time.Since(began) != liveComment {
			t.Errorf("after %v: %v", time.Since(began), e)
		}
		for i := range 50 { // a burst of changes, within half a second
			shelf.change(func() { shelf.snap.Intake.Received = uint64(i) })
			time.Sleep(10 * time.Millisecond)
			if i == 0 {
				s.snapshot() // the first goes out at once: the last was long ago
			}
		}
		if _, doc := s.snapshot(); doc.Intake.Received != 49 {
			t.Errorf("the burst ends with %d, want 49", doc.Intake.Received)
		}
		cancel()
		<-done
		here.Close()
		if len(shelf.stop) != 0 {
			t.Error("the stream still listens for changes")
		}
	})
}

func TestLive_LetsASlowReaderGo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		server := newServer(t, newShelf(t), nil)
		here, there := net.Pipe() // nobody reads
		defer here.Close()
		began := time.Now()
		server.ServeHTTP(pipe{http.Header{}, there}, request("GET", "/api/v1/live", ""))
		if waited := time.Since(began); waited != liveDeadline {
			t.Errorf("waited %v, want %v", waited, liveDeadline)
		}
		if len(server.api.streams) != 0 {
			t.Error("its place is not free again")
		}
	})
}

func TestSnapshot_HasNoNumberForWhatIsUnknown(t *testing.T) {
	server := newServer(t, newShelf(t), nil)
	doc, err := server.api.snapshotDocOf(monitor.Snapshot{Probes: []monitor.ProbeView{{ID: "core"}}}, true)
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
