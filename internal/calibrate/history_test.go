package calibrate

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"stallkeeper/estimator/thermal"
)

func day(n int) time.Time { return start.AddDate(0, 0, n) }

func checkAt(d int, ice float64, asLeft bool) Check {
	p := []Point{{Ice, day(d), 0, thermal.Celsius(ice)}}
	return Check{Time: day(d), Points: p, Tolerance: 1, Passed: Judge(p, 1), AsLeft: asLeft}
}

func TestStand_AFailedCheckPutsReadingsInDoubt(t *testing.T) {
	history := []Check{checkAt(60, 1.4, false), checkAt(0, 0.2, false), checkAt(30, 0.6, false), checkAt(60, 0.1, true)}
	s := Stand(history, day(80), 30*24*time.Hour)
	if s.Failed() || s.Due || !s.Last.AsLeft {
		t.Errorf("%+v: want the check as left to be the last and good", s)
	}
	for d, want := range map[int]bool{29: false, 30: true, 45: true, 59: true, 60: false, 70: false} {
		if got := s.InDoubt(day(d)); got != want {
			t.Errorf("a reading of day %d in doubt: %v, want %v", d, got, want)
		}
	}
	if s = Stand(history[:1], day(95), 30*24*time.Hour); !s.Failed() || !s.Due || !s.InDoubt(day(-1000)) || !s.InDoubt(day(94)) {
		t.Errorf("%+v: without a good check everything is in doubt", s)
	}
	if s = Stand(nil, day(0), time.Hour); s.Last != nil || s.Due || s.InDoubt(day(0)) {
		t.Errorf("%+v: never checked is neither due nor in doubt", s)
	}
}

// Errors of 0.1, 0.7 and 1.3 K at 0, 1 and 2 years rise by 0.6 K a year: 0.05 K a month.
func TestStand_DriftIsALine(t *testing.T) {
	year := time.Duration(365.25 * 24 * float64(time.Hour))
	var history []Check
	for i, e := range []float64{0.1, 0.7, 1.3} {
		at := start.Add(time.Duration(i) * year)
		history = append(history, Check{Time: at, Points: []Point{{Ice, at, 0, thermal.Celsius(e)}}})
	}
	s := Stand(history, start, 0)
	if len(s.Trends) != 1 || s.Trends[0].N != 3 || math.Abs(s.Trends[0].PerMonth-0.05) > 1e-9 {
		t.Errorf("trends = %+v, want 0.05 K a month over 3 checks", s.Trends)
	}
	if s = Stand([]Check{checkAt(0, 0.3, false), checkAt(1, 1.6, false)}, day(2), 0); len(s.Trends) != 0 {
		t.Errorf("trends = %+v over a day, want none", s.Trends)
	}
	history[2].AsLeft = true
	if s = Stand(history, start, 0); len(s.Trends) != 0 {
		t.Errorf("trends = %+v, want none: it was adjusted", s.Trends)
	}
}

func TestCompare_PairsNeighbours(t *testing.T) {
	at := func(s float64) time.Time { return start.Add(time.Duration(s * float64(time.Second))) }
	a := []Sample{{at(0), 10}, {at(10), 11}, {at(20), 12}, {at(60), 20}}
	b := []Sample{{at(1), 9.5}, {at(12), 10}, {at(13), 99}, {at(24), 11.5}}
	got := Compare(a, b, 5*time.Second) // differences 0.5, 1, 0.5; 99 is farther, and nothing is near 60 s
	if got.Pairs != 3 || math.Abs(float64(got.Mean)-2.0/3) > 1e-9 || got.Least != 0.5 || got.Most != 1 || math.Abs(float64(got.Spread)-0.288675) > 1e-6 {
		t.Errorf("Compare = %+v", got)
	}
	if got = Compare(a, nil, time.Minute); got.Pairs != 0 {
		t.Errorf("with nothing: %+v", got)
	}
}

// Two courses that differ by a constant differ by it, however the readings fall.
func TestCompare_FindsAConstant(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		off := rapid.Float64Range(-5, 5).Draw(t, "off")
		var a, b []Sample
		for i := range rapid.IntRange(2, 50).Draw(t, "n") {
			at := start.Add(time.Duration(i) * 10 * time.Second)
			jitter := time.Duration(rapid.IntRange(-4000, 4000).Draw(t, "jitter")) * time.Millisecond
			a = append(a, Sample{at, 50 + thermal.Celsius(off)})
			b = append(b, Sample{at.Add(jitter), 50})
		}
		if got := Compare(a, b, 5*time.Second); got.Pairs != len(a) || math.Abs(float64(got.Mean)-off) > 1e-9 || got.Spread > 1e-6 {
			t.Fatalf("Compare = %+v, want %v in %d pairs", got, off, len(a))
		}
	})
}
