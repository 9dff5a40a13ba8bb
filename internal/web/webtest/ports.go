package webtest

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
)

func (n *Night) Snapshot() monitor.Snapshot {
	n.mu.Lock()
	defer n.mu.Unlock()
	s := n.Snap
	s.Alarms, s.Cooks, s.Probes = slices.Clone(s.Alarms), slices.Clone(s.Cooks), slices.Clone(s.Probes)
	return s
}

func (n *Night) Changed() (<-chan struct{}, func()) {
	n.mu.Lock()
	defer n.mu.Unlock()
	c := make(chan struct{}, 1)
	n.stop = append(n.stop, c)
	return c, func() {
		n.mu.Lock()
		defer n.mu.Unlock()
		n.stop = slices.DeleteFunc(n.stop, func(o chan struct{}) bool { return o == c })
	}
}

// Watching counts those who wait for a change.
func (n *Night) Watching() int {
	n.mu.Lock()
	defer n.mu.Unlock()
	return len(n.stop)
}

// Change edits the night and tells those who wait.
func (n *Night) Change(edit func()) {
	n.mu.Lock()
	defer n.mu.Unlock()
	edit()
	for _, c := range n.stop {
		select {
		case c <- struct{}{}:
		default:
		}
	}
}

func (n *Night) StartCook(_ context.Context, c cook.Cook) (cook.ID, error) {
	if err := c.Validate(); err != nil {
		return 0, err
	}
	n.Change(func() {
		n.Started = append(n.Started, c)
		n.Past = append([]cook.Stored{{ID: 8, Cook: c}}, n.Past...)
	})
	return 8, nil
}

func (n *Night) ImportLog(context.Context, *cook.Log) (cook.ID, error) { return 0, cook.ErrConflict }

func (n *Night) LogEvent(_ context.Context, id cook.ID, e cook.Entry) (cook.Entry, error) {
	var err error
	n.Change(func() {
		s := &n.Snap.Cooks[0].Stored
		if id != s.ID {
			err = cook.ErrNotFound
			return
		}
		if err = s.CheckEvent(e.Event); err != nil {
			return
		}
		e.ID = int64(len(s.Entries) + 1)
		s.Entries = append(slices.Clone(s.Entries), e)
		s.Events = cook.Effective(s.Entries)
		n.Past[slices.IndexFunc(n.Past, func(p cook.Stored) bool { return p.ID == id })] = *s
	})
	return e, err
}

func (n *Night) Amend(_ context.Context, id cook.ID, a cook.Amendment) error {
	var err error
	n.Change(func() {
		s := &n.Snap.Cooks[0].Stored
		var c cook.Cook
		if c, err = a.Make(s.Cook); err != nil {
			return
		}
		s.Cook = c
		s.Amendments = append(s.Amendments, a)
		n.Past[slices.IndexFunc(n.Past, func(p cook.Stored) bool { return p.ID == id })] = *s
	})
	return err
}

func (n *Night) EndCook(_ context.Context, id cook.ID, at time.Time) error {
	n.Change(func() {
		n.Snap.Cooks = nil
		i := slices.IndexFunc(n.Past, func(p cook.Stored) bool { return p.ID == id })
		n.Past[i].Ended = at
	})
	return nil
}

func (n *Night) mark(id alarm.ID, state alarm.State) error {
	err := cook.ErrNotFound
	n.Change(func() {
		for i := range n.Snap.Alarms {
			if a := &n.Snap.Alarms[i]; a.ID == id {
				a.State, a.Acknowledged, a.By, err = state, n.Snap.Now, "page", nil
			}
		}
	})
	return err
}

func (n *Night) Acknowledge(_ context.Context, id alarm.ID, _ string) error {
	return n.mark(id, alarm.Acked)
}

func (n *Night) Shelve(_ context.Context, id alarm.ID, _ time.Time, _ string) error {
	return n.mark(id, alarm.Shelved)
}

func (n *Night) HandReading(_ context.Context, r cook.Reading) error {
	n.Change(func() { n.Hand = append(n.Hand, r) })
	return nil
}

