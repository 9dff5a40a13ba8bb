package chart

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
)

// evening is a fire from 20:00 to 12:00, 16 h: 1 h is 6.25 % of the width.
var evening = Axis{From: time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC), To: time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC)}

func after(h float64) time.Time { return evening.From.Add(time.Duration(h * float64(time.Hour))) }

func TestAxis_PlacesTimesAndKeepsThemOnTheDrawing(t *testing.T) {
	for h, want := range map[float64]string{-3: "0.00%", 0: "0.00%", 1: "6.25%", 8: "50.00%", 16: "100.00%", 40: "100.00%"} {
		if got := evening.X(after(h)); got != want {
			t.Errorf("after %v h: %s, want %s", h, got, want)
		}
	}
}

// Sixteen hours get a label each three hours from midnight, 00 bearing its day, and one between for wide screens.
func TestTicks_FallOnRoundHours(t *testing.T) {
	var narrow []string
	for _, k := range evening.Ticks(time.UTC) {
		if !k.Wide {
			narrow = append(narrow, k.Label)
		}
		if (k.Label == "Thu 26") != k.Day {
			t.Errorf("tick %+v: the day stands at midnight alone", k)
		}
	}
	want := []string{"21", "Thu 26", "03", "06", "09"}
	if len(narrow) != len(want) {
		t.Fatalf("labels %v, want %v", narrow, want)
	}
	for i := range want {
		if narrow[i] != want[i] {
			t.Errorf("labels %v, want %v", narrow, want)
		}
	}
}

func TestWindow_AnOpenEndRunsToTheEdge(t *testing.T) {
	if w := evening.Window([7]time.Time{}); w.Known {
		t.Errorf("nothing is known, and the drawing says %+v", w)
	}
	w := evening.Window([7]time.Time{after(7), after(8), after(10), after(12)}) // the upper half lies beyond what can be said
	if !w.Known || !w.Cut || w.Wide.X != "50.00%" || w.Wide.W != "50.00%" || w.Half.W != "37.50%" || w.Median != "75.00%" {
		t.Errorf("window = %+v", w)
	}
	if w := evening.Window([7]time.Time{after(1), after(2), after(3), after(4), after(5), after(6), after(7)}); w.Cut || w.Wide.W != "25.00%" {
		t.Errorf("closed window = %+v", w)
	}
}

func TestBar_HidesALabelThatHasNoRoom(t *testing.T) {
	if b := evening.Bar("stall", "stall", after(2), after(6)); b.Label != "stall" || b.Mid != "25.00%" {
		t.Errorf("4 h of stall: %+v", b)
	}
	if b := evening.Bar("stall", "stall", after(2), after(3)); b.Label != "" || b.W != "6.25%" {
		t.Errorf("1 h of stall: %+v", b)
	}
	if b := evening.Bar("stall", "", after(2), after(2)); b.W != "0.40%" {
		t.Errorf("a moment is %s wide, want a hair", b.W)
	}
}

// A missing reading is null and never 0; 212 °F is 100 °C.
func TestFigures_AreInTheReadersUnit(t *testing.T) {
	c := Curve{From: after(0), Now: after(1), Target: 100, SetPoint: thermal.Celsius(math.NaN()), Core: []Stop{{At: after(1), Last: thermal.Celsius(math.NaN())}}}
	got, err := json.Marshal(c.Figures("°F", time.UTC, thermal.Celsius.Fahrenheit))
	if err != nil {
		t.Fatal(err)
	}
	const want = `{"unit":"°F","zone":"UTC","now":1795640400,"target":212.0,"setpoint":null,"core":[[1795640400],[null]],"pit":[null,null,null,null],"fan":[null,null,null,null,null,null],"marks":[]}`
	if string(got) != want {
		t.Errorf("figures\n%s, want\n%s", got, want)
	}
}
