package monitor

import (
	"slices"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

func TestProbeDies_OneMessageAndNothingElse(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.play(slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 4h"), mustRead(t, "flat", 15*time.Second, "60 hold 1h, gap 2h, 62 hold 1h")))
	same(t, "messages", n.messages(), []string{"21:14 probe-silent/flat active", "23:00 probe-silent/flat returned"})
}

func TestReceiverDies_OneMessageForAllProbes(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.play(slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 1h, gap 1h, hold 1h"), mustRead(t, "flat", 15*time.Second, "60 hold 1h, gap 1h, 62 hold 1h")))
	same(t, "messages", n.messages(), []string{"21:14 probe-silent/1 active", "22:00 probe-silent/1 returned"})
}

func TestBrokerDown_OneMessageNotOneForEachProbe(t *testing.T) {
	n := newNight(t, supper(flat()))
	quiet := slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 1h"), mustRead(t, "flat", 15*time.Second, "60 hold 1h"))
	n.play(quiet)
	n.do(n.m.SetIntake(IntakeView{}, n.now))
	n.until(minute(120))
	same(t, "messages", n.messages(), []string{"21:00 intake active"})
	if q := n.m.Snapshot().QuietUntil; q.Known {
		t.Errorf("quiet until %+v is given while the broker is down", q)
	}
}

func TestHandCook_IsNotCalledSilent(t *testing.T) {
	n := newNight(t, supper(flat()))
	readings := slices.Concat(mustRead(t, "pit", time.Hour, "107 hold 6h"), mustRead(t, "flat", time.Hour, "60 +0.05/min x360"))
	for i := range readings {
		readings[i].Clock = cook.HandClock
	}
	n.play(readings)
	n.until(minute(360))
	same(t, "messages", n.messages(), nil)
	if got := n.m.Snapshot().Cooks[0].Pieces[0]; !got.Forecasted || !got.Forecast.At.Equal(minute(300)) {
		t.Errorf("the forecast is of %v, want the newest hand reading, %v", got.Forecast.At, minute(300))
	}
}

func TestCoolerProbeDies_IsTold(t *testing.T) {
	m := New(Options{Settings: alarm.DefaultSettings(), Zone: time.UTC, Roles: map[cook.ProbeID]cook.Role{"cooler": cook.RoleCooler, "pit": cook.RolePit}})
	n := &night{tb: t, m: m, now: start, lag: time.Second}
	n.play(slices.Concat(mustRead(t, "cooler", time.Minute, "3 hold 1h"), mustRead(t, "pit", time.Minute, "107 hold 1h")))
	n.until(minute(180))
	same(t, "messages", n.messages(), []string{"21:14 probe-silent/cooler active"})
}

// A device in the wrong time zone: its clock is an hour slow. Its readings look like a backlog and would never be told of; but a backlog
// shrinks while it is sent, and this lag stands still, so after a quarter of an hour they count as what they are: of now.
func TestSlowClock_ItsAlarmsAreToldAllTheSame(t *testing.T) {
	roles := map[cook.ProbeID]cook.Role{"cooler": cook.RoleCooler, "shed": cook.RoleCO}
	n := &night{tb: t, m: New(Options{Settings: alarm.DefaultSettings(), Zone: time.UTC, Roles: roles}), now: start, lag: time.Hour}
	n.play(slices.Concat(mustRead(t, "cooler", time.Minute, "3 hold 30m, 12 hold 1h"), mustRead(t, "shed", time.Minute, "250 hold 90m")))
	same(t, "messages", n.messages(), []string{"21:15 co/shed active", "22:02 cooler-warm/cooler active"})
}

// The same readings sent at once by a board that was away are a backlog: listed, and told only if its end is of now.
func TestBacklog_OfAPlaceIsListedAndNotTold(t *testing.T) {
	roles := map[cook.ProbeID]cook.Role{"cooler": cook.RoleCooler}
	n := &night{tb: t, m: New(Options{Settings: alarm.DefaultSettings(), Zone: time.UTC, Roles: roles}), now: start.Add(5 * time.Hour), lag: time.Second}
	late := mustRead(t, "cooler", time.Minute, "3 hold 30m, 12 hold 1h, 3 hold 3h")
	for len(late) > 0 { // a hundred a minute: it catches up
		n.until(n.now.Add(time.Minute))
		some := min(100, len(late))
		n.arrive(late[:some]...)
		late = late[some:]
	}
	same(t, "messages", n.messages(), nil)
	same(t, "listed", n.listed(), []string{"21:02 cooler-warm/cooler active", "21:37 cooler-warm/cooler returned"})
}
