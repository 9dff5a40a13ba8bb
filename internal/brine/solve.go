package brine

import (
	"errors"
	"fmt"

	"stallkeeper/estimator/thermal"
)

// SolveCure gives the curing salt, in kg, that brings the recipe to a wanted ingoing nitrite; the recipe's own Cure is
// ignored. The pickle's weight grows by the cure itself, which is why this is not a plain proportion.
func SolveCure(r Recipe, wantPPM float64) (float64, error) {
	r.Cure = 0
	if err := r.Validate(); err != nil {
		return 0, err
	}
	if !(r.CureNitrite > 0) {
		return 0, errors.New("the strength of the curing salt is missing: enter the share printed on the packet, such as 6.25%")
	}
	if !(wantPPM > 0) {
		return 0, fmt.Errorf("%v ppm is not a dose: enter a number above 0", wantPPM)
	}
	p := wantPPM / 1e6
	switch r.Method {
	case Dry:
		return p * r.Meat / r.CureNitrite, nil
	case Equilibrium:
		return solved(p*(r.Meat+r.pickle()), r.CureNitrite-p)
	}
	return solved(p*r.pickle(), r.CureNitrite*r.PickUp-p)
}

func solved(numerator, denominator float64) (float64, error) {
	if denominator <= 0 {
		return 0, errors.New("this curing salt is too weak for that dose by this method: take a stronger one, or a larger pick-up")
	}
	return numerator / denominator, nil
}

// minDivisions is how many scale divisions a dose must have: below 20 the weighing error passes 5 %
// (NIST Handbook 44, minimum load of a class III scale).
const minDivisions = 20

// CheckScale reports a dose that the scale cannot weigh within 5 %, with the remedy. Masses are kg.
func CheckScale(cure, resolution float64) error {
	if cure == 0 || cure >= minDivisions*resolution*(1-1e-9) {
		return nil
	}
	return fmt.Errorf("%.3g g of curing salt is less than %d divisions of a %.3g g scale, so the weighing error passes 5 %%: "+
		"use a scale of %.2g g or finer, or weigh %.3g g of curing salt into plain salt, mix well, and take that mixture by weight",
		1e3*cure, minDivisions, 1e3*resolution, 1e3*cure/minDivisions, 1e3*minDivisions*resolution)
}

// Heats of the ice balance.
const (
	waterHeat = 4.18  // kJ/(kg K), liquid water (steam tables)
	iceLatent = 333.6 // kJ/kg, latent heat of fusion of ice (handbook value; CRC Handbook gives 333.6, from memory)
	iceHeat   = 2.1   // kJ/(kg K), ice just below 0 °C (from memory)
	solidHeat = 0.9   // kJ/(kg K), dissolved salt and sugar, roughly (from memory)
)

// IceToCool gives the ice, in kg, that cools the recipe's brine (its own Ice left out) from one temperature to another,
// by heat balance without losses to pot or air. Ice colder than 0 °C helps a little.
//
// Worked example: 4 kg water of 100 °C to 4 °C with ice of 0 °C: 4 × 4.18 × 96 / (333.6 + 4.18 × 4) = 4.58 kg.
func IceToCool(r Recipe, from, to, ice thermal.Celsius) (float64, error) {
	if !(from > to && to > 0 && ice <= 0 && from <= 105) {
		return 0, fmt.Errorf("cooling from %v to %v with ice of %v: the brine must be at most 105 °C and end above 0 °C, the ice at or below 0 °C", from, to, ice)
	}
	if r.Water <= 0 {
		return 0, errors.New("water is 0: enter the water that was heated")
	}
	heat := (r.Water*waterHeat + (r.Salt+r.Sugar)*solidHeat) * float64(from-to)
	perKg := iceLatent + iceHeat*float64(0-ice) + waterHeat*float64(to)
	return heat / perKg, nil
}
