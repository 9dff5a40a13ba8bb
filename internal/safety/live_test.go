package safety

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	curve "stallkeeper/internal/trace"
)

// drawBroken is a cook with readings lost here and there, and sometimes a fall that no meat makes.
func drawBroken(t *rapid.T) []cook.Reading {
	r := drawTrace(t)
	for range rapid.IntRange(0, 2).Draw(t, "gaps") {
		if len(r) > 12 {
			from := rapid.IntRange(1, len(r)-10).Draw(t, "gap from")
			r = append(append([]cook.Reading{}, r[:from]...), r[from+rapid.IntRange(1, 8).Draw(t, "lost"):]...)
		}
	}
	return r
}

// agree asks that what a live clock says is what the verdict on the whole says, where open stands for unknown.
func agree(t *rapid.T, what string, live Progress, whole Verdict) {
	t.Helper()
	if live.Outcome != whole.Outcome {
		t.Fatalf("%s: live %v (%s), whole %v (%s)", what, live.Outcome, live.Because, whole.Outcome, whole.Because)
	}
}

// The live clocks and the verdicts on a whole trace are two implementations of the same rules: they agree at every reading.
func TestProperty_LiveAgreesWithTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawBroken(t)
		s := Settings{InstrumentError: thermal.CelsiusDelta(rapid.SampledFrom([]float64{0, 0, 0.56, 2}).Draw(t, "error"))}
		intact := rapid.Bool().Draw(t, "intact")
		every := rapid.IntRange(1, 25).Draw(t, "look every")
		cooking, warm := NewCooking(Meat7(), intact, s), NewLukewarm(s)
		rules := []CoolingRule{CoolingFoodCode(), Cooling1(), Cooling2(), CoolingCured(), CoolingSlow()}
		var chill []*Chilling
		for _, rule := range rules {
			chill = append(chill, NewChilling(rule, s))
		}
		for i, x := range r {
			cooking.Add(x)
			warm.Add(x)
			for _, c := range chill {
				c.Add(x)
			}
			if i%every != 0 && i != len(r)-1 {
				continue
			}
			so := Trace{Probe: "core", Readings: r[:i+1]}
			whole := dwell(so, Meat7(), s)
			if cooked := cooking.Cooked(); (cooked.Outcome == Met) != (whole.Outcome == Met) || cooked.Outcome == Met && !cooked.At.Equal(whole.At) {
				t.Fatalf("dwell: live %v at %v, whole %v at %v", cooked.Outcome, cooked.At, whole.Outcome, whole.At)
			}
			if v, ok := comeUp(so, Meat7(), intact, s); ok {
				agree(t, "come-up", cooking.ComeUp(), v)
			}
			if zone := dangerZone(so, 5, 57, s); zone.Outcome == Missed != (warm.Progress().Outcome == Missed) {
				t.Fatalf("danger zone: live %v, whole %v", warm.Progress(), zone)
			}
			for k, rule := range rules {
				for j, leg := range chill[k].Legs() {
					if v, ok := coolingStage(so, rule.Stages[j], s); ok {
						agree(t, rule.Name, leg, v)
					} else if !leg.Open {
						t.Fatalf("%s leg %d: live %v (%s), the whole has no cooling", rule.Name, j, leg.Outcome, leg.Because)
					}
				}
			}
		}
	})
}

func keep(t *testing.T, r Range, every time.Duration, text string) *Keeping {
	t.Helper()
	tr, err := curve.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	k := NewKeeping(r, Settings{})
	for _, x := range tr.Readings("fridge", start, every) {
		k.Add(x)
	}
	return k
}

// The cooler of a cure: −1.5 to 4.4 °C (40 °F, from memory; the lower end and half an hour for the door are choices of this
// project). A door opened for ten minutes is tolerated, half an hour and a minute is not, and hours without readings are unknown.
func TestKeeping_TheCoolerOfACure(t *testing.T) {
	for _, c := range []struct {
		name, trace string
		want        Outcome
	}{
		{"ten days within", "3 hold 240h", Met},
		{"exactly at the upper end", "4.4 hold 5h", Met},
		{"a tenth over it", "3 hold 2h, 4.5 hold 2h", Missed},
		{"a tenth under the lower end", "3 hold 2h, -1.6 hold 2h", Missed},
		{"the door is opened for ten minutes", "3 hold 2h, 9 hold 10m, 3 hold 2h", Met},
		{"the door stays open for 25 minutes twice", "3 hold 2h, 9 hold 25m, 3 hold 20m, 9 hold 25m, 3 hold 2h", Met},
		{"the door stays open for forty", "3 hold 2h, 9 hold 40m, 3 hold 2h", Missed},
		{"a power cut, cold before and after", "3 hold 2h, gap 3h, 3 hold 2h", Unknown},
		{"a power cut, warm after", "3 hold 2h, gap 3h, 8 hold 40m", Missed},
		{"never cold", "8 hold 2h", Missed},
		{"an hour to get cold", "8 hold 50m, 3 hold 2h", Met},
		{"nothing", "", Unknown},
	} {
		k := NewKeeping(Settings{}.CureRange(), Settings{})
		if c.trace != "" {
			k = keep(t, Settings{}.CureRange(), time.Minute, c.trace)
		}
		if got := k.Final(); got.Outcome != c.want {
			t.Errorf("%s: %v (%s; %s), want %v", c.name, got.Outcome, got.Measured, got.Because, c.want)
		}
	}
}

