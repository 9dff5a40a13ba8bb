package outlook

import (
	"fmt"
	"strings"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// ParseWhatIf reads actions such as "wrap=foil@now", "wrap=paper@70C", "setpoint=121C@+30m", "unwrap@now"; several are
// parted by commas. Behind the @ stands now, a delay, an RFC 3339 time or, for a wrap, a core temperature.
func ParseWhatIf(text string, at time.Time) ([]estimator.Action, error) {
	var out []estimator.Action
	for part := range strings.SplitSeq(text, ",") {
		a, err := parseAction(strings.TrimSpace(part), at)
		if err != nil {
			return nil, fmt.Errorf("what-if %q: %w", part, err)
		}
		out = append(out, a)
	}
	return out, nil
}

func parseAction(text string, at time.Time) (estimator.Action, error) {
	what, when, ok := strings.Cut(text, "@")
	if !ok {
		return estimator.Action{}, fmt.Errorf("say when: write it like wrap=foil@now, setpoint=121C@+30m or wrap=paper@70C")
	}
	kind, value, _ := strings.Cut(what, "=")
	a := estimator.Action{Kind: estimator.EventKind(kind)}
	var err error
	switch a.Kind {
	case estimator.Wrap:
		a.With = estimator.Wrapping(value)
	case estimator.Unwrap:
		if value != "" {
			return a, fmt.Errorf("unwrap takes no value: write unwrap@now")
		}
	case estimator.SetPoint:
		if a.Celsius, err = cook.ParseTemperature(value); err != nil {
			return a, err
		}
	default:
		return a, fmt.Errorf("%q is not known: use wrap, unwrap or setpoint", kind)
	}
	if a.At, err = parseWhen(when, at); err != nil {
		core, coreErr := cook.ParseTemperature(when)
		if a.Kind != estimator.Wrap || coreErr != nil {
			return a, err
		}
		if a.AtCore, err = wrapCore(core); err != nil {
			return a, err
		}
	}
	return a, checkAction(a, at)
}

func wrapCore(c thermal.Celsius) (thermal.Celsius, error) {
	if !(c > 0 && c <= 110) {
		return 0, fmt.Errorf("a wrap at %s core is not between 0 and 110 °C", c)
	}
	return c, nil
}

func checkAction(a estimator.Action, at time.Time) error {
	var bare cook.Cook
	return bare.CheckEvent(cook.Event{Time: at, Kind: cook.EventKind(a.Kind), With: string(a.With), Celsius: a.Celsius})
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

// Actions reads what is to be tried from events. What lies in the past counts as done now; a wrap with a temperature
// comes when the core reaches it. Only wraps, unwraps and setpoints change a forecast.
func Actions(events []cook.Event, at time.Time) ([]estimator.Action, error) {
	var out []estimator.Action
	for _, e := range events {
		a := estimator.Action{Kind: estimator.EventKind(e.Kind), With: estimator.Wrapping(e.With), Celsius: e.Celsius, At: e.Time}
		if a.Kind != estimator.Wrap && a.Kind != estimator.Unwrap && a.Kind != estimator.SetPoint {
			return nil, fmt.Errorf("what-if %s is not known: use wrap, unwrap or setpoint", e.Kind)
		}
		if a.Kind == estimator.Wrap && e.Celsius != 0 {
			core, err := wrapCore(e.Celsius)
			if err != nil {
				return nil, fmt.Errorf("what-if %s: %w", e.Kind, err)
			}
			a.AtCore, a.Celsius = core, 0
		}
		if err := checkAction(a, at); err != nil {
			return nil, fmt.Errorf("what-if %s: %w", e.Kind, err)
		}
		out = append(out, a)
	}
	return out, nil
}

// WhatIf is the line of a piece as if the text were done.
func WhatIf(e *estimator.Estimator, in estimator.Input, piece cook.PieceID, at time.Time, text string) (Line, error) {
	actions, err := ParseWhatIf(text, at)
	if err != nil {
		return Line{}, err
	}
	return Line{Piece: piece, Forecast: e.WhatIf(in, at, actions...), WhatIf: text}, nil
}
