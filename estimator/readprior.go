package estimator

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// ReadPrior reads a prior that was kept as JSON and checks it (Check). An error says that the file
// is to be written anew; a prior of another version, with other coordinates, is one.
func ReadPrior(data []byte) (Prior, error) {
	var p Prior
	if err := json.Unmarshal(data, &p); err != nil {
		return Prior{}, fmt.Errorf("not a prior: %w (write it anew from the cooks)", err)
	}
	if err := p.Check(); err != nil {
		return Prior{}, fmt.Errorf("not a prior of this version: %w (write it anew from the cooks)", err)
	}
	return p, nil
}

// The bounds within which the numbers of a prior mean something (choices of this project, far outside what is ever learned).
const (
	leastVariance = 1e-8 // of a coordinate
	mostVariance  = 1e4
	mostMean      = 1e3 // of a coordinate, and the slopes it has
	leastNoise    = 1e-3
	mostNoise     = 100
)

// Check says why forecasts cannot be made from a prior; nil when they can. DefaultPrior, BasePrior, ReadPrior, Learn and LearnPit
// give priors that pass.
func (p *Prior) Check() error {
	if !slices.Equal(p.Names, parameterNames[:]) {
		return errors.New("its coordinates are others")
	}
	if len(p.Ways) == 0 {
		return errors.New("it has no way of drying")
	}
	for i := range p.Ways {
		if err := p.Ways[i].check(); err != nil {
			return err
		}
	}
	for cut, t := range p.Thickness {
		if !(within(t[0], -20, 20) && within(t[1], 0.05, 3) && within(t[2], 0, 3)) {
			return fmt.Errorf("the thickness of %q does not grow with mass", cut)
		}
	}
	if _, ok := p.Thickness[""]; !ok {
		return errors.New("it has no thickness for an unlisted cut")
	}
	return errors.Join(p.Noise.check(), p.Habits.check())
}

func within(x, low, high float64) bool { return x >= low && x <= high }

func (n *Noise) check() error {
	for _, x := range []float64{n.Misfit, n.MisfitH, n.Reading, n.Ahead, n.Overdisp} {
		if !within(x, leastNoise, mostNoise) {
			return errors.New("a noise is not a usual positive number")
		}
	}
	if !(within(n.WalkH, 0, 2) && within(n.WalkWet, 0, 2) && within(n.PitSag, -mostNoise, mostNoise) && within(n.PitDrift, 0, mostNoise)) {
		return errors.New("a walk or the sag of the pit is not a usual number")
	}
	return nil
}

func (h *Habits) check() error {
	if !(within(h.WrapSpread, leastNoise, mostNoise) && within(h.RaiseSD, leastNoise, mostNoise)) {
		return errors.New("a spread of the habits is not a usual positive number")
	}
	if !(within(h.WrapShare, 0, 0.99) && within(h.RaiseShare, 0, 0.99)) {
		return errors.New("a share of the habits is not between 0 and 0.99")
	}
	for _, x := range append([]float64{h.WrapShift, h.WrapAt, h.RaiseAt}, h.RaiseBy...) {
		if !within(x, -500, 500) {
			return errors.New("a temperature of the habits is not a usual number")
		}
	}
	return nil
}

func (w *Way) check() error {
	if !(w.Weight > 0 && w.Weight < math.MaxFloat64) || len(w.Cov) != dims {
		return errors.New("a way of drying has no weight or no covariance")
	}
	for _, row := range w.Cov {
		if len(row) != dims {
			return errors.New("a covariance is not square")
		}
	}
	for i := range dims {
		if !within(w.Cov[i][i], leastVariance, mostVariance) {
			return errors.New("a variance is not a usual positive number")
		}
		for j := range i {
			if !(math.Abs(w.Cov[i][j]-w.Cov[j][i]) <= 1e-6*math.Sqrt(w.Cov[i][i]*w.Cov[j][j])) {
				return errors.New("a covariance is not symmetric")
			}
		}
	}
	var factor mat.Cholesky
	if !factor.Factorize(w.covariance()) || !(factor.Cond() < worstCondition) {
		return errors.New("a covariance is not positive")
	}
	if _, ok := w.Mean[""]; !ok {
		return errors.New("there is no mean for an unlisted cut")
	}
	for cut, rows := range w.Mean {
		if len(rows) != dims {
			return fmt.Errorf("the mean of %q has %d coordinates", cut, len(rows))
		}
		for _, r := range rows {
			for _, x := range []float64{r.Base, r.Mass, r.Thick, r.Hot} {
				if !within(x, -mostMean, mostMean) {
					return fmt.Errorf("the mean of %q is not of usual numbers", cut)
				}
			}
		}
	}
	for kind, shift := range w.Fires {
		if len(shift) != dims || slices.ContainsFunc(shift, func(x float64) bool { return !within(x, -mostMean, mostMean) }) {
			return fmt.Errorf("the shift of %q has %d coordinates, or unusual ones", kind, len(shift))
		}
	}
	return nil
}
