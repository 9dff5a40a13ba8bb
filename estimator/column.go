package estimator

import (
	"math"

	"stallkeeper/estimator/thermal"
)

// nodes is the number of finite volumes from the centre of the piece to its surface.
const nodes = 6

// The fixed properties of the column. Only groups such as diffusivity over thickness squared can be learned from one
// log, so these stay put and the free parameters absorb what they miss.
const (
	diffusivity  = 1.28e-7 // m²/s, middle of the measured range for meat, 1.05 to 1.5e-7
	conductivity = 0.48    // W/(m K), Choi & Okos mixtures give 0.40 to 0.55
	density      = 1040    // kg/m³, raw meat
	latentHeat   = 2.36e6  // J/kg near 60 °C: 2501 - 2.38 t kJ/kg
	// lewis turns a convective coefficient and a vapour-pressure difference into a heat flux at 101325 Pa:
	// 0.622 Lv/(cp p), the Chilton-Colburn analogy with Le near 1.
	lewis = 0.622 * latentHeat / (1010 * 101325)
	// convectiveShare is the part of the surface coefficient that carries vapour as well; the rest is radiation.
	convectiveShare = 0.5
)

// coat is what lies around the surface during one step.
type coat uint8

const (
	bare coat = iota
	inFoil
	inPaper
)

// physics is the parameter set of one column, in natural units.
type physics struct {
	half       float64 // half-thickness, m
	shape      float64 // area grows as r^shape: 0 slab, 1 cylinder, 2 sphere
	h          float64 // surface coefficient, convection and radiation together, W/(m² K)
	wet        float64 // wetness of the fresh surface, fraction of a free water surface
	budget     float64 // evaporated water at which wetness has halved, kg/m²
	sharp      float64 // exponent of the drying curve
	vapour     float64 // vapour pressure in the pit, Pa
	depth      float64 // place of the probe tip, fraction of the half-thickness from the centre
	start      float64 // temperature at the start, °C
	pitOffset  float64 // effective minus measured pit temperature, K
	foilH      float64 // surface coefficient in foil over bare
	paperH     float64 // the same in paper
	paperWet   float64 // wetness in paper over bare
	boil       float64 // boiling point at the altitude, °C
	tail       float64 // wetness of the dried crust, through which the inside still evaporates
	total      float64 // evaporated water at which the inside is dry, kg/m²
	hNow, wNow float64 // factors on h and wetness, the slow walks of the model error
}

// column is the state of the reduced model: temperatures from the centre outwards and the water lost.
type column struct {
	t       [nodes]float64
	surface float64 // °C
	lost    float64 // kg/m² evaporated
}

// grid holds what the steps of one column share.
type grid struct {
	up, down [nodes]float64 // conductance to the outer and inner neighbour over heat capacity, 1/s
	skin     float64        // conductance from the outer node to the surface, W/(m² K)
	skinRate float64        // surface area over heat capacity of the outer node, m² K/J
	probeLo  int            // the probe reads between this node and the next
	probeF   float64
}

func (p *physics) grid() grid {
	var g grid
	dx := p.half / nodes
	heat := conductivity / diffusivity // J/(m³ K)
	b := p.shape
	area := func(r float64) float64 {
		if r == 0 && b == 0 {
			return 1
		}
		return math.Pow(r, b)
	}
	for i := range nodes {
		lo, hi := float64(i)/nodes, float64(i+1)/nodes
		volume := (math.Pow(hi, b+1) - math.Pow(lo, b+1)) / (b + 1) * p.half
		if i > 0 {
			g.down[i] = conductivity / dx * area(lo) / (heat * volume)
		}
		if i < nodes-1 {
			g.up[i] = conductivity / dx * area(hi) / (heat * volume)
		} else {
			g.skinRate = area(hi) / (heat * volume)
		}
	}
	g.skin = conductivity / (dx / 2)
	x := min(max(p.depth*nodes-0.5, 0), nodes-1)
	g.probeLo = min(int(x), nodes-2)
	g.probeF = x - float64(g.probeLo)
	return g
}

