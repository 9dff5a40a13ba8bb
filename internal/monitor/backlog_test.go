package monitor

import (
	"slices"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
)

func TestBacklog_IsListedAndToldOnlyIfStillTrue(t *testing.T) {
	readings := slices.Concat(
		mustRead(t, "pit", 15*time.Second, "107 hold 1h, 135 hold 1h, 107 hold 1h, 60 hold 1h"),
		mustRead(t, "flat", 15*time.Second, "20 hold 4h"))
	for i := range readings {
		readings[i].Backlog = true
	}
	n := newNight(t, supper(flat()))
	n.now = minute(240)
	outlook.Sort(readings)
	for i := 0; i < len(readings); i += 200 {
		n.arrive(readings[i:min(i+200, len(readings))]...)
	}
	n.until(minute(241))
	same(t, "listed", n.listed(), []string{"21:15 pit-high/1 active", "22:05 pit-high/1 returned", "23:12 pit-falling/1 active", "23:12 pit-falling/1 active"})
	// The heat of two hours ago is listed; the cold pit is so now.
	same(t, "messages", n.messages(), []string{"00:00 pit-falling/1 active"})
	if got := len(n.forecasts()); got < 239 || got > 241 {
		t.Errorf("%d forecasts kept over 240 minutes of backlog", got)
	}
}

func TestBacklog_OfOneProbeIsCountedAgain(t *testing.T) {
	all := slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 5h"), mustRead(t, "flat", 15*time.Second, "5 +0.1/min x300"))
	whole := newNight(t, supper(flat()))
	whole.play(slices.Clone(all))
	broken := newNight(t, supper(flat()))
	var late, live []cook.Reading
	for _, r := range all {
		if r.Probe == "flat" && r.Time.After(minute(60)) && r.Time.Before(minute(200)) {
			r.Backlog = true
			late = append(late, r)
		} else {
			live = append(live, r)
		}
	}
	broken.play(live)
	broken.arrive(late...)
	broken.until(minute(302))
	whole.until(minute(302))
	got, want := broken.m.Snapshot().Cooks[0].Pieces[0], whole.m.Snapshot().Cooks[0].Pieces[0]
	if got.DangerZone != want.DangerZone || got.Forecast.Core != want.Forecast.Core {
		t.Errorf("after the backlog: dwell %v, core %v; without the gap: %v, %v", got.DangerZone, got.Forecast.Core, want.DangerZone, want.Forecast.Core)
	}
}

func TestBacklogOfACooler_IsToldWhenItHasCaughtUp(t *testing.T) {
	m := New(Options{Settings: alarm.DefaultSettings(), Zone: time.UTC, Roles: map[cook.ProbeID]cook.Role{"cooler": cook.RoleCooler}})
	n := &night{tb: t, m: m, now: minute(240), lag: time.Second}
	readings := mustRead(t, "cooler", time.Minute, "3 hold 1h, 9 hold 1h, 3 hold 1h, 9 hold 61m")
	n.arrive(readings...)
	same(t, "listed", n.listed(), []string{"21:32 cooler-warm/cooler active", "22:07 cooler-warm/cooler returned", "23:32 cooler-warm/cooler active", "23:32 cooler-warm/cooler active"})
	same(t, "messages", n.messages(), []string{"00:00 cooler-warm/cooler active"})
}
