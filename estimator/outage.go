package estimator

import (
	"math"
	"math/rand/v2"
	"slices"
)

// The rules for a fire that is out or dying. Choices of this project, no source: in the 230 simulated cooks every fire that fades is
// fed within an hour and a half, so that they say nothing about one that nobody sees.
const (
	outBelow   = 25.0      // K under the setpoint and what the pit has kept to it: no lid and no refuelling does that for long
	outFor     = 20 * 60.0 // s for which it must have stood there
	outWas     = 12.0      // K from where it should be, at which the fire still burnt
	relitSoon  = 1800.0    // s, what a shorter outage counts as
	outsideC   = 15.0      // °C, what a cold pit tends to
	pitCools   = 1.5       // hours, how fast
	relitRises = 6.0       // K in a quarter of an hour: it burns again
)

// outage is for how many seconds the pit has been far below where it should be, having been there; 0 when it has not been
// for long, is on its way up, nobody measures it or it has no setpoint. A pit that is still being heated up has no outage.
func (h *history) outage(in *Input, past []Event) float64 {
	n := len(h.pit)
	short := func(i int) float64 {
		return setPointAt(in, past, h.t0+int64((float64(i)+0.5)*h.dt*1000)) - h.pit[i]
	}
	if h.gaps > 0.5 || math.IsNaN(short(n-1)) || short(n-1) < outBelow {
		return 0
	}
	quarter := int(math.Ceil(900 / h.dt))
	if n > quarter && h.pit[n-1] > slices.Min(h.pit[n-1-quarter:])+relitRises {
		return 0
	}
	seconds := 0.0
	for i := n - 1; i >= 0; i-- {
		if short(i) < outWas {
			if seconds < outFor {
				return 0
			}
			return seconds
		}
		seconds += h.dt
	}
	return 0
}

// drawRelit draws how many seconds pass until the fire burns again. A fire that went out within the hour is mostly being seen
// to; the longer it has been out unseen, the longer that may go on, and after three hours half of the times as long again.
func (a *ahead) drawRelit(rng *rand.Rand) float64 {
	if a.outage == 0 {
		return 0
	}
	attended := clampTo(4-a.outage/hour, 1, 3)
	return math.Max(a.outage, relitSoon) * (math.Pow(math.Max(rng.Float64(), 1e-3), -1/attended) - 1)
}

// coldPit is the pit a number of seconds from now if nobody sees to the fire.
func (a *ahead) coldPit(seconds float64) float64 {
	floor := math.Min(outsideC, a.now)
	return floor + (a.now-floor)*math.Exp(-seconds/hour/pitCools)
}
