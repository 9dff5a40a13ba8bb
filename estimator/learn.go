package estimator

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"

	"stallkeeper/estimator/thermal"
)

// Finished is a cook that ran to its target, with its whole log.
type Finished struct {
	Input Input
	Ready time.Time // zero = found from the log
}

// learnRounds is how often the prior and the fits of the cooks are improved against each other.
const learnRounds = 6

// finishedRounds is the most steps that the fit of a finished cook takes.
const finishedRounds = 25

// Learn gives a prior from many finished cooks of many pits, starting from another: each cook is fitted with the prior so far,
// then the means move to what the cooks show (a ridge regression on mass and thickness by cut, held to the old prior
// as if it were worth a few cooks) and the covariance to their spread plus what each log leaves open. An error says that from
// does not pass Check, or what was learned does not: then keep from.
func Learn(from Prior, cooks []Finished) (Prior, error) {
	if err := from.Check(); err != nil {
		return Prior{}, fmt.Errorf("learn from a prior: %w", err)
	}
	p := learn(from, cooks)
	if err := p.Check(); err != nil {
		return Prior{}, fmt.Errorf("what these cooks teach cannot be used: %w (leave out cooks with odd readings)", err)
	}
	return p, nil
}

func learn(from Prior, cooks []Finished) Prior {
	p := from.clone()
	for range learnRounds {
		var seen []evidence
		for i := range cooks {
			if f, ok := fitFinished(&p, &cooks[i]); ok {
				seen = append(seen, f)
			}
		}
		if len(seen) == 0 {
			return p
		}
		p = maximise(&from, seen)
	}
	return p
}

func (p *Prior) clone() Prior {
	q := *p
	q.Ways = nil
	for _, w := range p.Ways {
		v := Way{Weight: w.Weight, Mean: map[string][]Row{}}
		for k, rows := range w.Mean {
			v.Mean[k] = slices.Clone(rows)
		}
		for _, row := range w.Cov {
			v.Cov = append(v.Cov, slices.Clone(row))
		}
		if w.Fires != nil {
			v.Fires = map[string][]float64{}
		}
		for k, shift := range w.Fires {
			v.Fires[k] = slices.Clone(shift)
		}
		q.Ways = append(q.Ways, v)
	}
	return q
}

// evidence is one finished cook as the model sees it, in each way of drying.
type evidence []fitted

// fitted is one finished cook as the model sees it.
type fitted struct {
	traits
	known  bool          // thickness measured
	at     vector        // coordinates of the best fit
	spread *mat.SymDense // their covariance
	rms    float64       // of the raw misfit, K
	share  float64       // probability that the piece dried this way
}

// history is the whole log of a finished cook, with what is known of the piece.
func (c *Finished) history(p *Prior) (h *history, tr traits, pitMeasured, ok bool) {
	in := &c.Input
	end := c.Ready
	if end.IsZero() {
		for _, s := range in.Core {
			if s.Time.After(end) {
				end = s.Time
			}
		}
	}
	coreTrace, pitTrace := newTrace(in.Core, end), newTrace(in.Pit, end)
	core, pit := inMeat(clean(coreTrace.points, coreRoom), in.Target), clean(pitTrace.points, pitRoom)
	if len(core) < 8 {
		return nil, traits{}, false, false
	}
	tr = p.traits(in, pit)
	h = newHistory(in, core, pit, p.putOn(in, &tr, core, pit), end, float64(thermal.BoilingPoint(in.AltitudeM)))
	return h, tr, len(pit) > 0, true
}

