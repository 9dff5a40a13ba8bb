package safety

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// verdict gives the outcome of one rule of one set on readings; there is false when the rule printed nothing.
func verdict(t interface{ Fatal(...any) }, set string, rule Rule, r []cook.Reading, s Settings) (o Outcome, there bool) {
	sets, err := Find([]string{set})
	if err != nil {
		t.Fatal(err)
	}
	x := Subject{Piece: cook.Piece{ID: "core", Cut: "other"}, Traces: []Trace{{Probe: "core", Readings: r}}}
	for _, v := range Judge(x, sets, s) {
		if v.Rule == rule {
			return v.Outcome, true
		}
	}
	return Unknown, false
}

func points(p ...[2]float64) []cook.Reading { return dense(p).Readings }

// FSIS-GD-2021-14: the come-up clock counts the total between 50 and 130 °F and resets only after a lethal cook.
func TestComeUp_ADipBelow50DoesNotResetTheClock(t *testing.T) {
	r := points([2]float64{0, 40}, [2]float64{4 * 3600, 110}, [2]float64{5 * 3600, 45}, [2]float64{9 * 3600, 150}, [2]float64{9*3600 + 600, 165})
	if got, _ := verdict(t, "fsis-meat-7log", ComeUp, r, Settings{}); got != Missed {
		t.Errorf("eight hours in two parts: %v, want missed", got)
	}
}

// A probe pulled into 40 °F air is not a chilled piece (the threshold is a choice of this project).
func TestCooling_AProbePulledOutIsUnknown(t *testing.T) {
	r := points([2]float64{0, 40}, [2]float64{3 * 3600, 165})
	r = append(r, at(3*3600+60, 60), at(3*3600+120, 40), at(3*3600+180, 40))
	for _, rule := range []Rule{Cooling, ColdHolding} {
		if got, there := verdict(t, "foodcode-2022", rule, r, Settings{}); !there || got != Unknown {
			t.Errorf("%s: %v (there %v), want unknown", rule, got, there)
		}
	}
}

// A probe that hung in a pit of 107 °C before it went into the meat has cooked nothing.
func TestDwell_PitAirBeforeInsertionIsLeftOut(t *testing.T) {
	r := append([]cook.Reading{at(0, 225), at(30, 225), at(60, 45)}, points([2]float64{120, 40}, [2]float64{3 * 3600, 120})...)
	if got, _ := verdict(t, "fsis-meat-7log", Dwell, r, Settings{}); got == Met {
		t.Error("dwell met by the air of the pit")
	}
}

// FDA Food Code 3-501.14 counts from 135 °F; 3-403.11 reheats to 165 °F, so a bump to 136 °F does not set the clock back.
func TestCooling_ABumpDoesNotResetTheClock(t *testing.T) {
	r := points([2]float64{0, 160}, [2]float64{1800, 134}, [2]float64{2 * 3600, 120}, [2]float64{2*3600 + 600, 136}, [2]float64{4 * 3600, 70}, [2]float64{7 * 3600, 41})
	if got, _ := verdict(t, "foodcode-2022", Cooling, r, Settings{}); got != Missed {
		t.Errorf("%v, want missed", got)
	}
}

func TestJudge_NothingThatIsNoNumberAndNoContradiction(t *testing.T) {
	hot := at(60, 170)
	r := []cook.Reading{at(0, 40), hot, at(60, 50), {Probe: "core", Time: start.Add(2 * time.Minute), Celsius: thermal.Celsius(math.NaN())}}
	if got, _ := verdict(t, "fsis-meat-7log", Dwell, r, Settings{}); got == Met {
		t.Error("two values of one moment contradict each other, and the hotter one was believed")
	}
}

// drawTrace makes a cook that warms, may dip, and may be chilled: a reading each five minutes.
func drawTrace(t *rapid.T) []cook.Reading {
	f := rapid.Float64Range(35, 60).Draw(t, "from")
	second := 0.0
	var r []cook.Reading
	for range rapid.IntRange(1, 5).Draw(t, "legs") {
		to := rapid.Float64Range(35, 190).Draw(t, "to")
		n := rapid.IntRange(1, 40).Draw(t, "steps")
		for i := range n {
			r = append(r, at(second, f+(to-f)*float64(i)/float64(n)))
			second += 300
		}
		f = to
	}
	return append(r, at(second, f))
}

