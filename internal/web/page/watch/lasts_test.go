package watch

import (
	"math"
	"testing"
	"time"

	"stallkeeper/estimator"
)

// TestLasts_ReadsTheQuantiles: a hold lasts 2, 3, 4, 5, 6, 7, 8 h at the seven levels.
func TestLasts_ReadsTheQuantiles(t *testing.T) {
	var keeps [7]time.Duration
	for i := range keeps {
		keeps[i] = time.Duration(i+2) * time.Hour
	}
	for _, tc := range []struct {
		hours, want float64
	}{{-1, 0.95}, {0, 0.95}, {2, 0.95}, {3, 0.90}, {5, 0.50}, {5.5, 0.375}, {7, 0.10}, {8, 0.05}, {20, 0.05}} {
		if got := lasts(keeps, time.Duration(tc.hours*float64(time.Hour))); math.Abs(got-tc.want) > 1e-9 {
			t.Errorf("P(longer than %v h) = %v, want %v", tc.hours, got, tc.want)
		}
	}
	keeps[5], keeps[6] = -1, -1 // one hold in ten outlasts the horizon
	if got := lasts(keeps, 30*time.Hour); math.Abs(got-0.10) > 1e-9 {
		t.Errorf("P(longer than 30 h) = %v, want 0.10", got)
	}
}

func TestServedHot_CountsOnlyWhatIsReadyAndStillHot(t *testing.T) {
	serve := time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC)
	keeps := [7]time.Duration{4 * time.Hour, 4 * time.Hour, 4 * time.Hour, 4 * time.Hour, 4 * time.Hour, 4 * time.Hour, 4 * time.Hour}
	f := estimator.Forecast{Draws: []estimator.Draw{
		{Ready: serve.Add(-2 * time.Hour)},  // ready, and still hot
		{Ready: serve.Add(-11 * time.Hour)}, // long cold
		{Ready: serve.Add(time.Hour)},       // not ready
		{},                                  // never
	}}
	if got, want := servedHot(f, keeps, serve), (0.95+0.05)/4; math.Abs(got-want) > 1e-9 {
		t.Errorf("served hot = %v, want %v", got, want)
	}
	if got := servedHot(estimator.Forecast{}, keeps, serve); !math.IsNaN(got) {
		t.Errorf("served hot without scenarios = %v, want NaN", got)
	}
}
