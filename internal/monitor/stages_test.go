package monitor

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
	"stallkeeper/internal/testrig"
)

// shop drives a monitor through the stages of lots: what a stage's rewatch needs is answered from what was taken in.
type shop struct {
	*night
	open []cook.StageWatch
}

func newShop(tb testing.TB) *shop {
	return &shop{night: &night{tb: tb, m: newTested(), now: start, lag: time.Second}}
}

func (s *shop) do(effects []Effect) {
	for _, e := range effects {
		if e.Rewatch == nil {
			s.night.do([]Effect{e})
			continue
		}
		s.rewatch(*e.Rewatch)
	}
}

func (s *shop) rewatch(key StageKey) {
	_, from, _ := s.m.Probes(key)
	sorted := slices.DeleteFunc(slices.Clone(s.stored), func(r cook.Reading) bool { return r.Time.Before(from) })
	outlook.Sort(sorted)
	count := s.m.Rewatch(key, s.now)
	if count == nil {
		s.tb.Fatalf("stage %v is not watched", key)
	}
	for _, r := range sorted {
		count.Add(r)
	}
	s.do(count.Done(s.now))
}

func (s *shop) begin(w cook.StageWatch) {
	if w.From.IsZero() {
		w.From = s.now
	}
	w.Lot = "26-05-02-brisket"
	s.open = append(s.open, w)
	s.do(s.m.StagesChanged(s.open, s.now))
}

func (s *shop) end(stage cook.Stage) {
	for i, w := range s.open {
		if w.Stage == stage {
			s.open[i].Until = s.now
		}
	}
	s.do(s.m.StagesChanged(s.open, s.now))
	s.open = slices.DeleteFunc(s.open, func(w cook.StageWatch) bool { return !w.Until.IsZero() })
	s.do(s.m.StagesChanged(s.open, s.now))
}

// log writes everything that is told, listed and entered, word for word.
func (n *night) log() string {
	var b strings.Builder
	for i, e := range n.heard {
		at := n.times[i].Format("Mon 15:04")
		switch {
		case e.Alarm != nil:
			what := "listed"
			if e.Alarm.Notify {
				what = "SENT  "
			}
			a := e.Alarm.Alarm
			fmt.Fprintf(&b, "%s %s %-6s %s %s: %s\n", at, what, a.Priority, a.ID, a.State, e.Alarm.Because)
		case e.Deviation != nil:
			v := e.Deviation.Verdict
			fmt.Fprintf(&b, "%s ENTERED deviation %s %s, %v since %s: %s (needed %s; measured %s)\n", at, v.Set, v.Rule, word(v.Outcome), e.Deviation.From.Format("Mon 15:04"), v.Because, v.Needed, v.Measured)
		case e.Judged != nil:
			for _, v := range e.Judged.Verdicts {
				fmt.Fprintf(&b, "%s ENTERED %s: %s %s %s: %s (needed %s; measured %s)\n", at, e.Judged.Watch.Stage, v.Set, v.Rule, word(v.Outcome), v.Because, v.Needed, v.Measured)
			}
		}
	}
	return b.String()
}

func word(o fmt.Stringer) string { return o.String() }

// The clocks that the snapshot shows: name, state, used.
func (n *night) clocks() string {
	var b strings.Builder
	for _, s := range n.m.Snapshot().Stages {
		fmt.Fprintf(&b, "%s:", s.Watch.Stage)
		for _, c := range s.Clocks {
			fmt.Fprintf(&b, " %s %s %s", c.Name, c.State, c.Used.Round(time.Minute))
			if c.AtRisk {
				b.WriteString(" at risk")
			}
			b.WriteString(";")
		}
		b.WriteString("\n")
	}
	return b.String()
}