// A record gives the values that were measured (9 CFR 417.5(a)(3)), not only that they were within.
func TestKeeping_AMetVerdictSaysWhatWasMeasured(t *testing.T) {
	for _, c := range []struct{ trace, measured, because string }{
		{"3 hold 2h, 4 hold 1h", "3.0 to 4.0 °C (37.4 to 39.2 °F) over 2 h 59 min", "stayed within the limits"},
		{"3 hold 2h", "3.0 °C (37.4 °F) over 1 h 59 min", "stayed within the limits"},
		{"3 hold 2h, 9 hold 10m, 3 hold 2h", "3.0 to 9.0 °C (37.4 to 48.2 °F) over 4 h 09 min, outside for 9 min in all", "never longer at a time than is allowed"},
	} {
		v := keep(t, Settings{}.CureRange(), time.Minute, c.trace).Final()
		if v.Outcome != Met || !strings.HasPrefix(v.Measured, c.measured) || !strings.Contains(v.Because, c.because) {
			t.Errorf("%s: %v, %q, %q", c.trace, v.Outcome, v.Measured, v.Because)
		}
	}
}

// To the second: the tolerance is passed one second after it, not at it.
func TestKeeping_TheToleranceToTheSecond(t *testing.T) {
	for _, c := range []struct {
		seconds float64
		want    Outcome
	}{{1799, Met}, {1800, Met}, {1801, Missed}} {
		k := NewKeeping(Settings{}.CureRange(), Settings{})
		for _, x := range []struct{ s, c float64 }{{0, 3}, {600, 3}, {1200, 8}, {1200 + c.seconds/2, 8}, {1200 + c.seconds, 8}} {
			k.Add(cook.Reading{Probe: "fridge", Time: start.Add(time.Duration(x.s * float64(time.Second))), Celsius: thermal.Celsius(x.c), Quality: cook.Good})
		}
		if got := k.Final(); got.Outcome != c.want {
			t.Errorf("%g s outside: %v (%s), want %v", c.seconds, got.Outcome, got.Because, c.want)
		}
	}
}

// A gap never makes a cooler's verdict better, and neither does a worse thermometer.
func TestProperty_KeepingNeverImproves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var all []cook.Reading
		second := 0.0
		for range rapid.IntRange(5, 80).Draw(t, "readings") {
			second += rapid.Float64Range(10, 900).Draw(t, "step")
			all = append(all, at(second, rapid.Float64Range(25, 50).Draw(t, "f")))
		}
		judge := func(r []cook.Reading, e float64) Outcome {
			k := NewKeeping(Settings{}.CureRange(), Settings{InstrumentError: thermal.CelsiusDelta(e)})
			for _, x := range r {
				k.Add(x)
			}
			return k.Final().Outcome
		}
		before := judge(all, 0)
		from := rapid.IntRange(1, len(all)-2).Draw(t, "from")
		late := append([]cook.Reading{}, all[:from]...)
		for _, x := range all[from:] { // the clock of everything behind the gap is set on by an hour
			x.Time = x.Time.Add(time.Hour)
			late = append(late, x)
		}
		if after := judge(late, 0); before != Met && after == Met {
			t.Fatalf("a gap turned %v into met", before)
		}
		if after := judge(all, 1); before != Met && after == Met {
			t.Fatalf("a worse thermometer turned %v into met", before)
		}
	})
}

// TestProgress_RuleOfThumb: the four hours between 5 and 57 °C are common practice, no source; a shop's own limit is binding for it.
func TestProgress_RuleOfThumb(t *testing.T) {
	if !NewLukewarm(Settings{}).Progress().RuleOfThumb() {
		t.Error("the limit without an authority is shown like a published one")
	}
	if NewLukewarm(Settings{Own: Limits{DangerZone: 3 * time.Hour}}).Progress().RuleOfThumb() {
		t.Error("a shop's own limit is shown as a rule of thumb")
	}
	if NewCooking(Meat7(), true, Settings{}).ComeUp().RuleOfThumb() {
		t.Error("a published limit is shown as a rule of thumb")
	}
}

// The piece left the cooler at 20:00 and its first reading came at 21:00: that hour is not known, and said to be. Half an hour is the
// longest gap that counts as watched (USDA FSIS Cooking Guideline, FSIS-GD-2021-14).
func TestLukewarm_WhatWasNotMeasuredIsUnknown(t *testing.T) {
	begin := time.Date(2026, 5, 2, 20, 0, 0, 0, time.UTC)
	for late, unknown := range map[time.Duration]bool{0: false, 30 * time.Minute: false, time.Hour: true} {
		l := NewLukewarm(Settings{})
		l.Out(begin)
		for i := range 60 {
			l.Add(cook.Reading{Probe: "core", Time: begin.Add(late + time.Duration(i)*time.Minute), Celsius: 20, Quality: cook.Good})
		}
		p := l.Progress()
		if p.Open == unknown || p.Used != 59*time.Minute || unknown && p.Unseen != late {
			t.Errorf("first reading after %v: %+v", late, p)
		}
	}
}
