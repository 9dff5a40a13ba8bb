package estimator

import (
	"math"
	"math/rand/v2"
	"slices"
)

// problem is one history with the prior of its piece: what the free parameters have to explain.
type problem struct {
	h     *history
	noise *Noise
	mean  vector
	root  square // lower Cholesky factor of the prior covariance
	rho   []float64
	scale []float64 // 1/sd of each whitened residual
}

func newProblem(h *history, p *Prior, mean vector, cov square) *problem {
	pr := &problem{h: h, noise: &p.Noise, mean: mean, root: cov}
	if !pr.root.cholesky() {
		panic("estimator: the prior covariance is not positive definite")
	}
	n := pr.noise
	misfit := n.Misfit * h.blindness()
	total := misfit*misfit + n.Reading*n.Reading
	for i, o := range h.obs {
		rho := 0.0
		if i > 0 && h.shift[i] == h.shift[i-1] {
			gap := float64(o.step-h.obs[i-1].step) * h.dt / hour
			rho = misfit * misfit / total * math.Exp(-gap/n.MisfitH)
		}
		pr.rho = append(pr.rho, rho)
		pr.scale = append(pr.scale, 1/math.Sqrt(total*(1-rho*rho)+h.shift[i]*h.shift[i]))
	}
	return pr
}

// place turns whitened coordinates into the coordinates of the parameters.
func (pr *problem) place(u *vector) vector {
	z := pr.root.times(u)
	for i := range dims {
		z[i] += pr.mean[i]
	}
	return z
}

// run drives a column through the history and gives the raw residuals, measured minus computed.
func (pr *problem) run(u *vector, residuals []float64) (column, physics, grid) {
	z := pr.place(u)
	p := z.physics(pr.h.start, pr.h.boil)
	g := p.grid()
	c := p.fresh()
	k := 0
	for i, pit := range pr.h.pit {
		c.step(&p, &g, pit, pr.h.dt, pr.h.coats[i])
		if k < len(pr.h.obs) && pr.h.obs[k].step == i+1 {
			residuals[k] = pr.h.obs[k].c - c.probe(&g)
			k++
		}
	}
	return c, p, g
}

// whiten turns raw residuals into independent ones of unit size, large ones softened.
func (pr *problem) whiten(raw, out []float64) {
	last := 0.0
	for i, e := range raw {
		w := (e - pr.rho[i]*last) * pr.scale[i]
		out[i] = soften(w)
		last = e
	}
}

// soften leaves small residuals as they are and lets large ones grow like a root only (Huber).
func soften(w float64) float64 {
	const knee = 2.5
	a := math.Abs(w)
	if a <= knee {
		return w
	}
	return math.Copysign(math.Sqrt(2*knee*a-knee*knee), w)
}

// posterior is the neighbourhood of the best fit, in whitened coordinates.
type posterior struct {
	best   vector
	factor square  // lower factor of the information matrix JᵀJ + 1
	energy float64 // half the squared whitened residuals and prior distance at the best fit
}

// logEvidence is how well a whole prior explains the history, after Laplace.
func (p *posterior) logEvidence() float64 {
	e := -p.energy
	for i := range dims {
		e -= math.Log(p.factor[i][i])
	}
	return e
}

func energyOf(white []float64, u *vector) (e float64) {
	for _, w := range white {
		e += w * w
	}
	return (e + u.dot(u)) / 2
}

