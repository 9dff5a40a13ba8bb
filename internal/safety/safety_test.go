package safety

import (
	"math"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

var start = time.Date(2026, 5, 2, 18, 0, 0, 0, time.UTC)

// at makes a reading so many seconds after the start, in °F.
func at(second float64, fahrenheit float64) cook.Reading {
	return cook.Reading{Probe: "core", Time: start.Add(time.Duration(math.Round(second * 1e9))), Celsius: thermal.FromFahrenheit(fahrenheit), Quality: cook.Good}
}

// plateau climbs from 40 °F, stays at a temperature for so many seconds with a reading each minute, and falls again.
func plateau(fahrenheit, seconds float64) Trace {
	t := Trace{Probe: "core", Readings: []cook.Reading{at(0, 40), at(60, 60)}}
	for s := 0.0; s < seconds; s += 60 {
		t.Readings = append(t.Readings, at(120+s, fahrenheit))
	}
	t.Readings = append(t.Readings, at(120+seconds, fahrenheit), at(121+seconds, 60))
	return t
}

// Every row of the tables, at its time and one second less, at its temperature and 0.1 °F less. The rows themselves are
// checked against the published columns below.
func TestDwell_EveryRowAtItsEdges(t *testing.T) {
	for _, table := range []Table{Meat65(), Meat7(), Roast(), Opened(), Fish(), BirdPoint(), chicken7(true), chicken7(false), turkey7(true), turkey7(false)} {
		for i, row := range table.Rows {
			below := Row{}
			if i > 0 {
				below = table.Rows[i-1]
			}
			need := row.Dwell.Seconds()
			check := func(what string, tr Trace, s Settings, want Outcome) {
				t.Helper()
				if got := dwell(tr, table, s); got.Outcome != want {
					t.Errorf("%s, %g °F, %s: %v (%s), want %v", table.Name, row.Fahrenheit, what, got.Outcome, got.Because, want)
				}
			}
			check("exact time", plateau(row.Fahrenheit, need), Settings{}, Met)
			check("one second more", plateau(row.Fahrenheit, need+1), Settings{}, Met)
			if need > 0 {
				check("one second less", plateau(row.Fahrenheit, need-1), Settings{}, Missed)
			}
			if below.Fahrenheit == 0 || need < below.Dwell.Seconds() {
				check("0.1 °F less", plateau(row.Fahrenheit-.1, need), Settings{}, Missed)
			}
			oneF := Settings{InstrumentError: thermal.CelsiusDelta(1 / 1.8)}
			check("instrument of 1 °F, 1 °F more", plateau(row.Fahrenheit+1, need), oneF, Met)
			check("instrument of 1 °F, 1 °F and one second more", plateau(row.Fahrenheit+1, need+1), oneF, Met)
			if need > 0 {
				check("instrument of 1 °F, 1 °F more, one second less", plateau(row.Fahrenheit+1, need-1), oneF, Missed)
			}
			if i == 0 {
				check("0.1 °F less, for ever", plateau(row.Fahrenheit-.1, need+36000), Settings{}, Missed)
			}
			if below.Fahrenheit == 0 || need < below.Dwell.Seconds() {
				check("instrument of 1 °F, 0.9 °F more", plateau(row.Fahrenheit+.9, need), oneF, Missed)
			}
		}
	}
}

// The two meat columns lie on the line of D150 = 0.172 min, z = 10 °F, rounded up: 6.5-log rows within −0.1..+0.95 min at
// 130–145 °F and −0.1..+4.6 % (printed to one decimal) at 146–157 °F (computed on the published columns of FSIS Appendix A).
func TestTables_Meat65LiesOnItsLine(t *testing.T) {
	for _, row := range Meat65().Rows {
		line := 6.5 * .172 * math.Pow(10, (150-row.Fahrenheit)/10)
		diff := row.Dwell.Minutes() - line
		switch {
		case row.Fahrenheit <= 145 && (diff < -.1 || diff > .95):
			t.Errorf("%g °F: %.2f min off the line", row.Fahrenheit, diff)
		case row.Fahrenheit > 145 && row.Fahrenheit < 158 && (diff/line < -.0015 || diff/line > .0465):
			t.Errorf("%g °F: %.1f %% off the line", row.Fahrenheit, 100*diff/line)
		}
	}
	if n, m := len(Meat65().Rows), len(Meat7().Rows); n != 29 || m != 29 {
		t.Errorf("%d and %d rows, the published table has 29", n, m)
	}
}

// A filled-in meat-trade worksheet (from memory; recomputed): Tref 150 °F, z 10 °F, D 0.172 min, a reading each half minute.
func TestLethal_WorkedExamplePointByPoint(t *testing.T) {
	temps := []float64{40, 64, 82, 97, 113, 128, 138, 142, 145, 148, 145, 140, 137, 136, 135, 134, 133}
	want := []float64{0, 0, 0, 0, .0001, .0017, .0190, .0744, .1931, .4299, .6667, .7708, .8083, .8308, .8486, .8628, .8741}
	var readings []cook.Reading
	for i, f := range temps {
		readings = append(readings, at(30*float64(i), f))
		if got := Lethal(readings, Salmonella(), Settings{}); math.Abs(got-want[i]) > 5e-5+1e-9 {
			t.Errorf("after %d readings F = %.4f, want %.4f", i+1, got, want[i])
		}
	}
	if got := Lethal(readings, Salmonella(), Settings{}) / .172; math.Abs(got-5.082) > 5e-4 {
		t.Errorf("%.3f log, want 5.082", got)
	}
}

// The second worksheet (absurd temperatures; an arithmetic check): Tref 170 °F, z 40 °F, a reading each minute.
func TestLethal_SecondWorkedExample(t *testing.T) {
	temps := []float64{126, 137, 164, 207, 232, 267, 300, 312, 324, 342, 341, 341, 341, 331, 295, 267, 241, 189, 165}
	want := []float64{0, .115, .543, 5.104, 27.052, 177.829, 1200.005, 3863.211, 9177.007, 22693.048, 42087.605, 60924.096,
		79760.587, 94475.101, 100438.130, 101237.927, 101400.746, 101432.022, 101433.890}
	var readings []cook.Reading
	for i, f := range temps {
		readings = append(readings, at(60*float64(i), f))
		if got := Lethal(readings, Organism{TrefF: 170, ZF: 40, D: 4}, Settings{}); math.Abs(got-want[i]) > 6e-4 {
			t.Errorf("minute %d: F = %.3f, want %.3f", i, got, want[i])
		}
	}
}

func TestComeUp_ToTheSecond(t *testing.T) {
	climb := func(seconds float64, intact bool) Outcome {
		tr := Trace{Probe: "core", Readings: []cook.Reading{at(0, 50)}}
		for s := 600.0; s < seconds; s += 600 {
			tr.Readings = append(tr.Readings, at(s, 50+79*s/seconds))
		}
		tr.Readings = append(tr.Readings, at(seconds, 130))
		v, ok := comeUp(tr, Meat65(), intact, Settings{})
		if !ok {
			t.Fatal("a climb has a come-up")
		}
		return v.Outcome
	}
	for _, test := range []struct {
		seconds float64
		intact  bool
		want    Outcome
	}{{6 * 3600, false, Met}, {6*3600 + 1, false, Missed}, {6*3600 - 1, false, Met}, {6*3600 + 1, true, Unknown}} {
		if got := climb(test.seconds, test.intact); got != test.want {
			t.Errorf("%v s, intact %v: %v, want %v", test.seconds, test.intact, got, test.want)
		}
	}
}

// Food Code 3-501.14: 135 to 70 °F in 2 h, to 41 °F in 6 h in all. FSIS option 1: 130 to 80 °F in 1.5 h, 80 to 40 °F in 5 h more.
func TestCooling_ToTheSecond(t *testing.T) {
	for _, test := range []struct {
		name   string
		rule   CoolingRule
		points [][2]float64 // seconds, °F
		want   Outcome
	}{
		{"both stages at their limit", CoolingFoodCode(), [][2]float64{{0, 135}, {7200, 70}, {21600, 41}}, Met},
		{"first stage a second late", CoolingFoodCode(), [][2]float64{{0, 135}, {7201, 70}, {21600, 41}}, Missed},
		{"whole a second late", CoolingFoodCode(), [][2]float64{{0, 135}, {7200, 70}, {21601, 41}}, Missed},
		{"not down yet", CoolingFoodCode(), [][2]float64{{0, 135}, {3600, 100}}, Unknown},
		{"option 1 at its limit", Cooling1(), [][2]float64{{0, 130}, {5400, 80}, {23400, 40}}, Met},
		{"option 1 second stage late", Cooling1(), [][2]float64{{0, 130}, {5400, 80}, {23401, 40}}, Missed},
		{"option 2 first hour missed", Cooling2(), [][2]float64{{0, 120}, {3601, 80}, {20000, 55}}, Missed},
		{"cured at its limit", CoolingCured(), [][2]float64{{0, 130}, {18000, 80}, {54000, 45}}, Met},
	} {
		tr := dense(test.points)
		v, ok := cooling(tr, test.rule, Settings{})
		if !ok || v.Outcome != test.want {
			t.Errorf("%s: %v %v (%s), want %v", test.name, ok, v.Outcome, v.Because, test.want)
		}
	}
}

// dense joins points by straight lines with a reading every ten minutes, held just above each point until it is reached.
func dense(points [][2]float64) Trace {
	t := Trace{Probe: "core"}
	for i, p := range points {
		if i > 0 {
			from := points[i-1]
			for s := from[0] + 600; s < p[0]; s += 600 {
				f := from[1] + (p[1]-from[1])*(s-from[0])/(p[0]-from[0])
				t.Readings = append(t.Readings, at(s, f))
			}
		}
		t.Readings = append(t.Readings, at(p[0], p[1]))
	}
	return t
}

func TestGap_NeverTurnsIntoMet(t *testing.T) {
	tr := plateau(145, 240)
	tr.Readings = append(tr.Readings[:3], tr.Readings[len(tr.Readings)-2:]...) // first and last reading of the plateau are left
	if got := dwell(tr, Meat65(), Settings{}); got.Outcome != Met {
		t.Errorf("four minutes between two readings count: %v", got)
	}
	if got := dwell(tr, Meat65(), Settings{MaxGap: 2 * time.Minute}); got.Outcome != Unknown {
		t.Errorf("with gaps of at most two minutes they do not: %v", got)
	}
}
