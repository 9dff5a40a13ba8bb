package monitor

import (
	"slices"
	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
	"testing"
	"time"
)

// A reading that arrived before others and was committed after them, and after the cook was counted again, counts: what was
// counted is known by the order of commits, not by the times of arrival.
func TestRecount_TakesWhatWasCommittedLate(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.play(slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 1h"), mustRead(t, "flat", 15*time.Second, "60 hold 30m")))
	late := mustRead(t, "flat", 15*time.Second, "60 hold 1h")[121:]
	arrived := n.now.Add(-30 * time.Minute)
	n.recount(1)
	for i := range late {
		late[i].Arrived = arrived // a backlog that was timed when it came and waited to be written
	}
	first := int64(len(n.stored)) + 1
	n.stored = append(n.stored, late...)
	n.do(n.m.Apply(committed(first, late), n.now))
	n.until(n.now.Add(2 * time.Minute))
	if got, want := n.m.fires[0].spoken["flat"], late[len(late)-1].Time; !got.Equal(want) {
		t.Errorf("the flat has spoken until %v, want %v", got, want)
	}
}

// What is applied after it was in a recount counts once: the lukewarm time of a cook says so.
func TestRecount_CountsNothingTwice(t *testing.T) {
	n := newNight(t, supper(flat()))
	readings := slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 1h"), mustRead(t, "flat", 15*time.Second, "30 hold 1h"))
	n.play(readings[:200])
	n.until(minute(61))
	ahead := slices.Clone(readings[200:]) // committed, and not applied yet when the cook is counted again
	first := int64(len(n.stored)) + 1
	n.stored = append(n.stored, ahead...)
	n.recount(1)
	before := n.m.fires[0].pieces[0].watch.Dwell()
	n.do(n.m.Apply(committed(first, ahead), n.now))
	n.until(n.now.Add(2 * time.Minute))
	if got := n.m.fires[0].pieces[0].watch.Dwell(); got != before || got < 59*time.Minute || got > time.Hour {
		t.Errorf("lukewarm for %v after the readings came again, %v before, want an hour", got, before)
	}
}

// A board hands over five hours of the pit, then as many of the core: between the two there is no core reading to forecast from, and
// soon after there is, whether the piece has one probe or two.
func TestOrder_OneProbesBacklogBeforeAnothers(t *testing.T) {
	for _, probes := range [][]cook.ProbeID{{"flat"}, {"flat", "point"}} {
		p := flat()
		p.Probes = probes
		n := newNight(t, supper(p))
		n.now = minute(301)
		state := func() (s estimator.State) {
			return n.m.Snapshot().Cooks[0].Pieces[0].Forecast.State
		}
		n.arrive(mustRead(t, "pit", 15*time.Second, "107 hold 300m")...)
		n.until(n.now.Add(10 * time.Second))
		if got := state(); got != estimator.Unknown {
			t.Errorf("%v: %q without a core reading", probes, got)
		}
		for _, id := range probes {
			n.arrive(mustRead(t, id, 15*time.Second, "5 +0.2/min x300")...)
		}
		n.until(n.now.Add(10 * time.Second))
		if got := state(); got != estimator.Climbing {
			t.Errorf("%v: %q ten seconds after the core's readings: %s", probes, got, n.m.Snapshot().Cooks[0].Pieces[0].Forecast.Because)
		}
	}
}
