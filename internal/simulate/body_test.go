package simulate

import (
	"math"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
)

// Published ASHRAE Fundamentals values, Pa; ISO 2533 rows, bar.
func TestVapourAndAir(t *testing.T) {
	for c, want := range map[float64]float64{5: 872.6, 25: 3169.7, 50: 12351.3, 100: 101418, 150: 476101.4} {
		if got := saturation(c); math.Abs(got/want-1) > 1e-3 {
			t.Errorf("saturation(%v) = %.1f, want %.1f", c, got, want)
		}
	}
	v := newVapourTable()
	for _, c := range []float64{-3.3, 20.5, 66.6, 101.2} {
		if got, _ := v.at(c); math.Abs(got/saturation(c)-1) > 2e-3 {
			t.Errorf("table at %v = %.1f, formula %.1f", c, got, saturation(c))
		}
	}
	for m, want := range map[float64]float64{0: 1.01325, 500: .9546, 1500: .8456, 3000: .7012} {
		if got := airPressure(m) / 1e5; math.Abs(got-want) > 1.5e-4 {
			t.Errorf("airPressure(%v) = %.4f bar, want %.4f", m, got, want)
		}
	}
	// Computed from IAPWS-IF97 for the standard atmosphere at 1609 m.
	if got := v.boiling(airPressure(1609)); math.Abs(got-94.62) > 0.15 {
		t.Errorf("boiling at 1609 m = %.2f, want 94.62", got)
	}
}

// A squat cylinder is the product of wall and long cylinder. One-term table of the heat-transfer textbooks: wall Bi 1
// z1 0.8603 C1 1.1191; cylinder Bi 2 z1 1.5995 C1 1.3384.
func TestConductionFollowsTheExactSolution(t *testing.T) {
	const thick, radius = 0.06, 0.06
	mass := rawDensity * math.Pi * radius * radius * thick
	b := newBody(Piece{Cut: "other", MassKg: mass, ThicknessMM: thick * 1000, Start: 10})
	m := meatOf("other")
	k := conductivity(m.water)
	alpha := k / (rawDensity * (m.water*heatWater + m.fat*heatFat + (1-m.water-m.fat)*heatDry))
	s := around{air: 40, wall: 40, vapour: 1, pressure: 101325, boil: 100, convect: k / (thick / 2), still: true}
	v := newVapourTable()
	for range 4 * 1800 {
		b.step(2, s, v)
	}
	seconds := 4.0 * 3600
	wall := 1.1191 * math.Exp(-0.8603*0.8603*alpha*seconds/(thick*thick/4))
	cylinder := 1.3384 * math.Exp(-1.5995*1.5995*alpha*seconds/(radius*radius))
	want := 40 - 30*wall*cylinder
	if got := (b.t[axial/2*radial] + b.t[(axial/2-1)*radial]) / 2; math.Abs(got-want) > 0.35 {
		t.Errorf("centre after 4 h = %.2f °C, series %.2f", got, want)
	}
}

// Nothing is lost but by steam, drip and fat: what is gone from the meat is accounted for.
func TestMassIsAccountedFor(t *testing.T) {
	s := plain("brisket_packer", 5, 70, 121, Pellet)
	s.Length = 14 * time.Hour
	s.Script = []Act{{After: 7 * time.Hour, Kind: Wrap, Piece: "core", With: "foil"}, {After: 11 * time.Hour, Kind: Unwrap, Piece: "core"}}
	r := mustNew(t, s)
	b := r.pieces[0].body
	before := b.faces[0].film
	for _, ok := r.Next(); ok; _, ok = r.Next() {
	}
	accounted := b.evaporated + b.dripped + b.rendered
	for _, f := range b.faces {
		accounted += (f.film - before) * f.area
	}
	if gone := b.loss() * b.raw; math.Abs(gone-accounted) > 1e-3*gone {
		t.Errorf("gone from the meat %.4f kg, accounted for %.4f kg", gone, accounted)
	}
}

