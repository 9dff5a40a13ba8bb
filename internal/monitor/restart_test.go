package monitor

import (
	"slices"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
)

func TestRestart_TellsNobodyAgainAndKeepsWhatIsAcknowledged(t *testing.T) {
	readings := slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 1h, to 60 in 15m, 60 hold 3h"), mustRead(t, "flat", 15*time.Second, "20 hold 255m"))
	before := newNight(t, supper(flat()))
	var first, second []cook.Reading
	for _, r := range readings {
		if r.Time.Before(minute(120)) {
			first = append(first, r)
		} else {
			second = append(second, r)
		}
	}
	before.play(first)
	effects, err := before.m.Acknowledge("pit-falling/1", "the cook", before.now)
	if err != nil {
		t.Fatal(err)
	}
	before.do(effects)

	after := &night{tb: t, m: newTested(), now: minute(125), lag: time.Second, cook: before.cook, stored: before.stored, kept: before.kept}
	after.m.Restore([]cook.Stored{after.cook}, before.m.Snapshot().Alarms)
	after.recount(1)
	same(t, "messages at the restart", after.messages(), nil)
	if a := after.m.Snapshot().Alarms; len(a) != 1 || a[0].State != alarm.Acked || a[0].By != "the cook" {
		t.Errorf("alarms after the restart: %+v", a)
	}
	after.play(second)
	before.play(second)
	same(t, "listed after the restart", after.listed(), before.listed()[2:])
	same(t, "messages after the restart", after.messages(), []string{"00:01 danger-zone/1/flat active"})
}

func TestRestart_TellsWhatHappenedMeanwhile(t *testing.T) {
	readings := slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 1h, to 60 in 15m, 60 hold 1h"), mustRead(t, "flat", 15*time.Second, "20 hold 135m"))
	n := &night{tb: t, m: newTested(), now: minute(136), lag: time.Second, cook: cook.Stored{ID: 1, Cook: supper(flat())}, stored: readings, kept: minute(50)}
	n.m.Restore([]cook.Stored{n.cook}, nil)
	n.recount(1)
	same(t, "messages", n.messages(), []string{"22:16 pit-falling/1 active"})
	if got := n.forecasts(); len(got) != 84 || got[0] != "20:51:00" {
		t.Errorf("%d forecasts were made up for, from %s; want 84 from 20:51:00", len(got), got[0])
	}
}

func TestRestart_TellsWhatABacklogRaisedBefore(t *testing.T) {
	readings := slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 1h, to 60 in 15m, 60 hold 4h"), mustRead(t, "flat", 15*time.Second, "20 hold 5h"))
	outlook.Sort(readings)
	for i := range readings {
		readings[i].Backlog = true
	}
	old := slices.IndexFunc(readings, func(r cook.Reading) bool { return r.Time.After(minute(120)) })
	before := newNight(t, supper(flat()))
	before.now = minute(300)
	for i := 0; i < old; i += 200 { // the daemon is killed in the middle of the backlog
		before.arrive(readings[i:min(i+200, old)]...)
	}
	same(t, "messages of the backlog", before.messages(), nil)
	kept := before.m.Snapshot().Alarms
	if len(kept) == 0 || kept[0].Told {
		t.Fatalf("alarms %+v, want the falling pit, which nobody was told of", kept)
	}
	after := &night{tb: t, m: newTested(), now: minute(316), lag: time.Second, cook: before.cook, stored: before.stored, kept: before.kept}
	after.m.Restore([]cook.Stored{after.cook}, kept)
	after.recount(1)
	for i := old; i < len(readings); i += 200 {
		after.arrive(readings[i:min(i+200, len(readings))]...)
	}
	after.until(minute(317))
	if got := after.messages(); !slices.Contains(got, "01:16 pit-falling/1 active") {
		t.Errorf("messages after the restart %q, want the pit that is still falling", got)
	}
}

func TestRecount_ThatBreaksOffLosesNoAlarm(t *testing.T) {
	readings := slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 1h, to 60 in 15m, 60 hold 1h"), mustRead(t, "flat", 15*time.Second, "20 hold 135m"))
	outlook.Sort(readings)
	n := &night{tb: t, m: newTested(), now: minute(136), lag: time.Second, cook: cook.Stored{ID: 1, Cook: supper(flat())}, stored: readings, kept: minute(50)}
	n.m.Restore([]cook.Stored{n.cook}, nil)
	n.count(1, len(readings)-10) // the fire has gone out by then; the rest cannot be read
	same(t, "messages of the broken recount", n.messages(), nil)
	n.recount(1)
	same(t, "messages", n.messages(), []string{"22:16 pit-falling/1 active"})
}

func TestRestart_ASilentProbeStaysSilentUntilItSpeaks(t *testing.T) {
	before := newNight(t, supper(flat()))
	before.play(slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 1h"), mustRead(t, "flat", 15*time.Second, "60 hold 30m")))
	same(t, "messages", before.messages(), []string{"20:44 probe-silent/flat active"})
	after := &night{tb: t, m: newTested(), now: minute(61), lag: time.Second, cook: before.cook, stored: before.stored, kept: before.kept}
	after.m.Restore([]cook.Stored{after.cook}, append(before.m.Snapshot().Alarms, alarm.Alarm{ID: "pit-low/7", Kind: alarm.PitLow, State: alarm.Active, Cook: 7}))
	after.recount(1)
	var later []cook.Reading
	for _, r := range slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 2h"), mustRead(t, "flat", 15*time.Second, "60 gap 100m, hold 20m")) {
		if r.Time.After(after.now) {
			later = append(later, r)
		}
	}
	after.play(later)
	same(t, "listed", after.listed(), []string{"21:01 pit-low/7 normal", "21:40 probe-silent/flat returned"})
}

func TestNewFire_TakesTheProbesAlongAndTheirSilenceIsToldAnew(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.play(slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 3h"), mustRead(t, "flat", 15*time.Second, "60 hold 30m")))
	n.acknowledge("probe-silent/flat")
	later := cook.Stored{ID: 2, Cook: supper(flat())}
	later.Started = n.now // the cook before was never ended
	n.do(n.m.CookChanged(later, n.now))
	n.play(mustRead(t, "pit", 15*time.Second, "107 gap 3h, hold 1h"))
	same(t, "listed", n.listed(), []string{"20:44 probe-silent/flat active", "22:59 probe-silent/flat acknowledged",
		"22:59 probe-silent/flat normal", "23:14 probe-silent/flat active"})
	if a := n.m.Snapshot().Alarms; len(a) != 1 || a[0].Cook != 2 {
		t.Errorf("alarms %+v, want one of the newer cook", a)
	}

	later.Ended = n.now
	n.do(n.m.CookChanged(later, n.now))
	n.play(mustRead(t, "pit", 15*time.Second, "107 gap 4h, hold 20m"))
	if a := n.m.Snapshot().Alarms; len(a) != 1 || a[0].Cook != 1 || a[0].Probe != "flat" {
		t.Errorf("alarms %+v, want the older cook to wait for its probe again", a)
	}
}
