package estimator

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
)

var lit = time.Date(2026, 5, 2, 20, 0, 0, 0, time.UTC)

// curve turns "0:5 120:50 240:66" (minute:celsius, straight lines between) into a sample every so often.
func curve(tb testing.TB, every time.Duration, text string) []Sample {
	tb.Helper()
	var out []Sample
	var lastM, lastC float64
	for i, word := range strings.Fields(text) {
		var m, c float64
		if _, err := fmt.Sscanf(word, "%f:%f", &m, &c); err != nil {
			tb.Fatalf("curve %q: %v", word, err)
		}
		if i > 0 {
			for t := time.Duration(lastM * 6e10); t < time.Duration(m*6e10); t += every {
				f := (t.Minutes() - lastM) / (m - lastM)
				out = append(out, Sample{lit.Add(t), thermal.Celsius(lastC + f*(c-lastC))})
			}
		}
		lastM, lastC = m, c
	}
	return append(out, Sample{lit.Add(time.Duration(lastM * 6e10)), thermal.Celsius(lastC)})
}

// brisket is a cook with a long stall, ten hours in.
func brisket(tb testing.TB, every time.Duration) Input {
	return Input{
		Cut: BrisketFlat, MassKg: 2.4, ThicknessMM: 52, Target: 92.5, Started: lit, SetPoint: 107,
		Core: curve(tb, every, "0:5 15:5.5 60:25 120:46 180:58 240:64 300:66.5 420:68.5 600:72"),
		Pit:  curve(tb, every, "0:106 100:108 200:105 300:109 400:106 500:108 600:106"),
	}
}

func minutes(m float64) time.Time { return lit.Add(time.Duration(m * 6e10)) }

// checkSane fails unless a forecast keeps the promises that hold for any input.
func checkSane(tb testing.TB, f *Forecast) {
	tb.Helper()
	if !(f.PNever >= 0 && f.PNever <= 1) {
		tb.Fatalf("PNever = %v, want a probability", f.PNever)
	}
	var last time.Time
	for i, q := range f.Ready {
		if zero := Levels[i] > 1-f.PNever; q.IsZero() != zero && f.State != Ready {
			tb.Fatalf("Ready[%d] = %v with PNever %v: must be zero exactly where the level is above 1-PNever", i, q, f.PNever)
		}
		if q.IsZero() {
			continue
		}
		if q.Before(f.At) && f.State != Ready {
			tb.Fatalf("Ready[%d] = %v before %v", i, q, f.At)
		}
		if q.Before(last) {
			tb.Fatalf("Ready = %v: not ascending", f.Ready)
		}
		last = q
	}
	for _, p := range f.Path {
		for _, c := range []thermal.Celsius{p.P05, p.P10, p.P25, p.P50, p.P75, p.P90, p.P95} {
			if math.IsNaN(float64(c)) || math.IsInf(float64(c), 0) {
				tb.Fatalf("the fan has %v at %v", c, p.Time)
			}
		}
		if p.P05 > p.P50 || p.P50 > p.P95 {
			tb.Fatalf("the fan is not ordered at %v: %+v", p.Time, p)
		}
	}
	if f.Because == "" {
		tb.Fatal("no reason is given")
	}
}

func mustLearnPit(tb testing.TB, cooks []Finished) Prior {
	tb.Helper()
	p, err := LearnPit(DefaultPrior(), cooks)
	if err != nil {
		tb.Fatal(err)
	}
	return p
}
