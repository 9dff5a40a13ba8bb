package record

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// Verdict says whether a critical limit was met. What cannot be known is unknown, never met.
type Verdict string

// The verdicts.
const (
	Met     Verdict = "met"
	Missed  Verdict = "missed"
	Unknown Verdict = "unknown"
)

// ControlPoint is a critical limit and what was found against it (9 CFR 417.2(c), 417.5(a)(3): actual values).
type ControlPoint struct {
	CCP      string       `json:"ccp,omitempty"`    // the critical control point, such as "3 smoking"
	Limit    string       `json:"limit,omitempty"`  // the critical limit in words: "71.2 °C at once"
	Rule     string       `json:"rule,omitempty"`   // the set and rule that judged it, such as "fsis-meat-7log dwell"
	Source   string       `json:"source,omitempty"` // edition of the published limit
	Measured string       `json:"measured,omitempty"`
	Stage    cook.Stage   `json:"stage,omitempty"`
	Piece    cook.PieceID `json:"piece,omitempty"`
}

func (l ControlPoint) validate() error {
	return errors.Join(cook.CheckText("ccp", l.CCP), checkStage(l.Stage, false), checkPiece(l.Piece))
}

// Monitoring is one look at a critical control point: the actual value, the instrument and the verdict.
type Monitoring struct {
	ControlPoint
	Celsius    *thermal.Celsius `json:"celsius,omitempty"` // a temperature, or
	Value      *float64         `json:"value,omitempty"`   // another quantity with its unit, or Measured in words
	Unit       string           `json:"unit,omitempty"`
	Instrument string           `json:"instrument,omitempty"` // the probe's or thermometer's name, as in its checks
	LastCheck  int64            `json:"last_check,omitempty"` // the entry of the instrument's last check; the store fills it in
	CheckedAt  time.Time        `json:"checked_at,omitzero"`  // when that was
	Verdict    Verdict          `json:"verdict"`
	Because    string           `json:"because,omitempty"`
}

// Kind is monitoring.
func (Monitoring) Kind() Kind { return KindMonitoring }

// Validate asks for an actual value and a verdict.
func (m Monitoring) Validate() error {
	errs := []error{m.validate(), oneOf("verdict", m.Verdict, Met, Missed, Unknown), cook.CheckText("instrument", m.Instrument), cook.CheckText("unit", m.Unit)}
	switch {
	case m.Celsius != nil && m.Value != nil:
		errs = append(errs, errors.New("celsius and value stand together: give one"))
	case m.Celsius != nil:
		errs = append(errs, checkCelsius("celsius", *m.Celsius))
	case m.Value != nil:
		errs = append(errs, filled("unit", m.Unit))
		if math.IsNaN(*m.Value) || math.IsInf(*m.Value, 0) {
			errs = append(errs, errors.New("value is not a number"))
		}
	case strings.TrimSpace(m.Measured) == "":
		errs = append(errs, errors.New("the actual value is missing: give celsius, or value with unit, or measured in words"))
	}
	return errors.Join(errs...)
}

// ProbeChecked is a check of a thermometer against a known temperature.
type ProbeChecked struct {
	Instrument string                `json:"instrument"` // the probe's name, or that of a hand thermometer
	Method     string                `json:"method"`     // ice, boiling, reference, or several with "+"
	AltitudeM  *float64              `json:"altitude_m,omitempty"`
	Reference  string                `json:"reference,omitempty"` // the reference thermometer and its certificate
	Points     []CheckPoint          `json:"points"`
	Tolerance  *thermal.CelsiusDelta `json:"tolerance_k,omitempty"`
	Passed     bool                  `json:"passed"`
	AsLeft     bool                  `json:"as_left,omitempty"` // made after it was adjusted; else it is as it was found
	Action     string                `json:"action,omitempty"`  // what was done: an offset applied, taken out of use
	Note       string                `json:"note,omitempty"`
}

// CheckPoint is one temperature of a check: what it should have read and what it read.
type CheckPoint struct {
	True thermal.Celsius `json:"true_c"`
	Read thermal.Celsius `json:"read_c"`
}

// Kind is probe-checked.
func (ProbeChecked) Kind() Kind { return KindProbeChecked }

// Validate asks for an instrument, a method and a point at least.
func (p ProbeChecked) Validate() error {
	errs := []error{filled("instrument", p.Instrument), filled("method", p.Method)}
	if len(p.Points) == 0 {
		errs = append(errs, errors.New("points is empty: say what it should have read and what it read"))
	}
	for _, q := range p.Points {
		errs = append(errs, checkCelsius("true_c", q.True), checkCelsius("read_c", q.Read))
	}
	if p.AltitudeM != nil && !(*p.AltitudeM >= -430 && *p.AltitudeM <= 6000) {
		errs = append(errs, fmt.Errorf("altitude_m %v is outside -430 to 6000", *p.AltitudeM))
	}
	if p.Tolerance != nil && !(*p.Tolerance > 0 && *p.Tolerance <= 10) {
		errs = append(errs, fmt.Errorf("tolerance_k %v is not above 0 and at most 10", float64(*p.Tolerance)))
	}
	return errors.Join(errs...)
}

