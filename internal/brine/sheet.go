package brine

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// Sheet is a formulation as it is written down: weights with their unit ("3kg", "6 lb", water also in US gallons), shares
// with their sign ("6.25%"), temperatures and lengths with their unit. What is empty is absent.
type Sheet struct {
	Meat        string `json:"meat"`
	Water       string `json:"water,omitempty"`
	Ice         string `json:"ice,omitempty"`
	Salt        string `json:"salt,omitempty"`
	Sugar       string `json:"sugar,omitempty"`
	Cure        string `json:"cure,omitempty"`
	CureNitrite string `json:"cure_nitrite,omitempty"`
	Accelerator string `json:"accelerator,omitempty"`
	Spices      string `json:"spices,omitempty"` // free text; counts nowhere
	Method      string `json:"method"`
	PickUp      string `json:"pickup,omitempty"`
	Product     string `json:"product,omitempty"` // empty: whole-muscle

	WantPPM         string `json:"want_ppm,omitempty"`         // solve for the curing salt
	For             string `json:"for,omitempty"`              // scale everything to this much meat
	ScaleResolution string `json:"scale_resolution,omitempty"` // no default
	CoolFrom        string `json:"cool_from,omitempty"`
	CoolTo          string `json:"cool_to,omitempty"`
	Thickness       string `json:"thickness,omitempty"` // of the thickest place, for the cure time
	Flat            bool   `json:"flat,omitempty"`      // a trimmed brisket flat
}

// Limits of a sheet's text. Choices of this project.
const (
	maxField  = 40   // bytes of a figure
	maxSpices = 1000 // bytes
)

// Recipe reads the weights, scaled where For asks for it, with the curing salt solved for where WantPPM asks for it.
// Everything wrong is reported, each figure by its name.
func (s Sheet) Recipe() (Recipe, error) {
	r := Recipe{Method: Method(s.Method), Product: Product(s.Product)}
	if r.Product == "" {
		r.Product = WholeMuscle
	}
	var errs []error
	for _, f := range []struct {
		name, text string
		to         *float64
		parse      func(string) (float64, error)
	}{{"meat", s.Meat, &r.Meat, cook.ParseMass}, {"water", s.Water, &r.Water, parseWater}, {"ice", s.Ice, &r.Ice, cook.ParseMass},
		{"salt", s.Salt, &r.Salt, cook.ParseMass}, {"sugar", s.Sugar, &r.Sugar, cook.ParseMass}, {"cure", s.Cure, &r.Cure, cook.ParseMass},
		{"accelerator", s.Accelerator, &r.Accelerator, cook.ParseMass},
		{"cure-nitrite", s.CureNitrite, &r.CureNitrite, ParsePercent}, {"pickup", s.PickUp, &r.PickUp, ParsePercent}} {
		var err error
		if *f.to, err = figure(f.text, f.parse); err != nil {
			errs = append(errs, fmt.Errorf("%s: %w", f.name, err))
		}
	}
	if len(s.Spices) > maxSpices {
		errs = append(errs, fmt.Errorf("spices: shorten the text to %d bytes", maxSpices))
	}
	errs = append(errs, cook.CheckText("spices", strings.NewReplacer("\n", " ", "\r", " ", "\t", " ").Replace(s.Spices)))
	if err := errors.Join(errs...); err != nil {
		return r, err
	}
	if s.For != "" {
		meat, err := figure(s.For, cook.ParseMass)
		if err != nil {
			return r, fmt.Errorf("for: %w", err)
		}
		if r, err = r.Scale(meat); err != nil {
			return r, err
		}
	}
	return s.solved(r)
}

// solved puts in the curing salt that the wanted nitrite asks for.
func (s Sheet) solved(r Recipe) (Recipe, error) {
	if s.WantPPM == "" {
		return r, nil
	}
	want, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(s.WantPPM), "ppm")), 64)
	if err != nil || math.IsInf(want, 0) || math.IsNaN(want) {
		return r, fmt.Errorf("want-ppm %q: write a number of ppm, such as 150", clip(s.WantPPM))
	}
	r.Cure, err = SolveCure(r, want)
	return r, err
}

// Scale gives the recipe for another weight of meat, in kg; every concentration stays.
func (r Recipe) Scale(meat float64) (Recipe, error) {
	if !(meat > 0) {
		return r, errors.New("for 0 kg of meat there is nothing to weigh: enter how much meat it is, such as 5kg")
	}
	if r.Meat == 0 {
		return r, errors.New("meat is 0: enter the meat that the formulation is written for, then it can be scaled")
	}
	k := meat / r.Meat
	for _, kg := range []*float64{&r.Meat, &r.Water, &r.Ice, &r.Salt, &r.Sugar, &r.Cure, &r.Accelerator} {
		*kg *= k
	}
	return r, nil
}

// figure reads one figure; nothing, and a bare 0, are 0.
func figure(text string, parse func(string) (float64, error)) (float64, error) {
	text = strings.TrimSpace(text)
	if text == "" || text == "0" {
		return 0, nil
	}
	if len(text) > maxField {
		return 0, fmt.Errorf("%q is too long for a figure: write it such as 3kg", clip(text))
	}
	return parse(text)
}

