package estimator

import (
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
)

func TestForecast_ProbePulledOutAndPutBack(t *testing.T) {
	e := New(DefaultPrior())
	in := brisket(t, time.Minute)
	undisturbed := e.Forecast(in, minutes(600))
	for i := range in.Core {
		if m := in.Core[i].Time.Sub(lit).Minutes(); m > 400 && m < 430 {
			in.Core[i].Celsius = 24
		}
	}
	out := e.Forecast(in, minutes(420))
	checkSane(t, &out)
	if out.Core < 60 {
		t.Errorf("with the probe on the table the core is said to be %v", out.Core)
	}
	back := e.Forecast(in, minutes(600))
	if d := back.Ready[3].Sub(undisturbed.Ready[3]).Abs(); d > 20*time.Minute {
		t.Errorf("half an hour on the table moves the median by %v", d)
	}
}

func TestForecast_ProbePushedDeeper(t *testing.T) {
	e := New(DefaultPrior())
	in := brisket(t, time.Minute)
	for i := range in.Core { // 7 °C warmer until it is pushed to the centre
		if m := in.Core[i].Time.Sub(lit).Minutes(); m > 20 && m < 390 {
			in.Core[i].Celsius += thermal.Celsius(min(7, (m-20)/10))
		}
	}
	in.Events = []Event{{Time: minutes(390), Kind: ProbeMoved}}
	f := e.Forecast(in, minutes(600))
	checkSane(t, &f)
	if core := f.Core; core < 70 || core > 74 {
		t.Errorf("core = %v", core)
	}
	straight := e.Forecast(brisket(t, time.Minute), minutes(600))
	ratio := f.Ready[3].Sub(f.At).Hours() / straight.Ready[3].Sub(f.At).Hours()
	if ratio < 0.5 || ratio > 2 {
		t.Errorf("%.2f times as long to go as with the probe in one place", ratio)
	}
}
