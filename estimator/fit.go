package estimator

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// problem is one history with the prior of its piece: what the free parameters have to explain.
type problem struct {
	*normal
	h     *history
	noise *Noise
	rho   []float64
	scale []float64 // 1/sd of each whitened residual
}

func newProblem(h *history, p *Prior, prior *normal) *problem {
	pr := &problem{normal: prior, h: h, noise: &p.Noise}
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
	told   *mat.SymDense // information in the log, JᵀJ
	factor mat.Cholesky  // of told + 1, the information of log and prior together
	energy float64       // half the squared whitened residuals and prior distance at the best fit
}

func newPosterior(best vector, told *mat.SymDense, energy float64) posterior {
	p := posterior{best: best, told: told, energy: energy}
	if !p.factor.Factorize(damped(told, 0)) { // only where the log's slopes are no numbers: then it says nothing
		told.Zero()
		p.factor.Factorize(damped(told, 0))
	}
	return p
}

// logEvidence is how well a whole prior explains the history, after Laplace.
func (p *posterior) logEvidence() float64 { return -p.energy - p.factor.LogDet()/2 }

// draw is a point of the neighbourhood with its spread scaled by widen, and the standard normal point behind it.
func (p *posterior) draw(widen float64, rng *rand.Rand) (u, xi vector) {
	xi = standardNormal(rng)
	if err := u.dense().SolveVec(p.factor.RawU(), xi.dense()); err != nil { // so sharp that it is one point
		return p.best, xi
	}
	floats.AddScaledTo(u[:], p.best[:], widen, u[:])
	return u, xi
}

func energyOf(white []float64, u *vector) float64 {
	return (floats.Dot(white, white) + floats.Dot(u[:], u[:])) / 2
}

// climb is a fit under way.
type climb struct {
	*problem
	u                 vector
	energy, damping   float64
	raw, white, tried []float64
	jacobian          []float64 // of white by u, a row for each observation
}

// fit climbs from a start by damped Gauss-Newton steps.
func (pr *problem) fit(from vector, rounds int) posterior {
	n := len(pr.h.obs)
	c := &climb{problem: pr, u: from, damping: 0.3, jacobian: make([]float64, n*dims),
		raw: make([]float64, n), white: make([]float64, n), tried: make([]float64, n)}
	pr.run(&c.u, c.raw)
	pr.whiten(c.raw, c.white)
	c.energy = energyOf(c.white, &c.u)
	for round := 0; ; round++ {
		told, gradient := c.slope()
		if round == rounds || !c.step(told, gradient) {
			return newPosterior(c.u, told, c.energy)
		}
	}
}

// slope gives JᵀJ and the gradient of the energy where the climb stands.
func (c *climb) slope() (told *mat.SymDense, gradient vector) {
	c.differentiate()
	told, gradient = mat.NewSymDense(dims, nil), c.u
	if len(c.white) == 0 {
		return told, gradient
	}
	turned := mat.NewDense(len(c.white), dims, c.jacobian).T()
	told.SymOuterK(1, turned)
	var pull vector
	pull.dense().MulVec(turned, mat.NewVecDense(len(c.white), c.white))
	floats.Add(gradient[:], pull[:])
	return told, gradient
}

// damped is told + 1 with its diagonal made larger.
func damped(told *mat.SymDense, by float64) *mat.SymDense {
	a := mat.NewSymDense(dims, nil)
	a.CopySym(told)
	for i := range dims {
		a.SetSym(i, i, (1+told.At(i, i))*(1+by))
	}
	return a
}

// step takes the largest step down that a few tries find; more is whether another one is worth its while.
func (c *climb) step(told *mat.SymDense, gradient vector) (more bool) {
	for range 4 {
		var factor mat.Cholesky
		var delta vector
		if !factor.Factorize(damped(told, c.damping)) || factor.SolveVecTo(delta.dense(), gradient.dense()) != nil {
			c.damping *= 5
			continue
		}
		next := c.u
		for i := range dims {
			next[i] = clampTo(c.u[i]-clampTo(delta[i], -1.5, 1.5), -5, 5)
		}
		c.run(&next, c.raw)
		c.whiten(c.raw, c.tried)
		if e := energyOf(c.tried, &next); e < c.energy {
			gain := c.energy - e
			c.u, c.energy = next, e
			copy(c.white, c.tried)
			c.damping = math.Max(c.damping/4, 1e-3)
			return gain > 0.02
		}
		c.damping *= 5
	}
	return false
}

// differentiate fills the derivatives of the whitened residuals by forward differences.
func (c *climb) differentiate() {
	const eps = 0.02
	for i := range dims {
		v := c.u
		v[i] += eps
		c.run(&v, c.raw)
		c.whiten(c.raw, c.tried)
		for k := range c.white {
			c.jacobian[k*dims+i] = (c.tried[k] - c.white[k]) / eps
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
		u, xi := post.draw(widen, rng)
		m := &all[k]
		m.c, m.p, m.g = pr.run(&u, raw)
		pr.whiten(raw, white)
		m.bias = pr.lastBias(raw)
		m.coat = pr.h.coats[len(pr.h.coats)-1]
		logw[k] = -(energyOf(white, &u)-post.energy)/pr.noise.Overdisp + floats.Dot(xi[:], xi[:])/2
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