// TestStages_ALotFromBrineToFreezer follows a lot: a cure with doors opened, a power cut and a failing compressor; the smoke, too slow
// to warm up; a hold that cools; a chill that is too slow; the store. The whole log is golden.
func TestStages_ALotFromBrineToFreezer(t *testing.T) {
	s := newShop(t)
	begin := func(probe cook.ProbeID, text string) {
		at := s.now
		readings := mustRead(t, probe, time.Minute, text)
		for i := range readings {
			readings[i].Time = readings[i].Time.Add(at.Sub(start))
		}
		s.play(readings)
	}
	s.begin(cook.StageWatch{Stage: cook.StageCure, Probes: []cook.ProbeID{"fridge"}})
	begin("fridge", "9 to 3 in 40m, 3 hold 5h, 8 hold 10m, 3 hold 4h, gap 3h, 3.2 hold 2h, to 9 in 60m, to 3 in 30m, 3 hold 2h")
	s.end(cook.StageCure)
	s.begin(cook.StageWatch{Stage: cook.StageSmoke, Piece: "flat", Cut: "brisket_flat_cured", Probes: []cook.ProbeID{"flat"}})
	begin("flat", "5 +0.12/min x430, +0.2/min x170, 92 hold 20m")
	s.end(cook.StageSmoke)
	s.begin(cook.StageWatch{Stage: cook.StageHold, Piece: "flat", Cut: "brisket_flat_cured", Probes: []cook.ProbeID{"flat"}})
	begin("flat", "88 -0.2/min x150, 58 hold 30m, to 75 in 40m, 75 hold 30m")
	s.end(cook.StageHold)
	s.begin(cook.StageWatch{Stage: cook.StageChill, Piece: "flat", Cut: "brisket_flat_cured", Probes: []cook.ProbeID{"flat"}})
	begin("flat", "75 hold 5m, to 56 in 60m, to 21 in 170m, to 4 in 200m")
	s.end(cook.StageChill)
	s.begin(cook.StageWatch{Stage: cook.StageStore, Probes: []cook.ProbeID{"fridge"}})
	begin("fridge", "3 hold 10h")
	s.end(cook.StageStore)
	testrig.Golden(t, "lot.txt", s.log())
}

// A running cook implies smoke, then hold and chill; the probe that is pulled out of the meat says nothing about cooling.
func TestStages_OfARunningCook(t *testing.T) {
	for _, c := range []struct {
		name, after string
		want        string
		told        []string
	}{
		{"held hot", "90 -0.1/min x120", "hold: hot-holding waiting 0s; cooling-1 waiting 0s; cooling-2 waiting 0s; danger-zone waiting 2h54m0s;\n", nil},
		{"chilled in time", "90 -1/min x70, 20 -0.1/min x160", "chill: cooling-1 met 37m0s; cooling-2 met 3h8m0s; danger-zone missed 6h1m0s;\n", nil},
		{"forgotten on the counter", "90 -0.2/min x260", "chill: cooling-1 running 1h36m0s at risk; cooling-2 running 1h36m0s at risk; danger-zone missed 4h28m0s;\n", []string{"cooling-risk/1/flat active"}},
		{"pulled out", "90 hold 1m, 22 hold 3h", "", nil},
	} {
		n := newNight(t, supper(flat()))
		n.play(slices.Concat(mustRead(t, "pit", time.Minute, "107 hold 5h"), mustRead(t, "flat", time.Minute, "5 +0.3/min x290")))
		n.cook.Events = []cook.Event{{Time: minute(300), Kind: cook.EventPieceOff, Piece: "flat"}}
		n.do(n.m.CookChanged(n.cook, n.now))
		readings := mustRead(t, "flat", time.Minute, c.after)
		for i := range readings {
			readings[i].Time = readings[i].Time.Add(300 * time.Minute)
		}
		n.play(readings)
		if got := n.clocks(); c.want != "" && got != c.want {
			t.Errorf("%s: clocks\n got %swant %s", c.name, got, c.want)
		}
		var told []string
		for _, m := range n.messages() {
			if _, what, _ := strings.Cut(m, " "); strings.HasPrefix(what, "cooling") || strings.HasPrefix(what, "hold") {
				told = append(told, what)
			}
		}
		same(t, c.name, told, c.told)
	}
}

// After a restart the stage is counted again from what is stored: the clocks stand as before, nobody is told again, and what was
// entered comes out again with the same key, for the journal to know it.
func TestStages_RestartCountsAgain(t *testing.T) {
	s := newShop(t)
	s.begin(cook.StageWatch{Stage: cook.StageCure, Probes: []cook.ProbeID{"fridge"}})
	s.play(mustRead(t, "fridge", time.Minute, "3 hold 2h, 9 hold 1h"))
	before := s.clocks()
	alarms := s.m.Snapshot().Alarms
	entered := strings.Count(s.log(), "ENTERED")
	told := len(s.messages())

	m := newTested()
	m.Restore(nil, alarms)
	s.m, s.heard, s.times = m, nil, nil
	s.do(s.m.StagesChanged(s.open, s.now))
	s.until(s.now.Add(5 * time.Second))
	if got := s.clocks(); got != before {
		t.Errorf("clocks after the restart %q, before %q", got, before)
	}
	if got := s.messages(); len(got) != 0 || told == 0 {
		t.Errorf("told again %q, told before %d", got, told)
	}
	if got := strings.Count(s.log(), "ENTERED"); got != entered || got == 0 {
		t.Errorf("%d entries come out again, %d were given out", got, entered)
	}
	for _, a := range s.m.Snapshot().Alarms {
		if a.State != alarm.Active {
			t.Errorf("%s is %s after the restart", a.ID, a.State)
		}
	}
}

