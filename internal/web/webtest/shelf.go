package webtest

import (
	"context"
	"slices"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
	"stallkeeper/internal/web/shop"
)

// Shelf is a night with a library that pages as the store does.
type Shelf struct {
	*Night
	Measured   []cook.Reading // ascending by time, then by probe
	quarantine []cook.Quarantined
	kept       []cook.KeptForecast
	History    []alarm.Alarm
	Acts       []string
	Imported   *cook.Log
	Fail       error // what every reader and the hand reading give instead
}

// NewShelf fills a shelf: twelve readings of two probes, three payloads in quarantine, three kept forecasts, three past alarms.
func NewShelf(t testing.TB) *Shelf {
	t.Helper()
	n := NewNight(t)
	start := n.Snap.Cooks[0].Stored.Started.UTC()
	s := &Shelf{Night: n}
	for i := range 12 {
		at := start.Add(time.Duration(i) * 15 * time.Second)
		s.Measured = append(s.Measured,
			cook.Reading{Probe: "flat", Time: at, Celsius: 4 + thermal.Celsius(i)/4, Quality: cook.Good, Clock: cook.DeviceClock},
			cook.Reading{Probe: "pit", Time: at, Celsius: 107.5, Quality: cook.Good, Clock: cook.ArrivalClock})
	}
	s.Measured[2].Quality, s.Measured[2].Celsius = cook.Open, -127
	s.Measured[5].Retained = true
	s.Measured[7].Raw, s.Measured[8].Backlog = "225.5 F", true
	at := start.Add(5 * time.Hour)
	s.quarantine = []cook.Quarantined{
		{ID: 3, Time: at.Add(2 * time.Second), Topic: "stallkeeper/reading/core", Payload: []byte(`{"temp":"hot"}`), Reason: "no known field: send celsius"},
		{ID: 2, Time: at.Add(time.Second), Topic: "stallkeeper/reading/pit", Payload: []byte{0xff, 0x00, 'A', '\\'}, Reason: "not a number and not JSON"},
		{ID: 1, Time: at, Topic: "stallkeeper/reading/pit", Payload: nil, Reason: "empty"},
	}
	for i := range 3 {
		f := n.Snap.Cooks[0].Pieces[0].Forecast
		f.At = start.Add(time.Duration(i) * time.Hour)
		line, err := outlook.NewLine("flat", f).JSON()
		if err != nil {
			t.Fatal(err)
		}
		s.kept = append(s.kept, cook.KeptForecast{Cook: 7, Piece: "flat", At: f.At, JSON: line})
	}
	old := n.Snap.Alarms[2]
	old.State, old.Returned = alarm.Normal, old.Changed
	s.History = append(slices.Clone(n.Snap.Alarms[:2]), old)
	return s
}

// Shop is the shelf as the API and the pages meet it.
func (s *Shelf) Shop(t testing.TB) shop.Shop {
	o := s.Night.Shop(t)
	o.Desk, o.Library, o.View = s, s, s
	return o
}

func (s *Shelf) Readings(_ context.Context, q cook.ReadingQuery) ([]cook.Reading, error) {
	var out []cook.Reading
	for _, r := range s.Measured {
		after := q.AfterTime.IsZero() || r.Time.After(q.AfterTime) || (r.Time.Equal(q.AfterTime) && r.Probe > q.AfterProbe)
		in := (q.From.IsZero() || !r.Time.Before(q.From)) && (q.To.IsZero() || r.Time.Before(q.To))
		if (q.Probe == "" || q.Probe == r.Probe) && after && in && len(out) < q.Limit {
			out = append(out, r)
		}
	}
	return out, s.Fail
}

func (s *Shelf) Series(_ context.Context, probe cook.ProbeID, _, _ time.Time, points int) ([]cook.Bucket, error) {
	var out []cook.Bucket
	for _, r := range s.Measured {
		if r.Probe == probe && r.Quality == cook.Good && len(out) < points {
			out = append(out, cook.Bucket{Time: r.Time, Until: r.Time.Add(time.Second), Min: r.Celsius, Max: r.Celsius, Last: r.Celsius})
		}
	}
	return out, s.Fail
}

func (s *Shelf) Quarantine(_ context.Context, before int64, limit int) ([]cook.Quarantined, error) {
	var out []cook.Quarantined
	for _, q := range s.quarantine {
		if (before == 0 || q.ID < before) && len(out) < limit {
			out = append(out, q)
		}
	}
	return out, s.Fail
}

func (s *Shelf) Cooks(_ context.Context, before cook.ID, limit int) ([]cook.Stored, error) {
	var out []cook.Stored
	for _, c := range s.Past {
		if (before == 0 || c.ID < before) && len(out) < limit {
			out = append(out, c)
		}
	}
	return out, s.Fail
}

func (s *Shelf) Forecasts(_ context.Context, id cook.ID, piece cook.PieceID, from, to time.Time) ([]cook.KeptForecast, error) {
	var out []cook.KeptForecast
	for _, k := range s.kept {
		if k.Cook == id && k.Piece == piece && !k.At.Before(from) && (to.IsZero() || k.At.Before(to)) {
			out = append(out, k)
		}
	}
	return out, s.Fail
}

func (s *Shelf) AlarmHistory(_ context.Context, before time.Time, limit int) ([]alarm.Alarm, error) {
	var out []alarm.Alarm
	for _, a := range s.History {
		if (before.IsZero() || a.Changed.Before(before)) && len(out) < limit {
			out = append(out, a)
		}
	}
	return out, s.Fail
}

func (s *Shelf) Acknowledge(ctx context.Context, id alarm.ID, by string) error {
	s.Acts = append(s.Acts, "acknowledge "+string(id)+" by "+by)
	return s.Night.Acknowledge(ctx, id, by)
}

func (s *Shelf) Shelve(ctx context.Context, id alarm.ID, until time.Time, by string) error {
	s.Acts = append(s.Acts, "shelve "+string(id)+" until "+until.Format(time.RFC3339)+" by "+by)
	return s.Night.Shelve(ctx, id, until, by)
}

func (s *Shelf) HandReading(ctx context.Context, r cook.Reading) error {
	for _, old := range s.Measured {
		if old.Probe == r.Probe && old.Time.Equal(r.Time) && old.Celsius != r.Celsius {
			return cook.ErrConflict
		}
	}
	if s.Fail != nil {
		return s.Fail
	}
	return s.Night.HandReading(ctx, r)
}

func (s *Shelf) ImportLog(_ context.Context, log *cook.Log) (cook.ID, error) {
	s.Imported = log
	return 9, s.Fail
}
