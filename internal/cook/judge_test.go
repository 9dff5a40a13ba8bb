package cook

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"stallkeeper/estimator/thermal"
)

// judged gives the qualities of readings that follow each other every that many seconds, good ones as a dot.
func judged(probe ProbeID, every float64, values []float64) string {
	var j Judge
	var out strings.Builder
	for i, v := range values {
		at := time.Date(2026, 5, 3, 2, 0, 0, 0, time.UTC).Add(time.Duration(float64(i) * every * float64(time.Second)))
		q := j.Quality(Reading{Probe: probe, Time: at, Celsius: thermal.Celsius(v), Clock: DeviceClock})
		if q == Good {
			out.WriteByte('.')
		} else {
			out.WriteString(string(q)[:2])
		}
	}
	return out.String()
}

func TestJudge_AJumpIsASpikeUntilItStays(t *testing.T) {
	established := []float64{60, 60.2, 60.1, 60.3, 60.2, 60.4}
	for _, test := range []struct {
		name   string
		probe  ProbeID
		every  float64
		then   []float64
		expect string
	}{
		{"one value of a bad contact", "flat", 15, []float64{0, 60.3}, "sp."},
		{"two different ones", "flat", 15, []float64{0, 110, 60.3}, "spsp."},
		{"the probe was moved: the third at the new level is believed", "flat", 15, []float64{20, 20.1, 20.2, 20.2}, "spsp.."},
		{"read every minute, two minutes are enough", "flat", 60, []float64{20, 20.1, 20.2, 20.2}, "spsp.."},
		{"read every ten minutes it may have warmed by that much", "flat", 600, []float64{90}, "."},
		{"15 K within a reading is allowed", "flat", 15, []float64{75}, "."},
		{"a pit whose lid opens", "pit", 15, []float64{25}, "."},
		{"a pit that is 200 K hotter at once", "pit", 15, []float64{260, 61}, "sp."},
	} {
		n := len(established)
		if got := judged(test.probe, test.every, slices.Concat(established, test.then))[n:]; got != test.expect {
			t.Errorf("%s: %s, want %s", test.name, got, test.expect)
		}
	}
	if got := judged("flat", 15, []float64{20, 60, 21, 85.1}); got != "...." {
		t.Errorf("without an established level: %s, want all good", got)
	}
}

// A stall stands still for hours, and a probe with coarse steps shows one value all the while. A probe that scattered over
// several of its steps and stands still hangs.
func TestJudge_StandingStill(t *testing.T) {
	d := rand.New(rand.NewPCG(1, 2))
	course := func(noise, step float64) []float64 {
		var out []float64
		for i := range 800 { // 20 to 66 °C in 3 h 20 min at a reading each 15 s
			v := min(20+float64(i)*46/800, 66) + noise*d.NormFloat64()
			out = append(out, float64(int(v/step+0.5))*step)
		}
		return out
	}
	stands := slices.Repeat([]float64{66}, 2000) // 8 h 20 min
	for _, test := range []struct {
		noise, step float64
		stuck       bool
	}{{0, 0.0625, false}, {0.02, 0.0625, false}, {0.1, 0.5, false}, {0.1, 5.0 / 9, false}, {0.1, 0.1, true}, {0.3, 0.25, true}} {
		got := judged("flat", 15, append(course(test.noise, test.step), stands...))
		if strings.Contains(got, "st") != test.stuck {
			t.Errorf("noise %v with steps of %v K: stuck %v, want %v", test.noise, test.step, !test.stuck, test.stuck)
		}
		if i := strings.Index(got, "st"); test.stuck && (i < 859 || i > 862) {
			t.Errorf("noise %v: the first is reading %d, want after 60 of the same", test.noise, i)
		}
	}
	if got := judged("cooler", 15, append(course(0.3, 0.25), slices.Repeat([]float64{20}, 500)...)); strings.Contains(got, "st") {
		t.Error("an idle probe at 20 °C may stand still")
	}
}

// Whatever came before, a course that meat can have is believed after three readings at most.
func TestJudge_ComesBackToBelieving(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		before := rapid.SliceOfN(rapid.Float64Range(-50, 240), 0, 40).Draw(t, "before")
		level := rapid.Float64Range(-20, 84).Draw(t, "level")
		every := rapid.Float64Range(1, 120).Draw(t, "every")
		course := slices.Clone(before)
		for i := range 10 {
			course = append(course, level+float64(i)*0.05)
		}
		got := judged("flat", every, course)
		if !strings.HasSuffix(got, strings.Repeat(".", 8)) {
			t.Fatal(fmt.Sprint(course), got)
		}
	})
}
