package simulate

import (
	"math/rand/v2"
	"time"
)

// Cooler gives what a probe in a refrigerator that nobody opens shows, from a time until another, both included.
func Cooler(p Probe, from, until time.Time, every time.Duration, seed uint64) []Reading {
	box := cooler{t: 3.4}
	s := newSensor(p, box.t, rand.New(rand.NewPCG(seed, 3)))
	var out []Reading
	for at := from; !at.After(until); at = at.Add(every) {
		if v, ok := s.read(every); ok {
			out = append(out, Reading{Probe: p.Name, Time: at, Celsius: v})
		}
		for left := every; left > 0; left -= coolerStep {
			box.step(min(left, coolerStep).Seconds())
			s.follow(box.t, min(left, coolerStep).Seconds())
		}
	}
	return out
}

// coolerStep is short against the compressor's turns, which take tens of minutes.
const coolerStep = 30 * time.Second
