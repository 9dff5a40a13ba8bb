package simulate

import (
	"math"
	"math/rand/v2"
)

// Fire is a kind of fire and the pit that goes with it.
type Fire string

// The fires.
const (
	Electric Fire = "electric" // a thermostat switching an element
	Pellet   Fire = "pellet"   // a feeder with a controller, in cycles
	Offset   Fire = "offset"   // split logs fed by hand into a box beside the pit
	Kamado   Fire = "kamado"   // a thick-walled pit with charcoal and a slow draught
)

// chamber is the pit as two lumps, air with thin parts and walls, with what its fire needs. No source: chosen so that
// swings, recovery after the lid and drift look as they do in such pits.
type chamber struct {
	air, wall      float64 // heat capacities, J/K
	between        float64 // W/K from air to wall
	outside        float64 // W/K from wall to outdoors
	flow           float64 // kg/s of air drawn through
	full           float64 // W at full fire
	response       float64 // s, lag of the fire behind its regulator
	restless       float64 // relative standard deviation of the fire's power
	restlessTime   float64 // s, how long its moods last
	moisture       float64 // kg of water vapour per J burnt
	convect        float64 // W/(m²K) at the meat
	view           float64 // share of black-body radiation at the meat
	gain, integral float64 // of the regulator, per K and per K s
}

// Wood and charcoal give about 0.55 kg and 0.2 kg of water per kg burnt, with 15 and 28 MJ/kg (from memory); electricity none.
func chamberOf(f Fire) (c chamber, known bool) {
	switch f {
	case Electric:
		return chamber{air: 7e3, wall: 16e3, between: 22, outside: 2.8, flow: 0.0016, full: 1300, response: 40, restless: 0.02, restlessTime: 900, moisture: 0, convect: 7, view: 0.8}, true
	case Pellet:
		return chamber{air: 10e3, wall: 28e3, between: 22, outside: 8, flow: 0.010, full: 5200, response: 110, restless: 0.12, restlessTime: 240, moisture: 0.037e-6, convect: 12, view: 0.65, gain: 0.018, integral: 3e-5}, true
	case Offset:
		return chamber{air: 12e3, wall: 60e3, between: 28, outside: 14, flow: 0.018, full: 14000, response: 60, restless: 0.10, restlessTime: 600, moisture: 0.040e-6, convect: 13, view: 0.6}, true
	case Kamado:
		return chamber{air: 9e3, wall: 62e3, between: 24, outside: 2.6, flow: 0.004, full: 2600, response: 300, restless: 0.05, restlessTime: 2400, moisture: 0.008e-6, convect: 13, view: 0.75, gain: 0.022, integral: 8e-6}, true
	}
	return chamber{}, false
}

// pit is the state of the pit during a run.
type pit struct {
	chamber
	kind     Fire
	rng      *rand.Rand
	setpoint float64
	ta, tw   float64
	power    float64 // W, of the fire now
	mood     float64 // slow relative deviation of the fire
	gust     float64 // slow relative deviation of the losses
	wound    float64 // the regulator's integral, share of full power
	cycle    float64 // s until a pellet regulator's next decision
	ask      float64 // share of full power asked for
	on       bool    // an electric element
	log      [3]log  // burning in an offset
	nextLog  float64 // s
	fuel     float64 // share of its strength that the bed has
	left     float64 // where a fading bed tends to
	over     float64 // s, its time constant
	lid      float64 // s that the lid stays open
	humid    float64 // kg of vapour per kg of air
}

// log is a split of wood on the fire: gamma-shaped burning.
type log struct{ age, energy, time float64 }

func newPit(s *Scenario, rng *rand.Rand) *pit {
	c, _ := chamberOf(s.Fire)
	if s.Pit.Draught != 0 {
		c.flow *= s.Pit.Draught
	}
	if s.Pit.HeatTransfer != 0 {
		c.convect *= s.Pit.HeatTransfer
	}
	p := &pit{chamber: c, kind: s.Fire, rng: rng, setpoint: float64(s.SetPoint), fuel: 1, left: 1, over: 600}
	out := float64(s.Weather.Mean)
	p.ta = p.setpoint
	p.tw = out + (p.ta-out)*p.between/(p.between+p.outside)
	p.power = p.need(out)
	p.ask = p.power / p.full
	p.wound = p.ask
	if s.Fire == Offset {
		for i := range p.log {
			p.log[i] = log{age: float64(i) * 1500, energy: p.power * 2000, time: 800}
		}
		p.nextLog = 900
	}
	return p
}

// need is the power that holds the setpoint in still air.
func (p *pit) need(out float64) float64 {
	walls := p.between * p.outside / (p.between + p.outside)
	return (walls + p.flow*airHeat) * (p.setpoint - out)
}

// lidDraught is what an open lid adds to the losses, W/K.
const lidDraught = 90

