package monitor

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
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
	before := n.m.warmOf(n.m.fires[0].pieces[0]).Used
	n.do(n.m.Apply(committed(first, ahead), n.now))
	n.until(n.now.Add(2 * time.Minute))
	if got := n.m.warmOf(n.m.fires[0].pieces[0]).Used; got != before || got < 59*time.Minute || got > time.Hour {
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

func TestReplay_GivesTheSameEffects(t *testing.T) {
	record := func(lag time.Duration) *night {
		n := newNight(t, supper(flat()))
		n.lag = lag
		n.play(nightReadings(t))
		return n
	}
	once, again, later := record(time.Second), record(time.Second), record(40*time.Second)
	same(t, "listed", again.listed(), once.listed())
	same(t, "forecasts", again.forecasts(), once.forecasts())
	same(t, "listed with slower arrival", later.listed(), once.listed())
	same(t, "forecasts with slower arrival", later.forecasts(), once.forecasts())
}

func TestOrder_ProbesMayArriveInAnyOrder(t *testing.T) {
	inOrder, mixed := newNight(t, supper(flat())), newNight(t, supper(flat()))
	all := nightReadings(t)
	inOrder.play(slices.Clone(all))
	outlook.Sort(all)
	for i := range all { // the pit's come 20 s behind the piece's
		if all[i].Probe == "pit" {
			all[i].Arrived = all[i].Time.Add(20 * time.Second)
		} else {
			all[i].Arrived = all[i].Time
		}
	}
	slices.SortStableFunc(all, func(a, b cook.Reading) int { return a.Arrived.Compare(b.Arrived) })
	for i := range all {
		mixed.now = all[i].Arrived
		mixed.arrive(all[i])
	}
	same(t, "listed", mixed.listed(), inOrder.listed())
	same(t, "forecasts", mixed.forecasts(), inOrder.forecasts())
}

// Whatever the order of arrival, in the end the cook stands as if everything had come in order.
func TestAnyOrder_EndsTheSame(t *testing.T) {
	all := slices.Concat(mustRead(t, "pit", 30*time.Second, "107 hold 2h, to 70 in 12m, 70 hold 1h"), mustRead(t, "flat", 30*time.Second, "5 +0.1/min x192"))
	want := newNight(t, supper(flat()))
	want.play(slices.Clone(all))
	want.until(minute(195))
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 9))
		n := newNight(t, supper(flat()))
		mixed := slices.Clone(all)
		outlook.Sort(mixed)
		for i := 0; i+1 < len(mixed); { // stretches of up to two hours come in any order
			k := min(1+rng.IntN(480), len(mixed)-i)
			rng.Shuffle(k, func(a, b int) { mixed[i+a], mixed[i+b] = mixed[i+b], mixed[i+a] })
			i += k
		}
		n.now = minute(192)
		for i := 0; i < len(mixed); {
			k := min(1+rng.IntN(50), len(mixed)-i)
			n.arrive(slices.Clone(mixed[i : i+k])...)
			i += k
		}
		n.until(minute(195))
		got, wanted := n.m.Snapshot(), want.m.Snapshot()
		if a, b := got.Cooks[0].Pieces[0], wanted.Cooks[0].Pieces[0]; a.DangerZone != b.DangerZone || a.Forecast.Core != b.Forecast.Core || !a.Forecast.At.Equal(b.Forecast.At) {
			t.Errorf("seed %d: dwell %v at %v, want %v at %v", seed, a.DangerZone, a.Forecast.At, b.DangerZone, b.Forecast.At)
		}
		var alarms, wantedAlarms []string
		for _, a := range got.Alarms {
			alarms = append(alarms, string(a.ID))
		}
		for _, a := range wanted.Alarms {
			wantedAlarms = append(wantedAlarms, string(a.ID))
		}
		same(t, "alarms", alarms, wantedAlarms)
	}
}
