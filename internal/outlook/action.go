package outlook

import (
	"encoding/json"
	"fmt"
	"math"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
)

// Action is the cheapest thing to do so that a piece is ready by an hour; the zero value says that nothing was found.
type Action struct {
	Do      string   `json:"do"`
	PReady  float64  `json:"p_ready"`
	Costs   string   `json:"costs"`
	Changes []Change `json:"-"`
}

// Found reports whether an action reaches the hour.
func (a *Action) Found() bool { return a != nil && a.Do != "" }

// MarshalJSON writes null when nothing was found.
func (a *Action) MarshalJSON() ([]byte, error) {
	if !a.Found() {
		return []byte("null"), nil
	}
	type plain Action
	return json.Marshal((*plain)(a))
}

func (a *Action) text() string {
	if !a.Found() {
		return "Nothing tried makes it ready by the hour with nine chances in ten: serve later, or slice what is done."
	}
	return fmt.Sprintf("To be ready by the hour: %s (%.0f %% likely; costs: %s).", a.Do, 100*a.PReady, a.Costs)
}

// sure is the probability that counts as reaching the hour.
const sure = 0.9

// warmest is the highest setpoint that is proposed: 275 °F, inside the 225 to 300 °F of the USDA FSIS smoking advice.
const warmest thermal.Celsius = 135

// Advise looks for the cheapest action, done at once, that makes P(ready by t) at least 0.9.
func Advise(f Forecaster, in estimator.Input, at, by time.Time) *Action {
	for _, a := range candidates(in, at) {
		p := ChanceBy(f.Forecast(With(in, at, a.Changes), at), by)
		if !math.IsNaN(p) && p >= sure {
			a.PReady = p
			return &a
		}
	}
	return &Action{}
}

// candidates are in the order of what they cost.
func candidates(in estimator.Input, at time.Time) []Action {
	out := []Action{{Do: "carry on as planned", Costs: "nothing"}}
	point, wrapped := present(in, at)
	wrap := func(w estimator.Wrapping) Change { return Change{Kind: estimator.Wrap, With: w, At: at} }
	raise := func(c thermal.Celsius) Change { return Change{Kind: estimator.SetPoint, Celsius: c, At: at} }
	add := func(do, costs string, changes ...Change) {
		out = append(out, Action{Do: do, Costs: costs, Changes: changes})
	}
	steps := raised(point)
	if !wrapped {
		add("wrap in paper now", "a little of the bark, the lid open for a minute", wrap(estimator.Paper))
	}
	for i, c := range steps {
		if i == 0 || wrapped {
			add(fmt.Sprintf("raise the pit to %s now", c), "more fuel, a drier outside", raise(c))
		}
	}
	if !wrapped {
		add("wrap in foil now", "a softer bark, the lid open for a minute", wrap(estimator.Foil))
		for _, c := range steps {
			add(fmt.Sprintf("wrap in foil now and raise the pit to %s", c), "a softer bark, more fuel", wrap(estimator.Foil), raise(c))
		}
	}
	return out
}

// raised gives the setpoints worth proposing above the present one.
func raised(point thermal.Celsius) []thermal.Celsius {
	var out []thermal.Celsius
	for _, c := range []thermal.Celsius{121, warmest} {
		if c >= point+5 {
			out = append(out, c)
		}
	}
	return out
}

// present gives the setpoint in force and whether the piece is wrapped.
func present(in estimator.Input, at time.Time) (point thermal.Celsius, wrapped bool) {
	point = in.SetPoint
	var pointAt, wrapAt time.Time
	for _, e := range in.Events {
		switch {
		case e.Time.After(at):
		case e.Kind == estimator.SetPoint && !e.Time.Before(pointAt):
			point, pointAt = e.Celsius, e.Time
		case (e.Kind == estimator.Wrap || e.Kind == estimator.Unwrap) && !e.Time.Before(wrapAt):
			wrapped, wrapAt = e.Kind == estimator.Wrap, e.Time
		}
	}
	return point, wrapped
}
