package page

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
)

const (
	curvePoints = 320 // per series: about one per two pixels of a wide screen
	tableRows   = 16
)

// curve is a piece's measured past and forecast.
type curve struct {
	from, now time.Time
	core, pit []stop
	path      []fanPoint
	target    thermal.Celsius
	setPoint  thermal.Celsius
	marks     []mark
	serve     time.Time
}

// stop is a stretch of readings, stamped where it ends: there its last value holds.
type stop struct {
	at              time.Time
	last, low, high thermal.Celsius
}

// series reads a probe in at most points stretches. The end of a stretch is reckoned from its width, and lies not after end.
func (p *Set) series(ctx context.Context, probe cook.ProbeID, from, end time.Time, points int) ([]stop, error) {
	buckets, err := p.Library.Series(ctx, probe, from, end, points)
	if err != nil {
		return nil, fmt.Errorf("read the curve of %s: %w", probe, err)
	}
	width := end.Sub(from) / time.Duration(points)
	out := make([]stop, 0, len(buckets))
	for _, b := range buckets {
		at := b.Time // exact for a lone reading
		if width > 0 && b.Min < b.Max {
			at = from.Add(b.Time.Sub(from)/width*width + width)
		}
		if at.After(end) {
			at = end
		}
		out = append(out, stop{at, b.Last, b.Min, b.Max})
	}
	return out, nil
}

type fanPoint struct {
	at                      time.Time
	p10, p25, p50, p75, p90 thermal.Celsius
}

func (p *Set) readCurve(ctx context.Context, see reader, c *monitor.CookView, v *monitor.PieceView, points int) (*curve, error) {
	out := &curve{from: c.Stored.Started, now: see.now, target: v.Piece.Target, serve: c.Stored.ServeBy}
	if !c.Stored.Running() {
		out.now = c.Stored.Ended
	}
	out.setPoint = c.Stored.SetPointAt(out.now)
	var err error
	if out.core, err = p.series(ctx, v.Piece.ProbeIDs()[0], out.from, out.now, points); err != nil {
		return nil, err
	}
	if probe, ok := p.pitProbe(c); ok {
		if out.pit, err = p.series(ctx, probe, out.from, out.now, points); err != nil {
			return nil, err
		}
	}
	last := v.Forecast.Ready[5]
	for _, q := range v.Forecast.Path {
		if !last.IsZero() && q.Time.After(last.Add(30*time.Minute)) {
			break
		}
		out.path = append(out.path, fanPoint{q.Time, q.P10, q.P25, q.P50, q.P75, q.P90})
	}
	for _, e := range c.Stored.Events {
		if e.Piece == "" || e.Piece == v.Piece.ID {
			out.marks = append(out.marks, mark{e.Time, see.eventName(e)})
		}
	}
	return out, nil
}

// pitProbe is the first probe that measures the cook's pit.
func (p *Set) pitProbe(c *monitor.CookView) (cook.ProbeID, bool) {
	if len(c.Stored.Pit.Probes) > 0 {
		return c.Stored.Pit.Probes[0], true
	}
	snap := p.View.Snapshot()
	for _, probe := range snap.Probes {
		if c.Stored.Pit.OwnsProbe(probe.ID) {
			return probe.ID, true
		}
	}
	return "", false
}

// curveRow is a line of the table behind the chart.
type curveRow struct {
	Time      time.Time
	Core, Pit string
	Forecast  bool
	Low, High string
}

// rows is the curve as a short table: the measured past, then the forecast.
func (c *curve) rows(see reader) []curveRow {
	var out []curveRow
	j := 0
	for _, b := range c.core {
		row := curveRow{Time: b.at, Core: see.Degrees(b.last)}
		for j < len(c.pit) && c.pit[j].at.Before(b.at) {
			j++
		}
		if j < len(c.pit) && c.pit[j].at.Equal(b.at) {
			row.Pit = see.Degrees(c.pit[j].last)
		}
		out = append(out, row)
	}
	step := max(len(c.path)/tableRows, 1)
	for i := 0; i < len(c.path); i += step {
		q := c.path[i]
		out = append(out, curveRow{Time: q.at, Core: see.Degrees(q.p50), Low: see.Degrees(q.p10), High: see.Degrees(q.p90), Forecast: true})
	}
	return out
}

// number is a temperature in JSON: a missing one is null.
type number float64

// MarshalJSON writes one decimal, or null.
func (n number) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) {
		return []byte("null"), nil
	}
	return fmt.Appendf(nil, "%.1f", float64(n)), nil
}

// curveJSON is what the chart draws, in the reader's unit. Times are Unix seconds.
type curveJSON struct {
	Unit     string      `json:"unit"`
	Zone     string      `json:"zone"`
	Now      int64       `json:"now"`
	Serve    int64       `json:"serve,omitempty"`
	Target   number      `json:"target"`
	SetPoint number      `json:"setpoint"`
	Core     [2][]any    `json:"core"` // times, values
	Pit      [4][]any    `json:"pit"`  // times, last, least, most
	Fan      [6][]any    `json:"fan"`  // times, 10, 25, 50, 75, 90 %
	Marks    []markPoint `json:"marks"`
}

type markPoint struct {
	Time int64  `json:"time"`
	What string `json:"what"`
}

func (p *Set) curve(w http.ResponseWriter, r *http.Request) error {
	snap := p.View.Snapshot()
	see := readerOf(r, p.moment(&snap), p.Location)
	id, err := cookID(r.PathValue("cook"))
	if err != nil {
		return err
	}
	stored, err := p.Library.Cook(r.Context(), id)
	if err != nil {
		return err
	}
	c := p.cookOf(&snap, stored)
	for i := range c.Pieces {
		if string(c.Pieces[i].Piece.ID) == r.PathValue("piece") {
			data, err := p.readCurve(r.Context(), see, c, &c.Pieces[i], curvePoints)
			if err != nil {
				return err
			}
			w.Header().Set("Content-Type", "application/json")
			w.Header().Set("Cache-Control", "no-store")
			return json.NewEncoder(w).Encode(data.json(see))
		}
	}
	return fmt.Errorf("piece %q: %w", r.PathValue("piece"), cook.ErrNotFound)
}

func (c *curve) json(see reader) curveJSON {
	deg := func(t thermal.Celsius) number { return number(see.number(t)) }
	out := curveJSON{Unit: see.Unit(), Zone: see.in.String(), Now: c.now.Unix(), Target: deg(c.target), SetPoint: deg(c.setPoint), Marks: []markPoint{}}
	if !c.serve.IsZero() {
		out.Serve = c.serve.Unix()
	}
	put := func(rows [][]any, values ...any) {
		for i, v := range values {
			rows[i] = append(rows[i], v)
		}
	}
	for _, b := range c.core {
		put(out.Core[:], b.at.Unix(), deg(b.last))
	}
	for _, b := range c.pit {
		put(out.Pit[:], b.at.Unix(), deg(b.last), deg(b.low), deg(b.high))
	}
	for _, q := range c.path {
		put(out.Fan[:], q.at.Unix(), deg(q.p10), deg(q.p25), deg(q.p50), deg(q.p75), deg(q.p90))
	}
	for _, m := range c.marks {
		out.Marks = append(out.Marks, markPoint{m.Time.Unix(), m.What})
	}
	return out
}
