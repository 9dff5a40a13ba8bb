package brine

import (
	"fmt"
	"math"
	"strings"

	"stallkeeper/internal/cook"
)

// Answer is a sheet worked out, in the documented shape. Weights are in the units of their names; null is not known.
type Answer struct {
	IngoingPPM     float64   `json:"ingoing_nitrite_ppm"`
	IonPPM         float64   `json:"ingoing_nitrite_ion_ppm"`
	LimitPPM       float64   `json:"limit_ppm"`
	LimitSource    string    `json:"limit_source"`
	Within         bool      `json:"within"`
	BrineSalt      *float64  `json:"brine_salt_percent"`
	Salometer      *float64  `json:"salometer_deg"`
	MeatSalt       float64   `json:"meat_salt_percent"`
	AcceleratorPPM float64   `json:"accelerator_ppm"`
	CureG          float64   `json:"cure_g"`
	PickleKg       float64   `json:"pickle_kg"`
	Weights        []Weight  `json:"weights"`
	IceToCoolKg    *float64  `json:"ice_to_cool_kg,omitempty"`
	CooledSalt     *float64  `json:"cooled_brine_salt_percent,omitempty"`
	CooledPPM      *float64  `json:"cooled_ingoing_nitrite_ppm,omitempty"`
	TooMuchIce     string    `json:"too_much_ice,omitempty"`
	CureTime       *CureDays `json:"cure_time,omitempty"`
	Refused        string    `json:"refused,omitempty"`
	Notes          []string  `json:"notes"`
	Spices         string    `json:"spices,omitempty"`
}

// Weight is one line of what to weigh.
type Weight struct {
	What  string  `json:"what"`
	Grams float64 `json:"grams"`
}

// CureDays is a cure time as it is written.
type CureDays struct {
	DefaultDays *float64   `json:"default_days"`
	Because     string     `json:"because"`
	Rules       []CureLine `json:"rules"`
}

// CureLine is one rule for the cure time.
type CureLine struct {
	Name    string  `json:"name"`
	Low     float64 `json:"low_days"`
	High    float64 `json:"high_days"`
	Basis   string  `json:"basis"`
	Applies string  `json:"made_for,omitempty"`
}

// euIonLimit is the EU's limit for heat-treated meat products in general, mg/kg as nitrite ion: Regulation (EU) 2023/2108, from
// 9 October 2025.
const euIonLimit = 80

// Finding reports whether the answer is one that somebody must act on before weighing.
func (a Answer) Finding() bool { return !a.Within || a.Refused != "" }

// Work works a sheet out. It fails on what cannot be understood or cannot be; over the limit and too small a dose for the
// scale are answers (see Finding).
func (s Sheet) Work() (Answer, error) {
	r, err := s.Recipe()
	if err != nil {
		return Answer{}, err
	}
	out, err := Compute(r)
	if err != nil {
		return Answer{}, err
	}
	a := Answer{IngoingPPM: out.NitritePPM, IonPPM: out.NitriteIonPPM, LimitPPM: out.LimitPPM, LimitSource: out.LimitSource,
		Within: out.Within, BrineSalt: finite(out.BrineSalt), Salometer: finite(out.Salometer), MeatSalt: out.MeatSalt,
		AcceleratorPPM: out.AcceleratorPPM, CureG: 1e3 * r.Cure, PickleKg: out.Pickle, Weights: r.weights(),
		Notes: append([]string{}, out.Notes...), Spices: s.Spices}
	if a.IonPPM > euIonLimit+.05 {
		a.Notes = append(a.Notes, fmt.Sprintf("as nitrite ion %.0f mg/kg are over the EU's %d for heat-treated meat products in general (Regulation (EU) 2023/2108); the limit above is that of the USA", a.IonPPM, euIonLimit))
	}
	if err := s.addCooling(r, &a); err != nil {
		return Answer{}, err
	}
	if err := s.addCureTime(out, &a); err != nil {
		return Answer{}, err
	}
	if s.ScaleResolution != "" {
		division, err := figure(s.ScaleResolution, cook.ParseMass)
		if err != nil {
			return Answer{}, fmt.Errorf("scale-resolution: %w", err)
		}
		if division <= 0 {
			return Answer{}, fmt.Errorf("scale-resolution 0: enter the smallest step that the scale shows, such as 1g or 0.1g")
		}
		if err := CheckScale(r.Cure, division); err != nil {
			a.Refused = err.Error()
		}
	}
	return a, nil
}

