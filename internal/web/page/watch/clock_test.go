package watch

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/page/frame"
)

// seeing is somebody who chose nothing.
func seeing(now time.Time, in *time.Location) reader {
	return reader{frame.ReaderOf(&http.Request{}, now, in)}
}

// TestClock_RunsWithThePage: between two readings the time used grows with the clock on the page.
func TestClock_RunsWithThePage(t *testing.T) {
	now := time.Date(2026, 11, 26, 2, 0, 0, 0, time.UTC)
	see := seeing(now, time.UTC)
	c := monitor.Clock{Name: monitor.ClockDangerZone, State: monitor.ClockRunning, Used: time.Hour, Within: 4 * time.Hour}
	if got, want := see.clock(c, now.Add(-10*time.Minute)).Figures, "1 h 10 min of 4 h"; got != want {
		t.Errorf("running clock = %q, want %q", got, want)
	}
	c.State = monitor.ClockMet
	if got, want := see.clock(c, now.Add(-10*time.Minute)).Figures, "1 h of 4 h"; got != want {
		t.Errorf("met clock = %q, want %q", got, want)
	}
}

// TestClock_GainsNothingUnmeasured: time at heat is measured or does not exist; time that a limit uses up is not called measured when no reading came.
func TestClock_GainsNothingUnmeasured(t *testing.T) {
	now := time.Date(2026, 11, 26, 2, 0, 0, 0, time.UTC)
	see := seeing(now, time.UTC)
	heat := monitor.Clock{Name: monitor.ClockCooked, State: monitor.ClockRunning, Used: 17 * time.Minute, Within: 19 * time.Minute}
	if got, want := see.clock(heat, now.Add(-10*time.Minute)).Figures, "17 min of 19 min"; got != want {
		t.Errorf("time at heat = %q, want %q", got, want)
	}
	limit := monitor.Clock{Name: monitor.ClockDangerZone, State: monitor.ClockRunning, Used: 2 * time.Hour, Within: 4 * time.Hour, Because: "probe flat has spent 2 h there"}
	l := see.clock(limit, now.Add(-time.Hour))
	if want := "Probe flat has spent 2 h there. Nothing was measured in the last 1 h: count that time too."; l.Figures != "2 h of 4 h" || l.Because != want || l.Share != "75.0%" {
		t.Errorf("limit without readings = %+v", l)
	}
}

// TestClock_SaysARuleOfThumb: a limit that no authority has published is told as such and stands below those that one has.
func TestClock_SaysARuleOfThumb(t *testing.T) {
	see := seeing(time.Time{}, time.UTC)
	thumb := monitor.Clock{Name: monitor.ClockDangerZone, Thumb: true, State: monitor.ClockMissed, Used: 4*time.Hour + 11*time.Minute, Within: 4 * time.Hour}
	if l := see.clock(thumb, time.Time{}); l.State != "longer than usual" || l.Class != "missed thumb" || !strings.HasSuffix(l.Name, "(rule of thumb)") || l.Figures != "4 h 11 min of 4 h" {
		t.Errorf("rule of thumb = %+v", l)
	}
	unknown := monitor.Clock{Name: monitor.ClockComeUp, State: monitor.ClockUnknown}
	if urgency(thumb) <= urgency(unknown) {
		t.Error("a rule of thumb stands above a published limit that cannot be judged")
	}
	thumb.Thumb = false // a shop's own
	if l := see.clock(thumb, time.Time{}); l.State != "missed" || l.Class != "missed" || urgency(thumb) != 0 {
		t.Errorf("a shop's own limit = %+v", l)
	}
}
