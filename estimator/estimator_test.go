package estimator

import (
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
)

func TestForecast_LooksAtNothingLater(t *testing.T) {
	e := New(DefaultPrior())
	in := brisket(t, time.Minute)
	in.Events = []Event{{Time: minutes(200), Kind: Lid}, {Time: minutes(400), Kind: SetPoint, Celsius: 121}, {Time: minutes(430), Kind: Wrap, With: Foil}}
	rng := rand.New(rand.NewPCG(1, 2))
	for range 12 {
		at := minutes(20 + 570*rng.Float64())
		cut := in
		cut.Core, cut.Pit, cut.Events = nil, nil, nil
		for _, s := range in.Core {
			if !s.Time.After(at) {
				cut.Core = append(cut.Core, s)
			}
		}
		for _, s := range in.Pit {
			if !s.Time.After(at) {
				cut.Pit = append(cut.Pit, s)
			}
		}
		for _, ev := range in.Events {
			if !ev.Time.After(at) {
				cut.Events = append(cut.Events, ev)
			}
		}
		if got, want := e.Forecast(in, at), e.Forecast(cut, at); !same(got, want) {
			t.Fatalf("at %v the whole log gives %v, the log so far %v", at, got.Ready, want.Ready)
		}
	}
}

// same compares forecasts, missing values included.
func same(a, b Forecast) bool {
	if math.IsNaN(a.WaterKg) && math.IsNaN(b.WaterKg) {
		a.WaterKg, b.WaterKg = 0, 0
	}
	if math.IsNaN(float64(a.Core)) && math.IsNaN(float64(b.Core)) {
		a.Core, b.Core = 0, 0
	}
	return reflect.DeepEqual(a, b)
}

func TestTracker_EqualsForecastInAnyOrder(t *testing.T) {
	e := New(DefaultPrior())
	in := brisket(t, 4*time.Second) // finer than what is kept
	bare := in
	bare.Core, bare.Pit = nil, nil
	tr := e.Track(bare)
	core, pit := append([]Sample(nil), in.Core...), append([]Sample(nil), in.Pit...)
	rng := rand.New(rand.NewPCG(3, 4))
	for i := 0; i < len(core); i += 40 { // late by up to forty samples, with repeats
		part := core[i:min(i+40, len(core))]
		rng.Shuffle(len(part), func(i, j int) { part[i], part[j] = part[j], part[i] })
		tr.AddCore(part...)
		tr.AddCore(part[0])
		tr.AddPit(pit[i:min(i+40, len(pit))]...)
	}
	for _, m := range []float64{600, 333} {
		if got, want := tr.Forecast(minutes(m)), e.Forecast(in, minutes(m)); !same(got, want) {
			t.Errorf("at minute %v the tracker gives %v, Forecast %v", m, got.Ready, want.Ready)
		}
	}
	beside := tr.Beside(bare) // shares the pit
	beside.AddCore(in.Core...)
	if got, want := beside.Forecast(minutes(600)), e.Forecast(in, minutes(600)); !same(got, want) {
		t.Errorf("beside another the tracker gives %v, Forecast %v", got.Ready, want.Ready)
	}
	amended := bare
	amended.Target = 80
	tr.Amend(amended)
	in.Target = 80
	if got, want := tr.Forecast(minutes(600)), e.Forecast(in, minutes(600)); !same(got, want) {
		t.Errorf("after Amend the tracker gives %v, Forecast %v", got.Ready, want.Ready)
	}
}

// A hobbyist's hand log of a 2.0 kg pork shoulder at 110 °C, uncontrolled, 1 °F resolution, one reading an hour; no
// published source.
func TestForecast_HandLog(t *testing.T) {
	readings := []float64{7.8, 21.1, 42.8, 60.0, 65.6, 72.2, 73.9, 79.4}
	e := New(DefaultPrior())
	in := Input{Cut: PorkShoulder, MassKg: 2.0, Target: 93, Started: lit, SetPoint: 110}
	for h, c := range readings {
		in.Core = append(in.Core, Sample{minutes(60 * float64(h)), thermal.Celsius(c)})
		f := e.Forecast(in, minutes(60*float64(h)))
		checkSane(t, &f)
		if h < 2 {
			continue
		}
		if f.Ready[5].IsZero() {
			t.Fatalf("after %d readings the band is open: %v, PNever %v", h+1, f.Ready, f.PNever)
		}
		if total := f.Ready[3].Sub(lit).Hours(); total < 6 || total > 18 {
			t.Errorf("after %d readings the median is %.1f h after the start, want 6 to 18", h+1, total)
		}
		// Unwrapped shoulders of this size take 6 to 30 h: the band must start wide and narrow.
		widest := 21.0
		if h >= 5 {
			widest = 12
		}
		width := f.Ready[5].Sub(f.Ready[1]).Hours()
		t.Logf("%d readings: ready after %.1f h, band %.1f h", h+1, f.Ready[3].Sub(lit).Hours(), width)
		if width < 0.5 || width > widest {
			t.Errorf("after %d readings the band is %.1f h wide, want 0.5 to %v", h+1, width, widest)
		}
	}
}