// fit climbs from a start by damped Gauss-Newton steps.
func (pr *problem) fit(from vector, rounds int) posterior {
	n := len(pr.h.obs)
	raw, white, tried := make([]float64, n), make([]float64, n), make([]float64, n)
	jacobian := make([]float64, n*dims)
	u := from
	pr.run(&u, raw)
	pr.whiten(raw, white)
	energy := energyOf(white, &u)
	damping := 0.3
	var info square
	for round := 0; ; round++ {
		pr.differentiate(&u, white, raw, tried, jacobian)
		var normal square
		gradient := u
		for i := range dims {
			normal[i][i] = 1
		}
		for k := range n {
			row := jacobian[k*dims : (k+1)*dims]
			for i, a := range row {
				gradient[i] += a * white[k]
				for j := range i + 1 {
					normal[i][j] += a * row[j]
				}
			}
		}
		info = normal
		if round == rounds {
			break
		}
		improved := false
		for range 4 {
			damped := normal
			for i := range dims {
				damped[i][i] *= 1 + damping
			}
			damped.cholesky()
			delta := damped.solve(gradient)
			next := u
			for i := range dims {
				next[i] = clampTo(u[i]-clampTo(delta[i], -1.5, 1.5), -5, 5)
			}
			pr.run(&next, raw)
			pr.whiten(raw, tried)
			if e := energyOf(tried, &next); e < energy {
				gain := energy - e
				u, energy, improved = next, e, gain > 0.02
				copy(white, tried)
				damping = math.Max(damping/4, 1e-3)
				break
			}
			damping *= 5
		}
		if !improved {
			break
		}
	}
	info.cholesky()
	return posterior{best: u, factor: info, energy: energy}
}

// differentiate fills the derivatives of the whitened residuals by forward differences.
func (pr *problem) differentiate(u *vector, white, raw, moved, jacobian []float64) {
	const eps = 0.02
	for i := range dims {
		v := *u
		v[i] += eps
		pr.run(&v, raw)
		pr.whiten(raw, moved)
		for k := range white {
			jacobian[k*dims+i] = (moved[k] - white[k]) / eps
		}
	}
}

// member is one draw of the posterior, carried to the present.
type member struct {
	c    column
	p    physics
	g    grid
	bias float64 // measured minus computed now, K
	coat coat    // what surrounds it now
}

// sample draws members around the best fit and weighs them by how well they explain the history.
func (pr *problem) sample(post *posterior, count int, rng *rand.Rand) []member {
	n := len(pr.h.obs)
	raw, white := make([]float64, n), make([]float64, n)
	all := make([]member, count)
	logw := make([]float64, count)
	widen := math.Sqrt(pr.noise.Overdisp)
	for k := range all {
		var xi vector
		for i := range dims {
			xi[i] = rng.NormFloat64()
		}
		du := post.factor.solveTransposed(xi)
		u := post.best
		for i := range dims {
			u[i] += widen * du[i]
		}
		m := &all[k]
		m.c, m.p, m.g = pr.run(&u, raw)
		pr.whiten(raw, white)
		m.bias = pr.lastBias(raw)
		m.coat = pr.h.coats[len(pr.h.coats)-1]
		logw[k] = -(energyOf(white, &u)-post.energy)/pr.noise.Overdisp + xi.dot(&xi)/2
	}
	return resample(all, logw, count)
}

// lastBias is the misfit now, smoothed over the last three observations.
func (pr *problem) lastBias(raw []float64) float64 {
	if len(raw) == 0 {
		return 0
	}
	sum, weight := 0.0, 0.0
	for i := len(raw) - 1; i >= max(0, len(raw)-3); i-- {
		gap := float64(len(pr.h.pit)-pr.h.obs[i].step) * pr.h.dt / hour
		w := math.Exp(-gap / 0.15)
		sum += w * raw[i]
		weight += w
	}
	return sum / (weight + 1e-9)
}

// resample keeps members in proportion to their weight, tempered so that at least a third of them count.
func resample(all []member, logw []float64, count int) []member {
	top := slices.Max(logw)
	w := make([]float64, len(logw))
	temper := 1.0
	for range 12 {
		sum, squares := 0.0, 0.0
		for i, l := range logw {
			w[i] = math.Exp(temper * (l - top))
			sum += w[i]
			squares += w[i] * w[i]
		}
		if sum*sum/squares >= float64(len(w))/3 {
			break
		}
		temper *= 0.7
	}
	sum := 0.0
	for _, x := range w {
		sum += x
	}
	out := make([]member, 0, count)
	edge, i := w[0], 0
	for k := range count {
		goal := (float64(k) + 0.5) / float64(count) * sum
		for edge < goal && i < len(w)-1 {
			i++
			edge += w[i]
		}
		out = append(out, all[i])
	}
	return out
}
