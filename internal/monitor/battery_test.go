package monitor

import (
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

// A board runs down over a night, wobbling by a percent as gauges do. It is told once, and that it was charged is told too; a charge from
// before the newest says nothing; after a restart nobody is told anew.
func TestBattery_IsToldOnceForItsBoard(t *testing.T) {
	n := newNight(t, supper(flat()))
	said := func(m *State, percent float64, at time.Time) {
		n.now = at
		n.do(m.SetBoard(Board{Name: "shed", Online: true, Probes: []cook.ProbeID{"flat", "pit"}, Battery: &percent, At: at}, at))
	}
	for i, percent := range []float64{40, 22, 21, 20, 21, 20, 19, 20, 18} {
		said(n.m, percent, minute(float64(10*i)))
	}
	stale := 90.0
	n.do(n.m.SetBattery(cook.Battery{Device: "shed", Board: true, Percent: stale, At: minute(5)}, minute(80)))
	told := func() (out []string) {
		for _, e := range n.heard {
			if e.Alarm != nil && e.Alarm.Notify && e.Alarm.Alarm.Kind == alarm.BatteryLow {
				out = append(out, string(e.Alarm.Alarm.State)+" "+e.Alarm.Because)
			}
		}
		return out
	}
	if got := told(); len(got) != 1 || !strings.Contains(got[0], "board shed is at 20 %: charge or change it before the night, or its 2 probes fall silent") {
		t.Fatalf("told %q, want the low battery once", got)
	}
	n.play(mustRead(t, "flat", 30*time.Second, "60 hold 90m"))
	if v := n.m.Snapshot().Probes[0]; v.ID != "flat" || v.Battery == nil || v.Battery.Percent != 18 || !v.Battery.At.Equal(minute(80)) || !v.Low {
		t.Errorf("%s shows %+v", v.ID, v.Battery)
	}

	again := newTested()
	kept := slices.Clone(n.m.Batteries())
	again.Restore(nil, n.m.Snapshot().Alarms)
	again.RestoreBatteries(kept)
	n.heard = nil
	said(again, 18, minute(100))
	if got := told(); len(got) != 0 {
		t.Errorf("told anew after a restart: %q", got)
	}
	said(again, 24, minute(110)) // within the deadband
	said(again, 100, minute(120))
	if got := told(); len(got) != 1 || !strings.Contains(got[0], "is at 100 % again") {
		t.Errorf("told %q, want that it was charged", got)
	}
}

func TestBattery_OfYesterdaysBacklogIsListedAndNotTold(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.do(n.m.SetBattery(cook.Battery{Device: "flat", Probes: []cook.ProbeID{"flat"}, Percent: 5, At: n.now.Add(-25 * time.Hour)}, n.now))
	for _, e := range n.heard {
		if e.Alarm != nil && e.Alarm.Notify {
			t.Errorf("told %q", e.Alarm.Because)
		}
	}
	if a := n.m.Snapshot().Alarms; len(a) != 1 || a[0].Probe != "flat" {
		t.Errorf("alarms %+v, want it listed", a)
	}
}

// Nothing is known of a battery: nothing is shown, which is not 0 %.
func TestBattery_MissingIsMissing(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.play(mustRead(t, "flat", 30*time.Second, "60 hold 5m"))
	if v := n.m.Snapshot().Probes[0]; v.Battery != nil || v.Low {
		t.Errorf("battery %+v of a probe that told none", v.Battery)
	}
}

// An open divider: the fault stands since it was first told, its silence is told with the cause, and the next reading ends it.
func TestFault_StandsUntilTheProbeMeasuresAgain(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.play(slices.Concat(mustRead(t, "pit", 30*time.Second, "107 hold 20m"), mustRead(t, "flat", 30*time.Second, "60 hold 20m")))
	n.do(n.m.SetFault("flat", Fault{Since: minute(3), What: "open circuit"}, n.now)) // came late: it has measured since
	if v := n.m.Snapshot().Probes[0]; v.Fault != nil {
		t.Errorf("a fault from before the newest reading stands: %+v", v.Fault)
	}
	for m := 20.5; m < 60; m += 0.5 {
		n.until(minute(m))
		n.do(n.m.SetFault("flat", Fault{Since: minute(m), What: "open circuit", Do: "look at plug and cable"}, n.now))
		r := mustRead(t, "pit", 30*time.Second, "107 hold 30s")[:1]
		r[0].Time = minute(m)
		n.arrive(r...)
	}
	if v := n.m.Snapshot().Probes[0]; v.Fault == nil || !v.Fault.Since.Equal(minute(20.5)) || v.Fault.What != "open circuit" {
		t.Errorf("fault %+v, want it since 20:20:30", v.Fault)
	}
	silent := slices.IndexFunc(n.heard, func(e Effect) bool { return e.Alarm != nil && e.Alarm.Alarm.ID == "probe-silent/flat" })
	if silent < 0 || !strings.Contains(n.heard[silent].Alarm.Because, "open circuit since 20:20. Look at its plug and cable") {
		t.Errorf("the silence of the open probe is told without its cause")
	}
	r := mustRead(t, "flat", 30*time.Second, "60 hold 30s")[:1]
	r[0].Time = minute(60)
	n.arrive(r...)
	if v := n.m.Snapshot().Probes[0]; v.Fault != nil {
		t.Errorf("it measures again, and the fault stands: %+v", v.Fault)
	}
}