// At 1609 m water boils at 94.62 °C (computed, IF97 and the standard atmosphere).
func TestForecast_OutOfReach(t *testing.T) {
	e := New(DefaultPrior())
	boiling := brisket(t, time.Minute)
	boiling.Target, boiling.AltitudeM = 95, 1609
	boiling.Events = []Event{{Time: minutes(420), Kind: Wrap, With: Foil}}
	planned := boiling
	planned.Events = nil
	planned.Plan = &WrapPlan{With: Foil, AtCelsius: 74}
	above := brisket(t, time.Minute)
	above.Target = 112
	for _, c := range []struct {
		name, because string
		in            Input
	}{{"boiling point in foil", "94.6 °C", boiling}, {"boiling point, foil planned", "94.6 °C", planned}, {"target above the pit", "pit", above}} {
		f := e.Forecast(c.in, minutes(600))
		checkSane(t, &f)
		if f.PNever <= 0.8 {
			t.Errorf("%s: PNever = %v, want above 0.8", c.name, f.PNever)
		}
		if !strings.Contains(f.Because, c.because) || !strings.Contains(f.Because, "target") {
			t.Errorf("%s: because %q, want the reason with %q", c.name, f.Because, c.because)
		}
	}
}

func TestForecast_ReadyIsTheMeasuredTime(t *testing.T) {
	in := Input{Cut: PorkLoin, Target: 60, Started: lit, SetPoint: 120, Core: curve(t, time.Minute, "0:5 100:61 130:66"), Pit: curve(t, time.Minute, "0:120 130:120")}
	in.Core[40].Celsius = 300 // a spike readies nothing
	f := New(DefaultPrior()).Forecast(in, minutes(130))
	// The curve passes 60 °C at 98.2 min; the median of five readings, one a minute, trails it by two minutes.
	want := minutes(101)
	if f.State != Ready || f.Ready[0] != want || f.Ready[6] != want || f.PNever != 0 {
		t.Errorf("Forecast = %v %v, want ready at %v", f.State, f.Ready, want)
	}
	if out := f.ReadyBy(minutes(120)); out != 1 {
		t.Errorf("ReadyBy = %v, want 1", out)
	}
}

func TestForecast_SpikesAndPowerOnValuesChangeLittle(t *testing.T) {
	e := New(DefaultPrior())
	in := brisket(t, 15*time.Second)
	clean := e.Forecast(in, minutes(600))
	rng := rand.New(rand.NewPCG(5, 6))
	for i := range in.Core {
		if rng.Float64() < 0.01 {
			in.Core[i].Celsius = []thermal.Celsius{-127, 85, 300, 20}[rng.IntN(4)]
		}
	}
	dirty := e.Forecast(in, minutes(600))
	if d := dirty.Ready[3].Sub(clean.Ready[3]).Abs(); d > 15*time.Minute {
		t.Errorf("spikes move the median by %v", d)
	}
}

// Before the piece is on nothing is known; then what it is and its pit say as much as they can.
func TestForecast_WithoutReadings(t *testing.T) {
	e := New(DefaultPrior())
	in := Input{Cut: PorkLoin, MassKg: 1.8, Target: 63, SetPoint: 121, Started: lit}
	early := e.Forecast(in, lit.Add(-time.Minute))
	checkSane(t, &early)
	if early.State != Unknown || early.PNever != 1 || len(early.Draws) != 0 {
		t.Errorf("before the start: %+v", early)
	}
	f := e.Forecast(in, minutes(10))
	checkSane(t, &f)
	if f.State != Unknown || !math.IsNaN(float64(f.Core)) || !math.IsNaN(f.WaterKg) || !strings.Contains(f.Because, "no core reading yet") {
		t.Errorf("after ten minutes without a reading: %s, core %v, water %v, %q", f.State, f.Core, f.WaterKg, f.Because)
	}
	in.Core = []Sample{{minutes(1), 5}}
	read := e.Forecast(in, minutes(10))
	if f.PNever > 0.1 || f.Ready[3].Sub(read.Ready[3]).Abs() > 30*time.Minute {
		t.Errorf("without a reading about %v (never %.2f), with one of 5 °C about %v", f.Ready[3], f.PNever, read.Ready[3])
	}
	in.Target = thermal.Celsius(math.NaN())
	if f := e.Forecast(in, minutes(10)); f.PNever != 1 || !strings.Contains(f.Because, "no target") {
		t.Errorf("without a target: %.2f, %q", f.PNever, f.Because)
	}
}

