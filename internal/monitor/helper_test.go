package monitor

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
	"stallkeeper/internal/trace"
)

var start = time.Date(2026, 5, 2, 20, 0, 0, 0, time.UTC)

func minute(m float64) time.Time { return start.Add(time.Duration(m * float64(time.Minute))) }

// line is a stand-in for the forecaster: a straight line of 0.2 K a minute from the newest core reading to the target,
// ten draws between 0.8 and 1.25 times as long; foil makes it 0.6 times as long. It costs nothing, so whole nights fit
// into a test. What it forecasts is not the point here.
type line struct {
	late float64 // by how much something done an hour later shortens it; 0 = by 0.05
	in   estimator.Input
	core []estimator.Sample
	pit  int
}

func (l *line) AddCore(s ...estimator.Sample) { l.core = append(l.core, s...) }
func (l *line) AddPit(s ...estimator.Sample)  { l.pit += len(s) }
func (l *line) Amend(in estimator.Input)      { l.in = in }

func (l *line) Forecast(at time.Time) estimator.Forecast { return l.forecast(at, 1) }

func (l *line) WhatIf(at time.Time, actions ...estimator.Action) estimator.Forecast {
	factor := 1.0
	for _, a := range actions {
		switch {
		case a.At.After(at.Add(30 * time.Minute)): // done later it helps less
			factor -= max(l.late, 0.05)
		case a.With == estimator.Foil:
			factor -= 0.4
		default:
			factor -= 0.1
		}
	}
	return l.forecast(at, factor)
}

func (l *line) forecast(at time.Time, factor float64) estimator.Forecast {
	f := estimator.Forecast{At: at, Target: l.in.Target, Core: thermal.Celsius(math.NaN()), State: estimator.Unknown, PNever: 1, Because: "a straight line."}
	var newest estimator.Sample
	for _, s := range l.core {
		if !s.Time.After(at) && s.Time.After(newest.Time) {
			newest = s
		}
	}
	if newest.Celsius >= l.in.Target {
		since := newest.Time
		for _, s := range slices.Backward(l.core) {
			if s.Celsius < l.in.Target {
				break
			}
			since = s.Time
		}
		f.Core, f.State, f.PNever, f.Since = newest.Celsius, estimator.Ready, 0, since
		for i := range f.Ready {
			f.Ready[i] = since
		}
		return f
	}
	if newest.Time.IsZero() {
		return f
	}
	f.Core, f.State, f.PNever = newest.Celsius, estimator.Climbing, 0
	left := factor * float64(l.in.Target-newest.Celsius) / 0.2
	for i := range 10 {
		ready := newest.Time.Add(time.Duration(left * (0.8 + 0.05*float64(i)) * float64(time.Minute)))
		f.Draws = append(f.Draws, estimator.Draw{Ready: ready})
	}
	for i, level := range estimator.Levels {
		f.Ready[i] = f.Draws[int(level*10)].Ready
	}
	return f
}

// night drives a monitor as the daemon does: readings come a second after they were measured, ticks every ten seconds,
// recounts are answered from what was taken in.
type night struct {
	tb     testing.TB
	m      *State
	now    time.Time
	stored []cook.Reading
	cook   cook.Stored
	lag    time.Duration // of arrivals behind measurement
	heard  []Effect
	times  []time.Time // of the daemon's clock, for each effect
	kept   time.Time
}

func newNight(tb testing.TB, c cook.Cook) *night {
	tb.Helper()
	n := &night{tb: tb, now: start, lag: time.Second, cook: cook.Stored{ID: 1, Cook: c}}
	n.m = newTested()
	n.do(n.m.CookChanged(n.cook, n.now))
	return n
}

func newTested() *State {
	m := New(Options{Settings: alarm.DefaultSettings(), Zone: time.UTC})
	m.track = func(in estimator.Input, _ tracker) tracker { return &line{in: in} }
	return m
}

func supper(pieces ...cook.Piece) cook.Cook {
	return cook.Cook{Name: "supper", Started: start, Pit: cook.Pit{SetPoint: 107}, Pieces: pieces}
}

func flat() cook.Piece {
	return cook.Piece{ID: "flat", Cut: "brisket_flat", Target: 93, Intact: true}
}

