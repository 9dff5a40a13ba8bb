package monitor

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
)

// overload stores readings as they come in and applies them only when it is told to: the machine is too slow.
type overload struct {
	*night
	applied int // of n.stored
}

// store lets readings come in until a time, with a look at silence every ten seconds, as the daemon does while it is not caught up.
func (o *overload) store(readings []cook.Reading, until time.Time) {
	outlook.Sort(readings)
	for o.now.Before(until) {
		o.now = o.now.Add(10 * time.Second)
		for len(readings) > 0 && !readings[0].Time.Add(o.lag).After(o.now) {
			r := readings[0]
			r.Arrived = r.Time.Add(o.lag)
			o.stored = append(o.stored, r)
			readings = readings[1:]
		}
		newest := map[cook.ProbeID]Stored{}
		for i := int(o.m.Heard()); i < len(o.stored); i++ {
			newest[o.stored[i].Probe] = Stored{Seq: int64(i) + 1, Reading: o.stored[i]}
		}
		var spoken []Stored
		for _, r := range newest {
			spoken = append(spoken, r)
		}
		slices.SortFunc(spoken, func(a, b Stored) int { return strings.Compare(string(a.Probe), string(b.Probe)) })
		o.do(o.m.Await(spoken, int64(len(o.stored)), o.now))
	}
}

// apply applies what was measured until a time.
func (o *overload) apply(until time.Time) {
	first := o.applied
	for o.applied < len(o.stored) && o.stored[o.applied].Time.Before(until) {
		o.applied++
	}
	o.do(o.m.Apply(committed(int64(first)+1, o.stored[first:o.applied]), o.now))
}

// between cuts readings by their time.
func between(readings []cook.Reading, from, to float64) []cook.Reading {
	return slices.DeleteFunc(slices.Clone(readings), func(r cook.Reading) bool { return r.Time.Before(minute(from)) || !r.Time.Before(minute(to)) })
}

func newOverload(t *testing.T, pit string) (*overload, []cook.Reading) {
	o := &overload{night: newNight(t, supper(flat(), cook.Piece{ID: "chuck", Cut: "beef_chuck", Target: 93, Intact: true}))}
	all := slices.Concat(mustRead(t, "pit", 10*time.Second, pit), mustRead(t, "flat", 10*time.Second, "5 +0.2/min x300"),
		between(mustRead(t, "chuck", 10*time.Second, "5 +0.2/min x300"), 0, 65))
	o.play(between(all, 0, 60))
	o.applied = len(o.stored)
	return o, between(all, 60, 300)
}

// From 21:00 on nothing is judged any more. The probe of the chuck dies at 21:05, the fire from 21:20 on.
func TestOverload_IsToldAndSoIsWhoIsSilent(t *testing.T) {
	o, rest := newOverload(t, "107 hold 80m, -1/min x40, 67 hold 200m")
	o.store(rest, minute(130))
	same(t, "messages while nothing is judged", o.messages(), []string{"21:10 intake/late active", "21:20 probe-silent/chuck active"})
	s := o.m.Snapshot()
	for _, p := range s.Probes {
		if p.Silent != (p.ID == "chuck") {
			t.Errorf("probe %s silent %v", p.ID, p.Silent)
		}
		if p.ID == "flat" && p.Last.Time.Before(minute(129)) {
			t.Errorf("the newest reading of the flat is shown of %v", p.Last.Time)
		}
	}
	if s.Intake.Waiting != int64(len(o.stored)-o.applied) || s.Intake.Waited < 69*time.Minute || s.Intake.Waited > 71*time.Minute || !strings.Contains(s.Intake.Late, "faster than this machine") {
		t.Errorf("intake %+v", s.Intake)
	}
	if q := s.QuietUntil; q.Known || q.Because != "Readings wait to be judged, so nobody can say." {
		t.Errorf("quiet until: %+v", q)
	}

	before := len(o.messages())
	for m := 61.0; m <= 130; m++ { // it gets faster: ten minutes of readings in each minute
		if o.apply(minute(m)); int(m)%10 == 0 {
			from := float64(130 + int(m-60)/10)
			o.store(between(rest, from-1, from), minute(from))
		}
	}
	after := o.messages()[before:]
	told := slices.ContainsFunc(after, func(s string) bool { return strings.HasSuffix(s, "pit-falling/1 active") })
	again := slices.ContainsFunc(after, func(s string) bool { return strings.Contains(s, "probe-silent") })
	if !told || again {
		t.Errorf("messages while it catches up: the dying fire told %v, of a silent probe told again %v:\n%s", told, again, strings.Join(after, "\n"))
	}
	o.apply(minute(300))
	before = len(o.messages())
	o.until(minute(145))
	after = slices.DeleteFunc(o.messages()[before:], func(s string) bool { return !strings.Contains(s, "intake") && !strings.Contains(s, "silent") })
	same(t, "messages when it has caught up", after, []string{"22:18 intake/late returned"})
}

// Five minutes behind all night is nobody's business, and nobody is called silent.
func TestOverload_ThatKeepsUpAtADistance(t *testing.T) {
	o, rest := newOverload(t, "107 hold 300m")
	for m := 61.0; m <= 240; m++ {
		o.store(between(rest, m-1, m), minute(m))
		o.apply(minute(m - 5))
	}
	same(t, "messages", o.messages(), []string{"21:20 probe-silent/chuck active"})
}

// What is due by the daemon's clock comes in this state too.
func TestOverload_AShelfEnds(t *testing.T) {
	o, rest := newOverload(t, "107 hold 300m")
	o.store(rest, minute(85))
	effects, err := o.m.Shelve("probe-silent/chuck", minute(115), "MS", o.now)
	if err != nil {
		t.Fatal(err)
	}
	o.do(effects)
	o.store(between(rest, 85, 300), minute(116))
	if got := fmt.Sprint(o.messages()); !strings.HasSuffix(got, "21:55 probe-silent/chuck active]") {
		t.Errorf("messages %s", got)
	}
}

// What a sender kept back is no message, also when it waits to be judged.
func TestOverload_OldReadingsStayOld(t *testing.T) {
	o, rest := newOverload(t, "107 hold 62m, -1/min x40, 67 hold 300m")
	o.lag = 2 * time.Hour // from now on they come two hours after they were measured
	o.store(rest, minute(235))
	o.apply(minute(114))
	for _, m := range o.messages() {
		if strings.Contains(m, "pit") {
			t.Errorf("told: %s", m)
		}
	}
}
