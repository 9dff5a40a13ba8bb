package monitor

import (
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

func TestSlowClock_IsWatchedAllTheSame(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.now, n.lag = minute(120), 2*time.Hour
	readings := slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 2h, to 60 in 15m, 60 hold 1h"), mustRead(t, "flat", 15*time.Second, "60 hold 195m"))
	for i := range readings {
		readings[i].Backlog = true
	}
	n.play(readings)
	if got := n.messages(); len(got) != 1 || !strings.Contains(got[0], "pit-falling/1 active") {
		t.Errorf("messages %q, want the falling pit", got)
	}
}

func TestClockStepped_NobodyIsCalledSilent(t *testing.T) {
	n := newNight(t, supper(flat()))
	both := func(from, to float64) []cook.Reading {
		var out []cook.Reading
		for _, r := range slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 8h"), mustRead(t, "flat", 15*time.Second, "60 +0.01/min x480")) {
			if !r.Time.Before(minute(from)) && r.Time.Before(minute(to)) {
				out = append(out, r)
			}
		}
		return out
	}
	n.play(both(0, 60))
	n.now = n.now.Add(3 * time.Hour) // the daemon's clock leaps ahead, device times go on as before
	n.do(n.m.Tick(n.now))
	n.lag = 3 * time.Hour
	n.play(both(60, 120))
	n.now = minute(120) // and is set right
	n.do(n.m.Tick(n.now))
	n.lag = time.Second
	n.play(both(120, 240))
	same(t, "messages", n.messages(), nil)
	if got := len(n.forecasts()); got < 239 || got > 241 {
		t.Errorf("%d forecasts kept over 240 minutes", got)
	}
}

func TestClockStepped_ArrivalTimesFromTheFutureDoNotFreezeTheWatch(t *testing.T) {
	n := newNight(t, supper(flat()))
	at := func(from, to, ahead float64, c float64) {
		for m := from; m < to; m += 0.25 {
			n.now = minute(m + ahead)
			n.do(n.m.Tick(n.now))
			for _, id := range []cook.ProbeID{"pit", "flat"} {
				level := c
				if id == "flat" {
					level = 60
				}
				n.arrive(cook.Reading{Probe: id, Time: n.now, Celsius: thermal.Celsius(level), Quality: cook.Good, Clock: cook.ArrivalClock})
			}
		}
	}
	at(0, 60, 180, 107) // the clock is three hours ahead
	at(60, 120, 0, 107) // set right; the fire dies an hour later
	at(120, 180, 0, 60)
	if got := n.messages(); len(got) != 1 || !strings.Contains(got[0], "22:1") || !strings.Contains(got[0], "pit-falling/1 active") {
		t.Errorf("messages %q, want the falling pit at about 22:13", got)
	}
	if at := n.m.Snapshot().Cooks[0].NewestAt; at.After(minute(180)) {
		t.Errorf("the newest reading is still of %v", at)
	}
}

// On 25 October 2026 clocks in Berlin go from 03:00 CEST back to 02:00 CET.
func TestNightOfTheClockChange(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skip("no time zone data on this machine")
	}
	lit := time.Date(2026, 10, 24, 22, 0, 0, 0, zone)
	c := supper(flat())
	c.Started = lit
	n := &night{tb: t, now: lit, lag: time.Second, cook: cook.Stored{ID: 1, Cook: c}}
	n.m = New(Options{Settings: alarm.DefaultSettings(), Zone: zone})
	n.m.track = func(in estimator.Input, _ tracker) tracker { return &line{in: in} }
	n.do(n.m.CookChanged(n.cook, n.now))
	shift := lit.Sub(start)
	readings := slices.Concat(mustRead(t, "pit", 30*time.Second, "107 hold 5h, 60 hold 3h"), mustRead(t, "flat", 30*time.Second, "60 hold 8h"))
	for i := range readings {
		readings[i].Time = readings[i].Time.Add(shift)
	}
	n.play(readings)
	if got := len(n.forecasts()); got < 479 || got > 481 {
		t.Errorf("%d forecasts kept in eight hours", got)
	}
	// Five hours after 22:00 CEST it is 02:00 CET, an hour after the first 02:00; the median of five readings follows a minute later.
	i := slices.IndexFunc(n.heard, func(e Effect) bool { return e.Alarm != nil })
	if i < 0 || !strings.Contains(n.heard[i].Alarm.Because, "since 02:01") || n.heard[i].Alarm.Alarm.Raised.Sub(lit) != 5*time.Hour+13*time.Minute {
		t.Errorf("the alarm: %+v", n.heard[i].Alarm)
	}
}