// do keeps what the monitor wants done, and answers recounts.
func (n *night) do(effects []Effect) {
	for _, e := range effects {
		if e.Recount != 0 {
			n.recount(e.Recount)
			continue
		}
		if e.Forecast != nil && e.Forecast.Keep {
			n.kept = e.Forecast.At
		}
		n.heard, n.times = append(n.heard, e), append(n.times, n.now)
	}
}

// recount gives the monitor what was taken in, in order, and does what it wants done as it comes up.
func (n *night) recount(id cook.ID) {
	n.tb.Helper()
	n.do(n.count(id, len(n.stored)).Done(n.now))
}

// count begins to count again, with the first so many that were committed.
func (n *night) count(id cook.ID, stored int) *Counting {
	n.tb.Helper()
	sorted := slices.Clone(n.stored[:stored])
	outlook.Sort(sorted)
	c := n.m.Count(id, int64(stored), n.kept, n.now)
	if c == nil {
		n.tb.Fatalf("cook %d is not running", id)
	}
	for _, r := range sorted {
		n.do(c.Add(r))
	}
	return c
}

func (n *night) arrive(readings ...cook.Reading) {
	for i := range readings {
		readings[i].Arrived = n.now
	}
	first := int64(len(n.stored)) + 1
	n.stored = append(n.stored, readings...)
	n.do(n.m.Apply(committed(first, readings), n.now))
}

// committed numbers readings in their order.
func committed(first int64, readings []cook.Reading) []Committed {
	out := make([]Committed, len(readings))
	for i, r := range readings {
		out[i] = Committed{Seq: first + int64(i), Reading: r}
	}
	return out
}

// until lets the daemon's clock run, ticking every ten seconds.
func (n *night) until(t time.Time) {
	for n.now.Before(t) {
		n.now = n.now.Add(10 * time.Second)
		if n.now.After(t) {
			n.now = t
		}
		n.do(n.m.Tick(n.now))
	}
}

// play lets readings arrive in their order, each after its lag.
func (n *night) play(readings []cook.Reading) {
	outlook.Sort(readings)
	for i := 0; i < len(readings); {
		j := i + 1
		for j < len(readings) && readings[j].Time.Equal(readings[i].Time) {
			j++
		}
		n.until(readings[i].Time.Add(n.lag))
		n.arrive(slices.Clone(readings[i:j])...)
		i = j
	}
}

func mustRead(tb testing.TB, probe cook.ProbeID, every time.Duration, text string) []cook.Reading {
	tb.Helper()
	tr, err := trace.Parse(text)
	if err != nil {
		tb.Fatal(err)
	}
	return tr.Readings(probe, start, every)
}

// messages writes what people are sent: daemon's time, id, state.
func (n *night) messages() []string {
	var out []string
	for i, e := range n.heard {
		if e.Alarm != nil && e.Alarm.Notify {
			out = append(out, fmt.Sprintf("%s %s %s", n.times[i].Format("15:04"), e.Alarm.Alarm.ID, e.Alarm.Alarm.State))
		}
	}
	return out
}

// listed writes every change that is kept: reading time, id, state.
func (n *night) listed() []string {
	var out []string
	for _, e := range n.heard {
		if e.Alarm != nil {
			out = append(out, fmt.Sprintf("%s %s %s", e.Alarm.Alarm.Changed.Format("15:04"), e.Alarm.Alarm.ID, e.Alarm.Alarm.State))
		}
	}
	return out
}

// forecasts writes the kept forecasts: the time they are of.
func (n *night) forecasts() []string {
	var out []string
	for _, e := range n.heard {
		if e.Forecast != nil && e.Forecast.Keep {
			out = append(out, e.Forecast.At.Format("15:04:05.999"))
		}
	}
	return out
}

func same(tb testing.TB, what string, got, want []string) {
	tb.Helper()
	if !slices.Equal(got, want) {
		tb.Errorf("%s:\n got %s\nwant %s", what, strings.Join(got, "\n     "), strings.Join(want, "\n     "))
	}
}

func nightReadings(tb testing.TB) []cook.Reading {
	tb.Helper()
	return slices.Concat(
		mustRead(tb, "pit", 15*time.Second, "107 hold 3h, to 82 in 2m, to 105 in 11m, 107 hold 2h57m, -0.6/min x60, +1.5/min x24, 107 hold 2h"),
		mustRead(tb, "flat", 15*time.Second, "5 +0.14/min x574"))
}
