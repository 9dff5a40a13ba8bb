package estimator

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// ReadPrior reads a prior that was kept as JSON and checks that forecasts can be made from it. An error says that the file
// is to be written anew; a prior of another version, with other coordinates, is one.
func ReadPrior(data []byte) (Prior, error) {
	var p Prior
	if err := json.Unmarshal(data, &p); err != nil {
		return Prior{}, fmt.Errorf("not a prior: %w (write it anew from the cooks)", err)
	}
	if err := p.check(); err != nil {
		return Prior{}, fmt.Errorf("not a prior of this version: %w (write it anew from the cooks)", err)
	}
	return p, nil
}

func (p *Prior) check() error {
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
	for _, t := range p.Thickness {
		if !(t[1] > 0 && t[2] >= 0) {
			return errors.New("its thickness does not grow with mass")
		}
	}
	if _, ok := p.Thickness[""]; !ok {
		return errors.New("it has no thickness for an unlisted cut")
	}
	n, h := p.Noise, p.Habits
	for _, x := range []float64{n.Misfit, n.MisfitH, n.Reading, n.Ahead, n.Overdisp, h.WrapSpread, h.RaiseSD} {
		if !(x > 0) {
			return errors.New("a spread is not positive")
		}
	}
	return nil
}

func (w *Way) check() error {
	if !(w.Weight > 0) || len(w.Cov) != dims {
		return errors.New("a way of drying has no weight or no covariance")
	}
	for _, row := range w.Cov {
		if len(row) != dims {
			return errors.New("a covariance is not square")
		}
	}
	for i := range dims {
		for j := range i {
			if math.Abs(w.Cov[i][j]-w.Cov[j][i]) > 1e-6*math.Sqrt(math.Abs(w.Cov[i][i]*w.Cov[j][j])) {
				return errors.New("a covariance is not symmetric")
			}
		}
	}
	var factor mat.Cholesky
	if !factor.Factorize(w.covariance()) || factor.Cond() > mat.ConditionTolerance {
		return errors.New("a covariance is not positive")
	}
	if _, ok := w.Mean[""]; !ok {
		return errors.New("there is no mean for an unlisted cut")
	}
	for cut, rows := range w.Mean {
		if len(rows) != dims {
			return fmt.Errorf("the mean of %q has %d coordinates", cut, len(rows))
		}
	}
	for kind, shift := range w.Fires {
		if len(shift) != dims {
			return fmt.Errorf("the shift of %q has %d coordinates", kind, len(shift))
		}
	}
	return nil
}
