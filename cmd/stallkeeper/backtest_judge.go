package main

import (
	"cmp"
	"context"
	"math"
	"slices"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/score"
)

// judge runs the forecasts again and keeps what came of them.
type judge struct {
	Cooks, Pieces, Unfinished int

	taught   string // where the prior came from
	rows     []verdict
	sequence []verdict // the same moments after learning from the cooks before
}

// verdict is one forecast with what happened.
type verdict struct {
	piece     *past
	at        float64 // fraction of the piece's time
	left      float64 // minutes that it really took
	q         score.Quantiles
	line      float64 // the baselines, minutes
	newton    float64
	kilogram  float64 // NaN when it cannot be said
	learnedOf int     // cooks learned from
}

// loss is the CRPS of a verdict, minutes.
func (v *verdict) loss() float64 {
	var t score.Tally
	t.Add(v.q, v.left)
	return t.Score().CRPS
}

// run judges with the prior that ships, with priors learned from other folds, or along the sequence of cooks.
func (j *judge) run(ctx context.Context, pieces []past, folds int, sequence bool) error {
	slices.SortStableFunc(pieces, func(a, b past) int { return cmp.Or(a.started.Compare(b.started), cmp.Compare(a.name(), b.name())) })
	shipped := estimator.New(estimator.DefaultPrior())
	j.taught = "the prior that comes with the program"
	for i := range pieces {
		e := shipped
		if folds > 0 {
			j.taught = "a prior learned from the cooks of the other parts alone"
			if i < folds { // one prior per fold, used by every folds-th piece
				prior, err := estimator.Learn(estimator.BasePrior(), others(pieces, func(k int) bool { return k%folds != i }))
				if err != nil {
					return err
				}
				taught := estimator.New(prior)
				for k := i; k < len(pieces); k += folds {
					if err := j.judge(ctx, taught, pieces, k, &j.rows, 0); err != nil {
						return err
					}
				}
			}
			continue
		}
		if err := j.judge(ctx, e, pieces, i, &j.rows, 0); err != nil {
			return err
		}
		if sequence {
			before := others(pieces, func(k int) bool {
				return pieces[k].fire == pieces[i].fire && !pieces[k].ready.After(pieces[i].started)
			})
			prior, err := learn(before)
			if err != nil {
				return err
			}
			if err := j.judge(ctx, estimator.New(prior), pieces, i, &j.sequence, len(before)); err != nil {
				return err
			}
		}
	}
	return nil
}

// others are the finished pieces to learn from.
func others(pieces []past, take func(k int) bool) []estimator.Finished {
	var out []estimator.Finished
	for k := range pieces {
		if take(k) {
			out = append(out, estimator.Finished{Input: pieces[k].in, Ready: pieces[k].ready})
		}
	}
	return out
}

// learn gives the prior of a pit from the cooks before.
func learn(cooks []estimator.Finished) (estimator.Prior, error) {
	if len(cooks) == 0 {
		return estimator.DefaultPrior(), nil
	}
	return estimator.LearnPit(estimator.DefaultPrior(), cooks)
}

// judge forecasts one piece at each fraction of its time.
func (j *judge) judge(ctx context.Context, e *estimator.Estimator, pieces []past, i int, into *[]verdict, learnedOf int) error {
	p := &pieces[i]
	var timed []score.Timed
	for k := range pieces {
		if k != i {
			timed = append(timed, score.Timed{Cut: pieces[k].cut, MassKg: pieces[k].massKg, Minutes: pieces[k].ready.Sub(pieces[k].started).Minutes()})
		}
	}
	whole := p.ready.Sub(p.started)
	for _, part := range fractions() {
		gone := time.Duration(part * float64(whole)).Truncate(time.Second)
		if gone < tooEarly {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		at := p.started.Add(gone)
		target := p.in.Target
		v := verdict{piece: p, at: part, left: p.ready.Sub(at).Minutes(), q: quantiles(e.Forecast(p.in, at), at),
			line: score.StraightLine(p.core, target, at), newton: score.Newton(p.core, p.pit, target, at),
			kilogram: score.PerKilogram(timed, p.cut, p.massKg, gone.Minutes()), learnedOf: learnedOf}
		*into = append(*into, v)
	}
	return nil
}

// quantiles turns ready times into minutes from at.
func quantiles(f estimator.Forecast, at time.Time) (q score.Quantiles) {
	for i, t := range f.Ready {
		q[i] = math.Inf(1)
		if !t.IsZero() {
			q[i] = max(t.Sub(at).Minutes(), 0)
		}
	}
	return q
}
