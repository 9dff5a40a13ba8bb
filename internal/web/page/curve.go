package page

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/chart"
)

const (
	curvePoints = 320 // per series: about one per two pixels of a wide screen
	tableRows   = 16
)

// series reads a probe in at most points stretches, each stamped with its end but not after end.
func (p *Set) series(ctx context.Context, probe cook.ProbeID, from, end time.Time, points int) ([]chart.Stop, error) {
	buckets, err := p.Library.Series(ctx, probe, from, end, points)
	if err != nil {
		return nil, fmt.Errorf("read the curve of %s: %w", probe, err)
	}
	out := make([]chart.Stop, 0, len(buckets))
	for _, b := range buckets {
		at := b.Time // exact for a lone reading
		if b.Min < b.Max {
			at = b.Until
		}
		if at.After(end) {
			at = end
		}
		out = append(out, chart.Stop{At: at, Last: b.Last, Low: b.Min, High: b.Max})
	}
	return out, nil
}

func (p *Set) readCurve(ctx context.Context, see reader, c *monitor.CookView, v *monitor.PieceView, points int) (*chart.Curve, error) {
	out := &chart.Curve{From: c.Stored.Started, Now: see.now, Target: v.Piece.Target, Serve: c.Stored.ServeBy}
	if !c.Stored.Running() {
		out.Now = c.Stored.Ended
	}
	out.SetPoint = c.Stored.SetPointAt(out.Now)
	var err error
	if out.Core, err = p.series(ctx, v.Piece.ProbeIDs()[0], out.From, out.Now, points); err != nil {
		return nil, err
	}
	if probe, ok := p.pitProbe(c); ok {
		if out.Pit, err = p.series(ctx, probe, out.From, out.Now, points); err != nil {
			return nil, err
		}
	}
	last := v.Forecast.Ready[5]
	for _, q := range v.Forecast.Path {
		if !last.IsZero() && q.Time.After(last.Add(30*time.Minute)) {
			break
		}
		out.Path = append(out.Path, chart.FanPoint{At: q.Time, P10: q.P10, P25: q.P25, P50: q.P50, P75: q.P75, P90: q.P90})
	}
	for _, e := range c.Stored.Events {
		if e.Piece == "" || e.Piece == v.Piece.ID {
			out.Marks = append(out.Marks, chart.Mark{Time: e.Time, What: see.eventName(e)})
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

// curveRows is the curve as a short table: the measured past, then the forecast.
func (s reader) curveRows(c *chart.Curve) []curveRow {
	var out []curveRow
	j := 0
	for _, b := range c.Core {
		row := curveRow{Time: b.At, Core: s.Degrees(b.Last)}
		for j < len(c.Pit) && c.Pit[j].At.Before(b.At) {
			j++
		}
		if j < len(c.Pit) && c.Pit[j].At.Equal(b.At) {
			row.Pit = s.Degrees(c.Pit[j].Last)
		}
		out = append(out, row)
	}
	step := max(len(c.Path)/tableRows, 1)
	for i := 0; i < len(c.Path); i += step {
		q := c.Path[i]
		out = append(out, curveRow{Time: q.At, Core: s.Degrees(q.P50), Low: s.Degrees(q.P10), High: s.Degrees(q.P90), Forecast: true})
	}
	return out
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
			return json.NewEncoder(w).Encode(data.Figures(see.Unit(), see.in, see.number))
		}
	}
	return fmt.Errorf("piece %q: %w", r.PathValue("piece"), cook.ErrNotFound)
}
