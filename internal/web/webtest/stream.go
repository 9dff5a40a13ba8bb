package webtest

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"
)

// Event is one event of a stream.
type Event struct{ ID, Kind, Data string }

// Stream reads events from an open answer.
type Stream struct {
	t     testing.TB
	lines *bufio.Scanner
	Close func()
}

// OpenStream connects to a real server.
func OpenStream(t *testing.T, url, last string) *Stream {
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
	s := ReadStream(t, res.Body)
	s.Close = func() { cancel(); res.Body.Close() }
	t.Cleanup(s.Close)
	return s
}

// ReadStream reads the events of an answer; there is nothing to close.
func ReadStream(t testing.TB, answer io.Reader) *Stream {
	lines := bufio.NewScanner(answer)
	lines.Buffer(nil, 1<<20)
	return &Stream{t: t, lines: lines, Close: func() {}}
}

// Next reads up to the next event, by the rules of the HTML standard, section 9.2.6.
func (s *Stream) Next() Event {
	s.t.Helper()
	var e Event
	for s.lines.Scan() {
		line := s.lines.Text()
		field, value, _ := strings.Cut(line, ": ")
		switch {
		case line == "" && e.Data != "":
			return e
		case field == "id":
			e.ID = value
		case field == "event":
			e.Kind = value
		case field == "data":
			e.Data += value
		}
	}
	s.t.Fatalf("the stream ended: %v", s.lines.Err())
	return e
}

// Live is what the tests read of a snapshot.
type Live struct {
	Now   *time.Time
	Cooks []struct {
		Pieces []struct{ Path json.RawMessage }
	}
	Alarms []json.RawMessage
	Intake struct{ Received uint64 }
}

// Snapshot reads up to the next event, which must be a snapshot, and gives its id.
func (s *Stream) Snapshot() (id string, live Live) {
	s.t.Helper()
	e := s.Next()
	if err := json.Unmarshal([]byte(e.Data), &live); err != nil || e.Kind != "snapshot" || e.ID == "" {
		s.t.Fatalf("event %q: %v", e, err)
	}
	return e.ID, live
}
