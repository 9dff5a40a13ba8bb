package estimator

import "math"

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
// have nothing in common move little. Cooks with fewer than eight readings teach nothing.
func LearnPit(from Prior, cooks []Finished) Prior {
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
				moved := s.weight.of(shift) // the fit was made about the shifted means
				for d := range dims {
					s.pull[d] += moved[d]
				}
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
	weight square // information, the inverse of a covariance
	pull   vector // weight times how far the log alone would be from the mean of the prior
	extra  square // variance of this cook beyond the prior's: thickness or pit not measured
}

// lessonOf fits one cook with a way of the prior so far.
func lessonOf(p *Prior, way int, c *Finished) (s lesson, ok bool) {
	h, tr, pitMeasured, ok := c.history(p)
	if !ok {
		return s, false
	}
	w := &p.Ways[way]
	mean, cov := w.at(&tr, pitMeasured)
	for i := range dims {
		for j := range dims {
			s.extra[i][j] = cov[i][j] - w.Cov[i][j]
		}
	}
	pr := newProblem(h, p, mean, cov)
	post := pr.fit(vector{}, finishedRounds)
	// In whitened coordinates the information of prior and log together is factor·factorᵀ and the prior's own is one.
	var columns square
	for j := range dims {
		var told vector
		for i := range dims {
			for k := range min(i, j) + 1 {
				told[i] += post.factor[i][k] * post.factor[j][k]
			}
		}
		told[j]--
		told = pr.root.solveTransposed(told)
		for i := range dims {
			columns[j][i] = told[i]
		}
	}
	for i := range dims {
		var row vector
		for j := range dims {
			row[j] = columns[j][i]
		}
		row = pr.root.solveTransposed(row)
		for j := range dims {
			s.weight[i][j] = row[j]
		}
	}
	s.weight.symmetric()
	best := pr.place(&post.best)
	for i := range dims {
		best[i] -= mean[i]
	}
	s.pull = s.weight.of(best)
	back := pr.root.solveTransposed(post.best)
	for i := range dims {
		s.pull[i] += back[i]
	}
	return s, true
}

// pitGuess is what is known about a pit if it has a certain part in how cooks differ.
type pitGuess struct {
	before   square  // covariance between pieces on one pit, before any cook
	loose    square  // information about the shift, before any cook
	credit   float64 // logarithm of its probability before any cook, and what the evidence owes to loose
	within   square  // covariance between pieces on this pit
	shift    vector  // of the means
	open     square  // covariance of the shift
	evidence float64
}

func newPitGuess(w *Way, part, likely float64) *pitGuess {
	g := &pitGuess{}
	var between square
	for i := range dims {
		for j := range dims {
			between[i][j] = part * math.Sqrt(ofPit[i]*ofPit[j]) * w.Cov[i][j]
			g.before[i][j] = math.Sqrt((1-part*ofPit[i])*(1-part*ofPit[j])) * w.Cov[i][j]
		}
	}
	loose, det := between.inverse()
	g.loose, g.credit = loose, math.Log(likely)-det/2
	g.within = g.before
	return g
}

// take moves the shift and the spread between pieces to what the lessons say, and tells how well they agree with the guess.
func (g *pitGuess) take(lessons []lesson) {
	information, sum := g.loose, vector{}
	own := make([]square, len(lessons)) // covariance of what sets each piece apart, given the shift
	g.evidence = g.credit
	for k := range lessons {
		s := &lessons[k]
		spread := g.within.plus(&s.extra)
		precise, spreadDet := spread.inverse()
		both := precise.plus(&s.weight)
		var bothDet float64
		own[k], bothDet = both.inverse()
		// A log speaks of the shift only through what sets its piece apart: weight - weight·own·weight.
		through := s.weight.by(&own[k])
		less := through.by(&s.weight)
		apart, pull := own[k].of(s.pull), through.of(s.pull)
		g.evidence += (apart.dot(&s.pull) - spreadDet - bothDet) / 2
		for i := range dims {
			sum[i] += s.pull[i] - pull[i]
			for j := range dims {
				information[i][j] += s.weight[i][j] - less[i][j]
			}
		}
	}
	information.symmetric()
	var det float64
	g.open, det = information.inverse()
	g.shift = g.open.of(sum)
	g.evidence += (g.shift.dot(&sum) - det) / 2
	g.spreadOut(lessons, own)
}

// spreadOut moves the covariance between pieces to what is left of the lessons once the shift is taken away.
func (g *pitGuess) spreadOut(lessons []lesson, own []square) {
	var seen square
	for k := range lessons {
		s := &lessons[k]
		rest := s.weight.of(g.shift)
		for i := range dims {
			rest[i] = s.pull[i] - rest[i]
		}
		// What sets the piece apart is its own and what was not measured: part is the share of the first.
		spread := g.within.plus(&s.extra)
		precise, _ := spread.inverse()
		part := g.within.by(&precise)
		mean := own[k].of(rest)
		mean = part.of(mean)
		for i := range dims {
			for j := range dims {
				spread[i][j] -= own[k][i][j]
			}
		}
		known := part.by(&spread)
		turned := part.turned()
		known = known.by(&turned)
		for i := range dims {
			for j := range dims {
				seen[i][j] += mean[i]*mean[j] + g.within[i][j] - known[i][j]
			}
		}
	}
	for i := range dims {
		for j := range dims {
			g.within[i][j] = (worthPit*g.before[i][j] + seen[i][j]) / (worthPit + float64(len(lessons)))
		}
	}
	g.within.symmetric()
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
				w.Cov[i][j] += share[k] * (g.within[i][j] + g.open[i][j] + (g.shift[i]-shift[i])*(g.shift[j]-shift[j]))
			}
		}
	}
	return shift
}
