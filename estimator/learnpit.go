package estimator

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// ofPit is by how much of its variance each coordinate belongs to the pit and the habits at it, and so stays the same from
// one cook on it to the next; the rest belongs to the piece (a choice of this project, no source).
var ofPit = vector{pHalf: 0.1, pShape: 0.1, pH: 0.5, pWet: 0.3, pBudget: 0.2, pSharp: 0.1, pVapour: 0.6, pDepth: 0.3, pStart: 0.3,
	pPit: 0.8, pFoilH: 0.5, pPaperH: 0.5, pPaperWet: 0.5, pTail: 0.2, pTotal: 0.2}

// pitParts are the guesses at how much of ofPit holds, with their probability before: cooks that share the name of a fire
// mostly shared a pit, but a pit may be like any other, and the name may stand for several. The cooks decide.
var pitParts = [3]struct{ part, likely float64 }{{0.03, 0.1}, {0.35, 0.3}, {1, 0.6}}

const (
	pitRounds = 3   // how often the shift of a pit and the fits of its cooks are improved against each other
	worthPit  = 8.0 // how many cooks the spread between pieces before is worth
)

// LearnPit gives the prior of one pit from the finished cooks on it, starting from a prior for all pits, which is to be the
// same one each time, with all cooks so far. A few are enough: what they have in common – air that heats more or less
// than usual, damper or drier, a probe that reads beside the truth – becomes one shift of the means, as large as the data
// ask for and the spread between pits allows, and what remains unknown about it stays in the covariance. Cooks that
// have nothing in common move little. Cooks with fewer than eight readings teach nothing. An error says that from does not
// pass Check, or what was learned does not: then keep from.
func LearnPit(from Prior, cooks []Finished) (Prior, error) {
	if err := from.Check(); err != nil {
		return Prior{}, fmt.Errorf("learn from a prior: %w", err)
	}
	p := learnPit(from, cooks)
	if err := p.Check(); err != nil {
		return Prior{}, fmt.Errorf("what these cooks teach cannot be used: %w (leave out cooks with odd readings)", err)
	}
	return p, nil
}

func learnPit(from Prior, cooks []Finished) Prior {
	p := from.clone()
	learned := 0
	for way := range p.Ways {
		var guesses []*pitGuess
		for _, g := range pitParts {
			guesses = append(guesses, newPitGuess(&from.Ways[way], g.part, g.likely))
		}
		var shift vector
		for range pitRounds {
			lessons := make([]lesson, 0, len(cooks))
			for i := range cooks {
				s, ok := lessonOf(&p, way, &cooks[i])
				if !ok {
					continue
				}
				var moved mat.VecDense // the fit was made about the shifted means
				moved.MulVec(s.weight, shift.dense())
				s.pull.AddVec(s.pull, &moved)
				lessons = append(lessons, s)
			}
			if len(lessons) == 0 {
				return p
			}
			for _, g := range guesses {
				g.take(lessons)
			}
			shift = p.Ways[way].settle(&from.Ways[way], guesses)
			learned = len(lessons)
		}
	}
	p.Cooks = from.Cooks + learned
	return p
}

// lesson is what one log says about its own coordinates, apart from the prior: a quadratic about the best fit.
type lesson struct {
	weight *mat.SymDense // information, the inverse of a covariance
	pull   *mat.VecDense // weight times how far the log alone would be from the mean of the prior
	extra  *mat.SymDense // variance of this cook beyond the prior's: thickness or pit not measured
}

// lessonOf fits one cook with a way of the prior so far.
func lessonOf(p *Prior, way int, c *Finished) (s lesson, ok bool) {
	h, tr, pitMeasured, ok := c.history(p)
	if !ok {
		return s, false
	}
	mean, cov := p.Ways[way].at(&tr, pitMeasured)
	cov = h.loosen(cov)
	pr := newProblem(h, p, newNormal(mean, cov))
	post := pr.fit(vector{}, finishedRounds)
	s.extra = mat.NewSymDense(dims, nil)
	s.extra.ScaleSym(-1, p.Ways[way].covariance())
	s.extra.AddSym(s.extra, cov)
	var out mat.TriDense // from coordinates to whitened ones
	if err := out.InverseTri(&pr.root); err != nil {
		return s, false // its covariance leaves a coordinate no room: the cook cannot teach
	}
	s.weight = conjugate(out.T(), post.told)
	// The log alone stands at best where its gradient is none: told·u and the pull of the prior, u, add up to it.
	var force mat.VecDense
	force.MulVec(post.told, post.best.dense())
	force.AddVec(&force, post.best.dense())
	s.pull = mat.NewVecDense(dims, nil)
	s.pull.MulVec(out.T(), &force)
	return s, true
}

