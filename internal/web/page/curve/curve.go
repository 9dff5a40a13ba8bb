// Package curve reads what was measured and is forecast of a piece, for the chart and for the table behind it.
package curve

import (
	"context"
	"fmt"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/chart"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/shop"
)

// How many stretches are read of each series: about one per two pixels of a wide screen, and the rows of a table.
const (
	Points = 320
	Rows   = 16
)

// Series reads a probe in at most points stretches, each stamped with its end but not after end.
func Series(ctx context.Context, lib shop.Library, probe cook.ProbeID, from, end time.Time, points int) ([]chart.Stop, error) {
	buckets, err := lib.Series(ctx, probe, from, end, points)
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

// Read gives the curve of a piece of a cook, live or past, each series in at most points stretches.
func Read(ctx context.Context, s shop.Shop, see frame.Reader, c *monitor.CookView, v *monitor.PieceView, points int) (*chart.Curve, error) {
	out := &chart.Curve{From: c.Stored.Started, Now: see.Now(), Target: v.Piece.Target, Serve: c.Stored.ServeBy}
	if !c.Stored.Running() {
		out.Now = c.Stored.Ended
	}
	out.SetPoint = c.Stored.SetPointAt(out.Now)
	var err error
	if out.Core, err = Series(ctx, s.Library, v.Piece.ProbeIDs()[0], out.From, out.Now, points); err != nil {
		return nil, err
	}
	if probe, ok := pitProbe(s.View, c); ok {
		if out.Pit, err = Series(ctx, s.Library, probe, out.From, out.Now, points); err != nil {
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
			out.Marks = append(out.Marks, chart.Mark{Time: e.Time, What: see.EventName(e)})
		}
	}
	return out, nil
}

// pitProbe is the first probe that measures the cook's pit.
func pitProbe(view shop.View, c *monitor.CookView) (cook.ProbeID, bool) {
	if len(c.Stored.Pit.Probes) > 0 {
		return c.Stored.Pit.Probes[0], true
	}
	snap := view.Snapshot()
	for _, probe := range snap.Probes {
		if c.Stored.Pit.OwnsProbe(probe.ID) {
			return probe.ID, true
		}
	}
	return "", false
}

// Row is a line of the table behind the chart.
type Row struct {
	Time      time.Time
	Core, Pit string
	Forecast  bool
	Low, High string
}

// Table is the curve as a short table: the measured past, then the forecast.
func Table(s frame.Reader, c *chart.Curve) []Row {
	var out []Row
	j := 0
	for _, b := range c.Core {
		row := Row{Time: b.At, Core: s.Degrees(b.Last)}
		for j < len(c.Pit) && c.Pit[j].At.Before(b.At) {
			j++
		}
		if j < len(c.Pit) && c.Pit[j].At.Equal(b.At) {
			row.Pit = s.Degrees(c.Pit[j].Last)
		}
		out = append(out, row)
	}
	step := max(len(c.Path)/Rows, 1)
	for i := 0; i < len(c.Path); i += step {
		q := c.Path[i]
		out = append(out, Row{Time: q.At, Core: s.Degrees(q.P50), Low: s.Degrees(q.P10), High: s.Degrees(q.P90), Forecast: true})
	}
	return out
}
