package web

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
)

// shelf is a night with a library that pages as the store does.
type shelf struct {
	*night
	readings   []cook.Reading // ascending by time, then by probe
	quarantine []cook.Quarantined
	kept       []cook.KeptForecast
	history    []alarm.Alarm
	acts       []string
	imported   *cook.Log
	fail       error // what every reader and the hand reading give instead
}

func newShelf(t testing.TB) *shelf {
	t.Helper()
	n := newNight(t)
	start := n.snap.Cooks[0].Stored.Started.UTC()
	s := &shelf{night: n}
	for i := range 12 {
		at := start.Add(time.Duration(i) * 15 * time.Second)
		s.readings = append(s.readings,
			cook.Reading{Probe: "flat", Time: at, Celsius: 4 + thermal.Celsius(i)/4, Quality: cook.Good, Clock: cook.DeviceClock},
			cook.Reading{Probe: "pit", Time: at, Celsius: 107.5, Quality: cook.Good, Clock: cook.ArrivalClock})
	}
	s.readings[2].Quality, s.readings[2].Celsius = cook.Open, -127
	s.readings[5].Retained = true
	s.readings[7].Raw, s.readings[8].Backlog = "225.5 F", true
	at := start.Add(5 * time.Hour)
	s.quarantine = []cook.Quarantined{
		{ID: 3, Time: at.Add(2 * time.Second), Topic: "stallkeeper/reading/core", Payload: []byte(`{"temp":"hot"}`), Reason: "no known field: send celsius"},
		{ID: 2, Time: at.Add(time.Second), Topic: "stallkeeper/reading/pit", Payload: []byte{0xff, 0x00, 'A', '\\'}, Reason: "not a number and not JSON"},
		{ID: 1, Time: at, Topic: "stallkeeper/reading/pit", Payload: nil, Reason: "empty"},
	}
	for i := range 3 {
		f := n.snap.Cooks[0].Pieces[0].Forecast
		f.At = start.Add(time.Duration(i) * time.Hour)
		line, err := outlook.NewLine("flat", f).JSON()
		if err != nil {
			t.Fatal(err)
		}
		s.kept = append(s.kept, cook.KeptForecast{Cook: 7, Piece: "flat", At: f.At, JSON: line})
	}
	old := n.snap.Alarms[2]
	old.State, old.Returned = alarm.Normal, old.Changed
	s.history = append(slices.Clone(n.snap.Alarms[:2]), old)
	return s
}

func (s *shelf) Readings(_ context.Context, q cook.ReadingQuery) ([]cook.Reading, error) {
	var out []cook.Reading
	for _, r := range s.readings {
		after := q.AfterTime.IsZero() || r.Time.After(q.AfterTime) || (r.Time.Equal(q.AfterTime) && r.Probe > q.AfterProbe)
		in := (q.From.IsZero() || !r.Time.Before(q.From)) && (q.To.IsZero() || r.Time.Before(q.To))
		if (q.Probe == "" || q.Probe == r.Probe) && after && in && len(out) < q.Limit {
			out = append(out, r)
		}
	}
	return out, s.fail
}

func (s *shelf) Series(_ context.Context, probe cook.ProbeID, _, _ time.Time, points int) ([]cook.Bucket, error) {
	var out []cook.Bucket
	for _, r := range s.readings {
		if r.Probe == probe && r.Quality == cook.Good && len(out) < points {
			out = append(out, cook.Bucket{Time: r.Time, Min: r.Celsius, Max: r.Celsius, Last: r.Celsius})
		}
	}
	return out, s.fail
}

func (s *shelf) Quarantine(_ context.Context, before int64, limit int) ([]cook.Quarantined, error) {
	var out []cook.Quarantined
	for _, q := range s.quarantine {
		if (before == 0 || q.ID < before) && len(out) < limit {
			out = append(out, q)
		}
	}
	return out, s.fail
}

func (s *shelf) Cooks(_ context.Context, before cook.ID, limit int) ([]cook.Stored, error) {
	var out []cook.Stored
	for _, c := range s.past {
		if (before == 0 || c.ID < before) && len(out) < limit {
			out = append(out, c)
		}
	}
	return out, s.fail
}

func (s *shelf) Forecasts(_ context.Context, id cook.ID, piece cook.PieceID, from, to time.Time) ([]cook.KeptForecast, error) {
	var out []cook.KeptForecast
	for _, k := range s.kept {
		if k.Cook == id && k.Piece == piece && !k.At.Before(from) && (to.IsZero() || k.At.Before(to)) {
			out = append(out, k)
		}
	}
	return out, s.fail
}

func (s *shelf) AlarmHistory(_ context.Context, before time.Time, limit int) ([]alarm.Alarm, error) {
	var out []alarm.Alarm
	for _, a := range s.history {
		if (before.IsZero() || a.Changed.Before(before)) && len(out) < limit {
			out = append(out, a)
		}
	}
	return out, s.fail
}

func (s *shelf) Acknowledge(ctx context.Context, id alarm.ID, by string) error {
	s.acts = append(s.acts, "acknowledge "+string(id)+" by "+by)
	return s.night.Acknowledge(ctx, id, by)
}

func (s *shelf) Shelve(ctx context.Context, id alarm.ID, until time.Time, by string) error {
	s.acts = append(s.acts, "shelve "+string(id)+" until "+until.Format(time.RFC3339)+" by "+by)
	return s.night.Shelve(ctx, id, until, by)
}

func (s *shelf) HandReading(ctx context.Context, r cook.Reading) error {
	for _, old := range s.readings {
		if old.Probe == r.Probe && old.Time.Equal(r.Time) && old.Celsius != r.Celsius {
			return cook.ErrConflict
		}
	}
	if s.fail != nil {
		return s.fail
	}
	return s.night.HandReading(ctx, r)
}

func (s *shelf) ImportLog(_ context.Context, log *cook.Log) (cook.ID, error) {
	s.imported = log
	return 9, s.fail
}

// newServer builds a server over the shelf; edit may change its options.
func newServer(t testing.TB, s *shelf, edit func(*Options)) *Server {
	t.Helper()
	o := optionsOf(t, s.night)
	o.Desk, o.Library, o.View = s, s, s
	o.Ready = func() error { return nil }
	o.Metrics = http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
		_, _ = io.WriteString(w, "# no metrics\n")
	})
	if edit != nil {
		edit(&o)
	}
	server, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return server
}

// request builds a request to the daemon's own name; a body is JSON.
func request(method, path, body string) *http.Request {
	r := httptest.NewRequest(method, "http://localhost:8080"+path, strings.NewReader(body))
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	return r
}

// recorder lets handlers set deadlines, as a connection does.
type recorder struct{ *httptest.ResponseRecorder }

func (recorder) SetWriteDeadline(time.Time) error { return nil }

func send(s http.Handler, r *http.Request) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	s.ServeHTTP(recorder{w}, r)
	return w
}

// mustProblem checks that the answer is a problem of the status and gives its detail.
func mustProblem(t testing.TB, w *httptest.ResponseRecorder, status int) string {
	t.Helper()
	var p problem
	if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil {
		t.Fatalf("answer %d %q is no problem document: %v", w.Code, w.Body, err)
	}
	if w.Code != status || p.Status != status || p.Title == "" || p.Detail == "" || w.Header().Get("Content-Type") != "application/problem+json" {
		t.Fatalf("answer %d %s %q, want a problem of status %d", w.Code, w.Header().Get("Content-Type"), w.Body, status)
	}
	return p.Detail
}
