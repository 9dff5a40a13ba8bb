// Package webtest holds what the tests of internal/web and of the packages below it share: an invented night on one fire as a shop, a library
// that pages as the store does, records in a real store, and readers of answers. Shipped code does not import it.
package webtest

import (
	"log/slog"
	"math"
	"sync"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/shop"
)

// WithClocks adds limits to the pieces: running, met and missed ones, and one that cannot be judged.
func (n *Night) WithClocks() *Night {
	now := n.Snap.Now
	stage := func(piece cook.PieceID, s cook.Stage, clocks ...monitor.Clock) monitor.StageView {
		return monitor.StageView{Watch: cook.StageWatch{Stage: s, Piece: piece, Probes: []cook.ProbeID{cook.ProbeID(piece)}, From: n.Start}, Cook: 7, At: now, Probe: cook.ProbeID(piece), Celsius: 68, Clocks: clocks}
	}
	const source = "FDA Food Code 2022, 3-501.14"
	n.Snap.Stages = []monitor.StageView{
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

// Night is an invented moment: 02:14 on one fire, one piece in the stall, one wrapped, one ready, alarms open.
type Night struct {
	mu      sync.Mutex // guards the fields below
	Snap    monitor.Snapshot
	Past    []cook.Stored
	Hand    []cook.Reading
	Asked   []cook.Event
	Started []cook.Cook
	stop    []chan struct{}
	Start   time.Time
}

// Zone is where the night is: Chicago.
func Zone(t testing.TB) *time.Location {
	t.Helper()
	in, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	return in
}

// core is a made-up course of a piece: it warms, stands still at the stall, and climbs again.
func core(h, stall, until float64) thermal.Celsius {
	t := 4 + (stall-4)*(1-math.Exp(-h/1.6))
	if h > until {
		t += 9 * (h - until) * (1 - math.Exp(-(h - until)))
	}
	return thermal.Celsius(t + 0.15*math.Sin(40*h))
}

// Courses are what the probes measure, by the hours since the fire was lit.
var Courses = map[cook.ProbeID]func(h float64) thermal.Celsius{
	"flat":     func(h float64) thermal.Celsius { return core(h, 68, 7) },
	"shoulder": func(h float64) thermal.Celsius { return core(h, 69, 4) },
	"breast":   func(h float64) thermal.Celsius { return core(h, 76, 9) },
	"spare": func(h float64) thermal.Celsius { // in a hand from 5.5 h on
		if h < 5.5 {
			return 20
		}
		return 31
	},
	"pit": func(h float64) thermal.Celsius {
		v := 108 + 4*math.Sin(3*h) + 2*math.Sin(17*h)
		if h > 2.4 && h < 2.6 {
			v -= 25
		}
		return thermal.Celsius(v - 18*max(0, h-5.7))
	},
}

// NewNight is the night as it always begins.
func NewNight(t testing.TB) *Night {
	now := time.Date(2026, 11, 26, 2, 14, 20, 0, Zone(t))
	start := time.Date(2026, 11, 25, 20, 0, 0, 0, Zone(t))
	at := func(h float64) time.Time { return start.Add(time.Duration(h * float64(time.Hour))) }
	c := cook.Cook{Name: "Thanksgiving table", Started: start, ServeBy: at(16), Pit: cook.Pit{SetPoint: 110, Fire: "offset"},
		Pieces: []cook.Piece{
			{ID: "flat", Cut: "brisket_flat_cured", MassKg: 3.1, ThicknessMM: 58, Target: 92.5, Plan: &cook.WrapPlan{Wrap: "foil", AtC: 72}},
			{ID: "shoulder", Cut: "pork_shoulder", MassKg: 3.8, ThicknessMM: 110, Target: 95},
			{ID: "breast", Cut: "turkey_breast", MassKg: 1.9, Target: 74},
		}}
	entries := []cook.Entry{
		{ID: 1, Event: cook.Event{Time: at(2.4), Kind: cook.EventLid}, Logged: at(2.45), By: "page"},
		{ID: 2, Event: cook.Event{Time: at(3.1), Kind: cook.EventSpritz}, Logged: at(3.1), By: "page"},
		{ID: 3, Event: cook.Event{Time: at(4.1), Kind: cook.EventWrap, Piece: "shoulder", With: "paper"}, Logged: at(4.4), By: "page", Note: "20 minutes late in the book"},
		{ID: 4, Event: cook.Event{Time: at(4.6), Kind: cook.EventFuel}, Logged: at(4.6), By: "page"},
	}
	c.Events = cook.Effective(entries)
	stored := cook.Stored{ID: 7, Cook: c, Entries: entries}
	h := now.Sub(start).Hours()
	q := func(p05, p10, p25, p50, p75, p90, p95 float64) [7]time.Time {
		return [7]time.Time{at(p05), at(p10), at(p25), at(p50), at(p75), at(p90), at(p95)}
	}
	flat := estimator.Forecast{At: now, Core: Courses["flat"](h), Target: 92.5, State: estimator.Stall, Since: at(4.2), PNever: 0.01, WaterKg: 0.41,
		Ready: q(10.6, 11.1, 12.0, 13.2, 14.4, 15.7, 16.6), StallEnd: at(8.4),
		Because: "evaporation has held it near 68 °C for two hours; it lets go once the surface has dried or it is wrapped"}
	shoulder := estimator.Forecast{At: now, Core: Courses["shoulder"](h), Target: 95, State: estimator.Wrapped, Since: at(4.1), WaterKg: 0.55,
		Ready: q(7.4, 7.6, 7.9, 8.3, 8.7, 9.2, 9.6), Because: "the paper stopped most of the evaporation at 00:06, and it has climbed 9 °C an hour since"}
	ready := at(5.1)
	breast := estimator.Forecast{At: now, Core: Courses["breast"](h), Target: 74, State: estimator.Ready, Since: ready, WaterKg: math.NaN(),
		Ready: [7]time.Time{ready, ready, ready, ready, ready, ready, ready}, Because: "its five-minute median reached 74 °C at 01:06"}
	for i := range 200 {
		f := 10.0 + 7.0*float64(i)/200
		flat.Draws = append(flat.Draws, estimator.Draw{Ready: at(f), Wrap: at(h + 2.2 + 0.01*float64(i-100))})
	}
	for i := range 60 {
		ahead := float64(i) * 0.2
		path := func(up, spread float64) estimator.PathPoint {
			mid := 68 + up*max(0, ahead-2)
			p := func(k float64) thermal.Celsius { return thermal.Celsius(min(mid+k*spread*math.Sqrt(ahead), 97)) }
			return estimator.PathPoint{Time: at(h + ahead), P05: p(-1.6), P10: p(-1.28), P25: p(-.67), P50: p(0), P75: p(.67), P90: p(1.28), P95: p(1.6)}
		}
		flat.Path = append(flat.Path, path(5.2, 2.2))
		shoulder.Path = append(shoulder.Path, path(11, 1.4))
	}
	probe := func(id cook.ProbeID, role cook.Role, piece cook.PieceID) monitor.ProbeView {
		return monitor.ProbeView{ID: id, Role: role, Piece: piece, Cook: 7, Interval: 15 * time.Second,
			Last: cook.Reading{Probe: id, Time: now.Add(-8 * time.Second), Celsius: Courses[id](h), Quality: cook.Good, Clock: cook.DeviceClock}}
	}
	n := &Night{Start: start, Snap: monitor.Snapshot{
		Now: now,
		Cooks: []monitor.CookView{{Stored: stored, NewestAt: now, AllReady: q(10.7, 11.2, 12.1, 13.3, 14.5, 15.8, 16.7), Pieces: []monitor.PieceView{
			{Piece: c.Pieces[0], Forecast: flat, Forecasted: true, DangerZone: 3*time.Hour + 12*time.Minute, ServeChance: 0.91},
			{Piece: c.Pieces[1], Forecast: shoulder, Forecasted: true, DangerZone: 2*time.Hour + 50*time.Minute, ServeChance: 1},
			{Piece: c.Pieces[2], Forecast: breast, Forecasted: true, DangerZone: 2*time.Hour + 2*time.Minute, ServeChance: 1},
		}}},
		Probes: []monitor.ProbeView{probe("breast", cook.RolePiece, "breast"), probe("flat", cook.RolePiece, "flat"), probe("pit", cook.RolePit, ""), probe("shoulder", cook.RolePiece, "shoulder"),
			{ID: "garage", Last: cook.Reading{Probe: "garage", Time: now.Add(-3 * time.Hour), Celsius: -127, Quality: cook.Open, Clock: cook.ArrivalClock}, Silent: true}},
		Alarms: []alarm.Alarm{
			{ID: "pit-falling/7", Kind: alarm.PitFalling, Priority: alarm.Medium, State: alarm.Active, Cook: 7, Because: "the pit fell from 109 to 99 °C in 30 min with the lid shut, as a dying fire does: look at the fuel", Raised: now.Add(-4 * time.Minute), Changed: now.Add(-4 * time.Minute)},
			{ID: "piece-ready/7/breast", Kind: alarm.PieceReady, Priority: alarm.Low, State: alarm.Active, Cook: 7, Piece: "breast", Because: "breast reached its 74 °C at 01:06: take it off or hold it", Raised: ready, Changed: ready},
			{ID: "probe-silent/garage", Kind: alarm.ProbeSilent, Priority: alarm.Notice, State: alarm.Acked, Probe: "garage", Because: "garage has sent nothing for 3 h: look at its battery or wire", Raised: now.Add(-2 * time.Hour), Changed: now.Add(-time.Hour), Acknowledged: now.Add(-time.Hour), By: "page"},
		},
		QuietUntil: monitor.QuietUntil{Known: true, Until: at(8.1), Because: "the shoulder may be ready then, with one chance in ten before"},
		Intake:     monitor.IntakeView{Connected: true, Clients: 2, Received: 5120, Quarantined: 2},
	}}
	n.Snap.Probes[0].Battery = &cook.Battery{Device: "breast", Probes: []cook.ProbeID{"breast"}, Percent: 73.5, At: now.Add(-12 * time.Minute)}
	garage := &n.Snap.Probes[4]
	garage.Battery, garage.Low = &cook.Battery{Device: "yard", Board: true, Probes: []cook.ProbeID{"garage"}, Percent: 9, At: now.Add(-3 * time.Hour)}, true
	n.Snap.Probes = append(n.Snap.Probes, monitor.ProbeView{ID: "vent", Silent: true, Last: cook.Reading{Probe: "vent", Time: now.Add(-6 * time.Hour), Celsius: 74, Quality: cook.Good, Clock: cook.DeviceClock},
		Fault: &monitor.Fault{Since: now.Add(-5 * time.Minute), What: "open circuit", Do: "look at plug and cable"}})
	old := stored
	old.ID, old.Name, old.Started, old.Ended = 6, "Sunday pork", start.AddDate(0, 0, -10), start.AddDate(0, 0, -10).Add(13*time.Hour)
	old.Cook.Events, old.Entries = nil, nil
	n.Past = []cook.Stored{stored, old}
	return n
}

// WithPast adds two alarms that came and went while nobody looked.
func (n *Night) WithPast() *Night {
	at := func(h float64) time.Time { return n.Start.Add(time.Duration(h * float64(time.Hour))) }
	n.Snap.Alarms = append(n.Snap.Alarms,
		alarm.Alarm{ID: "pit-low/7", Kind: alarm.PitLow, Priority: alarm.Low, State: alarm.Returned, Cook: 7, Because: "pit 84 °C, below its band of 98 to 122 °C", Raised: at(2.5), Changed: at(2.8), Returned: at(2.8)},
		alarm.Alarm{ID: "pit-high/7", Kind: alarm.PitHigh, Priority: alarm.Medium, State: alarm.Returned, Cook: 7, Because: "pit 131 °C, above its band of 98 to 122 °C", Raised: at(4.7), Changed: at(4.9), Returned: at(4.9)})
	return n
}

// Shop is the night as the API and the pages meet it.
func (n *Night) Shop(t testing.TB) shop.Shop {
	return shop.Shop{Desk: n, Library: n, View: n, PostRoom: &Counter{}, Papers: &drawer{}, Checks: &checkbook{now: time.Date(2026, 11, 26, 8, 0, 0, 0, time.UTC)}, Planner: evenly{},
		Location: Zone(t), Now: func() time.Time { return n.Snapshot().Now }, Estimator: estimator.New(estimator.DefaultPrior())}
}

// NoLog throws away what is logged.
func NoLog() *slog.Logger { return slog.New(slog.DiscardHandler) }