func (s Sheet) addCooling(r Recipe, a *Answer) error {
	cooled, err := s.cooling(r)
	if err != nil || cooled == nil {
		return err
	}
	a.IceToCoolKg, a.CooledSalt, a.CooledPPM, a.TooMuchIce = &cooled.Ice, finite(cooled.Result.BrineSalt), &cooled.Result.NitritePPM, cooled.TooFar
	a.Notes = append(a.Notes, fmt.Sprintf("%.2f kg of ice cool the brine to %v; the brine is then %.1f %% salt and gives %.0f ppm nitrite", cooled.Ice, cooled.To, cooled.Result.BrineSalt, cooled.Result.NitritePPM))
	if cooled.TooFar != "" {
		a.Notes = append(a.Notes, cooled.TooFar)
	}
	return nil
}

func (s Sheet) addCureTime(out Result, a *Answer) error {
	t, err := s.cureTime(out)
	if err != nil || t == nil {
		return err
	}
	days := &CureDays{Because: t.Because, Rules: []CureLine{}}
	if t.Default > 0 {
		days.DefaultDays = &t.Default
	}
	for _, r := range t.Rules {
		days.Rules = append(days.Rules, CureLine{Name: r.Name, Low: whole(r.Low), High: whole(r.High), Basis: r.Basis, Applies: r.Applies})
	}
	a.CureTime = days
	return nil
}

func whole(days float64) float64 { return math.Ceil(days - 1e-9) }

func (r Recipe) weights() []Weight {
	var out []Weight
	for _, w := range []Weight{{"meat", r.Meat}, {"water", r.Water}, {"ice", r.Ice}, {"salt", r.Salt}, {"sugar", r.Sugar}, {"curing salt", r.Cure}, {"ascorbate or erythorbate", r.Accelerator}} {
		if w.Grams > 0 {
			w.Grams *= 1e3
			out = append(out, w)
		}
	}
	return out
}

func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// Caution stands under every formulation that is shown.
const Caution = "Curing salt is poisonous in excess: weigh it, keep it locked away and labelled. It goes into the cooled brine. " +
	"The current rules, your local code and a licensed authority decide."

// Span writes the days of a rule.
func (l CureLine) Span() string { return CureRule{Low: l.Low, High: l.High}.Span() }

// Text writes the answer for people.
func (a Answer) Text() string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	for _, w := range a.Weights {
		line("%-15s %9s", w.What, w.Mass())
	}
	if a.Spices != "" {
		line("spices          %s", a.Spices)
	}
	verdict := "within"
	if !a.Within {
		verdict = "OVER"
	}
	line("ingoing nitrite %8.0f ppm as NaNO2 (%.0f as ion), %s the limit of %.0f\n                (%s)", a.IngoingPPM, a.IonPPM, verdict, a.LimitPPM, a.LimitSource)
	if a.BrineSalt != nil {
		line("brine           %8.1f %% salt, %.0f salometer degrees, %.2f kg", *a.BrineSalt, *a.Salometer, a.PickleKg)
	}
	line("meat            %8.1f %% salt", a.MeatSalt)
	if t := a.CureTime; t != nil {
		if t.DefaultDays != nil {
			line("cure time       %8.0f days: %s", *t.DefaultDays, t.Because)
		} else {
			line("cure time       not known: %s", t.Because)
		}
		for _, r := range t.Rules {
			text := fmt.Sprintf("                %s: %s (%s)", r.Name, r.Span(), r.Basis)
			if r.Applies != "" {
				text += "; made for " + r.Applies
			}
			line("%s", text)
		}
	}
	for _, n := range a.Notes {
		line("- %s", n)
	}
	if a.Refused != "" {
		line("refused: %s", a.Refused)
	}
	line("%s", Caution)
	return b.String()
}

// Mass writes a weight as it is weighed: kilograms from 1 kg on, else grams, fine enough for a dose of curing salt.
func (w Weight) Mass() string {
	switch {
	case w.Grams >= 1000:
		return fmt.Sprintf("%.3f kg", w.Grams/1e3)
	case w.Grams >= 100:
		return fmt.Sprintf("%.0f g", w.Grams)
	}
	return fmt.Sprintf("%.1f g", w.Grams)
}