// Readings that come late and out of order end in the same clocks as readings that came in order.
func TestStages_LateReadingsAreCountedAgain(t *testing.T) {
	readings := mustRead(t, "fridge", time.Minute, "3 hold 2h, 9 hold 20m, 3 hold 1h")
	want := newShop(t)
	want.begin(cook.StageWatch{Stage: cook.StageCure, Probes: []cook.ProbeID{"fridge"}})
	want.play(slices.Clone(readings))

	got := newShop(t)
	got.begin(cook.StageWatch{Stage: cook.StageCure, Probes: []cook.ProbeID{"fridge"}})
	got.play(slices.Concat(slices.Clone(readings[:60]), slices.Clone(readings[110:])))
	got.arrive(slices.Clone(readings[60:110])...)
	got.now = got.now.Add(calm + time.Second)
	got.do(got.m.Tick(got.now))
	if a, b := got.clocks(), want.clocks(); a != b {
		t.Errorf("clocks %q, want %q", a, b)
	}
}

// A piece that cools too slowly after it came off is told once, whatever is restarted.
func TestStages_ACoolingPieceIsNotToldAgainAfterARestart(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.play(slices.Concat(mustRead(t, "pit", time.Minute, "107 hold 5h"), mustRead(t, "flat", time.Minute, "5 +0.3/min x290")))
	n.cook.Events = []cook.Event{{Time: minute(300), Kind: cook.EventPieceOff, Piece: "flat"}}
	n.do(n.m.CookChanged(n.cook, n.now))
	readings := mustRead(t, "flat", time.Minute, "90 -0.2/min x260")
	for i := range readings {
		readings[i].Time = readings[i].Time.Add(300 * time.Minute)
	}
	n.play(readings)
	if got := n.messages(); !strings.HasSuffix(got[len(got)-1], "cooling-risk/1/flat active") {
		t.Fatalf("told %q, want the cooling last", got)
	}
	before, clocks := n.m.Snapshot().Alarms, n.clocks()
	n.m, n.heard, n.times = newTested(), nil, nil
	n.m.Restore([]cook.Stored{n.cook}, before)
	n.recount(1)
	n.until(n.now.Add(20 * time.Second))
	same(t, "messages after the restart", n.messages(), nil)
	if got := n.clocks(); got != clocks {
		t.Errorf("clocks after the restart %swant %s", got, clocks)
	}
}

// The pit's probe cooks no meat, and the air of a cooler does not hide that the meat has cooled.
func TestStages_OnlyMeatCounts(t *testing.T) {
	s := newShop(t)
	s.begin(cook.StageWatch{Stage: cook.StageSmoke, Piece: "flat", Cut: "brisket_flat", Probes: []cook.ProbeID{"pit", "flat"}})
	s.play(slices.Concat(mustRead(t, "pit", time.Minute, "107 hold 1h"), mustRead(t, "flat", time.Minute, "5 +0.3/min x60")))
	if got, want := s.clocks(), "smoke: danger-zone running 59m0s; come-up running 43m0s; cooked waiting 0s;\n"; got != want {
		t.Errorf("clocks %q, want %q", got, want)
	}
	c := newShop(t)
	c.begin(cook.StageWatch{Stage: cook.StageChill, Piece: "flat", Cut: "brisket_flat", Probes: []cook.ProbeID{"fridge", "flat"}})
	c.play(slices.Concat(mustRead(t, "fridge", time.Minute, "3 hold 4h"), mustRead(t, "flat", time.Minute, "70 -0.6/min x100, 10 -0.05/min x120")))
	c.end(cook.StageChill)
	if got := c.log(); strings.Count(got, "cooling met") != 2 {
		t.Errorf("judged %q, want both legs met", got)
	}
}

