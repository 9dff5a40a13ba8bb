package score

import (
	"math"
	"slices"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
)

// Computed from the definition, tau 0.9.
func TestPinball(t *testing.T) {
	for _, c := range []struct{ level, q, y, want float64 }{{.9, 8, 10, 1.8}, {.9, 12, 10, 0.2}} {
		if got := Pinball(c.level, c.q, c.y); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("Pinball(%v, %v, %v) = %v, want %v", c.level, c.q, c.y, got, c.want)
		}
	}
}

// The closed form for a normal distribution (Gneiting et al. 2005, from memory) gives these values; with two thousand
// levels the sum must come to them.
func TestCRPS_OfNormalForecasts(t *testing.T) {
	for _, c := range []struct{ mean, sd, y, want float64 }{
		{0, 1, 0, 0.2336949773}, {0, 1, 1, 0.6024413576}, {0, 2, 1, 0.6628070625}, {10, 3, 14, 2.5618019396},
	} {
		var levels, q []float64
		for i := range 2000 {
			p := (float64(i) + 0.5) / 2000
			levels, q = append(levels, p), append(q, c.mean+c.sd*math.Sqrt2*math.Erfinv(2*p-1))
		}
		if got := CRPS(levels, q, c.y); math.Abs(got-c.want) > 2e-4*c.want {
			t.Errorf("CRPS(N(%v, %v), %v) = %.6f, want %.6f", c.mean, c.sd, c.y, got, c.want)
		}
	}
}

// The score of an ensemble, mean |x − y| − Σ|x − x'|/(2m²) (Hersbach 2000): {1, 2, 3} and 2 give 2/9. Its quantile
// function is a staircase; many levels must come to the same.
func TestCRPS_OfAnEnsemble(t *testing.T) {
	var levels, q []float64
	for i := range 3000 {
		levels, q = append(levels, (float64(i)+0.5)/3000), append(q, float64(1+i/1000))
	}
	if got := CRPS(levels, q, 2); math.Abs(got-2./9) > 1e-4 {
		t.Errorf("CRPS = %v, want 0.222222", got)
	}
}

// Worked by hand for the seven levels: all quantiles 10, truth 0: twice Σ weight·(1 − level)·10 = 2·10·0.5.
func TestCRPS_OfSevenEqualQuantilesIsTheDistance(t *testing.T) {
	levels := Levels()
	for _, y := range []float64{0, 10, 25} {
		if got := CRPS(levels[:], slices.Repeat([]float64{10}, 7), y); math.Abs(got-math.Abs(y-10)) > 1e-9 {
			t.Errorf("CRPS(all 10, %v) = %v, want %v", y, got, math.Abs(y-10))
		}
	}
}

func TestTally(t *testing.T) {
	var tally Tally
	inf := math.Inf(1)
	tally.Add(Quantiles{10, 20, 30, 40, 50, 60, 70}, 45)   // in both bands, above the median
	tally.Add(Quantiles{10, 20, 30, 40, 50, 60, 70}, 55)   // in the wider band
	tally.Add(Quantiles{10, 20, 30, 40, inf, inf, inf}, 5) // below all; missing quantiles count as 36 h
	s := tally.Score()
	if s.N != 3 || s.MedianError != 15 || s.MeanError != (5+15+35)/3. {
		t.Errorf("n %d, median error %v, mean error %v; want 3, 15, 18.33", s.N, s.MedianError, s.MeanError)
	}
	if math.Abs(s.Cover50-1./3) > 1e-9 || math.Abs(s.Cover80-2./3) > 1e-9 {
		t.Errorf("bands hold %v and %v, want 1/3 and 2/3", s.Cover50, s.Cover80)
	}
	third := 1. / 3
	if want := [8]float64{third, 0, 0, 0, third, third, 0, 0}; s.PIT != want {
		t.Errorf("PIT %v, want %v", s.PIT, want)
	}
	if want := Horizon; s.CRPS < 2*(want-5)*.25*.1/3 || math.IsInf(s.CRPS, 0) {
		t.Errorf("CRPS %v does not count missing quantiles as %v", s.CRPS, want)
	}
	var none Tally
	if s := none.Score(); s.N != 0 || !math.IsNaN(s.CRPS) || !math.IsNaN(s.MedianError) {
		t.Errorf("score of nothing: %+v", s)
	}
}

