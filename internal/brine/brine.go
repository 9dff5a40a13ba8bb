// Package brine does the arithmetic of curing by weight: ingoing nitrite, salt, strength, ice, and doses backwards.
//
// Masses are kilograms, fractions are 0 to 1, temperatures Celsius. Everything in the pickle counts by its weight; ice is
// water. The formulas are those of USDA FSIS Directive 7620.3, Processing Inspectors' Calculations Handbook (1995), on the
// green weight of the meat. It judges a formulation against the limits of 9 CFR 424.21(c) and 424.22(b); the current
// edition, the local code and a licensed authority decide. Curing salt is poisonous in excess: weigh it, keep it locked
// away and labelled. Nothing here plans a cure time from the diffusion of nitrite, which reacts on its way.
package brine

import (
	"errors"
	"fmt"
	"math"
)

// Method is how the cure gets into the meat, which decides the formula.
type Method string

// The methods.
const (
	Equilibrium Method = "immersion-equilibrium" // a long cure, to balance: Handbook method two
	PickUp      Method = "immersion-pickup"      // a short dip, by weight gained: Handbook method one
	Pumped      Method = "pumped"
	Dry         Method = "dry" // rubbed on, or mixed into ground meat
)

// Product is the class that decides the limit.
type Product string

// The classes of product.
const (
	WholeMuscle Product = "whole-muscle"
	Bacon       Product = "bacon"
	Comminuted  Product = "comminuted"
)

// Recipe is a formulation. Absent masses are 0.
type Recipe struct {
	Meat, Water, Ice, Salt, Sugar, Cure, Accelerator float64 // kg; Accelerator is sodium ascorbate or erythorbate
	CureNitrite                                      float64 // fraction of sodium nitrite in the curing salt
	Method                                           Method
	PickUp                                           float64 // weight gained over green weight; pumped and pick-up only
	Product                                          Product
}

// Result is what a formulation amounts to.
type Result struct {
	NitritePPM     float64 // ingoing, as NaNO2 on green weight
	NitriteIonPPM  float64 // the same as NO2 ion, the basis of the EU limits
	LimitPPM       float64
	LimitSource    string
	Within         bool
	AcceleratorPPM float64
	Pickle         float64 // kg of everything in the brine; 0 for a dry cure without water
	BrineSalt      float64 // percent by weight of the brine, salt inside the cure included; NaN without a brine
	Salometer      float64 // degrees; NaN without a brine
	MeatSalt       float64 // percent of the weight of the meat with what it took up
	Notes          []string
}

// Constants of the arithmetic.
const (
	saturatedSalt = 26.395            // % by weight = 100 salometer degrees at 15.6 °C (from memory)
	ionFraction   = 46.0055 / 68.9953 // NO2 in NaNO2, from the molar masses
	protectivePPM = 120               // "keep refrigerated" policy minimum, Handbook p. 12
	baconHelpPPM  = 550               // ascorbate or erythorbate with pumped bacon, 9 CFR 424.22(b)
	maxCureShare  = 0.25              // no curing salt on sale is stronger; above it the field was mistyped
)

