package daemon

import (
	"fmt"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/convert"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/ingest"
	"stallkeeper/internal/monitor"
)

func probeOf(s monitor.Snapshot, id cook.ProbeID) monitor.ProbeView {
	for _, v := range s.Probes {
		if v.ID == id {
			return v
		}
	}
	return monitor.ProbeView{}
}

// A probe that tells its charge and a board that tells it for two others: each is known after a restart, with the time at which it was told.
func TestWatch_KnowsBatteriesAfterARestart(t *testing.T) {
	b := newBench(t)
	told := b.now.Add(-20 * time.Minute)
	charge := 64.0
	b.w.asides = func() []ingest.Aside { return []ingest.Aside{{Probe: "flat", At: told, Percent: &charge}} }
	stop := b.run()
	low := 12.0
	b.w.board(ingest.Board{Name: "shed", Online: true, Probes: []cook.ProbeID{"pit", "point"}, Battery: &low, Time: told}, true)
	for _, id := range []cook.ProbeID{"flat", "pit"} {
		b.measure(id, 1, func(int) thermal.Celsius { return 60 })
	}
	within(t, "both charges", func() bool {
		s := b.w.Snapshot()
		return probeOf(s, "flat").Battery != nil && probeOf(s, "pit").Battery != nil
	})
	stop()
	b.now = b.now.Add(time.Hour)
	b.restart()
	for i, id := range []cook.ProbeID{"flat", "pit"} {
		b.w.core.Apply([]monitor.Committed{{Seq: int64(10 + i), Reading: cook.Reading{Probe: id, Time: b.now, Celsius: 60, Quality: cook.Good, Arrived: b.now}}}, b.now)
	}
	s := b.w.core.Snapshot()
	if v := probeOf(s, "flat"); v.Battery == nil || v.Battery.Percent != 64 || !v.Battery.At.Equal(told) || v.Low {
		t.Errorf("flat has %+v, want 64 %% told at %v", v.Battery, told)
	}
	if v := probeOf(s, "pit"); v.Battery == nil || v.Battery.Percent != 12 || v.Battery.Device != "shed" || !v.Low {
		t.Errorf("pit has %+v, want the board's 12 %%, which is low", v.Battery)
	}
}

func TestFaultOf(t *testing.T) {
	for _, test := range []struct {
		err      error
		what, do string
	}{
		{fmt.Errorf("ntc: 3.3 V is outside: %w", convert.ErrOpenCircuit), "open circuit", "look at plug and cable"},
		{fmt.Errorf("ntc: 0 V is outside: %w", convert.ErrShortCircuit), "short circuit", "look for a wet plug, or a crushed or burnt cable"},
		{fmt.Errorf("raw needs full_scale"), "no value", "raw needs full_scale"},
	} {
		if got := faultOf(ingest.Aside{Fault: test.err}); got.What != test.what || got.Do != test.do {
			t.Errorf("%v became %+v", test.err, got)
		}
	}
}