// probe is the temperature at the tip.
func (c *column) probe(g *grid) float64 {
	return c.t[g.probeLo] + g.probeF*(c.t[g.probeLo+1]-c.t[g.probeLo])
}

func (p *physics) fresh() column {
	var c column
	for i := range c.t {
		c.t[i] = p.start
	}
	c.surface = p.start
	return c
}

// wetness falls as the surface dries; what the crust still lets through ends when the inside is dry.
func (p *physics) wetness(lost float64) float64 {
	if lost <= 0 {
		return p.wet + p.tail
	}
	r := lost / p.total
	r *= r
	r *= r
	return p.wet/(1+math.Exp(p.sharp*math.Log(lost/p.budget))) + p.tail/(1+r*r)
}

// step advances the column by dt seconds in a pit of the given temperature: one implicit conduction step with the
// surface balance h(Ta-Ts) - q_e = k dT/dn linearised at the last surface temperature.
func (c *column) step(p *physics, g *grid, pit, dt float64, around coat) {
	h, wet := p.h*p.hNow, 0.0
	switch around {
	case bare:
		wet = p.wetness(c.lost) * p.wNow
	case inFoil:
		h *= p.foilH
	case inPaper:
		h *= p.paperH
		wet = p.wetness(c.lost) * p.wNow * p.paperWet
	}
	air := pit + p.pitOffset
	k := wet * h * convectiveShare * lewis
	pressure, slope := vapourLine(c.surface)
	// Flux into the surface a - b·Ts, with evaporation q0 + q1 (Ts - surface).
	q0, q1 := k*(pressure-p.vapour), k*slope
	if q0 < 0 { // no condensation: the piece warms a little slower at first instead
		q0, q1 = 0, 0
	}
	a := h*air - q0 + q1*c.surface
	b := h + q1
	// Ts = (a + skin T)/(b + skin); heat into the outer node is skin (Ts - T).
	s := g.skin / (b + g.skin)
	inRate := dt * g.skinRate
	var diag, rhs [nodes]float64
	for i := range nodes {
		diag[i] = 1 + dt*(g.up[i]+g.down[i])
		rhs[i] = c.t[i]
	}
	diag[nodes-1] += inRate * b * s
	rhs[nodes-1] += inRate * a * s
	for i := 1; i < nodes; i++ {
		f := dt * g.down[i] / diag[i-1]
		diag[i] -= f * dt * g.up[i-1]
		rhs[i] += f * rhs[i-1]
	}
	c.t[nodes-1] = rhs[nodes-1] / diag[nodes-1]
	for i := nodes - 2; i >= 0; i-- {
		c.t[i] = (rhs[i] + dt*g.up[i]*c.t[i+1]) / diag[i]
	}
	ts := (a + g.skin*c.t[nodes-1]) / (b + g.skin)
	if around == inFoil {
		ts = min(ts, p.boil)
		for i := range c.t {
			c.t[i] = min(c.t[i], p.boil)
		}
	}
	if q1 > 0 {
		c.lost += max(0, q0+q1*(ts-c.surface)) * dt / latentHeat
	}
	c.surface = min(max(ts, -40), 200)
}

// vapourTable holds the saturation pressure at whole degrees from 0 to 200 °C.
var vapourTable = func() (v [202]float64) {
	for i := range v {
		v[i] = thermal.SaturationPressure(thermal.Celsius(i))
	}
	return v
}()

// vapourLine gives the saturation pressure and its slope, between whole degrees in a straight line.
func vapourLine(t float64) (pascal, slope float64) {
	t = min(max(t, 0), 200)
	i := int(t)
	slope = vapourTable[i+1] - vapourTable[i]
	return vapourTable[i] + slope*(t-float64(i)), slope
}
