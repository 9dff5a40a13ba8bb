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

// A cable that broke at 20:40 is broken since then, also after a restart in which its converter goes on saying so.
func TestWatch_KnowsSinceWhenAProbeMeasuresNothing(t *testing.T) {
	b := newBench(t)
	broke := b.now.Add(-20 * time.Minute)
	tell := func() {
		b.w.asides = func() []ingest.Aside {
			return []ingest.Aside{{Probe: "flat", At: b.now, Fault: convert.ErrOpenCircuit}}
		}
		b.w.passTime(t.Context(), true)
	}
	for _, minute := range []time.Duration{0, 10, 20} {
		b.now = broke.Add(minute * time.Minute)
		tell()
	}
	b.now = b.now.Add(time.Hour)
	b.restart()
	for _, again := range []bool{false, true} {
		if again {
			tell()
		}
		if f := probeOf(b.w.core.Snapshot(), "flat").Fault; f == nil || !f.Since.Equal(broke) || f.What != "open circuit" {
			t.Errorf("after the restart (told again: %v) the fault is %+v, want it since %v", again, f, broke)
		}
	}
	b.w.core.Apply([]monitor.Committed{{Seq: 1, Reading: cook.Reading{Probe: "flat", Time: b.now, Celsius: 60, Quality: cook.Good, Arrived: b.now}}}, b.now)
	b.w.asides = func() []ingest.Aside { return nil }
	b.w.passTime(t.Context(), true)
	b.restart()
	if f := probeOf(b.w.core.Snapshot(), "flat").Fault; f != nil {
		t.Errorf("it has measured since, and the fault stands: %+v", f)
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
