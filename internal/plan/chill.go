package plan

import (
	"errors"
	"fmt"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// ChillLimit is a published cooling limit in two stages, each from a temperature to the next in a time.
type ChillLimit struct {
	Name   string
	Source string
	Stages [2]ChillStage
	Whole  time.Duration // of both together; 0 = each for itself
	If     string        // what it asks for besides
	Cured  bool          // for cured meat only
}

// ChillStage is one stretch of a cooling limit.
type ChillStage struct {
	From, To thermal.Celsius
	Within   time.Duration
}

func fahrenheit(f float64) thermal.Celsius { return thermal.FromFahrenheit(f) }

// ChillLimits are the cooling limits that a chill plan is held against.
func ChillLimits() []ChillLimit {
	return []ChillLimit{
		{Name: "Food Code", Source: "FDA Food Code 3-501.14", Stages: [2]ChillStage{{fahrenheit(135), fahrenheit(70), 2 * hour}, {fahrenheit(70), fahrenheit(41), 4 * hour}}, Whole: 6 * hour},
		{Name: "FSIS, any cooked meat", Source: "USDA FSIS Appendix B, option 1 (1999)", Stages: [2]ChillStage{{fahrenheit(130), fahrenheit(80), 90 * minute}, {fahrenheit(80), fahrenheit(40), 5 * hour}}},
		{Name: "FSIS, cured meat", Source: "USDA FSIS Appendix B, option 3 (from memory)", Stages: [2]ChillStage{{fahrenheit(130), fahrenheit(80), 5 * hour}, {fahrenheit(80), fahrenheit(45), 10 * hour}},
			If: "at least 100 ppm of ingoing nitrite; the edition of 2021 asks for erythorbate or ascorbate besides", Cured: true},
	}
}

// ChillAsk is what is to be chilled. Thickness and mass that are not known are 0.
type ChillAsk struct {
	Cut         estimator.Cut
	MassKg      float64
	ThicknessMM float64
	Cured       bool
}

// Validate says what to enter instead.
func (a ChillAsk) Validate() error {
	p := cook.Piece{ID: "piece", Cut: string(a.Cut), MassKg: a.MassKg, ThicknessMM: a.ThicknessMM, Target: 90}
	errs := []error{p.Validate()}
	if a.MassKg == 0 {
		errs = append(errs, errors.New("mass 0 kg: weigh the piece and enter its weight, such as 1.2kg"))
	}
	return errors.Join(errs...)
}

// ChillWay is one way to chill, and how it does against one limit, with nine chances in ten.
type ChillWay struct {
	Where   estimator.Surroundings
	Ambient thermal.Celsius
	ThickMM float64          // to cut it to; 0 = whole
	Takes   [2]time.Duration // for the stages of the limit; negative = longer than the forecaster looks
	Meets   bool
	Margin  time.Duration // by which the tighter stage is met; negative = missed
}

// Chilled is a limit with the ways to meet it, the least cutting first in each surrounding.
type Chilled struct {
	Limit ChillLimit
	Ways  []ChillWay
}

// cuts are 0, which is whole, and the thicknesses that are thinner than the piece. Choice of this project.
func (a ChillAsk) cuts(mm ...float64) []float64 {
	out := []float64{0}
	for _, one := range mm {
		if a.ThicknessMM == 0 || one < a.ThicknessMM {
			out = append(out, one)
		}
	}
	return out
}

// The surroundings: iced water stirred, and a cooler whose air is moved.
const (
	iceWater  = thermal.Celsius(1)
	coolerAir = thermal.Celsius(3)
)

// ChillPlan forecasts each way against each limit that applies. A stage is forecast from its own beginning with the meat even
// throughout, which is slower than the truth. A forecast is for planning: only a measured temperature shows that a limit was met.
func ChillPlan(f Forecaster, a ChillAsk) ([]Chilled, error) {
	if err := a.Validate(); err != nil {
		return nil, err
	}
	c := cooler{f: f, piece: estimator.Input{Cut: a.Cut, MassKg: a.MassKg, ThicknessMM: a.ThicknessMM}, known: map[cooling]time.Duration{}}
	var out []Chilled
	for _, l := range ChillLimits() {
		if l.Cured && !a.Cured {
			continue
		}
		one := Chilled{Limit: l}
		for _, mm := range a.cuts(75, 50, 25, 12) {
			one.Ways = append(one.Ways, l.try(c, estimator.IceWater, iceWater, mm))
		}
		for _, mm := range a.cuts(50, 25, 12, 6) {
			one.Ways = append(one.Ways, l.try(c, estimator.CoolerAir, coolerAir, mm))
		}
		out = append(out, one)
	}
	return out, nil
}

// cooler forecasts how one piece cools, each way once: limits share stages, and a forecast of many hours is not cheap.
type cooler struct {
	f     Forecaster
	piece estimator.Input
	known map[cooling]time.Duration
}

// cooling is a stage as it is forecast.
type cooling struct {
	from, to, ambient thermal.Celsius
	where             estimator.Surroundings
	mm                float64
}

// takes is the time of a stage with nine chances in ten; negative = longer than the forecaster looks.
func (c cooler) takes(x cooling) time.Duration {
	d, ok := c.known[x]
	if !ok {
		d = c.f.CoolTime(estimator.Chill{Piece: c.piece, From: x.from, Where: x.where, Ambient: x.ambient, SlicedMM: x.mm}, x.to)[p90]
		c.known[x] = d
	}
	return d
}

func (l ChillLimit) try(c cooler, where estimator.Surroundings, ambient thermal.Celsius, mm float64) ChillWay {
	w := ChillWay{Where: where, Ambient: ambient, ThickMM: mm, Meets: true}
	for i, s := range l.Stages {
		w.Takes[i] = c.takes(cooling{s.From, s.To, ambient, where, mm})
		within := s.Within
		if l.Whole > 0 && i == 1 {
			within = l.Whole - max(w.Takes[0], 0)
		}
		margin := within - w.Takes[i]
		if w.Takes[i] < 0 {
			margin, w.Meets = -l.Stages[i].Within, false
		}
		if i == 0 || margin < w.Margin {
			w.Margin = margin
		}
	}
	w.Meets = w.Meets && w.Margin >= 0
	return w
}

// Words says how it is done.
func (w ChillWay) Words() string {
	size := "whole"
	if w.ThickMM > 0 {
		size = fmt.Sprintf("cut to at most %.0f mm", w.ThickMM)
	}
	if w.Where == estimator.CoolerAir {
		return size + ", in one layer, in moved air of 3 °C (37 °F)"
	}
	return size + ", bagged, in stirred iced water of 1 °C (34 °F)"
}

// Thickest is the first way that meets the limit in a surrounding, which is the one with the least cutting; false if none does.
func (c Chilled) Thickest(where estimator.Surroundings) (ChillWay, bool) {
	for _, w := range c.Ways {
		if w.Where == where && w.Meets {
			return w, true
		}
	}
	return ChillWay{}, false
}

// Takings are the times of the two stages in words.
func (w ChillWay) Takings() [2]string {
	var out [2]string
	for i, d := range w.Takes {
		out[i] = "longer than the forecast looks"
		if d >= 0 {
			out[i] = span(d)
		}
	}
	return out
}
