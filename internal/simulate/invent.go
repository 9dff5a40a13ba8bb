package simulate

import (
	"math"
	"math/rand/v2"
	"time"

	"stallkeeper/estimator/thermal"
)

// habit is how a cut is usually cooked: weights, shape and targets. Common practice, no source.
type habit struct {
	cut        string
	share      float64 // of the invented cooks
	kg         float64 // median weight
	thick      float64 // mm of a 1 kg piece; thickness grows with the cube root of weight
	low, high  float64 // targets, °C
	hot        bool    // cooked at higher setpoints
	wrapChance float64
}

func habits() []habit {
	return []habit{
		{"brisket_packer", 3, 5.2, 43, 92, 97, false, .65},
		{"brisket_flat", 1.5, 2.3, 41, 90, 96, false, .6},
		{"brisket_flat_cured", 2, 2.6, 41, 71, 95, false, .5},
		{"pork_shoulder", 3.5, 3.1, 72, 90, 97, false, .5},
		{"beef_chuck", 1.5, 1.9, 62, 90, 97, false, .5},
		{"pork_loin", 1, 1.8, 58, 62, 66, true, 0},
		{"turkey_breast", 1, 1.5, 72, 73, 76, true, 0},
		{"beef_rib", 1, 2.2, 52, 90, 96, false, .4},
		{"lamb_shoulder", .7, 2.4, 62, 85, 94, false, .4},
	}
}

// dice are the draws of an invented scenario.
type dice struct{ *rand.Rand }

func (d dice) between(low, high float64) float64 { return low + (high-low)*d.Float64() }

// about is lognormal: a factor off the median.
func (d dice) about(median, spread float64) float64 {
	return median * math.Exp(spread*max(min(d.NormFloat64(), 2.5), -2.5))
}

func (d dice) minutes(low, high float64) time.Duration {
	return time.Duration(d.between(low, high) * float64(time.Minute)).Truncate(time.Second)
}

func pick[T any](d dice, from ...T) T { return from[d.IntN(len(from))] }

// Invent makes up a cook of one piece, named "core", on one pit: cut, weight, fire, weather, habits and mishaps as the
// seed has it. The mix is a choice of this project, not a survey. The run ends twenty minutes after the piece is ready,
// or after 36 hours.
func Invent(seed uint64, start time.Time) Scenario {
	d := dice{rand.New(rand.NewPCG(seed, 7))}
	h := d.habit()
	s := Scenario{Name: "invented", Started: start, Length: 36 * time.Hour, Stop: 20 * time.Minute, Interval: 15 * time.Second,
		Seed: seed, Fire: pick(d, Electric, Pellet, Offset, Kamado), SetPoint: pick[thermal.Celsius](d, 104, 107, 107, 110, 116, 121)}
	if h.hot {
		s.SetPoint = pick[thermal.Celsius](d, 107, 121, 121, 135, 149)
	}
	mean := d.between(-2, 27)
	s.Weather = Weather{Mean: thermal.Celsius(mean), Swing: thermal.CelsiusDelta(d.between(2, 8)), DewPoint: thermal.Celsius(mean - d.between(2, 10))}
	s.Pieces = []Piece{d.piece(h)}
	s.Probes = d.probes()
	d.mishaps(&s)
	return s
}

func (d dice) habit() habit {
	all := habits()
	total := 0.0
	for _, h := range all {
		total += h.share
	}
	at := d.Float64() * total
	for _, h := range all {
		if at -= h.share; at < 0 {
			return h
		}
	}
	return all[len(all)-1]
}

func (d dice) piece(h habit) Piece {
	kg := math.Round(d.about(h.kg, 0.22)*100) / 100
	p := Piece{ID: "core", Cut: h.cut, MassKg: kg, ThicknessMM: math.Round(d.about(h.thick*math.Cbrt(kg), 0.08)),
		Start: thermal.Celsius(d.between(2, 12)), Target: thermal.Celsius(math.Round(2*d.between(h.low, h.high)) / 2),
		Spot: thermal.CelsiusDelta(2 * d.NormFloat64()),
		Vary: Vary{Conductivity: d.about(1, 0.06), Seepage: d.about(1, 0.35), Holding: d.about(1, 0.12), HeatTransfer: d.about(1, 0.18)}}
	if d.Float64() < h.wrapChance && p.Target > 85 {
		p.Plan = &WrapPlan{With: pick(d, "foil", "foil", "paper"), AtCelsius: pick[thermal.Celsius](d, 66, 68, 70, 70, 72, 74)}
		p.WrapLate = d.minutes(0, 15)
	}
	return p
}

func (d dice) probes() []Probe {
	step := pick[thermal.CelsiusDelta](d, 0.1, 0.1, 0.0625, 0.5, 5./9)
	return []Probe{
		{Name: "pit", Sees: SeesPit, Lag: d.minutes(0.1, 0.8), Offset: thermal.CelsiusDelta(1.5 * d.NormFloat64()), Noise: thermal.CelsiusDelta(d.between(0.1, 0.8)), Step: step},
		{Name: "core", Sees: SeesPiece, Piece: "core", Lag: d.minutes(0.1, 0.8), Depth: max(min(0.15*d.NormFloat64(), 0.35), -0.35),
			Offset: thermal.CelsiusDelta(0.4 * d.NormFloat64()), Noise: thermal.CelsiusDelta(d.between(0.02, 0.25)), Step: step},
	}
}

// mishaps are lid openings, a raised pit and a fire that fades until somebody comes.
func (d dice) mishaps(s *Scenario) {
	if d.Float64() < 0.35 {
		every := d.between(40, 100)
		for at := d.minutes(120, 180); at < 14*time.Hour; at += d.minutes(0.7*every, 1.3*every) {
			s.Script = append(s.Script, Act{After: at, Kind: Lid})
		}
	}
	if d.Float64() < 0.2 {
		s.Script = append(s.Script, Act{After: d.minutes(180, 480), Kind: SetPoint, Celsius: s.SetPoint + pick[thermal.Celsius](d, 8, 14, 14, 28)})
	}
	if d.Float64() < 0.1 && s.Fire != Electric {
		fade := d.minutes(120, 480)
		s.Faults = append(s.Faults, FireFault{After: fade, Left: 0.05, Over: d.minutes(8, 20)})
		s.Script = append(s.Script, Act{After: fade + d.minutes(25, 90), Kind: Fuel})
	}
}