// waterPerGallon is the weight of a US gallon of water, lb, as the Handbook counts it.
const waterPerGallon = 8.33

// parseWater reads a mass, or US gallons of water.
func parseWater(s string) (float64, error) {
	if n, ok := strings.CutSuffix(s, "gal"); ok {
		v, err := strconv.ParseFloat(strings.TrimSpace(n), 64)
		if err != nil || math.IsNaN(v) || v < 0 {
			return 0, fmt.Errorf("%q: write a number of US gallons of water, such as 1gal", clip(s))
		}
		return cook.ParseMass(strconv.FormatFloat(waterPerGallon*v, 'g', -1, 64) + "lb")
	}
	kg, err := cook.ParseMass(s)
	if err != nil && !strings.Contains(err.Error(), "negative") {
		err = fmt.Errorf("%w, or gal (US gallons, of water alone)", err)
	}
	return kg, err
}

// ParsePercent reads a share: "6.25%" is 0.0625.
func ParsePercent(s string) (float64, error) {
	n, ok := strings.CutSuffix(strings.TrimSpace(s), "%")
	v, err := strconv.ParseFloat(strings.TrimSpace(n), 64)
	if !ok || err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("share %q: write a percentage with its sign, such as 6.25%%", clip(s))
	}
	return v / 100, nil
}

func clip(s string) string {
	if len(s) > maxField {
		return strings.ToValidUTF8(s[:maxField], "") + "…"
	}
	return s
}

// cureTime works out how long it stays in, where a thickness is given or the piece is a flat; nil otherwise.
func (s Sheet) cureTime(out Result) (*CureTime, error) {
	if s.Thickness == "" && !s.Flat {
		return nil, nil
	}
	p := CurePiece{Flat: s.Flat, Dry: Method(s.Method) == Dry}
	var err error
	if p.ThicknessMM, err = figure(s.Thickness, cook.ParseLength); err != nil {
		return nil, fmt.Errorf("thickness: %w", err)
	}
	if s.Thickness != "" && p.ThicknessMM == 0 {
		return nil, errors.New("thickness 0: measure the thickest place and enter it, such as 50mm or 2in")
	}
	if err := p.validate(); err != nil {
		return nil, err
	}
	if !math.IsNaN(out.BrineSalt) && out.BrineSalt <= saturatedSalt {
		p.BrineSalt = out.BrineSalt
	}
	if !p.Dry && p.BrineSalt <= weakestBrine {
		return &CureTime{Because: fmt.Sprintf("a brine of %.1f %% salt never brings the middle to %.0f %%: make it stronger than %.1f %%", p.BrineSalt, centreSalt, weakestBrine)}, nil
	}
	t, err := EstimateCure(p)
	return &t, err
}

// cooling is the ice that cools a hot brine and what the brine is then; nil when nothing is asked for.
func (s Sheet) cooling(r Recipe) (*Cooled, error) {
	if (s.CoolFrom == "") != (s.CoolTo == "") {
		return nil, errors.New("cool-from and cool-to go together: give the temperature of the hot brine and the one it should have")
	}
	if s.CoolFrom == "" {
		return nil, nil
	}
	from, err := cook.ParseTemperature(s.CoolFrom)
	if err != nil {
		return nil, fmt.Errorf("cool-from: %w", err)
	}
	to, err := cook.ParseTemperature(s.CoolTo)
	if err != nil {
		return nil, fmt.Errorf("cool-to: %w", err)
	}
	return r.cool(from, to)
}

// Cooled is a brine after the ice that cooled it.
type Cooled struct {
	Ice    float64 // kg
	To     thermal.Celsius
	Result Result
	TooFar string // why so much ice spoils the brine; empty when it does not
}

// cool adds the ice that cools the brine, and says when that makes it too weak.
func (r Recipe) cool(from, to thermal.Celsius) (*Cooled, error) {
	kg, err := IceToCool(r, from, to, 0)
	if err != nil {
		return nil, err
	}
	before := r
	before.Ice = 0
	r.Ice = kg
	was, err := Compute(before)
	if err != nil {
		return nil, err
	}
	is, err := Compute(r)
	if err != nil {
		return nil, err
	}
	out := &Cooled{Ice: kg, To: to, Result: is}
	var why []string
	if r.Cure > 0 && is.NitritePPM < protectivePPM*(1-1e-9) {
		why = append(why, fmt.Sprintf("%.0f ppm of nitrite are less than %d", is.NitritePPM, protectivePPM))
	}
	if is.MeatSalt < centreSalt {
		why = append(why, fmt.Sprintf("it leaves %.1f %% salt in the meat, less than %.0f %%", is.MeatSalt, centreSalt))
	}
	if len(why) > 0 {
		out.TooFar = fmt.Sprintf("that much ice makes the brine too weak: %s (without it %.0f ppm and %.1f %% salt in the brine): heat less of the water, and count the ice as part of it",
			strings.Join(why, "; "), was.NitritePPM, was.BrineSalt)
	}
	return out, nil
}