// step advances the pit by dt seconds; meat is the heat it gives to the pieces, W.
func (p *pit) step(dt, out, meat float64) {
	p.wander(dt)
	want := p.regulate(dt) * p.full
	if p.kind == Offset {
		want = p.burnLogs(dt, out)
	}
	p.fuel += (p.left - p.fuel) * dt / p.over
	want = min(want, p.full) * p.fuel * (1 + p.mood)
	p.power += (want - p.power) * min(dt/p.response, 1)
	draught := p.flow * airHeat * (1 + p.gust)
	if p.lid > 0 {
		p.lid -= dt
		draught += lidDraught
	}
	p.ta += dt / p.air * (p.power - p.between*(p.ta-p.tw) - draught*(p.ta-out) - meat)
	p.tw += dt / p.wall * (p.between*(p.ta-p.tw) - p.outside*(1+p.gust)*(p.tw-out))
}

// seen is what a pit probe shows: air, and walls by radiation.
func (p *pit) seen() float64 { return 0.75*p.ta + 0.25*p.tw }

// wander moves the slow random deviations (Ornstein–Uhlenbeck).
func (p *pit) wander(dt float64) {
	move := func(x *float64, sd, tau float64) {
		keep := math.Exp(-dt / tau)
		*x = *x*keep + sd*math.Sqrt(1-keep*keep)*p.rng.NormFloat64()
	}
	move(&p.mood, p.restless, p.restlessTime)
	move(&p.gust, 0.10, 1200)
}

// regulate gives the share of full power that the pit's regulator asks for.
func (p *pit) regulate(dt float64) float64 {
	below := p.setpoint - p.seen()
	switch p.kind {
	case Electric:
		if below > 2 {
			p.on = true
		} else if below < -1.5 {
			p.on = false
		}
		if p.on {
			return 1
		}
		return 0
	case Pellet:
		if p.cycle -= dt; p.cycle > 0 {
			return p.ask
		}
		p.cycle += 100
		p.wound = min(max(p.wound+p.integral*below*100, 0.02), 0.8)
		p.ask = min(max(p.wound+p.gain*below, 0.06), 1)
	case Kamado:
		if math.Abs(below) < 15 { // further off, the draught is set wide or shut, not adjusted
			p.wound = min(max(p.wound+p.integral*below*dt, 0.02), 0.75)
		}
		p.ask = min(max(p.wound+p.gain*below, 0.02), 1)
	}
	return p.ask
}

// burnLogs feeds and burns an offset: a log every three quarters of an hour or when the pit falls, the damper by hand.
func (p *pit) burnLogs(dt, out float64) float64 {
	total := 0.0
	for i := range p.log {
		l := &p.log[i]
		l.age += dt
		if l.time > 0 {
			total += l.energy / (l.time * l.time) * l.age * math.Exp(-l.age/l.time)
		}
	}
	p.nextLog -= dt
	if p.left >= 1 && (p.nextLog <= 0 || (p.setpoint-p.seen() > 8 && p.nextLog < 1500)) {
		p.feedLog(out)
	}
	damper := min(max(1+0.02*(p.setpoint-p.seen()), 0.55), 1.35)
	return total * damper
}

func (p *pit) feedLog(out float64) {
	every := 2400 * (0.8 + 0.4*p.rng.Float64())
	oldest := 0
	for i := range p.log {
		if p.log[i].age > p.log[oldest].age {
			oldest = i
		}
	}
	p.log[oldest] = log{energy: p.need(out) * every * (0.9 + 0.25*p.rng.Float64()), time: 700 + 300*p.rng.Float64()}
	p.nextLog = every
}

// fade lets the fire sink; feed brings it back over some minutes.
func (p *pit) fade(f FireFault) { p.left, p.over = f.Left, max(f.Over.Seconds(), 60) }

func (p *pit) feed() { p.left, p.over = 1, 540 }

// pitAir is the mass of air in a pit, kg, by which its humidity lags (a choice of this project).
const pitAir = 0.25

// breathe moves the humidity by dt seconds: outdoor air is drawn through, the fire makes vapour, the meat gives it off (kg/s).
func (p *pit) breathe(dt, outdoor, steamed float64) {
	flow := p.flow
	if p.lid > 0 {
		flow += lidDraught / airHeat
	}
	settled := outdoor + (p.power*p.moisture+steamed)/flow
	p.humid += (settled - p.humid) * (1 - math.Exp(-dt*flow/pitAir))
}

// vapour is the vapour pressure in the pit.
func (p *pit) vapour(pressure float64) float64 { return pressure * p.humid / (massRatio + p.humid) }

// radiation is the linearised coefficient at the meat, W/(m²K); emissivity 0.95 (from memory).
func (p *pit) radiation(surface float64) float64 {
	mean := (p.tw+surface)/2 + 273.15
	return p.view * 4 * 0.95 * 5.67e-8 * mean * mean * mean
}