var judged = map[Rule]string{Dwell: "fsis-meat-7log", ComeUp: "fsis-meat-7log", Lethality: "fsis-meat-7log", Cooling: "fsis-cooling-1", DangerZone: "danger-zone-4h"}

// Readings lost so that a gap over the allowed opens never make a verdict met that was not.
func TestProperty_AGapNeverHelps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawTrace(t)
		if len(r) < 10 {
			return
		}
		from := rapid.IntRange(1, len(r)-9).Draw(t, "gap from")
		lost := append(append([]cook.Reading{}, r[:from]...), r[from+7:]...)
		for rule, set := range judged {
			before, had := verdict(t, set, rule, r, Settings{})
			after, has := verdict(t, set, rule, lost, Settings{})
			if had && has && before != Met && after == Met {
				t.Fatalf("%s: a gap turned %v into met", rule, before)
			}
		}
	})
}

// A worse thermometer never makes a verdict met.
func TestProperty_InstrumentErrorNeverHelps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawTrace(t)
		e := rapid.Float64Range(0, 5).Draw(t, "error")
		for rule, set := range judged {
			before, had := verdict(t, set, rule, r, Settings{})
			after, has := verdict(t, set, rule, r, Settings{InstrumentError: thermal.CelsiusDelta(e)})
			if had && has && before != Met && after == Met {
				t.Fatalf("%s: an error of %v °C turned %v into met", rule, e, before)
			}
		}
	})
}

// Colder throughout never cooks better.
func TestProperty_ColderNeverCooksBetter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawTrace(t)
		colder := append([]cook.Reading{}, r...)
		for i := range colder {
			colder[i].Celsius -= 3
		}
		for _, rule := range []Rule{Dwell, Lethality} {
			before, _ := verdict(t, judged[rule], rule, r, Settings{})
			if after, _ := verdict(t, judged[rule], rule, colder, Settings{}); before != Met && after == Met {
				t.Fatalf("%s: colder turned %v into met", rule, before)
			}
		}
	})
}

// FuzzJudge: no panic, whatever the readings.
func FuzzJudge(f *testing.F) {
	f.Add([]byte{0, 10, 5, 200, 30, 90}, 0.5)
	f.Fuzz(func(_ *testing.T, data []byte, e float64) {
		var r []cook.Reading
		second := 0.0
		for i := 0; i+1 < len(data); i += 2 {
			second += float64(data[i]) * 20
			c := thermal.Celsius(data[i+1])
			if data[i+1] == 255 {
				c = thermal.Celsius(math.NaN())
			}
			r = append(r, cook.Reading{Probe: "core", Time: start.Add(time.Duration(second) * time.Second), Celsius: c, Quality: cook.Good})
		}
		Judge(Subject{Piece: cook.Piece{ID: "core", Cut: "other"}, Traces: []Trace{{Probe: "core", Readings: r}}, Pit: []Trace{{Probe: "pit", Readings: r}}},
			Sets(), Settings{InstrumentError: thermal.CelsiusDelta(e)})
	})
}

// Losing readings at or below the end of a cooling leg, or at or above the lowest row of a table, never makes a verdict met that
// was not.
func TestProperty_LosingGoodReadingsNeverHelps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawTrace(t)
		var warm, cool []cook.Reading
		for i, x := range r {
			lose := rapid.Bool().Draw(t, "lose "+x.Time.Format("15:04")+string(rune('a'+i%26)))
			if !lose || x.Celsius.Fahrenheit() > 40 {
				warm = append(warm, x)
			}
			if !lose || x.Celsius.Fahrenheit() < 158 {
				cool = append(cool, x)
			}
		}
		for _, c := range []struct {
			rule Rule
			left []cook.Reading
		}{{Cooling, warm}, {Dwell, cool}, {ComeUp, cool}} {
			before, had := verdict(t, judged[c.rule], c.rule, r, Settings{})
			after, has := verdict(t, judged[c.rule], c.rule, c.left, Settings{})
			if had && has && before != Met && after == Met {
				t.Fatalf("%s: losing readings turned %v into met", c.rule, before)
			}
		}
	})
}
