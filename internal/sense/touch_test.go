package sense

import (
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

func run(values ...float64) []cook.Reading {
	var out []cook.Reading
	for i, v := range values {
		r := cook.Reading{Time: time.Unix(int64(10*i), 0), Celsius: thermal.Celsius(v), Quality: cook.Good}
		if v < -100 {
			r.Quality = cook.Open
		}
		out = append(out, r)
	}
	return out
}

func TestTouched_FindsTheOneInTheHand(t *testing.T) {
	for _, tc := range []struct {
		name   string
		recent map[cook.ProbeID][]cook.Reading
		want   cook.ProbeID
	}{
		{"one warms in the hand", map[cook.ProbeID][]cook.Reading{"a": run(20.1, 20, 24, 29, 31), "b": run(20, 20.1, 20, 19.9)}, "a"},
		{"one falls in ice water", map[cook.ProbeID][]cook.Reading{"a": run(20, 20), "b": run(20, 12, 5, 1)}, "b"},
		{"two at once: not to be told apart", map[cook.ProbeID][]cook.Reading{"a": run(20, 26, 30), "b": run(20, 25, 28)}, ""},
		{"a drifting kitchen", map[cook.ProbeID][]cook.Reading{"a": run(20, 20.5, 21), "b": run(20, 20.4)}, ""},
		{"let go again: still the one", map[cook.ProbeID][]cook.Reading{"a": run(20, 30, 25), "b": run(20, 20)}, "a"},
		{"a loose wire is no hand", map[cook.ProbeID][]cook.Reading{"a": run(20, -127, 20.1), "b": run(20, 20)}, ""},
		{"a single reading says nothing", map[cook.ProbeID][]cook.Reading{"a": run(31)}, ""},
		{"nothing", nil, ""},
	} {
		got, ok := Touched(tc.recent)
		if !ok {
			got.Probe = ""
		}
		if got.Probe != tc.want {
			t.Errorf("%s: touched %q, want %q", tc.name, got.Probe, tc.want)
		}
	}
}
