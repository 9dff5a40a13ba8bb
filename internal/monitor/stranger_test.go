package monitor

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

// A stranger who makes up thousands of probes takes the place of no probe that something waits for, nor of one that comes after.
func TestApply_MadeUpProbesKeepNoneOut(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.arrive(cook.Reading{Probe: "flat", Time: n.now, Celsius: 20, Arrived: n.now}, cook.Reading{Probe: "pit", Time: n.now, Celsius: 107, Arrived: n.now})
	var made []cook.Reading
	for i := range 3 * maxProbes {
		made = append(made, cook.Reading{Probe: cook.ProbeID(fmt.Sprint("made-up", i)), Time: n.now, Celsius: 20, Arrived: n.now})
	}
	n.arrive(made...)
	n.arrive(cook.Reading{Probe: "pit/new", Time: n.now, Celsius: 108, Arrived: n.now})
	probes := n.m.Snapshot().Probes
	if len(probes) > maxProbes {
		t.Errorf("%d probes are watched, want at most %d", len(probes), maxProbes)
	}
	for _, want := range []cook.ProbeID{"flat", "pit", "pit/new", "made-up2999"} {
		i := slices.IndexFunc(probes, func(p ProbeView) bool { return p.ID == want })
		if i < 0 || want[0] != 'm' && probes[i].Cook == 0 {
			t.Errorf("%s is not watched in the cook", want)
		}
	}
}

// Of thousands that call themselves pit a cook takes the first 32; the others neither measure nor grow in memory, also when it is counted again.
func TestApply_MadeUpPitProbesAreFew(t *testing.T) {
	n := newNight(t, supper(flat()))
	var stored []cook.Reading
	for i := range maxProbes + 500 {
		at := start.Add(time.Duration(i) * time.Millisecond)
		stored = append(stored, cook.Reading{Probe: cook.ProbeID(fmt.Sprint("pit/made-up", i)), Time: at, Celsius: 107, Arrived: at})
	}
	n.until(minute(1))
	n.arrive(stored...)
	n.until(minute(2))
	f := n.m.fires[0]
	if len(f.spoken) != maxPitProbes || n.m.pitProbes(f) != maxPitProbes {
		t.Errorf("%d probes have spoken in the cook, it has %d as its pit's, want %d", len(f.spoken), n.m.pitProbes(f), maxPitProbes)
	}
	c := n.m.Count(n.cook.ID, int64(len(stored)), time.Time{}, n.now)
	for _, r := range stored {
		c.Add(r)
	}
	n.do(c.Done(n.now))
	if got := len(n.m.fires[0].spoken); got != maxPitProbes {
		t.Errorf("counted again, %d have spoken, want %d", got, maxPitProbes)
	}
}

// Nor is anybody told of the silence of each.
func TestListen_TheSilenceOfMadeUpPitProbesIsToldOfFew(t *testing.T) {
	n := newNight(t, supper(flat()))
	for m := range 30 {
		n.until(minute(float64(m)))
		n.arrive(cook.Reading{Probe: "flat", Time: n.now, Celsius: 20, Arrived: n.now}, cook.Reading{Probe: "pit", Time: n.now, Celsius: 107, Arrived: n.now})
		if m == 5 || m == 6 {
			for i := range 100 {
				n.arrive(cook.Reading{Probe: cook.ProbeID(fmt.Sprint("pit/made-up", i)), Time: n.now, Celsius: 107, Arrived: n.now})
			}
		}
	}
	told := 0
	for _, e := range n.heard {
		if e.Alarm != nil && e.Alarm.Notify && e.Alarm.Alarm.Kind == alarm.ProbeSilent {
			told++
		}
	}
	if told == 0 || told > maxPitProbes {
		t.Errorf("the silence of %d of 100 made-up probes was told, want some, and at most %d", told, maxPitProbes)
	}
}
