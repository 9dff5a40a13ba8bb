package calibrate

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"stallkeeper/estimator/thermal"
)

var start = time.Date(2026, 7, 4, 9, 0, 0, 0, time.UTC)

// bath is a probe with a time constant that goes from the room into a bath, read every five seconds.
func bath(from, shown, tau, noise float64, d time.Duration) []Sample {
	random := rand.New(rand.NewPCG(1, 2))
	var out []Sample
	for t := time.Duration(0); t <= d; t += 5 * time.Second {
		c := shown + (from-shown)*math.Exp(-t.Seconds()/tau) + noise*random.NormFloat64()
		out = append(out, Sample{start.Add(t), thermal.Celsius(c)})
	}
	return out
}

// Boiling points by IAPWS-IF97 over the standard atmosphere; computed from the published formulas.
func TestReference_BoilingPointByAltitudeAndPressure(t *testing.T) {
	for altitude, want := range map[float64]float64{0: 99.97, 150: 99.48, 300: 98.98, 500: 98.31, 750: 97.48, 1000: 96.65, 1500: 94.98, 1609: 94.62,
		2000: 93.32, 2500: 91.64, 3000: 89.97} {
		got, err := Reference(Boil, Place{AltitudeM: altitude})
		if err != nil || math.Abs(float64(got)-want) > 0.006 {
			t.Errorf("boil at %v m = %.3f, %v; want %v", altitude, float64(got), err, want)
		}
	}
	// T_s(0.1 MPa) = 372.755919 K, IAPWS R7-97 table 36. About 0.28 °C for 10 hPa.
	got, err := Reference(Boil, Place{PressurePa: 100e3})
	if err != nil || math.Abs(got.Kelvin()-372.755919) > 1e-5 {
		t.Errorf("boil at 1000 hPa = %v, %v", got, err)
	}
	more, err := Reference(Boil, Place{PressurePa: 101e3})
	if err != nil || math.Abs(float64(more-got)-0.28) > 0.005 {
		t.Errorf("10 hPa are %v K, %v", more-got, err)
	}
	if got, err := Reference(Ice, Place{AltitudeM: 1e9}); err != nil || got != 0 {
		t.Errorf("ice = %v, %v", got, err)
	}
	for _, p := range []Place{{AltitudeM: 9000}, {PressurePa: 1013}, {AltitudeM: math.NaN()}} {
		if _, err := Reference(Boil, p); err == nil {
			t.Errorf("Reference(boil, %v) was given", p)
		}
	}
}

func TestSettle_WaitsForRest(t *testing.T) {
	for _, test := range []struct {
		name    string
		samples []Sample
		waiting string
	}{
		{"nothing", nil, "no reading"},
		{"just in", bath(21, 0.4, 20, 0.05, 30*time.Second), "readings over 30 s"},
		{"creeping", bath(21, 0.4, 60, 0.02, 4*time.Minute), "still moving -"},
		{"in the room", bath(21, 21, 20, 0.05, 5*time.Minute), "is the probe in?"},
		{"boiling hard on a loose wire", bath(0.4, 0.4, 20, 0.5, 5*time.Minute), "stir"},
		{"settled", bath(21, 0.4, 20, 0.05, 5*time.Minute), ""},
	} {
		got, waiting := Settle(test.samples, 0, DefaultRest())
		if (test.waiting == "") != (waiting == "") || !strings.Contains(waiting, test.waiting) {
			t.Errorf("%s: waiting %q, want %q", test.name, waiting, test.waiting)
		}
		if test.waiting == "" && math.Abs(float64(got)-0.4) > 0.05 {
			t.Errorf("%s: %v, want 0.4", test.name, got)
		}
	}
}

// Whatever the time constant, up to two and a half minutes: once Settle is content, less than 0.4 K is left to go.
func TestSettle_IsNotFooledBySlowProbes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tau := rapid.Float64Range(2, 150).Draw(t, "tau")
		all := bath(21, 0.4, tau, 0, 40*time.Minute)
		for i := range all {
			if got, waiting := Settle(all[:i+1], 0, DefaultRest()); waiting == "" {
				if off := math.Abs(float64(got) - 0.4); off > 0.4 {
					t.Fatalf("settled %v K off", off)
				}
				return
			}
		}
		t.Fatal("never settled")
	})
}

func TestFit_AndJudge(t *testing.T) {
	ice, boil := Point{Ice, start, 0, 1.4}, Point{Boil, start, 98.98, 99.2}
	if Judge([]Point{ice, boil}, DefaultTolerance) || !Judge([]Point{boil}, DefaultTolerance) || Judge(nil, DefaultTolerance) {
		t.Error("a point at 1.4 °C of error passed, one at 0.2 failed, or none passed")
	}
	line, err := Fit([]Point{ice, boil})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range []Point{ice, boil} {
		if got := line.Apply(p.Shown); math.Abs(float64(got-p.Reference)) > 1e-9 {
			t.Errorf("%v shown = %v, want %v", p.Shown, got, p.Reference)
		}
	}
	offset, err := Fit([]Point{ice})
	if err != nil || offset != (Correction{1, -1.4}) {
		t.Errorf("one point: %v, %v", offset, err)
	}
	for _, bad := range [][]Point{{}, {ice, ice}, {{Ice, start, 0, 12}}, {ice, {Boil, start, 99, 85}}, {ice, {Boil, start, 99, 1.4}}} {
		if c, err := Fit(bad); err == nil {
			t.Errorf("Fit(%v) = %v", bad, c)
		}
	}
}

func TestDue(t *testing.T) {
	year := 365.25 * 24 * time.Hour
	if !Due(time.Time{}, start, year) || Due(start, start.Add(year), year) || !Due(start, start.Add(year+time.Hour), year) {
		t.Error("Due")
	}
}