// Validate says what is wrong with a recipe and what to enter instead.
func (r Recipe) Validate() error {
	var errs []error
	for _, m := range []struct {
		name string
		kg   float64
	}{{"meat", r.Meat}, {"water", r.Water}, {"ice", r.Ice}, {"salt", r.Salt}, {"sugar", r.Sugar}, {"cure", r.Cure}, {"accelerator", r.Accelerator}} {
		if !(m.kg >= 0 && m.kg <= 1e5) {
			errs = append(errs, fmt.Errorf("%s %v kg is not a weight: enter 0 or more", m.name, m.kg))
		}
	}
	if r.Meat == 0 {
		errs = append(errs, errors.New("meat is 0: weigh the meat before it goes in (green weight)"))
	}
	if r.Cure > 0 && r.CureNitrite == 0 {
		errs = append(errs, fmt.Errorf("curing salt of %v %% nitrite: enter the strength printed on the packet, such as 6.25%%", 100*r.CureNitrite))
	}
	if !(r.CureNitrite >= 0 && r.CureNitrite <= maxCureShare) {
		errs = append(errs, fmt.Errorf("curing salt of %v %% nitrite cannot be: enter the strength printed on the packet, such as 6.25%%", 100*r.CureNitrite))
	}
	switch r.Method {
	case Equilibrium, Dry:
	case PickUp, Pumped:
		if !(r.PickUp > 0 && r.PickUp <= 1) {
			errs = append(errs, fmt.Errorf("pick-up %v %% is not between 0 and 100: weigh the meat before and after, (after - before) / before", 100*r.PickUp))
		}
	default:
		errs = append(errs, fmt.Errorf("method %q is not known: use immersion-equilibrium, immersion-pickup, pumped or dry", r.Method))
	}
	if r.Method != Dry && r.Water+r.Ice == 0 {
		errs = append(errs, errors.New("water is 0: a brine needs water or ice, or choose method dry"))
	}
	if _, _, err := limit(r.Product, r.Method); err != nil {
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

// limit gives the most ingoing nitrite, in ppm of green weight, and where that stands.
func limit(p Product, m Method) (ppm float64, source string, err error) {
	switch {
	case p == Comminuted:
		return 156, "9 CFR 424.21(c): 1/4 oz per 100 lb, comminuted", nil
	case p == WholeMuscle && m == Dry:
		return 625, "9 CFR 424.21(c): 1 oz per 100 lb, dry cured", nil
	case p == WholeMuscle:
		return 200, "9 CFR 424.21(c): 2 lb per 100 gal pickle at 10 %, computed by weight", nil
	case p == Bacon && m == Dry:
		return 200, "9 CFR 424.22(b): dry cured bacon", nil
	case p == Bacon:
		return 120, "9 CFR 424.22(b): pumped or immersed bacon", nil
	}
	return 0, "", fmt.Errorf("product %q is not known: use whole-muscle, bacon or comminuted", p)
}

// pickle is the weight of everything in the brine, kg.
func (r Recipe) pickle() float64 {
	return r.Water + r.Ice + r.Salt + r.Sugar + r.Cure + r.Accelerator
}

// ppm gives what a mass in the pickle comes to on the green weight, by the method's formula.
func (r Recipe) ppm(kg float64) float64 {
	switch {
	case kg == 0:
		return 0
	case r.Method == Dry:
		return kg * 1e6 / r.Meat
	case r.Method == Equilibrium:
		return kg * 1e6 / (r.Meat + r.pickle())
	}
	return kg * r.PickUp * 1e6 / r.pickle()
}

// Compute works a recipe out. It fails only on a recipe that Validate refuses; over the limit is a result.
//
// Worked example (Handbook formula): 32 g of a 5.88 % cure in 1266 g of brine at 10 % pump is 148.6 ppm.
func Compute(r Recipe) (Result, error) {
	if err := r.Validate(); err != nil {
		return Result{}, err
	}
	out := Result{BrineSalt: math.NaN(), Salometer: math.NaN()}
	out.LimitPPM, out.LimitSource, _ = limit(r.Product, r.Method)
	out.NitritePPM = r.ppm(r.Cure * r.CureNitrite)
	out.NitriteIonPPM = out.NitritePPM * ionFraction
	out.AcceleratorPPM = r.ppm(r.Accelerator)
	out.Within = out.NitritePPM <= out.LimitPPM*(1+1e-9)
	salt := r.Salt + r.Cure*(1-r.CureNitrite)
	switch r.Method {
	case Dry:
		out.MeatSalt = 100 * salt / (r.Meat + r.pickle())
	case Equilibrium:
		out.MeatSalt = 100 * salt / (r.Meat + r.pickle())
	default:
		out.MeatSalt = 100 * salt / r.pickle() * r.PickUp / (1 + r.PickUp)
	}
	if r.Water+r.Ice > 0 {
		out.Pickle = r.pickle()
		out.BrineSalt = 100 * salt / out.Pickle
		out.Salometer = out.BrineSalt / saturatedSalt * 100
	}
	out.Notes = notes(r, out)
	return out, nil
}

func notes(r Recipe, out Result) []string {
	var notes []string
	add := func(format string, a ...any) { notes = append(notes, fmt.Sprintf(format, a...)) }
	if !out.Within {
		add("ingoing nitrite %.0f ppm is over the limit of %.0f ppm: take less curing salt", out.NitritePPM, out.LimitPPM)
	}
	if out.NitritePPM < protectivePPM*(1-1e-9) {
		add("ingoing nitrite %.0f ppm is below the %d ppm that protect a cured product kept refrigerated: treat the meat as uncured", out.NitritePPM, protectivePPM)
	}
	if r.Product == Bacon && r.Method == Pumped && out.AcceleratorPPM < baconHelpPPM {
		add("pumped bacon needs %d ppm of ascorbate or erythorbate besides the nitrite (9 CFR 424.22(b)); this has %.0f", baconHelpPPM, out.AcceleratorPPM)
	}
	if out.Salometer > 100 {
		add("a brine cannot hold %.1f %% salt (26.4 %% is saturated): the rest will lie on the bottom and the reckoning is wrong", out.BrineSalt)
	}
	if r.Ice > 0 {
		without := r
		without.Ice = 0
		if without.Water > 0 {
			before := 100 * (r.Salt + r.Cure*(1-r.CureNitrite)) / without.pickle()
			add("the ice is water once melted: it takes the brine from %.1f to %.1f %% salt", before, out.BrineSalt)
		}
	}
	return notes
}