// A cooler whose probe was put in late, or died before the stage ended, is not known to have been cold, whatever it read in between. So
// is one of two probes that never read.
func TestStages_WhatNobodyMeasuredIsNotMet(t *testing.T) {
	for _, c := range []struct {
		name           string
		before, after  time.Duration
		probes         []cook.ProbeID
		want, deviates string
	}{
		{"the whole stage", 0, 0, []cook.ProbeID{"fridge"}, "cold-holding met", ""},
		{"within the usual interval", 25 * time.Minute, 25 * time.Minute, []cook.ProbeID{"fridge"}, "cold-holding met", ""},
		{"put in late", 3 * time.Hour, 0, []cook.ProbeID{"fridge"}, "begin 3 h after the stage", "unknown"},
		{"died", 0, 10 * time.Hour, []cook.ProbeID{"fridge"}, "end 10 h before the stage", "unknown"},
		{"one of two never read", 0, 0, []cook.ProbeID{"fridge", "other"}, "nothing was measured", "unknown"},
	} {
		s := newShop(t)
		s.begin(cook.StageWatch{Stage: cook.StageStore, Probes: c.probes, From: s.now.Add(-c.before)})
		s.play(mustRead(t, "fridge", time.Minute, "3 hold 6h"))
		s.now = s.now.Add(c.after)
		s.end(cook.StageStore)
		if got := s.log(); !strings.Contains(got, c.want) || strings.Contains(got, "ENTERED deviation") != (c.deviates != "") || !strings.Contains(got, c.deviates) {
			t.Errorf("%s: entered\n%swant %q and a deviation %q", c.name, got, c.want, c.deviates)
		}
	}
}

// A piece of a lot in the chill is last at 57.2 °C (135 °F) at 20:11; by the Food Code it must be at 21 °C (70 °F) two hours later, whatever a
// forecast says. A hold that loses 0.1 °C a minute is warned of before it comes to its limit. A cure's cooler that stands open has its
// own time. Nothing is on the fire.
func TestQuietUntil_HeedsTheClocksOfStages(t *testing.T) {
	for _, c := range []struct {
		stage        cook.Stage
		probe, trace string
		until        time.Time // zero: nothing is promised
		because      string
		within       time.Duration
	}{
		{cook.StageChill, "flat", "64 -0.6/min x40", minute(11 + 120), "Then flat of lot 26-05-02-brisket must be down to 21.1 °C (the limit of its cooling).", time.Minute},
		// an exponential fall towards 20 °C through 0.1 °C a minute at 69 °C: ln(49/40) / 0.119 per hour = 1.71 h to 60 °C, less 45 min of warning
		{cook.StageHold, "flat", "75 -0.1/min x60", minute(60 + 102 - 45), "may be sinking to the limit of its holding, 60.0 °C, by forecast at 22:4", 5 * time.Minute},
		{cook.StageHold, "flat", "75 hold 60m", time.Time{}, "Nothing is on the fire.", 0},
		{cook.StageCure, "fridge", "3 hold 60m, 8 hold 10m", minute(60 + 2 + 15), "Then cooler fridge must be within the limits of the cure of lot 26-05-02-brisket again.", 3 * time.Minute},
		{cook.StageCure, "fridge", "3 hold 60m", time.Time{}, "Nothing is on the fire.", 0},
	} {
		s := newShop(t)
		s.begin(cook.StageWatch{Stage: c.stage, Piece: "flat", Cut: "brisket_flat", Probes: []cook.ProbeID{cook.ProbeID(c.probe)}})
		s.play(mustRead(t, cook.ProbeID(c.probe), time.Minute, c.trace))
		q := s.m.Snapshot().QuietUntil
		if off := q.Until.Sub(c.until); q.Known == c.until.IsZero() || q.Known && (off > c.within || off < -c.within) || !strings.Contains(q.Because, c.because) {
			t.Errorf("%s, %s: quiet until %v: %s\nwant %v: %s", c.stage, c.trace, q.Until, q.Because, c.until, c.because)
		}
		if !q.Known {
			continue
		}
		s.until(s.now.Add(40 * time.Minute)) // the probe falls silent: its clock cannot be seen to run
		if q := s.m.Snapshot().QuietUntil; q.Known && q.Until.After(s.now) {
			t.Errorf("%s with a silent probe: %+v", c.stage, q)
		}
	}
}