func fitFinished(p *Prior, c *Finished) (evidence, bool) {
	h, tr, pitMeasured, ok := c.history(p)
	if !ok {
		return nil, false
	}
	var ev evidence
	var logs []float64
	for way := range p.Ways {
		mean, cov := p.Ways[way].at(&tr, pitMeasured)
		pr := newProblem(h, p, newNormal(mean, h.loosen(cov)))
		post := pr.fit(vector{}, finishedRounds)
		f := fitted{traits: tr, known: c.Input.ThicknessMM > 0, at: pr.place(&post.best)}
		f.spread = pr.covariance(&post)
		raw := make([]float64, len(h.obs))
		pr.run(&post.best, raw)
		for _, e := range raw {
			f.rms += e * e / float64(len(raw))
		}
		f.rms = math.Sqrt(f.rms)
		ev = append(ev, f)
		logs = append(logs, math.Log(p.Ways[way].Weight)+post.logEvidence())
	}
	for way, share := range shares(logs) {
		ev[way].share = share
	}
	return ev, true
}

// shares turns logarithms of weights into weights that add up to one.
func shares(logs []float64) []float64 {
	top := slices.Max(logs)
	out := make([]float64, len(logs))
	sum := 0.0
	for i, l := range logs {
		out[i] = math.Exp(l - top)
		sum += out[i]
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}

// covariance is that of the coordinates in a posterior.
func (pr *problem) covariance(post *posterior) *mat.SymDense {
	inv, _ := inverse(damped(post.told, 0))
	return conjugate(&pr.root, inv)
}

// How many cooks the prior before is worth: for the mean of a cut, for the slopes, for the covariance.
const (
	worthMean  = 2.0
	worthSlope = 4.0
	worthFire  = 5.0
	worthCov   = 14.0
)

// maximise moves the prior to what the fits show.
func maximise(from *Prior, seen []evidence) Prior {
	p := from.clone()
	p.Cooks = from.Cooks + len(seen)
	for way := range p.Ways {
		fits := make([]fitted, len(seen))
		total := 0.0
		for i, ev := range seen {
			fits[i] = ev[way]
			total += ev[way].share
		}
		p.Ways[way].maximise(&from.Ways[way], fits, total)
		p.Ways[way].Weight = (total + worthMean*from.Ways[way].Weight) / (float64(len(seen)) + worthMean)
	}
	first := make([]fitted, len(seen))
	for i, ev := range seen {
		first[i] = ev[0]
	}
	p.learnThickness(first)
	p.count(first)
	return p
}

// count adds cooks to those behind the prior.
func (p *Prior) count(fits []fitted) {
	p.Cuts = maps.Clone(p.Cuts)
	if p.Cuts == nil {
		p.Cuts = map[string]int{}
	}
	for _, f := range fits {
		p.Cuts[f.cut]++
	}
}

func (w *Way) maximise(from *Way, fits []fitted, total float64) {
	residuals := make([]vector, len(fits))
	w.Fires = map[string][]float64{}
	for _, kind := range []swing{cycling, switched, drifting, fed} {
		w.Fires[string(kind)] = make([]float64, dims)
	}
	for d := range dims {
		fire := map[swing]float64{}
		for range 3 {
			slopes := ridge(from, fits, d, fire)
			for cut, rows := range w.Mean {
				base, n := 0.0, 0.0
				for _, f := range fits {
					if f.cut == cut {
						base += f.share * (f.at[d] - slopes.at(&f.traits) + slopes.Base - fire[f.fire])
						n += f.share
					}
				}
				old := from.Mean[cut][d].Base + slopes.Base
				rows[d] = slopes
				rows[d].Base = (base + worthMean*old) / (n + worthMean)
			}
			sum, n := map[swing]float64{}, map[swing]float64{}
			for _, f := range fits {
				sum[f.fire] += f.share * (f.at[d] - w.rows(f.cut)[d].at(&f.traits))
				n[f.fire] += f.share
			}
			for kind := range w.Fires {
				fire[swing(kind)] = (sum[swing(kind)] + worthFire*fireBefore(from, kind, d)) / (n[swing(kind)] + worthFire)
			}
		}
		for kind, shift := range w.Fires {
			shift[d] = fire[swing(kind)]
		}
		for i, f := range fits {
			residuals[i][d] = f.at[d] - w.rows(f.cut)[d].at(&f.traits) - fire[f.fire]
		}
	}
	for i := range dims {
		for j := range dims {
			s := worthCov * from.Cov[i][j]
			for k, f := range fits {
				s += f.share * (residuals[k][i]*residuals[k][j] + f.spread.At(i, j))
			}
			w.Cov[i][j] = s / (worthCov + total)
		}
	}
}

func fireBefore(from *Way, kind string, d int) float64 {
	if shift := from.Fires[kind]; shift != nil {
		return shift[d]
	}
	return 0
}

// ridge fits one coordinate's shift of all cuts together and its slopes, within cuts, held to the prior before.
func ridge(before *Way, fits []fitted, d int, fire map[swing]float64) Row {
	type mean struct{ y, m, t, h, n float64 }
	means := map[string]*mean{}
	shifted := func(f *fitted) float64 { return f.at[d] - before.rows(f.cut)[d].Base - fire[f.fire] }
	for i := range fits {
		f := &fits[i]
		c := means[f.cut]
		if c == nil {
			c = &mean{n: 1e-9}
			means[f.cut] = c
		}
		c.y += f.share * shifted(f)
		c.m += f.share * f.mass
		c.t += f.share * f.thick
		c.h += f.share * f.hot
		c.n += f.share
	}
	// Normal equations for slopes on deviations from the cut's mean, held to the old slopes.
	const spread = 0.06 // typical variance of ln kg and ln mm within a cut
	held := [3]float64{worthSlope * spread, worthSlope * spread, worthSlope * 0.4}
	old := before.rows("")[d]
	a, right := mat.NewSymDense(3, nil), mat.NewVecDense(3, nil)
	for i, slope := range [3]float64{old.Mass, old.Thick, old.Hot} {
		a.SetSym(i, i, held[i])
		right.SetVec(i, held[i]*slope)
	}
	for i := range fits {
		f := &fits[i]
		m := means[f.cut]
		x := mat.NewVecDense(3, []float64{f.mass - m.m/m.n, f.thick - m.t/m.n, f.hot - m.h/m.n})
		if !f.known {
			x.SetVec(1, 0)
		}
		a.SymRankOne(a, f.share, x)
		right.AddScaledVec(right, f.share*(shifted(f)-m.y/m.n), x)
	}
	var slopes mat.VecDense
	if err := slopes.SolveVec(a, right); err != nil { // hundreds of cooks of one mould: their slopes stay as they were
		slopes.CloneFromVec(mat.NewVecDense(3, []float64{old.Mass, old.Thick, old.Hot}))
	}
	r := Row{Mass: slopes.AtVec(0), Thick: slopes.AtVec(1), Hot: slopes.AtVec(2)}
	sum, n := 0.0, 0.0
	for _, cut := range sortedKeys(means) {
		m := means[cut]
		weight := m.n / (m.n + worthMean)
		sum += weight * (m.y - r.Mass*m.m - r.Thick*m.t - r.Hot*m.h) / m.n
		n += weight
	}
	r.Base = sum / (n + 1)
	return r
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

// learnThickness learns how thick pieces of a weight are.
func (p *Prior) learnThickness(fits []fitted) {
	out := map[string][3]float64{}
	for _, cut := range sortedKeys(p.Thickness) {
		th := p.Thickness[cut]
		var n, sum, squares float64
		for _, f := range fits {
			if f.cut == cut && f.known {
				e := f.thick + math.Log(70) - th[0] - th[1]*(f.mass+math.Log(3))
				n++
				sum += e
				squares += e * e
			}
		}
		shift := sum / (n + 1)
		variance := (squares - shift*sum + 3*th[2]*th[2]) / (n + 3)
		out[cut] = [3]float64{th[0] + shift, th[1], math.Sqrt(math.Max(variance, 1e-4))}
	}
	p.Thickness = out
}
