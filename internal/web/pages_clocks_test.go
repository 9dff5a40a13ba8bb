package web

import (
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
)

// withClocks adds limits to the pieces: running, met and missed ones, and one that cannot be judged.
func (n *night) withClocks() *night {
	now := n.snap.Now
	stage := func(piece cook.PieceID, s cook.Stage, clocks ...monitor.Clock) monitor.StageView {
		return monitor.StageView{Watch: cook.StageWatch{Stage: s, Piece: piece, Probes: []cook.ProbeID{cook.ProbeID(piece)}, From: n.start}, Cook: 7, At: now, Probe: cook.ProbeID(piece), Celsius: 68, Clocks: clocks}
	}
	const source = "FDA Food Code 2022, 3-501.14"
	n.snap.Stages = []monitor.StageView{
		stage("flat", cook.StageSmoke,
			monitor.Clock{Name: monitor.ClockCooked, Set: "foodcode-2022", Source: source, Needed: "at 63 °C for 3 min", State: monitor.ClockMet, Used: 40 * time.Minute, Within: 3 * time.Minute, Because: "63 °C was held for 40 min"},
			monitor.Clock{Name: monitor.ClockComeUp, Set: "fsis-2021", Source: source, Needed: "from 10 to 54.4 °C within 6 h", State: monitor.ClockMet, Used: 3*time.Hour + 12*time.Minute, Within: 6 * time.Hour, Because: "it took 3 h 12 min"},
			monitor.Clock{Name: monitor.ClockHold, Set: "foodcode-2022", Source: source, Needed: "57 °C or above", State: monitor.ClockWaiting, Because: "it is not held yet"}),
		stage("breast", cook.StageChill,
			monitor.Clock{Name: monitor.ClockCooling1, Set: "foodcode-2022", Source: source, Needed: "from 57 to 21 °C within 2 h", State: monitor.ClockRunning, Used: 70 * time.Minute, Within: 2 * time.Hour, Since: now.Add(-70 * time.Minute), Due: now.Add(50 * time.Minute), Forecast: now.Add(80 * time.Minute), AtRisk: true, Because: "31 °C now, falling 12 °C an hour"},
			monitor.Clock{Name: monitor.ClockDangerZone, Set: "foodcode-2022", Source: source, Needed: "below 4 h", State: monitor.ClockUnknown, Used: time.Hour, Unseen: 25 * time.Minute, Within: 4 * time.Hour, Because: "the probe was silent from 00:40 to 01:05"}),
	}
	return n
}

func TestWatch_ShowsTheClocksOfALimit(t *testing.T) {
	server := serveNight(t, newNight(t).withClocks(), nil)
	page := get(t, server, "/?piece=7/breast")
	has(t, page, "Cooling, first leg", "1 h 10 min of 2 h 00 min", "runs out 03:04 if nothing changes", "Forecast: not before 03:34, which is too late.",
		"not known: readings are missing", "and 25 min without readings", "FDA Food Code 2022, 3-501.14.")
	if strings.Index(page, "not known: readings") > strings.Index(page, "Cooling, first leg") {
		t.Error("what cannot be judged stands below what runs")
	}
	page = get(t, server, "/?piece=7/flat")
	has(t, page, "Coming up to cooking heat", "3 h 12 min of 6 h 00 min", "1 limit does not run now")
	if strings.Contains(page, "Cooling, first leg") {
		t.Error("the clock of another piece is shown")
	}
}

// TestClock_RunsWithThePage: between two readings the time used grows with the clock on the page.
func TestClock_RunsWithThePage(t *testing.T) {
	now := time.Date(2026, 11, 26, 2, 0, 0, 0, time.UTC)
	see := reader{now: now, in: time.UTC}
	c := monitor.Clock{Name: monitor.ClockDangerZone, State: monitor.ClockRunning, Used: time.Hour, Within: 4 * time.Hour}
	if got, want := see.clock(c, now.Add(-10*time.Minute)).Figures, "1 h 10 min of 4 h 00 min"; got != want {
		t.Errorf("running clock = %q, want %q", got, want)
	}
	c.State = monitor.ClockMet
	if got, want := see.clock(c, now.Add(-10*time.Minute)).Figures, "1 h 00 min of 4 h 00 min"; got != want {
		t.Errorf("met clock = %q, want %q", got, want)
	}
}

// TestClock_SaysARuleOfThumb: a limit that no authority has published is told as such and stands below those that one has.
func TestClock_SaysARuleOfThumb(t *testing.T) {
	see := reader{in: time.UTC}
	thumb := monitor.Clock{Name: monitor.ClockDangerZone, Thumb: true, State: monitor.ClockMissed, Used: 4*time.Hour + 11*time.Minute, Within: 4 * time.Hour}
	if l := see.clock(thumb, time.Time{}); l.State != "longer than usual" || l.Class != "missed thumb" || !strings.HasSuffix(l.Name, "(rule of thumb)") || l.Figures != "4 h 11 min of 4 h 00 min" {
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
