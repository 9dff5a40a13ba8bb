package outlook

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// Forecaster gives the forecast of an input at a time; *estimator.Estimator is one.
type Forecaster interface {
	Forecast(in estimator.Input, at time.Time) estimator.Forecast
}

// Change is something done or planned: a wrap or unwrap or a setpoint, at a time or a wrap at a core temperature.
type Change struct {
	Kind    estimator.EventKind // estimator.Wrap, Unwrap or SetPoint
	With    estimator.Wrapping  // wrap
	Celsius thermal.Celsius     // setpoint
	At      time.Time           // when; zero with AtCore
	AtCore  thermal.Celsius     // wrap only: the core temperature at which it comes
}

// ParseWhatIf reads changes such as "wrap=foil@now", "wrap=paper@70C", "setpoint=121C@+30m", "unwrap@now"; several are
// parted by commas. Behind the @ stands now, a delay, an RFC 3339 time or, for a wrap, a core temperature.
func ParseWhatIf(text string, at time.Time) ([]Change, error) {
	var out []Change
	for part := range strings.SplitSeq(text, ",") {
		c, err := parseChange(strings.TrimSpace(part), at)
		if err != nil {
			return nil, fmt.Errorf("what-if %q: %w", part, err)
		}
		out = append(out, c)
	}
	return out, nil
}

func parseChange(text string, at time.Time) (Change, error) {
	what, when, ok := strings.Cut(text, "@")
	if !ok {
		return Change{}, fmt.Errorf("say when: write it like wrap=foil@now, setpoint=121C@+30m or wrap=paper@70C")
	}
	kind, value, _ := strings.Cut(what, "=")
	c := Change{Kind: estimator.EventKind(kind)}
	var err error
	switch kind {
	case "wrap":
		c.With = estimator.Wrapping(value)
	case "unwrap":
		if value != "" {
			return Change{}, fmt.Errorf("unwrap takes no value: write unwrap@now")
		}
	case "setpoint":
		if c.Celsius, err = cook.ParseTemperature(value); err != nil {
			return Change{}, err
		}
	default:
		return Change{}, fmt.Errorf("%q is not known: use wrap, unwrap or setpoint", kind)
	}
	if c.At, err = parseWhen(when, at); err != nil {
		core, coreErr := cook.ParseTemperature(when)
		if kind != "wrap" || coreErr != nil {
			return Change{}, err
		}
		if !(core > 0 && core <= 110) {
			return Change{}, fmt.Errorf("a wrap at %s core is not between 0 and 110 °C", core)
		}
		c.AtCore = core
	}
	return c, c.check(at)
}

func (c Change) check(at time.Time) error {
	when := c.At
	if c.AtCore != 0 {
		when = at
	}
	if when.After(at) && c.Kind != estimator.Wrap && c.Kind != estimator.SetPoint {
		return fmt.Errorf("%s can only be tried now: use a time not after %s", c.Kind, at.Format(time.RFC3339))
	}
	var bare cook.Cook
	return bare.CheckEvent(cook.Event{Time: when, Kind: cook.EventKind(c.Kind), With: string(c.With), Celsius: c.Celsius})
}

func parseWhen(s string, at time.Time) (time.Time, error) {
	if s == "now" {
		return at, nil
	}
	if t, err := time.Parse(time.RFC3339, s); err == nil {
		return t, nil
	}
	d, err := time.ParseDuration(s)
	if err != nil || !strings.HasPrefix(s, "+") || d > estimator.Horizon {
		return time.Time{}, fmt.Errorf("when %q is not known: use now, +30m (at most +36h), an RFC 3339 time or, for a wrap, a core temperature such as 70C", s)
	}
	return at.Add(d), nil
}

// FromEvents reads changes from events of a cook. Of things to come only a wrap and a setpoint can be forecast.
func FromEvents(events []cook.Event, at time.Time) ([]Change, error) {
	var out []Change
	for _, e := range events {
		c := Change{Kind: estimator.EventKind(e.Kind), With: estimator.Wrapping(e.With), Celsius: e.Celsius, At: e.Time}
		if err := c.check(at); err != nil {
			return nil, fmt.Errorf("what-if %s: %w", e.Kind, err)
		}
		out = append(out, c)
	}
	return out, nil
}

// With is the input as if the changes were made: up to at they are events, later ones plans. A wrap or unwrap replaces
// the planned wrap.
func With(in estimator.Input, at time.Time, changes []Change) estimator.Input {
	in.Events, in.PitPlan = slices.Clone(in.Events), slices.Clone(in.PitPlan)
	for _, c := range changes {
		if c.Kind == estimator.Wrap || c.Kind == estimator.Unwrap {
			in.Plan = nil
		}
		e := estimator.Event{Time: c.At, Kind: c.Kind, With: c.With, Celsius: c.Celsius}
		switch {
		case c.AtCore != 0:
			in.Plan = &estimator.WrapPlan{With: c.With, AtCelsius: c.AtCore}
		case !c.At.After(at):
			in.Events = append(in.Events, e)
		case c.Kind == estimator.Wrap:
			in.Plan = &estimator.WrapPlan{With: c.With, AtTime: c.At}
		case c.Kind == estimator.SetPoint:
			in.PitPlan = append(in.PitPlan, e)
		}
	}
	return in
}

// WhatIf is the line of a piece as if the text were done.
func WhatIf(f Forecaster, in estimator.Input, piece cook.PieceID, at time.Time, text string) (Line, error) {
	changes, err := ParseWhatIf(text, at)
	if err != nil {
		return Line{}, err
	}
	return Line{Piece: piece, Forecast: f.Forecast(With(in, at, changes), at), WhatIf: text}, nil
}
