package estimator

import (
	"fmt"
	"math"
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
)

// Action is something a cook could do, now or later.
type Action struct {
	Kind    EventKind       // Wrap, Unwrap or SetPoint
	With    Wrapping        // wrap only
	Celsius thermal.Celsius // setpoint only
	At      time.Time       // zero or past = now
	AtCore  thermal.Celsius // wrap only: when the core reaches this; zero = use At
}

// WhatIf forecasts as if the actions were done.
func (e *Estimator) WhatIf(in Input, at time.Time, actions ...Action) Forecast {
	in = in.with(at, actions)
	return e.Forecast(in, at)
}

// WhatIf forecasts as if the actions were done.
func (t *Tracker) WhatIf(at time.Time, actions ...Action) Forecast {
	in := t.in.with(at, actions)
	return t.e.forecast(&in, t.core, t.pit.trace, at)
}

func (in Input) with(at time.Time, actions []Action) Input {
	in.PitPlan = slices.Clone(in.PitPlan)
	in.doLater = slices.Clone(in.doLater)
	for _, a := range actions {
		when := a.At
		if !when.After(at) {
			when = at.Add(time.Millisecond)
		}
		switch a.Kind {
		case Wrap:
			if a.AtCore > 0 {
				in.Plan = &WrapPlan{With: a.With, AtCelsius: a.AtCore}
			} else {
				in.Plan = &WrapPlan{With: a.With, AtTime: when}
			}
		case Unwrap:
			in.doLater = append(in.doLater, Event{Time: when, Kind: Unwrap})
		case SetPoint:
			in.PitPlan = append(in.PitPlan, Event{Time: when, Kind: SetPoint, Celsius: a.Celsius})
		}
	}
	return in
}

// Advice is the cheapest action that makes the hour, and what it costs.
type Advice struct {
	Do     string  // a sentence for the cook
	PReady float64 // P(ready by the hour) when it is done
	Costs  string  // in time band and in risk
	Events []Event // what would be done; empty for nothing and for holding
}

// enough is the probability an action must reach.
const enough = 0.9

// hottestAdvice is the highest setpoint that is advised, °C.
const hottestAdvice = 150

// raises are the steps by which the pit may be raised, K.
var raises = [...]float64{5, 8, 14, 20, 28}

// Advise gives the cheapest of: nothing, holding what is ready, wrapping now, raising the pit by 5 to 28 °C, or both,
// that makes P(ready by serveBy) at least 0.9. ok is false when none does.
func (e *Estimator) Advise(in Input, at, serveBy time.Time) (Advice, bool) {
	base := e.Forecast(in, at)
	p := base.ReadyBy(serveBy)
	if base.State == Ready {
		return Advice{Do: "start holding: it is ready", PReady: p, Costs: "keep it at 60 °C or above until it is served"}, p >= enough
	}
	if p >= enough {
		return Advice{Do: "nothing: leave it as it is", PReady: p, Costs: "nothing; " + slack(&base, serveBy)}, true
	}
	if base.State == Unknown {
		return Advice{}, false
	}
	for _, plan := range options(&in, at) {
		f := e.WhatIf(in, at, plan.actions...)
		if p := f.ReadyBy(serveBy); p >= enough {
			return Advice{Do: plan.do, PReady: p, Costs: plan.costs + "; " + slack(&f, serveBy), Events: plan.events(at)}, true
		}
	}
	return Advice{}, false
}

// slack says how the band lies to the hour.
func slack(f *Forecast, serveBy time.Time) string {
	if f.Ready[1].IsZero() || f.Ready[5].IsZero() {
		return "the band stays open at its late end"
	}
	return fmt.Sprintf("the band is then %s wide and it would wait about %s at the serving hour",
		spell(f.Ready[5].Sub(f.Ready[1])), spell(max(serveBy.Sub(f.Ready[3]), 0)))
}

// option is one course of action.
type option struct {
	do, costs string
	actions   []Action
}

func (o option) events(at time.Time) (events []Event) {
	for _, a := range o.actions {
		events = append(events, Event{Time: at, Kind: a.Kind, With: a.With, Celsius: a.Celsius})
	}
	return events
}

// options lists what could be done, cheapest first.
func options(in *Input, at time.Time) (out []option) {
	past := pastEvents(in, at)
	wrapped := coatAt(past, at.UnixMilli()) != bare
	with := Foil
	if in.Plan != nil && in.Plan.With == Paper {
		with = Paper
	}
	wrap := Action{Kind: Wrap, With: with}
	if !wrapped {
		out = append(out, option{fmt.Sprintf("wrap it in %s now", with), "a softer bark", []Action{wrap}})
		if with == Paper {
			out = append(out, option{"wrap it in foil now", "a soft bark", []Action{{Kind: Wrap, With: Foil}}})
		}
	}
	setPoint := setPointAt(in, past, at.UnixMilli())
	if math.IsNaN(setPoint) {
		return out
	}
	for _, both := range []bool{false, true} {
		if both && wrapped {
			break
		}
		for _, k := range raises {
			to := thermal.Celsius(setPoint + k)
			if to > hottestAdvice {
				break
			}
			o := option{fmt.Sprintf("raise the pit by %.0f °C to %.0f °C", k, float64(to)), "more fuel, a drier surface and a less even piece",
				[]Action{{Kind: SetPoint, Celsius: to}}}
			if both {
				o.do = "wrap it in foil now and " + o.do
				o.costs = "a soft bark, more fuel and a less even piece"
				o.actions = append(o.actions, Action{Kind: Wrap, With: Foil})
			}
			out = append(out, o)
		}
	}
	return out
}

// spell gives a duration in words a cook uses.
func spell(d time.Duration) string {
	d = d.Round(time.Minute)
	hours, minutes := int(d/time.Hour), int(d%time.Hour/time.Minute)
	switch {
	case hours == 0:
		return fmt.Sprintf("%d min", minutes)
	case minutes == 0:
		return fmt.Sprintf("%d h", hours)
	}
	return fmt.Sprintf("%d h %02d min", hours, minutes)
}