// pitGuess is what is known about a pit if it has a certain part in how cooks differ.
type pitGuess struct {
	before   *mat.SymDense // covariance between pieces on one pit, before any cook
	loose    *mat.SymDense // information about the shift, before any cook
	credit   float64       // logarithm of its probability before any cook, and what the evidence owes to loose
	within   *mat.SymDense // covariance between pieces on this pit
	shift    vector        // of the means
	open     *mat.SymDense // covariance of the shift
	evidence float64
}

func newPitGuess(w *Way, part, likely float64) *pitGuess {
	between, before := w.covariance(), w.covariance()
	for i := range dims {
		for j := range i + 1 {
			between.SetSym(i, j, part*math.Sqrt(ofPit[i]*ofPit[j])*w.Cov[i][j])
			before.SetSym(i, j, math.Sqrt((1-part*ofPit[i])*(1-part*ofPit[j]))*w.Cov[i][j])
		}
	}
	loose, det := inverse(between)
	return &pitGuess{before: before, within: before, loose: loose, credit: math.Log(likely) - det/2}
}

// take moves the shift and the spread between pieces to what the lessons say, and tells how well they agree with the guess.
func (g *pitGuess) take(lessons []lesson) {
	information, sum := mat.NewSymDense(dims, nil), mat.NewVecDense(dims, nil)
	information.CopySym(g.loose)
	own := make([]*mat.SymDense, len(lessons)) // covariance of what sets each piece apart, given the shift
	g.evidence = g.credit
	for k, s := range lessons {
		precise, spreadDet := inverse(plus(g.within, s.extra))
		var bothDet float64
		own[k], bothDet = inverse(plus(precise, s.weight))
		g.evidence += (mat.Inner(s.pull, own[k], s.pull) - spreadDet - bothDet) / 2
		// A log speaks of the shift only through what sets its piece apart: weight - weight·own·weight.
		var less, pull mat.VecDense
		less.MulVec(own[k], s.pull)
		pull.MulVec(s.weight, &less)
		sum.AddVec(sum, s.pull)
		sum.SubVec(sum, &pull)
		through := conjugate(s.weight, own[k])
		through.ScaleSym(-1, through)
		information.AddSym(information, plus(s.weight, through))
	}
	var det float64
	g.open, det = inverse(information)
	g.shift.dense().MulVec(g.open, sum)
	g.evidence += (mat.Dot(g.shift.dense(), sum) - det) / 2
	g.spreadOut(lessons, own)
}

// spreadOut moves the covariance between pieces to what is left of the lessons once the shift is taken away.
func (g *pitGuess) spreadOut(lessons []lesson, own []*mat.SymDense) {
	seen := mat.NewSymDense(dims, nil)
	seen.ScaleSym(worthPit, g.before)
	for k, s := range lessons {
		// What sets the piece apart is its own and what was not measured: part is the share of the first.
		spread := plus(g.within, s.extra)
		precise, _ := inverse(spread)
		var part mat.Dense
		part.Mul(g.within, precise)
		var rest, mean mat.VecDense
		rest.MulVec(s.weight, g.shift.dense())
		rest.SubVec(s.pull, &rest)
		mean.MulVec(own[k], &rest)
		mean.MulVec(&part, &mean)
		var known mat.SymDense
		known.ScaleSym(-1, own[k])
		known.AddSym(spread, &known)
		left := conjugate(&part, &known)
		left.ScaleSym(-1, left)
		seen.AddSym(seen, plus(g.within, left))
		seen.SymRankOne(seen, 1, &mean)
	}
	g.within = mat.NewSymDense(dims, nil)
	g.within.ScaleSym(1/(worthPit+float64(len(lessons))), seen)
}

// settle puts the guesses, each in proportion to its evidence, into a way of drying, and gives the shift from the way before.
func (w *Way) settle(from *Way, guesses []*pitGuess) (shift vector) {
	var logs []float64
	for _, g := range guesses {
		logs = append(logs, g.evidence)
	}
	share := shares(logs)
	for k, g := range guesses {
		for i := range dims {
			shift[i] += share[k] * g.shift[i]
		}
	}
	for cut, rows := range w.Mean {
		for i := range dims {
			rows[i].Base = from.Mean[cut][i].Base + shift[i]
		}
	}
	for i := range dims {
		for j := range dims {
			w.Cov[i][j] = 0
			for k, g := range guesses {
				w.Cov[i][j] += share[k] * (g.within.At(i, j) + g.open.At(i, j) + (g.shift[i]-shift[i])*(g.shift[j]-shift[j]))
			}
		}
	}
	return shift
}
