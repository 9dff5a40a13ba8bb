package estimator

import (
	"cmp"
	"math"
	"slices"
)

// hypothesis is one account of what surrounded the piece: the log's own, or a wrap that nobody wrote down.
type hypothesis struct {
	coats []coat
	prior float64 // probability before the curve is looked at
}

// The prior of a wrap nobody wrote down (common practice, no source): likely where a planned one is overdue.
const (
	forgotten        = 0.10
	forgottenPlanned = 0.60
	wrapFrom         = 52.0 // °C; nobody wraps a colder core
	hopeStep         = 1.5  // K/h: a wrap shows as a gain of pace of at least this
	maxGuesses       = 2
)

// hypotheses gives the log's account first, then the wraps that a sudden gain of pace suggests.
func (h *history) hypotheses(a *ahead) []hypothesis {
	logged := hypothesis{coats: h.coats, prior: 1}
	if slices.ContainsFunc(h.coats, func(c coat) bool { return c != bare }) || len(h.obs) < 6 {
		return []hypothesis{logged}
	}
	guesses := h.gains()
	if len(guesses) == 0 {
		return []hypothesis{logged}
	}
	total := forgotten
	materials := []coat{inFoil, inPaper}
	if a.wrapWith != bare {
		materials = []coat{a.wrapWith}
		if a.wrapAtC > 0 && a.highest > a.wrapAtC-1 {
			total = forgottenPlanned
		}
	}
	out := []hypothesis{logged}
	out[0].prior = 1 - total
	for _, step := range guesses {
		for _, c := range materials {
			coats := slices.Clone(h.coats)
			for i := step; i < len(coats); i++ {
				coats[i] = c
			}
			out = append(out, hypothesis{coats, total / float64(len(guesses)*len(materials))})
		}
	}
	return out
}

// gains finds the steps at which the core gains pace most, as a wrap would make it.
func (h *history) gains() []int {
	type gain struct {
		step int
		by   float64
	}
	var found []gain
	for i := 2; i+2 < len(h.obs); i++ {
		if h.obs[i].c < wrapFrom {
			continue
		}
		before := h.paceBetween(i, -70*60)
		after := h.paceBetween(i, 60*60)
		if by := after - before; by > hopeStep && after > 1.3*before {
			found = append(found, gain{h.obs[i].step, by})
		}
	}
	slices.SortStableFunc(found, func(x, y gain) int { return cmp.Compare(y.by, x.by) })
	apart := int(math.Ceil(3000 / h.dt))
	var steps []int
	for _, g := range found {
		if len(steps) < maxGuesses && !slices.ContainsFunc(steps, func(s int) bool { return max(s-g.step, g.step-s) < apart }) {
			steps = append(steps, g.step)
		}
	}
	return steps
}

// paceBetween is the slope in K/h from observation i to the one nearest a number of seconds away.
func (h *history) paceBetween(i int, seconds float64) float64 {
	j := i
	for {
		next := j + 1
		if seconds < 0 {
			next = j - 1
		}
		if next < 0 || next >= len(h.obs) || math.Abs(float64(h.obs[next].step-h.obs[i].step))*h.dt > math.Abs(seconds) {
			break
		}
		j = next
	}
	if j == i {
		return math.NaN()
	}
	return (h.obs[j].c - h.obs[i].c) / (float64(h.obs[j].step-h.obs[i].step) * h.dt / hour)
}