var noon = time.Date(2026, 5, 2, 12, 0, 0, 0, time.UTC)

// curve makes a sample a minute up to and including the last minute.
func curve(minutes int, f func(minute float64) float64) []Sample {
	var out []Sample
	for i := range minutes + 1 {
		out = append(out, Sample{noon.Add(time.Duration(i) * time.Minute), thermal.Celsius(f(float64(i)))})
	}
	return out
}

func TestStraightLine(t *testing.T) {
	core := curve(120, func(m float64) float64 { return 40 + m/4 }) // 70 °C at 120 min, a quarter of a degree a minute
	at := noon.Add(2 * time.Hour)
	if got := StraightLine(core, 90, at); math.Abs(got-80) > 1e-6 {
		t.Errorf("to 90 °C: %v min, want 80", got)
	}
	if got := StraightLine(core, 60, at); got != 0 {
		t.Errorf("already there: %v, want 0", got)
	}
	flat := curve(120, func(float64) float64 { return 67 })
	if got := StraightLine(flat, 90, at); !math.IsInf(got, 1) {
		t.Errorf("standing still: %v, want +Inf", got)
	}
	if got := StraightLine(core, 90, noon.Add(time.Hour)); math.Abs(got-140) > 1e-6 {
		t.Errorf("an hour before: %v, want 140: it must not look ahead", got)
	}
}

// A true exponential approach to 110 °C with a time constant of 200 min reaches 90 °C after 200·ln(105/20) = 331.6 min.
func TestNewton(t *testing.T) {
	core := curve(180, func(m float64) float64 { return 110 - 105*math.Exp(-m/200) })
	pit := curve(180, func(float64) float64 { return 110 })
	at := noon.Add(3 * time.Hour)
	if got, want := Newton(core, pit, 90, at), 200*math.Log(105./20)-180; math.Abs(got-want) > 2 {
		t.Errorf("to 90 °C: %.1f min, want %.1f", got, want)
	}
	if got := Newton(core, pit, 112, at); !math.IsInf(got, 1) {
		t.Errorf("target above the pit: %v, want +Inf", got)
	}
	if got := Newton(core, nil, 90, at); !math.IsInf(got, 1) {
		t.Errorf("no pit: %v, want +Inf", got)
	}
}

func TestPerKilogram(t *testing.T) {
	others := []Timed{{"a", 2, 200}, {"a", 1, 110}, {"a", 4, 360}, {"b", 1, 500}, {"b", 0, 900}}
	for _, c := range []struct {
		cut              string
		mass, gone, want float64
	}{
		{"a", 3, 60, 240}, // 100 min/kg
		{"a", 3, 400, 0},
		{"b", 2, 0, 210}, // too few of its cut: median of 90, 100, 110, 500
	} {
		if got := PerKilogram(others, c.cut, c.mass, c.gone); got != c.want {
			t.Errorf("PerKilogram(%s, %v kg, after %v) = %v, want %v", c.cut, c.mass, c.gone, got, c.want)
		}
	}
	if got := PerKilogram(others, "a", 0, 0); !math.IsNaN(got) {
		t.Errorf("unknown weight: %v, want NaN", got)
	}
}

func TestFirstReady_NeedsTheMedianOfFiveMinutes(t *testing.T) {
	core := curve(60, func(m float64) float64 { return 60 + m/2 })
	core[10].Celsius = 300 // a spike is not ready
	at, ok := FirstReady(core, 80)
	if want := noon.Add(42 * time.Minute); !ok || !at.Equal(want) { // 80 °C at minute 40 is the median of minutes 38 to 42
		t.Errorf("ready at %v, %v; want %v", at, ok, want)
	}
	if _, ok := FirstReady(core, 95); ok {
		t.Error("ready at 95 °C, never reached")
	}
	hourly := []Sample{{noon, 70}, {noon.Add(time.Hour), 91}}
	if at, ok := FirstReady(hourly, 90); !ok || !at.Equal(noon.Add(time.Hour)) {
		t.Errorf("by hand: ready at %v, %v", at, ok)
	}
}
