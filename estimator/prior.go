package estimator

import (
	"math"
	"time"
)

// Prior is everything learned from finished cooks, as plain data.
type Prior struct {
	Names []string         // of the coordinates, in order
	Mean  map[string][]Row // by cut; "" is used for a cut that is not listed
	Cov   [][]float64      // of the coordinates about their mean
	// Thickness predicts ln(mm) from ln(kg) where it was not measured: intercept, slope and residual sd, by cut.
	Thickness map[string][3]float64
	Noise     Noise
	Cooks     int // finished cooks behind it
}

// Row is the mean of one coordinate: Base + Mass·ln(kg/3) + Thick·ln(mm/70).
type Row struct{ Base, Mass, Thick float64 }

// Noise is what the model does not explain.
type Noise struct {
	Misfit   float64 // sd of the slow misfit of the core, K
	MisfitH  float64 // its correlation time, hours
	Reading  float64 // sd of one ten-minute median, K
	WalkH    float64 // sd of ln h after one hour
	WalkWet  float64 // sd of ln wetness after one hour
	PitSD    float64 // sd of an hour of pit temperature about its level, K
	Overdisp float64 // widening of the posterior
}

// covariates are what the prior knows about a piece before it is lit.
func (p *Prior) covariates(in *Input) (mass, thick, thickSD float64) {
	kg := in.MassKg
	if !(kg > 0.02 && kg < 200) {
		kg = 0
	}
	mm := in.ThicknessMM
	if !(mm > 3 && mm < 600) {
		mm = 0
	}
	th, ok := p.Thickness[string(in.Cut)]
	if !ok {
		th = p.Thickness[""]
	}
	switch {
	case kg > 0 && mm > 0:
	case kg > 0:
		mm, thickSD = math.Exp(th[0]+th[1]*math.Log(kg)), th[2]
	case mm > 0:
		kg = math.Exp((math.Log(mm) - th[0]) / th[1])
	default:
		kg = 3
		mm, thickSD = math.Exp(th[0]+th[1]*math.Log(kg)), th[2]+0.15
	}
	return math.Log(kg / 3), math.Log(mm / 70), thickSD
}

// at gives the mean and covariance of the coordinates for a piece.
func (p *Prior) at(in *Input, pitMeasured bool) (mean vector, cov [dims][dims]float64) {
	rows, ok := p.Mean[string(in.Cut)]
	if !ok {
		rows = p.Mean[""]
	}
	mass, thick, sd := p.covariates(in)
	for i := range dims {
		mean[i] = rows[i].Base + rows[i].Mass*mass + rows[i].Thick*thick
	}
	for i := range dims {
		for j := range dims {
			cov[i][j] = p.Cov[i][j] + rows[i].Thick*rows[j].Thick*sd*sd
		}
	}
	if !pitMeasured {
		cov[pPit][pPit] += 36
	}
	return mean, cov
}

// handPrior is the prior before any cook was seen: the ranges of the handbook, by kind of piece.
func handPrior() Prior {
	base := vector{0, logit(0.45), math.Log(16), math.Log(0.45), math.Log(2.0), math.Log(2), math.Log(3000), logit(0.25), 0, 0,
		math.Log(0.6), math.Log(0.8), logit(0.3)}
	sd := vector{0.25, 0.7, 0.3, 0.5, 0.6, 0.4, 0.5, 0.8, 0.7, 4, 0.3, 0.2, 0.8}
	p := Prior{Mean: map[string][]Row{}, Thickness: map[string][3]float64{}}
	for i := range dims {
		p.Names = append(p.Names, parameterNames[i])
		p.Cov = append(p.Cov, make([]float64, dims))
		p.Cov[i][i] = sd[i] * sd[i]
	}
	kinds := []struct {
		cut       Cut
		shape, mm float64
	}{
		{"", 0.8, 75}, {BrisketPacker, 0.4, 60}, {BrisketFlat, 0.3, 50}, {BrisketFlatCured, 0.3, 52}, {PorkShoulder, 1.2, 110},
		{BeefChuck, 0.8, 90}, {PorkLoin, 1, 85}, {TurkeyBreast, 1.4, 115}, {TurkeyWhole, 1.6, 110},
		{ChickenWhole, 1.6, 110}, {BeefRib, 0.5, 60}, {LambShoulder, 0.9, 85}, {FishSide, 0.1, 28},
	}
	for _, k := range kinds {
		rows := make([]Row, dims)
		for i := range rows {
			rows[i].Base = base[i]
		}
		rows[pShape].Base = logit(k.shape / shapeSpan)
		rows[pHalf] = Row{Base: math.Log(0.035), Thick: 1}
		p.Mean[string(k.cut)] = rows
		p.Thickness[string(k.cut)] = [3]float64{math.Log(k.mm) - math.Log(3)/3, 1.0 / 3, 0.2}
	}
	p.Noise = Noise{Misfit: 0.7, MisfitH: 0.75, Reading: 0.3, WalkH: 0.05, WalkWet: 0.15, PitSD: 4, Overdisp: 1.2}
	return p
}

const hour = float64(time.Hour / time.Second)
