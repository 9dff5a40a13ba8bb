package estimator

import "math"

// featureNames name the columns the correction looks at.
var featureNames = []string{
	"ln median", "ln width", "ln upper/lower", "p never", "ln elapsed", "core", "target", "to go", "slope 30 min",
	"slope 90 min", "steepest", "pit", "setpoint", "pit over target", "pit spread", "quick swing", "slow swing",
	"ln mass", "ln thickness", "coat", "hours in it", "plan", "half", "shape", "h", "wet", "budget", "tail", "total",
	"pit offset", "misfit", "dried", "share done", "start", "curvature",
}

// features describes a forecast and what it rests on. mid are the physical quantiles in minutes.
func features(in *Input, h *history, a *ahead, members []member, q *[7]float64, never float64, t *traits, pit []point) []float64 {
	n := len(h.pit)
	core := h.recent(0.25)
	elapsed := float64(n) * h.dt / hour
	var half, shape, hh, wet, budget, tail, total, offset, bias, dried float64
	for i := range members {
		m := &members[i]
		half += math.Log(m.p.half)
		shape += m.p.shape
		hh += math.Log(m.p.h)
		wet += math.Log(m.p.wet)
		budget += math.Log(m.p.budget)
		tail += math.Log(m.p.tail)
		total += math.Log(m.p.total)
		offset += m.p.pitOffset
		bias += m.bias
		dried += m.c.lost / m.p.total
	}
	k := 1 / float64(len(members))
	inCoat := 0
	for i := n - 1; i >= 0 && h.coats[i] == a.coat; i-- {
		inCoat++
	}
	plan := 0.0
	if a.wrapWith != bare {
		plan = float64(a.wrapWith)
	}
	minutes := pitMinutes(pit)
	s30, s90 := h.slope(0.5), h.slope(1.5)
	return []float64{
		math.Log(q[3] + 3), math.Log((q[5] + 3) / (q[1] + 3)), math.Log((q[5]+3)/(q[3]+3)) - math.Log((q[3]+3)/(q[1]+3)), never,
		math.Log(elapsed + 0.1), core, float64(in.Target), float64(in.Target) - core, s30, s90, h.steepest(), a.now, a.setPoint,
		a.base(a.start) - float64(in.Target), a.spread, typicalMove(minutes, 5), typicalMove(minutes, 20),
		t.mass, t.thick, float64(a.coat), float64(inCoat) * h.dt / hour, plan, half * k, shape * k, hh * k, wet * k, budget * k,
		tail * k, total * k, offset * k, bias * k, dried * k, elapsed / (elapsed + q[3]/60), h.start, s30 - s90,
	}
}

// recent is the core temperature over the last hours, the latest observation if there is none.
func (h *history) recent(hours float64) float64 {
	sum, n := 0.0, 0.0
	for i := len(h.obs) - 1; i >= 0; i-- {
		if n > 0 && float64(len(h.pit)-h.obs[i].step)*h.dt > hours*hour {
			break
		}
		sum += h.obs[i].c
		n++
	}
	return sum / n
}

// slope is the least-squares slope of the core over the last hours, K/h; NaN with fewer than three observations.
func (h *history) slope(hours float64) float64 {
	var n, sx, sy, sxx, sxy float64
	end := float64(len(h.pit))
	for i := len(h.obs) - 1; i >= 0; i-- {
		x := (float64(h.obs[i].step) - end) * h.dt / hour
		if x < -hours {
			break
		}
		n++
		sx += x
		sy += h.obs[i].c
		sxx += x * x
		sxy += x * h.obs[i].c
	}
	if n < 3 {
		return math.NaN()
	}
	return (n*sxy - sx*sy) / (n*sxx - sx*sx)
}

// steepest is the fastest rise between observations about half an hour apart, K/h.
func (h *history) steepest() float64 {
	best, j := 0.0, 0
	for i := range h.obs {
		for float64(h.obs[i].step-h.obs[j].step)*h.dt > 0.6*hour {
			j++
		}
		if gap := float64(h.obs[i].step-h.obs[j].step) * h.dt / hour; gap > 0.3 {
			best = math.Max(best, (h.obs[i].c-h.obs[j].c)/gap)
		}
	}
	return best
}