func TestForecast_AWrapNobodyWroteDown(t *testing.T) {
	e := New(DefaultPrior())
	in := brisket(t, time.Minute)
	in.Core = curve(t, time.Minute, "0:5 15:5.5 60:25 120:46 180:58 240:64 300:66.5 420:68.5 430:68.6 450:71 480:76 510:80.5")
	told := in
	told.Events = []Event{{Time: minutes(425), Kind: Wrap, With: Foil}}
	f, g := e.Forecast(in, minutes(510)), e.Forecast(told, minutes(510))
	if d := f.Ready[3].Sub(g.Ready[3]); d > time.Hour {
		t.Errorf("without the event the median is %v later", d)
	}
}

func TestWhatIf(t *testing.T) {
	e := New(DefaultPrior())
	in, at := brisket(t, time.Minute), minutes(600)
	base := e.Forecast(in, at)
	for name, a := range map[string]Action{
		"foil now":          {Kind: Wrap, With: Foil},
		"raise by 14 °C":    {Kind: SetPoint, Celsius: 121},
		"paper at 76 °C":    {Kind: Wrap, With: Paper, AtCore: 76},
		"raise in an hour":  {Kind: SetPoint, Celsius: 128, At: at.Add(time.Hour)},
		"foil in two hours": {Kind: Wrap, With: Foil, At: at.Add(2 * time.Hour)},
	} {
		f := e.WhatIf(in, at, a)
		checkSane(t, &f)
		if !f.Ready[3].Before(base.Ready[3]) {
			t.Errorf("%s: ready %v, without it %v", name, f.Ready[3], base.Ready[3])
		}
		if tracked := e.Track(in).WhatIf(at, a); !same(tracked, f) {
			t.Errorf("%s: the tracker answers differently", name)
		}
	}
}

func TestAdvise(t *testing.T) {
	e := New(DefaultPrior())
	in, at := brisket(t, time.Minute), minutes(600)
	base := e.Forecast(in, at)
	if a, ok := e.Advise(in, at, base.Ready[6].Add(time.Hour)); !ok || !strings.HasPrefix(a.Do, "nothing") || a.PReady < 0.9 {
		t.Errorf("with time to spare: %+v %v, want nothing", a, ok)
	}
	foil := e.WhatIf(in, at, Action{Kind: Wrap, With: Foil})
	a, ok := e.Advise(in, at, foil.Ready[6].Add(10*time.Minute))
	if !ok || a.PReady < 0.9 || len(a.Events) == 0 || a.Costs == "" {
		t.Errorf("short of time: %+v %v, want an action", a, ok)
	}
	if a, ok := e.Advise(in, at, at.Add(10*time.Minute)); ok {
		t.Errorf("ten minutes: %+v, want none", a)
	}
}

func TestJoint(t *testing.T) {
	e := New(DefaultPrior())
	at := minutes(600)
	late := brisket(t, time.Minute)
	soon := late
	soon.Target, soon.Cut = 80, PorkShoulder
	fs := []Forecast{e.Forecast(late, at), e.Forecast(soon, at)}
	all := AllReady(fs)
	for i := range all {
		if !all[i].IsZero() && all[i].Before(fs[0].Ready[i].Add(-30*time.Minute)) {
			t.Errorf("all ready %v before the later piece %v at level %v", all[i], fs[0].Ready[i], Levels[i])
		}
	}
	if first := FirstReady(fs); first[1] < 0.9 || first[0]+first[1] > 1.000001 {
		t.Errorf("FirstReady = %v, want the lower target first", first)
	}
	until, ok := QuietUntil(fs)
	if !ok || until.Before(at) || until.After(fs[1].Ready[2]) {
		t.Errorf("QuietUntil = %v %v", until, ok)
	}
	if fuel := at.Add(5 * time.Minute); true {
		if until, _ := QuietUntil(fs, fuel); until != fuel {
			t.Errorf("QuietUntil with fuel due = %v, want %v", until, fuel)
		}
	}
	if p := AllReadyBy(fs, all[3]); math.Abs(p-0.5) > 0.02 {
		t.Errorf("AllReadyBy at the median = %v", p)
	}
}

func TestForecast_ALongFastLog(t *testing.T) {
	in := Input{Cut: BrisketPacker, MassKg: 6, Target: 98, Started: lit, SetPoint: 104,
		Core: curve(t, time.Second, "0:5 300:60 600:68 2880:80"), Pit: curve(t, time.Second, "0:104 2880:104")}
	f := New(DefaultPrior()).Forecast(in, minutes(2880))
	checkSane(t, &f)
}