func (n *Night) WhatIf(_ context.Context, _ cook.ID, piece cook.PieceID, events []cook.Event) (estimator.Forecast, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.Asked = append(n.Asked, events...)
	for _, v := range n.Snap.Cooks[0].Pieces {
		if v.Piece.ID == piece {
			f := v.Forecast
			for i := range f.Ready {
				f.Ready[i] = f.Ready[i].Add(-time.Duration(i+2) * 25 * time.Minute)
			}
			return f, nil
		}
	}
	return estimator.Forecast{}, cook.ErrNotFound
}

func (n *Night) Readings(_ context.Context, q cook.ReadingQuery) ([]cook.Reading, error) {
	course, ok := Courses[q.Probe]
	if !ok || !q.AfterTime.IsZero() {
		return nil, nil
	}
	var out []cook.Reading
	start := n.Start
	for h := 0.0; h < 6; h += 0.25 {
		out = append(out, cook.Reading{Probe: q.Probe, Time: start.Add(time.Duration(h * float64(time.Hour))), Celsius: course(h), Quality: cook.Good})
	}
	return out, nil
}

func (n *Night) Series(_ context.Context, probe cook.ProbeID, from, to time.Time, points int) ([]cook.Bucket, error) {
	course, ok := Courses[probe]
	if !ok {
		return nil, nil
	}
	var out []cook.Bucket
	step := to.Sub(from) / time.Duration(points)
	for i := range points {
		at := from.Add(time.Duration(i) * step)
		v := course(at.Add(step).Sub(from).Hours())
		out = append(out, cook.Bucket{Time: at, Until: at.Add(step), Min: v - 1, Max: v + 1, Last: v})
	}
	return out, nil
}

func (n *Night) Quarantine(context.Context, int64, int) ([]cook.Quarantined, error) {
	at := time.Date(2026, 11, 26, 1, 2, 0, 0, time.UTC)
	return []cook.Quarantined{
		{Time: at, Topic: "stallkeeper/reading/core", Payload: []byte(`{"temp":"hot"}`), Reason: "no known field: send celsius, fahrenheit, ohms, volts, millivolts or raw"},
		{Time: at, Topic: "stallkeeper/reading/pit", Payload: []byte{0xff, 0x00, 0x41}, Reason: "not a number and not JSON: send a bare number such as 107.2"},
	}, nil
}

func (n *Night) Cooks(context.Context, cook.ID, int) ([]cook.Stored, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	return slices.Clone(n.Past), nil
}

func (n *Night) Cook(_ context.Context, id cook.ID) (*cook.Stored, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	for _, p := range n.Past {
		if p.ID == id {
			return &p, nil
		}
	}
	return nil, fmt.Errorf("cook %d: %w", id, cook.ErrNotFound)
}

func (n *Night) Forecasts(_ context.Context, id cook.ID, piece cook.PieceID, from, _ time.Time) ([]cook.KeptForecast, error) {
	stages := map[cook.PieceID][]string{"flat": {"0.2", "warming", "4.2", "stall"}, "shoulder": {"0.2", "warming", "3.2", "stall", "4.1", "wrapped"}, "breast": {"0.2", "warming", "5.1", "ready"}}
	start := n.Start
	var out []cook.KeptForecast
	for i := 0; i+1 < len(stages[piece]); i += 2 {
		h, err := time.ParseDuration(stages[piece][i] + "h")
		if err != nil {
			return nil, err
		}
		line, err := json.Marshal(map[string]any{"piece": piece, "state": stages[piece][i+1]})
		if err != nil {
			return nil, err
		}
		if at := start.Add(h); !at.Before(from) {
			out = append(out, cook.KeptForecast{Cook: id, Piece: piece, At: at, JSON: line})
		}
	}
	return out, nil
}

func (n *Night) AlarmHistory(context.Context, time.Time, int) ([]alarm.Alarm, error) {
	return n.Snapshot().Alarms, nil
}
