package estimator

import (
	"math"
	"slices"

	"stallkeeper/estimator/thermal"
)

// The rules for a probe that left its place (common practice, no source): a core cannot change faster than leap within
// a quarter of an hour, so what follows a leap is air, or another place in the piece.
const (
	leap        = 15.0           // K within leapSpan: the probe is out of the meat
	leapSpan    = 15 * 60 * 1000 // ms
	settleIn    = 10 * 60 * 1000 // ms after the first reading in which a probe may still be put in
	acceptNew   = 45 * 60 * 1000 // ms after which readings elsewhere are taken as the new truth
	returnRoom  = 12.0           // K from where it was, plus the fastest rise, at which a probe is back in
	fastest     = 45.0 / 3.6e6   // K/ms that a core may rise
	hottestMeat = 106.0          // °C, a little above where water boils at sea level
	shift       = 5.0            // K between observations beyond the fastest change: pushed to another depth
)

// inMeat leaves out spells in which the probe was pulled out: from a leap until it is back near where it was, or until
// three quarters of an hour have passed.
// Readings that no meat with water in it gives, hotter than hottestMeat or the target, are of air and left out at once.
func inMeat(core []point, target thermal.Celsius) []point {
	out := make([]point, 0, len(core))
	var since int64 // of the spell outside; 0 = in the meat
	for _, p := range core {
		if p.c > math.Max(hottestMeat, float64(target)+5) {
			continue
		}
		if len(out) == 0 || p.ms-core[0].ms < settleIn {
			out = append(out, p)
			continue
		}
		last := out[len(out)-1]
		gap := p.ms - last.ms
		off := math.Abs(p.c - last.c)
		switch {
		case since == 0 && (gap > leapSpan || off < leap):
			out = append(out, p)
		case since == 0:
			since = p.ms
		case off < returnRoom+fastest*float64(gap), p.ms-since > acceptNew:
			out = append(out, p)
			since = 0
		}
	}
	return out
}

// shifts gives, for each observation, how far the probe has moved since, K: an observation from before a shift says
// that much less about the present place.
func (h *history) shifts(moved []int64) []float64 {
	out := make([]float64, len(h.obs))
	sum := 0.0
	for i := len(h.obs) - 1; i > 0; i-- {
		out[i] = math.Sqrt(sum)
		gap := float64(h.obs[i].step-h.obs[i-1].step) * h.dt * 1000
		step := math.Abs(h.obs[i].c - h.obs[i-1].c)
		told := slices.ContainsFunc(moved, func(ms int64) bool { return ms > h.ms(h.obs[i-1].step) && ms <= h.ms(h.obs[i].step) })
		if told || step > shift+fastest*gap {
			sum += step * step
		}
	}
	if len(out) > 0 {
		out[0] = math.Sqrt(sum)
	}
	return out
}
