package monitor

import (
	"fmt"
	"math"
	"slices"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
)

// foresee forecasts every piece at the frontier.
func (f *fire) foresee(m *State, keep bool) []Effect {
	if f.frontier.IsZero() {
		return nil
	}
	at := f.frontier
	f.forecast = at
	if keep {
		f.keptAt = at
	}
	var out []Effect
	var changes []alarm.Change
	for _, p := range f.pieces {
		failed := error(nil)
		p.forecast, failed = m.guarded(p, at, func() estimator.Forecast { return p.track.Forecast(at) })
		p.known = true
		data, err := outlook.NewLine(p.ID, p.forecast).JSON()
		if err != nil {
			panic("monitor: " + err.Error()) // a forecast that is no JSON is a mistake of the forecaster
		}
		out = append(out, Effect{Forecast: &Forecasted{Keep: keep, Failed: failed,
			KeptForecast: cook.KeptForecast{Cook: f.stored.ID, Piece: p.ID, At: at, JSON: data}}})
		if p.forecast.State == estimator.Ready && !f.doubtful(m, p) {
			f.atHand(m, p, at) // whoever takes it off pulls the probe
		}
		if !blank(p.forecast) {
			changes = append(changes, p.watch.Forecast(at, f.outlook(m, p))...)
		}
	}
	return append(out, f.emit(m, at, changes)...)
}

// guarded makes a forecast. A forecaster that panics must not end the watch, which would fall into the same hole at every
// start: its panic is counted, and returned as an error beside a forecast that knows nothing.
func (m *State) guarded(p *piece, at time.Time, make func() estimator.Forecast) (f estimator.Forecast, failed error) {
	defer func() {
		if cause := recover(); cause != nil {
			m.failures++
			failed = fmt.Errorf("the forecaster failed on piece %s: %v: please report it with the cook's log", p.ID, cause)
			nan := math.NaN()
			f = estimator.Forecast{At: at, Core: thermal.Celsius(nan), Target: p.Target, State: estimator.Unknown, PNever: 1, WaterKg: nan,
				Because: "there is no forecast because the forecaster failed; readings and alarms go on"}
		}
	}()
	return make(), nil
}

// whatIf forecasts as if the actions were done; a forecaster that fails sees no help in them.
func (m *State) whatIf(p *piece, at time.Time, actions []estimator.Action) estimator.Forecast {
	f, _ := m.guarded(p, at, func() estimator.Forecast { return p.track.WhatIf(at, actions...) })
	return f
}

// outlook puts a forecast into the facts that alarms look at.
func (f *fire) outlook(m *State, p *piece) alarm.Outlook {
	o := alarm.Outlook{Core: p.forecast.Core, Target: p.Target, ServeBy: f.stored.ServeBy, Chance: math.NaN(),
		Early: p.forecast.Ready[1], Middle: p.forecast.Ready[3], Late: p.forecast.Ready[5], Doubtful: f.doubtful(m, p)}
	if p.forecast.State == estimator.Ready {
		o.Ready = p.forecast.Ready[3]
	}
	if !o.ServeBy.IsZero() {
		o.Chance = p.forecast.ReadyBy(o.ServeBy)
		a := f.advise(m, p, o.Chance)
		o.Advice, o.Wait = a.text, a.wait
	}
	return o
}

// atHand takes note that somebody has, or will have, a hand on the piece's probes.
func (f *fire) atHand(m *State, p *piece, at time.Time) {
	for _, id := range p.ProbeIDs() {
		if q := m.probes[id]; q != nil && q.fire == f {
			q.watch.Worked(at)
		}
	}
}

// doubtful reports whether the piece's readings cannot be believed, or have stopped while others go on.
func (f *fire) doubtful(m *State, p *piece) bool {
	speaks := false
	for _, id := range p.ProbeIDs() {
		q := m.probes[id]
		if q == nil || q.fire != f {
			continue
		}
		if q.watch.Doubtful() {
			return true
		}
		speaks = speaks || f.frontier.Sub(f.spoken[id]) <= m.o.Settings.ProbeSilent.Patience(q.interval())
	}
	return !speaks
}

// advice is what could be done about a serving hour in doubt.
type advice struct {
	at   time.Time // of the forecast it was sought for
	text string    // empty when nothing helps
	wait bool      // it may as well be done an hour later
	best Advice
}

