package monitor

import (
	"fmt"
	"math"
	"time"

	"stallkeeper/estimator"
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
		p.forecast, p.known = p.track.Forecast(at), true
		data, err := outlook.NewLine(p.ID, p.forecast).JSON()
		if err != nil {
			panic("monitor: " + err.Error()) // a forecast that is no JSON is a mistake of the forecaster
		}
		out = append(out, Effect{Forecast: &Forecasted{Keep: keep,
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

// outlook puts a forecast into the facts that alarms look at.
func (f *fire) outlook(m *State, p *piece) alarm.Outlook {
	o := alarm.Outlook{Core: p.forecast.Core, Target: p.Target, ServeBy: f.stored.ServeBy, Chance: math.NaN(),
		Early: p.forecast.Ready[1], Middle: p.forecast.Ready[3], Late: p.forecast.Ready[5], Doubtful: f.doubtful(m, p)}
	if p.forecast.State == estimator.Ready {
		o.Ready = p.forecast.Ready[3]
	}
	if !o.ServeBy.IsZero() {
		o.Chance = p.forecast.ReadyBy(o.ServeBy)
		o.Advice = f.advise(p, o.Chance)
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

// adviseEvery bounds how often advice is sought while an hour is at risk.
const adviseEvery = 10 * time.Minute

// advise looks for what would make the serving hour after all, when the forecast puts it in doubt.
func (f *fire) advise(p *piece, chance float64) string {
	at := f.frontier
	if f.rehearse || !p.watch.AtRisk(chance) || !at.Before(f.stored.ServeBy) {
		return ""
	}
	if !p.advised.IsZero() && at.Sub(p.advised) < adviseEvery {
		return p.advice
	}
	p.advised, p.advice = at, ""
	wrap := estimator.Action{Kind: estimator.Wrap, With: estimator.Foil}
	raise := estimator.Action{Kind: estimator.SetPoint, Celsius: min(f.setPoint(at)+14, hottestAdvice)}
	wrapped := f.wrapped(p.ID)
	tries := []struct {
		do      string
		skip    bool
		actions []estimator.Action
	}{
		{"Wrapping it in foil now", wrapped, []estimator.Action{wrap}},
		{fmt.Sprintf("Raising the pit to %.0f °C now", float64(raise.Celsius)), raise.Celsius <= f.setPoint(at), []estimator.Action{raise}},
		{fmt.Sprintf("Wrapping it in foil and raising the pit to %.0f °C now", float64(raise.Celsius)), wrapped || raise.Celsius <= f.setPoint(at),
			[]estimator.Action{wrap, raise}},
	}
	best := chance
	for _, t := range tries {
		if t.skip {
			continue
		}
		forecast := p.track.WhatIf(at, t.actions...)
		if c := forecast.ReadyBy(f.stored.ServeBy); c >= enough || c > best+0.1 {
			best, p.advice = c, fmt.Sprintf("%s: %s likely to make it.", t.do, alarm.Chance(c))
			if c >= enough {
				break
			}
		}
	}
	return p.advice
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

// pause makes a forecast of the newest reading when no more come, and asks for a recount when lateness has calmed.
func (f *fire) pause(m *State) []Effect {
	if f.late && (m.uptime-f.lateAt >= calm || f.frontier.After(m.now.Add(future))) {
		f.late = false
		return []Effect{{Recount: f.stored.ID}}
	}
	if len(f.held) > 0 || !f.frontier.After(f.forecast) || m.uptime-f.took < pauseAfter {
		return nil
	}
	return f.foresee(m, false)
}