// What is still on the fire and what cools off it share the sentence: the earlier counts.
func TestQuietUntil_OfAFireAndAPieceThatCools(t *testing.T) {
	n := newNight(t, supper(flat(), cook.Piece{ID: "point", Cut: "brisket_packer", Target: 98, Intact: true}))
	n.play(slices.Concat(mustRead(t, "pit", time.Minute, "107 hold 5h"), mustRead(t, "flat", time.Minute, "5 +0.3/min x290"), mustRead(t, "point", time.Minute, "56 +0.05/min x300")))
	before := n.m.Snapshot().QuietUntil
	n.cook.Events = []cook.Event{{Time: minute(300), Kind: cook.EventPieceOff, Piece: "flat"}}
	n.do(n.m.CookChanged(n.cook, n.now))
	more := slices.Concat(mustRead(t, "pit", time.Minute, "107 hold 70m"), mustRead(t, "flat", time.Minute, "90 -0.8/min x45, 54 -0.3/min x25"), mustRead(t, "point", time.Minute, "71 +0.05/min x70"))
	for i := range more {
		more[i].Time = more[i].Time.Add(300 * time.Minute)
	}
	n.play(more)
	q := n.m.Snapshot().QuietUntil
	// 57.2 °C is passed 41 minutes after it came off: 120 minutes from there
	if off := q.Until.Sub(minute(300 + 41 + 120)); !q.Known || off > 2*time.Minute || off < -2*time.Minute || !strings.Contains(q.Because, "flat must be down to 21.1 °C") {
		t.Errorf("quiet until %+v (before it came off %+v)", q, before)
	}
}

// The danger zone (5 to 57 °C, at most 4 h: common practice, no authority known) goes by the meat, not by the stage. What was measured on
// the way from one stage to the next counts; where nothing was, the clock says that it is not known.
func TestStages_TheDangerZoneCountsBetweenTheStages(t *testing.T) {
	watch := func(stage cook.Stage, from, out float64) cook.StageWatch {
		return cook.StageWatch{Stage: stage, Piece: "flat", Cut: "brisket_flat", Probes: []cook.ProbeID{"flat"}, From: minute(from), Out: minute(out)}
	}
	for _, c := range []struct {
		name, trace string
		watch       cook.StageWatch
		state       ClockState
		used        time.Duration
		because     string
	}{
		// warm since 0:00: 200 min to 57 °C, then hot until it lies on the counter and falls through 57 °C after 20 min; 40 min more until the chill, 30 in it
		{"left on the counter before the chill", "5 +0.26/min x202, 75 hold 58m, 75 -0.9/min x20, 57 -0.3/min x70", watch(cook.StageChill, 320, 0), ClockMissed, 4*time.Hour + 30*time.Minute, "has spent"},
		{"the same, the probe pulled for the way", "5 +0.26/min x202, 75 hold 58m, gap 40m, 50 -0.3/min x30", watch(cook.StageChill, 300, 0), ClockUnknown, 3*time.Hour + 51*time.Minute, "41 min without readings are not counted"},
		{"out of the cure, measured before the fire was lit", "6 +0.1/min x60, 12 +0.2/min x30", watch(cook.StageSmoke, 60, 0), ClockRunning, 89 * time.Minute, "has spent"},
		{"out of the cure, in no probe until the smoke", "12 hold 62m, 12 +0.2/min x30", watch(cook.StageSmoke, 60, 0), ClockUnknown, 29 * time.Minute, "62 min without readings are not counted"},
		{"the probe lay in a drawer until the smoke", "21 hold 55m, 8 hold 5m, 8 +0.2/min x30", watch(cook.StageSmoke, 60, 0), ClockUnknown, 34 * time.Minute, "55 min without readings are not counted"},
	} {
		s := newShop(t)
		readings := mustRead(t, "flat", time.Minute, c.trace)
		if strings.Contains(c.name, "in no probe") {
			readings = readings[62:]
		}
		s.play(readings)
		s.begin(c.watch)
		s.until(s.now.Add(time.Minute))
		var got Clock
		for _, k := range s.m.Snapshot().Stages[0].Clocks {
			if k.Name == ClockDangerZone {
				got = k
			}
		}
		if d := got.Used - c.used; got.State != c.state || d < -2*time.Minute || d > 2*time.Minute || !strings.Contains(got.Because, c.because) || !got.Thumb {
			t.Errorf("%s: %s, %v used: %s; want %s, %v: …%s", c.name, got.State, got.Used, got.Because, c.state, c.used, c.because)
		}
	}
}
