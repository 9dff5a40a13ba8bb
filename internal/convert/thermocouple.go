package convert

import (
	"fmt"
	"math"
	"slices"

	"stallkeeper/estimator/thermal"
)

// Thermocouple is a thermocouple type by its letter: K, J, T, N or E.
type Thermocouple string

// section is one piece of a reference function: millivolts by powers of the temperature up to the end hi.
type section struct {
	hi float64
	c  []float64
}

// reference is the ITS-90 reference function of a type.
type reference struct {
	lo       float64
	sections []section
	slope    float64 // mV/°C that the MAX31855 of this type assumes; from memory
}

// Type K: published by NIST as the ITS-90 reference function. J, T, N, E: from memory, and checked against each other at
// the joints and against end points of the published tables, also from memory.
var references = map[Thermocouple]reference{
	"K": {-270, []section{
		{0, []float64{0, 0.394501280250e-1, 0.236223735980e-4, -0.328589067840e-6, -0.499048287770e-8, -0.675090591730e-10,
			-0.574103274280e-12, -0.310888728940e-14, -0.104516093650e-16, -0.198892668780e-19, -0.163226974860e-22}},
		{1372, []float64{-0.176004136860e-1, 0.389212049750e-1, 0.185587700320e-4, -0.994575928740e-7, 0.318409457190e-9,
			-0.560728448890e-12, 0.560750590590e-15, -0.320207200030e-18, 0.971511471520e-22, -0.121047212750e-25}},
	}, 41.276e-3},
	"J": {-210, []section{
		{760, []float64{0, 0.503811878150e-1, 0.304758369300e-4, -0.856810657200e-7, 0.132281952950e-9, -0.170529583370e-12,
			0.209480906970e-15, -0.125383953360e-18, 0.156317256970e-22}},
		{1200, []float64{0.296456256810e3, -0.149761277860e1, 0.317871039240e-2, -0.318476867010e-5, 0.157208190040e-8, -0.306913690560e-12}},
	}, 57.953e-3},
	"T": {-270, []section{
		{0, []float64{0, 0.387481063640e-1, 0.441944343470e-4, 0.118443231050e-6, 0.200329735540e-7, 0.901380195590e-9,
			0.226511565930e-10, 0.360711542050e-12, 0.384939398830e-14, 0.282135219250e-16, 0.142515947790e-18,
			0.487686622860e-21, 0.107955392700e-23, 0.139450270620e-26, 0.797951539270e-30}},
		{400, []float64{0, 0.387481063640e-1, 0.332922278800e-4, 0.206182434040e-6, -0.218822568460e-8, 0.109968809280e-10,
			-0.308157587720e-13, 0.454791352900e-16, -0.275129016730e-19}},
	}, 52.18e-3},
	"N": {-270, []section{
		{0, []float64{0, 0.261591059620e-1, 0.109574842280e-4, -0.938411115540e-7, -0.464120397590e-10, -0.263033577160e-11,
			-0.226534380030e-13, -0.760893007910e-16, -0.934196678350e-19}},
		{1300, []float64{0, 0.259293946010e-1, 0.157101418800e-4, 0.438256272370e-7, -0.252611697940e-9, 0.643118193390e-12,
			-0.100634715190e-14, 0.997453389920e-18, -0.608632456070e-21, 0.208492293390e-24, -0.306821961510e-28}},
	}, 36.256e-3},
	"E": {-270, []section{
		{0, []float64{0, 0.586655087080e-1, 0.454109771240e-4, -0.779980486860e-6, -0.258001608430e-7, -0.594525830570e-9,
			-0.932140586670e-11, -0.102876055340e-12, -0.803701236210e-15, -0.439794973910e-17, -0.164147763550e-19,
			-0.396736195160e-22, -0.558273287210e-25, -0.346578420130e-28}},
		{1000, []float64{0, 0.586655087100e-1, 0.450322755820e-4, 0.289084072120e-7, -0.330568966520e-9, 0.650244032700e-12,
			-0.191974955040e-15, -0.125366004970e-17, 0.214892175690e-20, -0.143880417820e-23, 0.359608994810e-27}},
	}, 76.373e-3},
}

// The bell that the type K reference function adds above 0 °C.
const (
	bellHeight = 0.1185976
	bellWidth  = -0.1183432e-3
	bellCentre = 126.9686
)

// The ends of the table's rounding: a value this far beyond the range, in millivolts, still is the end.
const tableHalf = 0.0005

func (tc Thermocouple) reference() (reference, error) {
	r, ok := references[tc]
	if !ok {
		return r, fmt.Errorf("thermocouple type %q is not known: use K, J, T, N or E", string(tc))
	}
	return r, nil
}

func (tc Thermocouple) emf(r reference, t float64) float64 {
	i := slices.IndexFunc(r.sections, func(s section) bool { return t <= s.hi })
	if i < 0 {
		i = len(r.sections) - 1
	}
	e := polynomial(r.sections[i].c, t)
	if tc == "K" && t > 0 {
		e += bellHeight * math.Exp(bellWidth*(t-bellCentre)*(t-bellCentre))
	}
	return e
}

func (r reference) hi() float64 { return r.sections[len(r.sections)-1].hi }

// Millivolts is what the couple gives at a temperature with its cold junction at 0 °C. A type that is not known and a temperature outside
// the range of its reference function are errors.
func (tc Thermocouple) Millivolts(c thermal.Celsius) (float64, error) {
	r, err := tc.reference()
	if err != nil {
		return 0, err
	}
	if !(float64(c) >= r.lo && float64(c) <= r.hi()) {
		return 0, fmt.Errorf("%.6g °C is outside %.0f … %.0f °C, the range of type %s", float64(c), r.lo, r.hi(), string(tc))
	}
	return tc.emf(r, float64(c)), nil
}

// Celsius is the temperature of the hot end from the measured millivolts and the temperature of the cold junction. The
// junction is added in millivolts: adding degrees would be several degrees wrong at pit temperature.
func (tc Thermocouple) Celsius(millivolts float64, coldJunction thermal.Celsius) (thermal.Celsius, error) {
	cold, err := tc.Millivolts(coldJunction)
	if err != nil {
		return 0, fmt.Errorf("cold junction: %w", err)
	}
	r, err := tc.reference()
	if err != nil {
		return 0, err
	}
	e, lo, hi := millivolts+cold, tc.emf(r, r.lo), tc.emf(r, r.hi())
	if !(e >= lo-tableHalf && e <= hi+tableHalf) {
		return 0, fmt.Errorf("%.6g mV is outside %.3f … %.3f mV (%.0f to %.0f °C of type %s, cold junction at %.6g °C): check the wiring, and the type",
			millivolts, lo-cold, hi-cold, r.lo, r.hi(), string(tc), float64(coldJunction))
	}
	return thermal.Celsius(bisect(func(t float64) float64 { return tc.emf(r, t) }, e, r.lo, r.hi())), nil
}

// Relinearized corrects a converter chip that takes the couple for a straight line: from the temperature that it shows
// and its cold junction it goes back to the millivolts, and from there through the reference function.
func (tc Thermocouple) Relinearized(shown, coldJunction thermal.Celsius) (thermal.Celsius, error) {
	r, err := tc.reference()
	if err != nil {
		return 0, err
	}
	return tc.Celsius(r.slope*float64(shown-coldJunction), coldJunction)
}
