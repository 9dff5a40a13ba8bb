package plan

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// Forecaster says when meat is ready and how it cools. *estimator.Estimator is one.
type Forecaster interface {
	Forecast(in estimator.Input, at time.Time) estimator.Forecast
	CoolTime(c estimator.Chill, to thermal.Celsius) [7]time.Duration
}

// Request is what a plan is made from.
type Request struct {
	Now, Serve time.Time
	Zone       *time.Location // for showing times and for handwork by day; nil = that of Serve
	Pit        thermal.Celsius
	Fire       string // as in a cook; empty = not known
	AltitudeM  float64
	Pieces     []Piece
}

// Piece is one piece of meat to be ready by the serving hour.
type Piece struct {
	ID          cook.PieceID
	Cut         estimator.Cut
	MassKg      float64
	ThicknessMM float64 // 0 = not known
	Target      thermal.Celsius
	Cure        time.Duration // 0 = not cured
	CureBasis   string        // what stands behind Cure, such as "satisfies …"; empty = none given
	CureRules   []string      // each rule for the cure time with its basis
	Wrap        *estimator.WrapPlan
	Frozen      bool // bought frozen, or in the freezer now

	// Done is the last step that was begun, and when; its earlier ones are over. Empty for a plan from the beginning.
	Done   StepID
	DoneAt time.Time
	// Cooking is the newest forecast of a piece that is on the pit; nil before. It takes the place of a forecast from cold.
	Cooking *estimator.Forecast
}

// Bounds of what is taken.
const (
	longestCure = 120 * 24 * time.Hour
)

// Validate says what is wrong with a request and what to enter instead.
func (r Request) Validate() error {
	var errs []error
	add := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	switch {
	case r.Now.IsZero():
		add("the time now is missing")
	case r.Serve.IsZero():
		add("the serving hour is missing: enter it as RFC 3339, such as 2026-05-03T18:00:00+02:00")
	case !r.Serve.After(r.Now):
		add("the serving hour %s is not after now, %s: enter an hour to come", r.Serve.Format(time.RFC3339), r.Now.Format(time.RFC3339))
	case r.Serve.Sub(r.Now) > cook.Farthest:
		add("the serving hour %s is more than 400 days ahead: check the year", r.Serve.Format(time.RFC3339))
	}
	if !(r.Pit >= 40 && r.Pit <= 300) {
		add("a pit of %v is not between 40 and 300 °C: enter its setpoint, such as 107C or 225F", r.Pit)
	}
	if !(r.AltitudeM >= -430 && r.AltitudeM <= 6000) {
		add("an altitude of %v m is not between -430 and 6000", r.AltitudeM)
	}
	if len(r.Pieces) == 0 {
		add("there is no piece: enter at least one, such as cut=brisket_flat_cured,mass=2.5kg,target=92C")
	}
	seen := map[cook.PieceID]bool{}
	for _, p := range r.Pieces {
		if seen[p.ID] {
			add("two pieces are called %q: give each an id of its own", p.ID)
		}
		seen[p.ID] = true
		if err := p.validate(r.Now); err != nil {
			add("piece %q: %w", p.ID, err)
		}
	}
	return errors.Join(errs...)
}

func (p Piece) validate(now time.Time) error {
	like := cook.Piece{ID: p.ID, Cut: string(p.Cut), MassKg: p.MassKg, ThicknessMM: p.ThicknessMM, Target: p.Target}
	errs := []error{like.Validate()}
	add := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	if p.MassKg == 0 && p.Cooking == nil && !p.offPit() { // a piece on the pit shows by itself how fast it warms
		add("mass 0 kg: weigh it and enter its mass, such as 2.5kg or 6lb")
	}
	if p.Cure < 0 || p.Cure > longestCure {
		add("a cure of %s is not between 1 and 120 days", days(p.Cure))
	}
	if w := p.Wrap; w != nil && !(w.AtCelsius > 0 && w.AtCelsius < p.Target) {
		add("a wrap at %v is not below the target of %v: wrap at about 70C, or leave it out", w.AtCelsius, p.Target)
	}
	if p.Done != "" {
		known := false
		for _, id := range p.ids() {
			known = known || id == p.Done
		}
		switch {
		case !known:
			add("step %q is not one of this piece: use one of %s", p.Done, join(p.ids()))
		case p.DoneAt.IsZero() || p.DoneAt.After(now):
			add("step %s was not begun yet: enter a time up to now", p.Done)
		}
	}
	if p.Cooking != nil && p.Done != SmokeStart && p.Done != Stall && p.Done != Wrap {
		add("a running forecast goes with a piece that was put on: say when smoke-start was")
	}
	return errors.Join(errs...)
}

func join(ids []StepID) string {
	words := make([]string, len(ids))
	for i, id := range ids {
		words[i] = string(id)
	}
	return strings.Join(words, " ")
}
