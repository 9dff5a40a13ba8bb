package monitor

import (
	"fmt"
	"slices"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// need is something that will want a person, and what to call it.
type need struct {
	at   time.Time
	what string
}

// decideBefore is how long before the serving hour a doubtful outcome has to be decided on. Choice of this project.
const decideBefore = 2 * time.Hour

// quietUntil is the tenth percentile of the first need over the forecasts' draws, unless something is not being watched.
func (m *State) quietUntil() QuietUntil {
	busy := slices.ContainsFunc(m.fires, func(f *fire) bool { return !f.idle() })
	stages, ticks := first(m.stageNeeds())
	switch {
	case busy || ticks:
	case len(m.fires) == 0:
		return QuietUntil{Because: "Nothing is on the fire."}
	default:
		return QuietUntil{Because: "Everything is off the fire; end the cook."}
	}
	if why := m.unwatched(); why != "" {
		return QuietUntil{Because: why}
	}
	for _, c := range m.conditions() {
		if a := c.Alarm(); a.State == alarm.Active && wakes(a.Priority) {
			return QuietUntil{Known: true, Until: m.now, Because: a.Because}
		}
	}
	var until QuietUntil
	for _, f := range m.fires {
		if f.idle() {
			continue
		}
		at, what := f.firstNeed(m)
		if !until.Known || at.Before(until.Until) {
			until = QuietUntil{Known: true, Until: at, Because: what}
		}
	}
	if ticks {
		until = until.earlier(stages)
	}
	if until.Until.Before(m.now) {
		until.Until = m.now
	}
	return until
}

// unwatched says what keeps the sentence from being given; empty when everything is watched.
func (m *State) unwatched() string {
	switch {
	case m.trouble() != "":
		return m.trouble() + ": readings do not come in, so nobody can say."
	case m.intake.Late(m.waits()) != "":
		return "Readings wait to be judged, so nobody can say."
	case m.way.Scarce != "":
		return m.way.Scarce + ": soon nothing can be kept, so look yourself."
	case m.way.Delivery != "":
		return m.way.Delivery + ": a message might not reach you, so look yourself."
	}
	for _, f := range m.fires {
		if f.idle() {
			continue
		}
		for _, p := range m.byName() {
			if p.fire == f && p.expected() && (!p.heard && m.silence(p) > m.o.Settings.ProbeSilent.Least || m.silent(p)) {
				return fmt.Sprintf("Probe %s is silent, so nobody can say.", p.id)
			}
			if p.fire == f && p.watch.Suspect() {
				return fmt.Sprintf("Probe %s cannot be believed, so nobody can say.", p.id)
			}
		}
		if f.frontier.IsZero() || !f.current(m, m.now, f.frontier) {
			return fmt.Sprintf("There are no readings of %s from the last %d minutes, so nobody can say.", f.stored.Name, int(fresh/time.Minute))
		}
		for _, p := range f.pieces {
			if !p.off && blank(p.forecast) {
				return fmt.Sprintf("There is no forecast of %s yet.", p.ID)
			}
		}
	}
	return m.stageUnwatched()
}

// blank reports whether a forecast says nothing about when.
func blank(f estimator.Forecast) bool { return len(f.Draws) == 0 && f.State != estimator.Ready }

// firstNeed gives the time by which the cook needs nobody with nine chances in ten, and what probably comes first then.
func (f *fire) firstNeed(m *State) (time.Time, string) {
	var waiting []estimator.Forecast
	needs := f.needs(m)
	for _, p := range f.pieces {
		if p.off || p.forecast.State == estimator.Ready {
			continue
		}
		waiting = append(waiting, p.forecast)
	}
	var at []time.Time
	for _, n := range needs {
		at = append(at, n.at)
	}
	until, ok := estimator.QuietUntil(waiting, at...)
	if !ok {
		return f.frontier.Add(estimator.Horizon), fmt.Sprintf("Nothing is expected to need you within %d hours.", int(estimator.Horizon/time.Hour))
	}
	for _, p := range f.pieces {
		if p.off || p.forecast.State == estimator.Ready {
			continue
		}
		if t, ok := wrapSoonest(p.forecast); ok {
			needs = append(needs, need{t, fmt.Sprintf("%s may want its wrap", p.ID)})
		}
		if t := p.forecast.Ready[1]; !t.IsZero() {
			needs = append(needs, need{t, fmt.Sprintf("%s may be ready", p.ID)})
		}
	}
	first := need{what: "one of the pieces may be ready"}
	for _, n := range needs {
		if first.at.IsZero() || n.at.Before(first.at) {
			first = n
		}
	}
	if until.Sub(m.now) < time.Minute {
		return until, first.what + "."
	}
	return until, fmt.Sprintf("Then %s; nothing needs you before with nine chances in ten.", first.what)
}

// wrapSoonest is the tenth percentile of the planned wrap alone.
func wrapSoonest(forecast estimator.Forecast) (time.Time, bool) {
	only := forecast
	only.Draws = make([]estimator.Draw, len(forecast.Draws))
	for i, d := range forecast.Draws {
		only.Draws[i].Wrap = d.Wrap
	}
	return estimator.QuietUntil([]estimator.Forecast{only})
}

// needs are the times that are known rather than drawn: fuel, a decision about the serving hour, a limit about to pass.
func (f *fire) needs(m *State) []need {
	var out []need
	if m.o.FuelEvery > 0 && !f.idle() {
		last := f.stored.Started
		for _, e := range f.stored.Events[:f.worked] {
			if e.Kind == cook.EventFuel {
				last = e.Time
			}
		}
		out = append(out, need{last.Add(m.o.FuelEvery), "the fire wants fuel"})
	}
	for _, p := range f.pieces {
		if p.off || p.forecast.State == estimator.Ready {
			continue
		}
		if by := f.stored.ServeBy; !by.IsZero() && p.forecast.ReadyBy(by) < enough {
			decide := by.Add(-decideBefore)
			if decide.Before(f.frontier) {
				decide = by
			}
			out = append(out, need{decide, fmt.Sprintf("it is time to decide about %s and the serving hour %s", p.ID, when.Near(by, m.now, m.o.Zone))})
		}
		if t, ok := f.lukewarmAt(m, p); ok {
			out = append(out, need{t, fmt.Sprintf("%s will have been lukewarm for %s", p.ID, when.Span(m.warmOf(p).Longest(m.o.Settings.DangerZone)))})
		}
	}
	return out
}

// lukewarmAt is when the piece reaches the limit of the danger zone, if one forecast in ten keeps it in there so long.
func (f *fire) lukewarmAt(m *State, p *piece) (time.Time, bool) {
	z, warm := m.o.Settings.DangerZone, m.warmOf(p)
	left := warm.Longest(z) - warm.Used - warm.Unseen // as the alarm counts
	if left <= 0 || p.forecast.Core < z.From || p.forecast.Core >= z.To {
		return time.Time{}, false
	}
	limit := f.frontier.Add(left)
	for _, q := range p.forecast.Path {
		if !q.Time.Before(limit) {
			return limit, q.P10 < z.To
		}
	}
	return time.Time{}, false
}