// Deviation is a critical limit that was missed, or of which it is not known that it was met. It stands open until somebody has
// entered a corrective action.
type Deviation struct {
	ControlPoint
	From       time.Time `json:"from,omitzero"`
	Until      time.Time `json:"until,omitzero"`
	Unforeseen bool      `json:"unforeseen,omitempty"` // not in the plan: 9 CFR 417.3(b) asks for a hold, a review and a reassessment
	What       string    `json:"what"`
}

// Kind is deviation.
func (Deviation) Kind() Kind { return KindDeviation }

// Validate asks for what happened.
func (d Deviation) Validate() error {
	errs := []error{d.validate(), cook.CheckTime("from", d.From), cook.CheckTime("until", d.Until)}
	if strings.TrimSpace(d.What) == "" {
		errs = append(errs, errors.New("what is missing: say what was not as it should be"))
	}
	if !d.From.IsZero() && !d.Until.IsZero() && d.Until.Before(d.From) {
		errs = append(errs, errors.New("until is before from: swap them"))
	}
	return errors.Join(errs...)
}

func (d Deviation) happenedBy(entered time.Time) error {
	return cook.CheckHappened("from", d.From, entered) // until may be an end that is foreseen
}

// Disposition says what became of the product.
type Disposition string

// The dispositions.
const (
	Released  Disposition = "released" // found acceptable
	Reworked  Disposition = "reworked" // cooked or chilled again
	Held      Disposition = "held"     // set aside until somebody decides
	Diverted  Disposition = "diverted" // to another use
	Destroyed Disposition = "destroyed"
)

// CorrectiveAction answers a deviation as 9 CFR 417.3(a) asks: the cause found and removed, the control point under control again,
// recurrence prevented, no product shipped that is injurious or otherwise adulterated. A person enters it, never the daemon.
type CorrectiveAction struct {
	Deviation   int64       `json:"deviation"` // number of its entry
	Cause       string      `json:"cause"`
	Control     string      `json:"control_restored"`
	Prevention  string      `json:"prevention"`
	Disposition Disposition `json:"disposition"`
	Product     string      `json:"product,omitempty"`    // what was done with the product, how much of it, and on whose word
	Reassessed  string      `json:"reassessed,omitempty"` // for an unforeseen deviation: by whom the plan was reassessed (417.3(b))
}

// Kind is corrective-action.
func (CorrectiveAction) Kind() Kind { return KindCorrectiveAction }

// Validate asks for all four answers.
func (c CorrectiveAction) Validate() error {
	var errs []error
	for _, f := range []struct{ name, text, ask string }{
		{"cause", c.Cause, "say what caused it and that it is removed"},
		{"control_restored", c.Control, "say how the point was brought under control"},
		{"prevention", c.Prevention, "say what keeps it from happening again"},
	} {
		if strings.TrimSpace(f.text) == "" {
			errs = append(errs, fmt.Errorf("%s is missing: %s", f.name, f.ask))
		}
	}
	if c.Deviation < 1 {
		errs = append(errs, errors.New("deviation is missing: give the number of its entry"))
	}
	return errors.Join(append(errs, oneOf("disposition", c.Disposition, Released, Reworked, Held, Diverted, Destroyed))...)
}

// Verification is a look by a second person at how the records are made (9 CFR 417.4(a)(2), from memory).
type Verification struct {
	Of     string  `json:"of"` // direct-observation, records or instrument
	Found  string  `json:"found"`
	Good   bool    `json:"good"`
	Checks []int64 `json:"entries,omitempty"` // the entries looked at; none = the lot's so far
}

// Kind is verification.
func (Verification) Kind() Kind { return KindVerification }

// Validate asks for what was looked at and what was found.
func (v Verification) Validate() error {
	errs := []error{oneOf("of", v.Of, "direct-observation", "records", "instrument")}
	if strings.TrimSpace(v.Found) == "" {
		errs = append(errs, errors.New("found is missing: say what was found"))
	}
	return errors.Join(errs...)
}

// Review is the pre-shipment review: the records are whole and the critical limits were met, or corrective actions were taken
// (9 CFR 417.5(c)). Another person makes it than those who made the records (from memory of the same paragraph).
type Review struct {
	Ship bool   `json:"ship"` // may leave
	Note string `json:"note,omitempty"`
}

// Kind is pre-shipment-review.
func (Review) Kind() Kind { return KindReview }

// Validate asks for a note where the product stays.
func (r Review) Validate() error {
	if !r.Ship && strings.TrimSpace(r.Note) == "" {
		return errors.New("note is missing: say why the lot does not leave")
	}
	return nil
}

func checkCelsius(what string, c thermal.Celsius) error {
	if !c.Finite() || c > 1000 {
		return fmt.Errorf("%s %v is not a temperature of this world: check number and unit", what, float64(c))
	}
	return nil
}
