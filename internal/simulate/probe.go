package simulate

import (
	"math"
	"math/rand/v2"
	"time"

	"stallkeeper/estimator/thermal"
)

// sensor is a probe during a run.
type sensor struct {
	Probe
	rng    *rand.Rand
	value  float64       // what the sensing element has reached
	silent time.Duration // still to be silent
	ready  int           // consecutive readings at or above the piece's target
}

func newSensor(p Probe, truth float64, rng *rand.Rand) *sensor {
	return &sensor{Probe: p, rng: rng, value: truth}
}

// follow lets the sensing element approach the truth over dt seconds.
func (s *sensor) follow(truth, dt float64) {
	if s.Lag <= 0 {
		s.value = truth
		return
	}
	s.value += (truth - s.value) * (1 - math.Exp(-dt/s.Lag.Seconds()))
}

// clean is what the probe would show without noise and faults.
func (s *sensor) clean() thermal.Celsius { return thermal.Celsius(s.value) + thermal.Celsius(s.Offset) }

// read gives the reading at the end of an interval, or none during a silence.
func (s *sensor) read(interval time.Duration) (thermal.Celsius, bool) {
	// Every draw is made every time, so that a fault more does not change all that follows.
	noise, drop, long, odd, which := s.rng.NormFloat64(), s.rng.Float64(), s.rng.ExpFloat64(), s.rng.Float64(), s.rng.IntN(4)
	if s.silent > 0 {
		s.silent -= interval
		return 0, false
	}
	if drop < s.Dropouts*interval.Hours() {
		s.silent = time.Duration((2 + 10*long) * float64(time.Minute))
		return 0, false
	}
	if odd < s.Spikes*interval.Hours() {
		return [4]thermal.Celsius{-127, 85, 300, s.clean() + 35}[which], true
	}
	v := float64(s.clean()) + float64(s.Noise)*noise
	if step := float64(s.Step); step > 0 {
		v = math.Round(v/step) * step
	}
	return thermal.Celsius(math.Round(v*1000) / 1000), true
}

// cooler is a refrigerator: its compressor runs between two temperatures. Rates are a choice of this project.
type cooler struct {
	t       float64
	running bool
}

func (c *cooler) step(dt float64) {
	if c.t > 4.2 {
		c.running = true
	} else if c.t < 2.2 {
		c.running = false
	}
	if c.running {
		c.t -= dt * 0.11 / 60
	} else {
		c.t += dt * 0.045 / 60
	}
}

// outdoors gives the air temperature at a time of day in the scenario's own time zone.
func (w Weather) outdoors(at time.Time) float64 {
	hour := float64(at.Hour()) + float64(at.Minute())/60 + float64(at.Second())/3600
	return float64(w.Mean) + float64(w.Swing)*math.Cos((hour-15)/12*math.Pi)
}
