package probes

import (
	"context"
	"fmt"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/sense"
)

// findTouched looks for a touched probe among those that hang in no running cook.
func (p *Set) findTouched(ctx context.Context, snap *monitor.Snapshot, now time.Time) (*sense.Touch, error) {
	recent := map[cook.ProbeID][]cook.Reading{}
	for _, v := range snap.Probes {
		if v.Cook != 0 || v.Silent || v.Role == cook.RoleCO || now.Sub(v.Last.Time) > sense.TouchWindow {
			continue
		}
		readings, err := p.Library.Readings(ctx, cook.ReadingQuery{Probe: v.ID, From: now.Add(-sense.TouchWindow), Limit: 1000})
		if err != nil {
			return nil, fmt.Errorf("read what %s sent last: %w", v.ID, err)
		}
		recent[v.ID] = readings
	}
	t, ok := sense.Touched(recent)
	if !ok {
		return nil, nil
	}
	return &t, nil
}
