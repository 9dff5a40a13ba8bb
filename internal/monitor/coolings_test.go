package monitor

import (
	"fmt"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/simulate"
)

// warned plays a simulated cooling as the chill of a lot: when people heard that its limit would be missed, and that it was; zero = never.
func warned(t *testing.T, c simulate.Cooling, physics bool) (risk, missed time.Time) {
	t.Helper()
	s := newShop(t)
	if physics {
		s.m.cool = estimator.New(estimator.DefaultPrior()).CoolTimes
	}
	s.begin(cook.StageWatch{Stage: cook.StageChill, Piece: "piece", Cut: c.Piece.Cut, MassKg: c.Piece.MassKg, ThicknessMM: c.Piece.ThicknessMM, Probes: []cook.ProbeID{"piece"}})
	var readings []cook.Reading
	for _, r := range simulate.Cool(c) {
		readings = append(readings, cook.Reading{Probe: "piece", Time: r.Time, Celsius: r.Celsius, Quality: cook.Good, Clock: cook.DeviceClock})
	}
	s.play(readings)
	for _, e := range s.heard {
		if e.Alarm == nil || e.Alarm.Alarm.State != alarm.Active {
			continue
		}
		at := e.Alarm.Alarm.Raised
		switch e.Alarm.Alarm.Kind {
		case alarm.CoolingRisk:
			if risk.IsZero() {
				risk = at
			}
		case alarm.Cooling:
			if missed.IsZero() {
				missed = at
			}
		}
	}
	return risk, missed
}

// How long before the miss the warning comes, and how many come in vain: with the forecaster's physics in the first half hour, and by
// continuing the last half hour alone. Four simulated coolings in the suite; STALLKEEPER_COOLINGS=120 makes the table of testdata/README.md.
func TestCoolings_AreWarnedOfInTime(t *testing.T) {
	n := 4
	if text := os.Getenv("STALLKEEPER_COOLINGS"); text != "" {
		var err error
		if n, err = strconv.Atoi(text); err != nil {
			t.Fatal(err)
		}
	}
	type tally struct {
		missed, unwarned, well, vain int
		leads                        []time.Duration
	}
	var got [2]tally
	for seed := range n {
		c := simulate.InventCooling(uint64(seed+1), start)
		for i := range got {
			risk, missed := warned(t, c, i == 1)
			k := &got[i]
			switch {
			case !missed.IsZero() && (risk.IsZero() || !risk.Before(missed)):
				k.missed, k.unwarned = k.missed+1, k.unwarned+1
			case !missed.IsZero():
				k.missed, k.leads = k.missed+1, append(k.leads, missed.Sub(risk))
			case !risk.IsZero():
				k.well, k.vain = k.well+1, k.vain+1
			default:
				k.well++
			}
		}
	}
	for i, k := range got {
		slices.Sort(k.leads)
		lead := "none"
		if len(k.leads) > 0 {
			lead = fmt.Sprintf("%v in the middle, %v at least", k.leads[len(k.leads)/2], k.leads[0])
		}
		t.Logf("physics %v: %d missed, %d of them without a warning, warned %s before; %d in time, %d warned of in vain", i == 1, k.missed, k.unwarned, lead, k.well, k.vain)
	}
	if by, without := got[1], got[0]; by.missed == 0 || by.unwarned > 0 || by.missed != without.missed || by.leads[len(by.leads)/2] < without.leads[len(without.leads)/2] {
		t.Errorf("with the physics %+v, without %+v", by, without)
	}
}