func TestStepLengthDoesNotMatter(t *testing.T) {
	var at [2]Truth
	for i, every := range []time.Duration{time.Second, time.Minute} {
		s := plain("brisket_flat", 2.4, 52, 107, Kamado)
		s.Length, s.Interval = 8*time.Hour, every
		r := mustNew(t, s)
		r.pit.restless = 0 // chance depends on the number of steps
		for _, ok := r.Next(); ok; _, ok = r.Next() {
		}
		at[i], _ = r.Truth("core")
	}
	if math.Abs(float64(at[0].Core-at[1].Core)) > 0.6 || math.Abs(at[0].Loss-at[1].Loss) > 0.005 {
		t.Errorf("after 8 h in 1 s steps %+v, in 2.5 s steps %+v", at[0], at[1])
	}
}

// Whatever is put on whatever fire, nothing runs away.
func TestNothingRunsAway(t *testing.T) {
	for _, f := range []Fire{Electric, Pellet, Offset, Kamado} {
		for _, kg := range []float64{0.12, 3, 25} {
			for _, set := range []float64{70, 163, 290} {
				s := plain("turkey_whole", kg, 90*math.Cbrt(kg/3), 110, f)
				s.SetPoint, s.Length, s.Interval = thermal.Celsius(set), 90*time.Minute, 5*time.Minute
				r := mustNew(t, s)
				for _, ok := r.Next(); ok; _, ok = r.Next() {
					truth, _ := r.Truth("core")
					core, pit := float64(truth.Core), r.pit.ta
					if !(core > 4 && core < set+60 && pit > 0 && pit < set+110 && truth.Loss > -0.01 && truth.Loss < 0.8) {
						t.Fatalf("%v kg on %s at %v °C: core %v, pit %v, loss %v", kg, f, set, core, pit, truth.Loss)
					}
				}
			}
		}
	}
}

// Newton's law with a small Biot number is the textbook's (lumped capacitance): a thin piece, bagged in slowly moved water, cools by
// exp(-h t / (ρ c L/2)). The exact values follow from the constants of this package, so this holds the surroundings of Cool to what they say.
func TestCool_AThinPieceFollowsNewton(t *testing.T) {
	began := time.Date(2026, 5, 2, 20, 0, 0, 0, time.UTC)
	c := Cooling{Piece: Piece{ID: "piece", Cut: "brisket_flat", MassKg: 3, ThicknessMM: 10, Start: 40}, Began: began, Length: time.Hour, Interval: time.Minute,
		Probe: Probe{Name: "piece", Sees: SeesPiece, Piece: "piece"}, Places: []Place{{Air: 2, Convect: 10, Bagged: true}}}
	r := Cool(c)
	half := func(from, to int) float64 {
		return math.Log(float64(r[from].Celsius-2)/float64(r[to].Celsius-2)) / float64(to-from)
	}
	if len(r) != 61 || r[0].Celsius != 40 || math.Abs(half(10, 30)/half(30, 50)-1) > 0.02 {
		t.Errorf("%d readings from %v; rates %.5f and %.5f a minute, want one", len(r), r[0].Celsius, half(10, 30), half(30, 50))
	}
	// h 10 x 0.6 through the bag; 1040 kg/m³ x about 3500 J/(kg K) x 5 mm behind each side
	if want := 6.0 / (1040 * 3500 * 0.005) * 60; math.Abs(half(10, 50)/want-1) > 0.15 {
		t.Errorf("rate %.5f a minute, want %.5f", half(10, 50), want)
	}
	c.Places = []Place{{For: 30 * time.Minute, Air: 40, Convect: 10, Bagged: true}, {Air: 2, Convect: 10, Bagged: true}}
	if w := Cool(c); w[30].Celsius < 39.5 || w[60].Celsius > 33 {
		t.Errorf("on the counter and then in the cooler: %v after 30 min, %v after 60", w[30].Celsius, w[60].Celsius)
	}
}
