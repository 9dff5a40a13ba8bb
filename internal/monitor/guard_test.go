package monitor

import (
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
)

// broken is a forecaster with a mistake in it.
type broken struct{ line }

func (*broken) Forecast(time.Time) estimator.Forecast                    { panic("index out of range") }
func (*broken) WhatIf(time.Time, ...estimator.Action) estimator.Forecast { panic("index out of range") }

// A mistake in the forecaster costs the forecast; the watch and its alarms go on.
func TestForesee_SurvivesABrokenForecaster(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.m = newTested()
	n.m.track = func(in estimator.Input, _ tracker) tracker { return &broken{line{in: in}} }
	n.do(n.m.CookChanged(n.cook, n.now))
	said := 0
	for i := range 40 {
		n.now = minute(float64(i) / 4)
		effects := n.m.Apply(committed(int64(2*i)+1, []cook.Reading{{Probe: "flat", Time: n.now, Celsius: 40, Arrived: n.now},
			{Probe: "pit", Time: n.now, Celsius: 107, Arrived: n.now}}), n.now)
		for _, e := range append(effects, n.m.Tick(n.now)...) {
			if f := e.Forecast; f != nil && f.Failed != nil {
				said++
				if !strings.Contains(f.Failed.Error(), "index out of range") || !strings.Contains(string(f.JSON), "the forecaster failed") {
					t.Errorf("told %q, published %s", f.Failed, f.JSON)
				}
			}
		}
	}
	if said == 0 {
		t.Error("no failure was told")
	}
	if _, err := n.m.WhatIf(1, "flat", nil); err == nil || !strings.Contains(err.Error(), "report it") {
		t.Errorf("a what-if of a broken forecaster gives %v", err)
	}
	if got := n.m.Snapshot().Failures; got != uint64(said)+1 {
		t.Errorf("%d panics counted, %d forecasts and a what-if failed", got, said)
	}
}
