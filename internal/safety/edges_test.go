package safety

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// outcomeOf gives the outcome and whether the rule printed anything.
func outcomeOf(v Verdict, ok bool) string {
	if !ok {
		return "nothing"
	}
	return v.Outcome.String()
}

var oneDegreeF = Settings{InstrumentError: thermal.CelsiusDelta(1 / 1.8)}

// FSIS-GD-2021-14: between 50 and 130 °F within 6 h in all; 1 °F of the thermometer widens the window at both ends.
func TestComeUp_EdgesOfTheWindow(t *testing.T) {
	climb := func(from, to, seconds float64) Trace {
		tr := Trace{Probe: "core", Readings: []cook.Reading{at(-600, from-1), at(0, from)}}
		for s := 600.0; s < seconds; s += 600 {
			tr.Readings = append(tr.Readings, at(s, from+1+(to-from-2)*s/seconds))
		}
		tr.Readings = append(tr.Readings, at(seconds, to), at(seconds+600, 160), at(seconds+660, 160))
		return tr
	}
	for _, c := range []struct {
		name              string
		from, to, seconds float64
		s                 Settings
		want              string
	}{
		{"6 h from 50 to 130", 50, 130, 21600, Settings{}, "met"},
		{"a second less", 50, 130, 21599, Settings{}, "met"},
		{"a second more", 50, 130, 21601, Settings{}, "missed"},
		{"129.9 °F is not out of the window", 50, 129.9, 21600, Settings{}, "missed"},
		{"49.9 °F begins before the window, the interval counts whole", 49.9, 130, 21600, Settings{}, "met"},
		{"1 °F of the thermometer: 130 °F is not surely reached", 50, 130, 21600, oneDegreeF, "missed"},
		{"1 °F of the thermometer: from 49 to 131", 49, 131, 21600, oneDegreeF, "met"},
		{"1 °F of the thermometer: from 49 to 131, a second more", 49, 131, 21601, oneDegreeF, "missed"},
		{"a shop's own 5 h", 50, 130, 18001, Settings{Own: Limits{ComeUp: 5 * time.Hour}}, "missed"},
		{"a shop's own 5 h, kept", 50, 130, 18000, Settings{Own: Limits{ComeUp: 5 * time.Hour}}, "met"},
	} {
		if got := outcomeOf(comeUp(climb(c.from, c.to, c.seconds), Meat7(), false, c.s)); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

// Every leg of every cooling rule: at its time, a second less, a second more; 0.1 °F above its end is not there; 1 °F of the
// thermometer asks for 1 °F more at both ends. Sources stand with the rules (FDA Food Code 2022 3-501.14; FSIS Appendix B 1999 and
// FSIS-GD-2021-13; options 3 and 4 from memory).
func TestCooling_EveryLegAtItsEdges(t *testing.T) {
	for _, rule := range []CoolingRule{CoolingFoodCode(), Cooling1(), Cooling2(), CoolingCured(), CoolingSlow()} {
		for i, g := range rule.Stages {
			leg := func(fromF, toF, seconds float64, s Settings) string {
				tr := dense([][2]float64{{-600, fromF + 20}, {0, fromF}, {1, fromF - 1}, {seconds - 1, toF + 1}, {seconds, toF}, {seconds + 300, toF - 1}})
				return outcomeOf(coolingStage(tr, g, s))
			}
			within := g.Within.Seconds()
			for _, c := range []struct {
				name string
				got  string
				want string
			}{
				{"at its time", leg(g.FromF, g.ToF, within, Settings{}), "met"},
				{"a second less", leg(g.FromF, g.ToF, within-1, Settings{}), "met"},
				{"a second more", leg(g.FromF, g.ToF, within+1, Settings{}), "missed"},
				{"0.1 °F above its end", leg(g.FromF, g.ToF+.1, within, Settings{}), "missed"},
				{"1 °F of the thermometer, to the printed end", leg(g.FromF+1, g.ToF, within, oneDegreeF), "missed"},
				{"1 °F of the thermometer, 1 °F more at both ends", leg(g.FromF+1, g.ToF-1, within, oneDegreeF), "met"},
				{"the same, a second more", leg(g.FromF+1, g.ToF-1, within+1, oneDegreeF), "missed"},
			} {
				if c.got != c.want {
					t.Errorf("%s, leg %d, %s: %s, want %s", rule.Name, i+1, c.name, c.got, c.want)
				}
			}
		}
	}
}

// Common practice without an authority: at most 4 h between 5 and 57 °C, and between 4 and 60 °C.
func TestDangerZone_ToTheSecond(t *testing.T) {
	for _, zone := range [][2]thermal.Celsius{{4, 60}, {5, 57}} {
		lo, hi := zone[0], zone[1]
		stay := func(seconds float64, low, high thermal.Celsius, s Settings) Outcome {
			r := []cook.Reading{{Celsius: low}, {Celsius: low}}
			r[1].Time = start
			r[0].Time = start.Add(-10 * time.Minute)
			for x := 600.0; x < seconds; x += 600 {
				r = append(r, cook.Reading{Time: start.Add(time.Duration(x) * time.Second), Celsius: 30})
			}
			end := start.Add(time.Duration(seconds) * time.Second)
			r = append(r, cook.Reading{Time: end, Celsius: high}, cook.Reading{Time: end.Add(10 * time.Minute), Celsius: high})
			return dangerZone(Trace{Probe: "core", Readings: r}, lo, hi, s).Outcome
		}
		for _, c := range []struct {
			name      string
			seconds   float64
			low, high thermal.Celsius
			s         Settings
			want      Outcome
		}{
			{"4 h", 14400, lo, hi, Settings{}, Met},
			{"a second more", 14401, lo, hi, Settings{}, Missed},
			{"a second less", 14399, lo, hi, Settings{}, Met},
			{"a tenth inside at the end", 14400, lo, hi - .1, Settings{}, Missed},
			{"1 °F of the thermometer", 14400, lo, hi, oneDegreeF, Missed},
			{"a shop's own 2 h", 7201, lo, hi, Settings{Own: Limits{DangerZone: 2 * time.Hour}}, Missed},
		} {
			if got := stay(c.seconds, c.low, c.high, c.s); got != c.want {
				t.Errorf("%g to %g °C, %s: %v, want %v", float64(lo), float64(hi), c.name, got, c.want)
			}
		}
	}
}

// Hot holding: USDA 140 °F, Food Code 135 °F, roasts 130 °F (FC 3-501.16). Cold holding: 41 °F (FC 3-501.16), USDA 40 °F.
func TestHolding_AtItsLimit(t *testing.T) {
	for _, limit := range []float64{140, 135, 130} {
		hold := func(f float64, s Settings) string {
			tr := dense([][2]float64{{0, 170}, {1800, f}, {3600, f}, {5400, 170}})
			return outcomeOf(hotHolding(tr, start, limit, "", s))
		}
		for _, c := range []struct {
			f    float64
			s    Settings
			want string
		}{{limit, Settings{}, "met"}, {limit - .1, Settings{}, "missed"}, {limit, oneDegreeF, "missed"}, {limit + 1, oneDegreeF, "met"}, {limit + .9, oneDegreeF, "missed"}} {
			if got := hold(c.f, c.s); got != c.want {
				t.Errorf("held at %g of %g °F, instrument %.2g: %s, want %s", c.f, limit, float64(c.s.InstrumentError), got, c.want)
			}
		}
	}
	for _, limit := range []float64{41, 40} {
		keep := func(f float64, s Settings) string {
			tr := dense([][2]float64{{0, 160}, {7200, 70}, {18000, limit - 5}, {20000, f}, {22000, f}})
			return outcomeOf(coldHolding(tr, limit, "", s))
		}
		for _, c := range []struct {
			f    float64
			s    Settings
			want string
		}{{limit, Settings{}, "met"}, {limit + .1, Settings{}, "missed"}, {limit, oneDegreeF, "missed"}, {limit - 1, oneDegreeF, "met"}, {limit - .9, oneDegreeF, "missed"}} {
			if got := keep(c.f, c.s); got != c.want {
				t.Errorf("kept at %g of %g °F, instrument %.2g: %s, want %s", c.f, limit, float64(c.s.InstrumentError), got, c.want)
			}
		}
	}
}

// The limits of the pit are choices of this project: never above 280 °C, not below 93 °C for more than an hour on end.
func TestPit_ToTheSecond(t *testing.T) {
	judge := func(r ...[2]float64) string {
		tr := Trace{Probe: "pit"}
		for _, p := range r {
			tr.Readings = append(tr.Readings, cook.Reading{Probe: "pit", Time: start.Add(time.Duration(p[0]) * time.Second), Celsius: thermal.Celsius(p[1])})
		}
		return outcomeOf(pit(tr, []Trace{{Probe: "core"}}, Settings{MaxGap: 2 * time.Hour}))
	}
	for _, c := range []struct {
		name, got, want string
	}{
		{"280 °C", judge([2]float64{0, 107}, [2]float64{60, 280}), "met"},
		{"a tenth more", judge([2]float64{0, 107}, [2]float64{60, 280.1}), "missed"},
		{"cold for an hour", judge([2]float64{0, 107}, [2]float64{60, 92}, [2]float64{3600, 92}), "met"},
		{"an hour and a second", judge([2]float64{0, 107}, [2]float64{60, 92}, [2]float64{3601, 92}), "missed"},
		{"93 °C is not cold", judge([2]float64{0, 107}, [2]float64{60, 93}, [2]float64{7000, 93}), "met"},
	} {
		if c.got != c.want {
			t.Errorf("%s: %s, want %s", c.name, c.got, c.want)
		}
	}
}

// Removing readings at or above a cooking limit, whichever of the table's rows it is, or at or below a cooling limit, never turns
// missed or unknown into met. A log without its cold beginning is another log, which begins hot: what is cold before it was hot stays.
func TestProperty_NothingIsGainedByLosingReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawBroken(t)
		hot := rapid.SampledFrom([]float64{130, 135, 140, 145, 150, 158, 165}).Draw(t, "cooking limit")
		cold := rapid.SampledFrom([]float64{80, 70, 55, 45, 41, 40}).Draw(t, "cooling limit")
		var cooler, warmer []cook.Reading
		been := false
		for i, x := range r {
			lose := i%rapid.IntRange(1, 4).Draw(t, "one in") == 0
			if f := x.Celsius.Fahrenheit(); !lose || f < hot {
				cooler = append(cooler, x)
			}
			been = been || x.Celsius.Fahrenheit() >= 120
			if f := x.Celsius.Fahrenheit(); !been || !lose || f > cold {
				warmer = append(warmer, x)
			}
		}
		for _, c := range []struct {
			set  string
			rule Rule
			left []cook.Reading
		}{
			{"fsis-meat-6.5log", Dwell, cooler}, {"fsis-meat-7log", Dwell, cooler}, {"foodcode-2022", Dwell, cooler},
			{"foodcode-2022", Cooling, warmer}, {"fsis-cooling-1", Cooling, warmer}, {"fsis-cooling-2", Cooling, warmer}, {"fsis-cooling-cured", Cooling, warmer},
			{"fsis-cooling-4", Cooling, warmer},
		} {
			before, had := verdict(t, c.set, c.rule, r, Settings{})
			after, has := verdict(t, c.set, c.rule, c.left, Settings{})
			if had && has && before != Met && after == Met {
				t.Fatalf("%s %s: losing readings turned %v into met", c.set, c.rule, before)
			}
		}
	})
}
