package estimator

import (
	"math"
	"math/rand/v2"
	"time"

	"stallkeeper/estimator/thermal"
)

// Surroundings is where a piece cools.
type Surroundings string

// The surroundings.
const (
	InsulatedBox Surroundings = "insulated box" // wrapped, holding
	CoolerAir    Surroundings = "cooler air"
	IceWater     Surroundings = "ice water" // bagged
)

// Chill describes a piece that cools.
type Chill struct {
	Piece    Input           // cut, mass and thickness; for CoolTimes its probe readings since it began to cool, in Core
	From     thermal.Celsius // core temperature now; CoolTimes takes the newest reading
	Where    Surroundings
	Ambient  thermal.Celsius // air or water; for the box, the room
	SlicedMM float64         // thickness of slices or halves; 0 = whole
}

// exchange is the range of surface coefficients in W/(m² K): median and sd of its logarithm. All are choices of this project; no
// published figure is known for any of them. The reasoning: still air over a wrapped piece 5 to 10, moved cooler air up to 25,
// stirred ice water some hundreds (textbook orders of magnitude, from memory). A box loses through its wall, which is larger than the
// piece: 3 to 5 cm of foam pass 0.5 to 0.8 W/(m² K) (conductivity 0.025 to 0.035 W/(m K), from memory), the lid leaks, and the box has
// some five times the surface of what lies in it; all this in series with the air around the piece. What comes out of it is held
// against common practice by TestCoolTime_ABoxKeepsAPieceHotForHours.
var exchange = map[Surroundings][2]float64{
	InsulatedBox: {2.5, 0.4},
	CoolerAir:    {9, 0.35},
	IceWater:     {180, 0.5},
}

// CoolTime gives the time from the present after which the core is at or below a temperature, at Levels. A negative
// duration means: not within the horizon. It is a forecast for planning; only a measured temperature shows that a
// cooling limit was met.
func (e *Estimator) CoolTime(c Chill, to thermal.Celsius) (after [7]time.Duration) {
	times := make([]time.Time, draws)
	start := time.Unix(0, 0).UTC()
	tr := e.prior.traits(&c.Piece, nil)
	prior := newNormal(e.prior.Ways[0].at(&tr, true))
	seed := seedOf(&c.Piece)
	known, ok := exchange[c.Where]
	if !ok {
		known = exchange[CoolerAir]
	}
	for k := range times {
		rng := rand.New(rand.NewPCG(seed, uint64(k)))
		u := standardNormal(rng)
		z := prior.place(&u)
		p := z.physics(float64(c.From), 100)
		p.h, p.foilH, p.pitOffset, p.depth = known[0]*math.Exp(known[1]*rng.NormFloat64()), 1, 0, 0
		if c.SlicedMM > 0 {
			p.half, p.shape = c.SlicedMM/2000, 0
		}
		if s := coolSeconds(&p, float64(c.Ambient), float64(to)); !math.IsInf(s, 1) {
			times[k] = start.Add(time.Duration(s * float64(time.Second)))
			if s == 0 {
				times[k] = start.Add(1)
			}
		}
	}
	for i, q := range quantiles(times) {
		after[i] = -1
		if !q.IsZero() {
			after[i] = q.Sub(start).Round(time.Second)
		}
	}
	return after
}

func coolSeconds(p *physics, ambient, to float64) float64 {
	g := p.grid()
	c := p.fresh()
	dt := 20.0
	last := c.probe(&g)
	if last <= to {
		return 0
	}
	for t := 0.0; t < Horizon.Seconds(); t += dt {
		c.step(p, &g, ambient, dt, inFoil)
		now := c.probe(&g)
		if now <= to {
			return t + dt*clampTo((last-to)/(last-now), 0, 1)
		}
		last = now
		if t > hour {
			dt = 60
		}
	}
	return math.Inf(1)
}
