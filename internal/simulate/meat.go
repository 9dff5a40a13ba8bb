package simulate

import "math"

// meat is what a cut is made of and how it behaves.
type meat struct {
	water, fat float64 // mass fractions, raw; the rest is protein and ash
	seepage    float64 // juice diffusivity at 20 °C, m²/s
	letGo      float64 // the largest share of the raw mass that heated protein lets go as juice
	render     float64 // the share of its fat that melts out in the end
	log        bool    // a long round piece, as thick as it is high: the axis lies along it
}

// Compositions: brisket flat, lean, and pork shoulder from the USDA nutrient database (the others from memory of it);
// seepage, letGo and render are choices of this project, set so that loss and stall come out as measured (see the tests).
func meatOf(cut string) meat {
	switch cut {
	case "brisket_packer":
		return meat{water: .62, fat: .19, seepage: 10e-9, letGo: .33, render: .45}
	case "brisket_flat":
		return meat{water: .69, fat: .085, seepage: 10e-9, letGo: .34, render: .4}
	case "brisket_flat_cured": // salt in the meat helps it to hold water
		return meat{water: .71, fat: .08, seepage: 9e-9, letGo: .29, render: .4}
	case "pork_shoulder", "lamb_shoulder":
		return meat{water: .645, fat: .17, seepage: 10e-9, letGo: .33, render: .45}
	case "beef_chuck", "beef_rib":
		return meat{water: .63, fat: .17, seepage: 10e-9, letGo: .33, render: .4}
	case "pork_loin":
		return meat{water: .70, fat: .07, seepage: 10e-9, letGo: .33, render: .3, log: true}
	case "turkey_breast", "turkey_whole", "chicken_whole":
		return meat{water: .73, fat: .05, seepage: 9e-9, letGo: .32, render: .4, log: true}
	case "fish_side":
		return meat{water: .68, fat: .11, seepage: 12e-9, letGo: .3, render: .3}
	}
	return meat{water: .66, fat: .14, seepage: 10e-9, letGo: .33, render: .4}
}

// released is the share of letGo that protein no longer holds after it has been this hot. The logistic form is that of a
// water-holding curve in the porous-media literature (centre near 52–60 °C; from memory, unconfirmed); it is wider here,
// because several proteins shrink one after the other between 50 and 85 °C.
func released(hottest float64) float64 { return 1 / (1 + math.Exp(-0.2*(hottest-64))) }

// conductivity of heat, W/(m K), by the water fraction above freezing (Earle, Unit Operations in Food Processing, appendix 7).
func conductivity(water float64) float64 { return 0.26 + 0.29*water }

// Specific heats near 50 °C, J/(kg K), rounded from Choi & Okos 1986.
const (
	heatWater = 4180
	heatFat   = 2050
	heatDry   = 2070
)

// Denaturation takes 3.0–3.9 J/g in all (Findlay & Stanley 1984), here spread evenly over denatureLow..denatureHigh.
const (
	denatureHeat = 3500.0 // J/kg
	denatureLow  = 54.0
	denatureHigh = 83.0
)

const rawDensity = 1045.0 // kg/m³, lean to fatty brisket 1044–1019 at 40 °C by Choi & Okos 1986
