package web

import (
	"math"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/monitor"
)

func TestWatch_HoldSaysHowLongItStaysHot(t *testing.T) {
	n := newNight(t)
	server := serveNight(t, n, nil)
	page := get(t, server, "/?piece=7/flat&if=hold")
	has(t, page, "If it is held in an insulated box once it is ready", "it stays above 60 °C for", "9 times in 10", "until ",
		"Ready by the serving hour and still hot then", `class="bar hold"`, "Nothing is done yet", "below 57 °C", "only what was measured counts")
	if got := len(n.asked); got != 0 {
		t.Errorf("a hold asked the monitor %d times, want 0: it changes no forecast", got)
	}
	page = get(t, server, "/?piece=7/breast") // ready: nothing to wrap, but it can be held
	has(t, page, "hold it now")
	has(t, get(t, server, "/?piece=7/breast&if=hold"), "I have done it: log it", `value="piece-off"`)
}

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

func TestWatch_SaysWhatWouldHelpALatePiece(t *testing.T) {
	n := newNight(t)
	n.snap.Cooks[0].Pieces[0].ServeChance = 0.41
	n.snap.Cooks[0].Pieces[0].Advice = monitor.Advice{Wrap: "foil", SetPoint: 121, Chance: 0.93}
	server := serveNight(t, n, nil)
	has(t, get(t, server, "/"), "probably too late: 41 % by 12:00", "What would help now: wrap it in foil and set the pit to 121 °C, then 93 % by that hour",
		"All ready together", "by the serving hour")
}