// Choices of this project: how often advice is sought, how far off a hopeless hour may be and still be told at once.
const (
	adviseEvery = 10 * time.Minute
	later       = time.Hour
	hopeless    = 0.25
	near        = 4 * time.Hour
)

// advise looks for what would make the serving hour after all when the forecast puts it in doubt, and whether it can
// wait: a person is woken when the last hour in which something helps begins, not when the odds first look poor.
func (f *fire) advise(m *State, p *piece, chance float64) advice {
	at, by := f.frontier, f.stored.ServeBy
	if !p.watch.AtRisk(chance) || !at.Before(by) {
		return advice{}
	}
	if !p.advice.at.IsZero() && at.Sub(p.advice.at) < adviseEvery {
		return p.advice
	}
	p.advice = advice{at: at}
	best, bestLater := chance, chance
	for _, t := range f.tries(p) {
		now, delayed := m.whatIf(p, at, t.at(at)), m.whatIf(p, at, t.at(at.Add(later)))
		bestLater = max(bestLater, delayed.ReadyBy(by))
		if c := now.ReadyBy(by); best < enough && (c >= enough || c > best+0.1) {
			best, p.advice.text = c, fmt.Sprintf("%s: %s likely to make it.", t.do, alarm.Chance(c))
			p.advice.best = adviceOf(t, c)
		}
	}
	if best >= enough {
		p.advice.wait = bestLater >= enough
	} else {
		p.advice.wait = chance > hopeless && by.Sub(at) > near
	}
	return p.advice
}

// adviceOf puts a try into the snapshot's words.
func adviceOf(t try, chance float64) Advice {
	a := Advice{Chance: chance}
	for _, act := range t.actions {
		switch act.Kind {
		case estimator.Wrap:
			a.Wrap = string(act.With)
		case estimator.SetPoint:
			a.SetPoint = act.Celsius
		}
	}
	return a
}

// try is something that could be done.
type try struct {
	do      string
	actions []estimator.Action
}

func (t try) at(when time.Time) []estimator.Action {
	out := slices.Clone(t.actions)
	for i := range out {
		out[i].At = when
	}
	return out
}

// tries lists what could be done about a late piece, cheapest first.
func (f *fire) tries(p *piece) []try {
	wrap := estimator.Action{Kind: estimator.Wrap, With: estimator.Foil}
	raise := estimator.Action{Kind: estimator.SetPoint, Celsius: min(f.setPoint(f.frontier)+14, hottestAdvice)}
	raises, wraps := raise.Celsius > f.setPoint(f.frontier), !f.wrapped(p.ID)
	var out []try
	if wraps {
		out = append(out, try{"Wrapping it in foil now", []estimator.Action{wrap}})
	}
	if raises {
		out = append(out, try{fmt.Sprintf("Raising the pit to %.0f °C now", float64(raise.Celsius)), []estimator.Action{raise}})
	}
	if wraps && raises {
		out = append(out, try{fmt.Sprintf("Wrapping it in foil and raising the pit to %.0f °C now", float64(raise.Celsius)), []estimator.Action{wrap, raise}})
	}
	return out
}

// What advice aims at, and the highest setpoint it proposes (275 °F; the USDA smoking advice is 225 to 300 °F).
const (
	enough        = 0.9
	hottestAdvice = 135
)

func (f *fire) wrapped(id cook.PieceID) bool {
	wrapped := false
	for _, e := range f.stored.Events[:f.worked] {
		if e.Piece == "" || e.Piece == id {
			wrapped = e.Kind == cook.EventWrap || wrapped && e.Kind != cook.EventUnwrap
		}
	}
	return wrapped
}

// pause makes a forecast of the newest reading when no more come, at once where a piece had none for want of readings that came later
// than the pit's, and asks for a recount when lateness has calmed. What comes late while the cook is counted is counted with it: asking would
// begin anew, and where late readings go on coming the count would never end.
func (f *fire) pause(m *State) []Effect {
	if f.waits {
		return nil
	}
	if f.late && !f.counting && (m.uptime-f.lateAt >= calm || f.frontier.After(m.now.Add(future))) {
		f.late = false
		return []Effect{{Recount: f.stored.ID}}
	}
	if f.lacked && m.uptime-f.took >= hold {
		f.lacked = false
		return f.foresee(m, false)
	}
	if len(f.held) > 0 || !f.frontier.After(f.forecast) || m.uptime-f.took < pauseAfter {
		return nil
	}
	return f.foresee(m, false)
}
