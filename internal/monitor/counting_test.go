package monitor

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"stallkeeper/internal/cook"
)

// A cook that is counted again while readings go on coming, some of them late, ends up as one that was counted at the end from all of
// them; meanwhile its alarms do not wait.
func TestCounting_WhileTheCookGoesOn(t *testing.T) {
	readings := slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 2h, to 60 in 15m, 60 hold 1h"), mustRead(t, "flat", 15*time.Second, "20 +0.2/min x195"))
	slices.SortStableFunc(readings, func(a, b cook.Reading) int { return a.Time.Compare(b.Time) })
	missed := func(r cook.Reading) bool {
		return r.Probe == "flat" && r.Time.After(minute(60)) && r.Time.Before(minute(80))
	}
	live := newNight(t, supper(flat()))
	var late, early, rest []cook.Reading
	for _, r := range readings {
		switch {
		case missed(r):
			late = append(late, r)
		case r.Time.Before(minute(110)):
			early = append(early, r)
		default:
			rest = append(rest, r)
		}
	}
	live.play(early)
	live.arrive(late...)
	through := len(live.stored)
	c := live.count(1, through)
	live.play(rest) // while it is counted
	before := live.messages()
	if !slices.ContainsFunc(before, func(s string) bool { return strings.Contains(s, "pit-falling/1 active") }) {
		t.Errorf("messages while it is counted %q, want the falling pit", before)
	}
	seq := int64(through)
	for some := range slices.Chunk(live.stored[through:], 100) {
		live.do(c.Later(committed(seq+1, some)))
		seq += int64(len(some))
	}
	live.do(c.Done(live.now))
	same(t, "messages once it is counted", live.messages(), before)
	live.until(live.now.Add(time.Minute)) // what is held back is applied, and the newest forecast from

	whole := &night{tb: t, m: newTested(), now: live.now, lag: time.Second, cook: live.cook, stored: live.stored, kept: live.kept}
	whole.m.Restore([]cook.Stored{whole.cook}, nil)
	whole.recount(1)
	got, want := live.m.Snapshot().Cooks, whole.m.Snapshot().Cooks
	if diff := cmp.Diff(want[0].NewestAt, got[0].NewestAt); diff != "" {
		t.Error("newest:", diff)
	}
	for i := range want[0].Pieces {
		if w, g := want[0].Pieces[i].DangerZone, got[0].Pieces[i].DangerZone; w != g || g == 0 {
			t.Errorf("danger zone %v, want %v", g, w)
		}
		if w, g := want[0].Pieces[i].Forecast.Core, got[0].Pieces[i].Forecast.Core; w != g {
			t.Errorf("core %v, want %v", g, w)
		}
	}
}

// A cook that was running before a start takes no reading until it is counted, and misses none.
func TestCounting_ACookThatWaits(t *testing.T) {
	readings := slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 1h"), mustRead(t, "flat", 15*time.Second, "20 +0.2/min x60"))
	slices.SortStableFunc(readings, func(a, b cook.Reading) int { return a.Time.Compare(b.Time) })
	n := &night{tb: t, m: newTested(), now: minute(40), lag: time.Second, cook: cook.Stored{ID: 1, Cook: supper(flat())}, stored: readings[:300]}
	n.m.Restore([]cook.Stored{n.cook}, nil)
	n.arrive(readings[300:310]...)
	if got := n.m.Snapshot().Cooks[0].NewestAt; !got.IsZero() {
		t.Errorf("newest reading %v before it is counted, want none", got)
	}
	c := n.count(1, 300)
	n.arrive(readings[310:320]...)
	n.do(c.Later(committed(301, readings[300:320])))
	n.do(c.Done(n.now))
	n.arrive(readings[320:]...)
	n.now = minute(61)
	n.until(minute(62))
	if got, want := n.m.Snapshot().Cooks[0].NewestAt, readings[len(readings)-1].Time; !got.Equal(want) {
		t.Errorf("newest reading %v, want %v", got, want)
	}
	var minutes []time.Time
	for _, e := range n.heard {
		if e.Forecast != nil && e.Forecast.Keep {
			minutes = append(minutes, e.Forecast.At)
		}
	}
	if len(minutes) < 59 || !slices.IsSortedFunc(minutes, time.Time.Compare) || len(slices.Compact(slices.Clone(minutes))) != len(minutes) {
		t.Errorf("%d forecasts kept, want one for each minute in order", len(minutes))
	}
}

// A cook that is changed while it is counted is counted from the beginning; one that is ended is not counted any more.
func TestCounting_ACookThatIsChanged(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.play(slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 1h"), mustRead(t, "flat", 15*time.Second, "20 hold 1h")))
	asks := func(effects []Effect) bool {
		return slices.ContainsFunc(effects, func(e Effect) bool { return e.Recount == 1 })
	}
	c := n.count(1, len(n.stored))
	n.cook.Events = []cook.Event{{Time: n.now.Add(-time.Minute), Kind: cook.EventLid}}
	if !asks(n.m.CookChanged(n.cook, n.now)) {
		t.Error("an event while the cook is counted, and no count from the beginning")
	}
	if asks(n.m.CookChanged(n.cook, n.now)) {
		t.Error("asked again though nothing is counted")
	}
	n.cook.Ended = n.now
	n.do(n.m.CookChanged(n.cook, n.now))
	if out := c.Done(n.now); out != nil || len(n.m.Snapshot().Cooks) != 0 {
		t.Errorf("the end of a count of a cook that has ended gave %v", out)
	}
}

// Late readings that go on coming do not begin the count anew: they are counted with it, and the counted cook asks once it is in its place.
func TestCounting_LatenessMeanwhileDoesNotBeginItAnew(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.play(slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 1h"), mustRead(t, "flat", 15*time.Second, "20 hold 1h")))
	late := cook.Reading{Probe: "flat", Time: minute(30).Add(time.Second), Celsius: 20}
	through := len(n.stored)
	c := n.count(1, through)
	n.arrive(late)
	asked := func() bool {
		for end := n.now.Add(2 * calm); n.now.Before(end); {
			n.now = n.now.Add(10 * time.Second)
			effects := n.m.Tick(n.now)
			if slices.ContainsFunc(effects, func(e Effect) bool { return e.Recount == 1 }) {
				return true
			}
			n.do(effects)
		}
		return false
	}
	if asked() {
		t.Error("a late reading begins the count anew")
	}
	n.do(c.Later(committed(int64(through+1), n.stored[through:])))
	n.do(c.Done(n.now))
	if !asked() {
		t.Error("the late reading is not put in its order after the count")
	}
}
