package estimator

import (
	"math"
	"time"

	"gonum.org/v1/gonum/mat"
)

// Prior is everything learned from finished cooks, as plain data.
type Prior struct {
	Names []string // of the coordinates, in order
	Ways  []Way    // in which pieces dry; a piece follows one of them
	// Thickness predicts ln(mm) from ln(kg) where it was not measured: intercept, slope and residual sd, by cut.
	Thickness map[string][3]float64
	Noise     Noise
	Habits    Habits
	Cooks     int // finished cooks behind it
	// Cuts counts them by cut. A cut that is not among them keeps more of the handbook's spread. nil = not counted.
	Cuts map[string]int `json:",omitempty"`
}

// Way is one normal distribution of the coordinates. Pieces that dry in different ways need more than one.
type Way struct {
	Weight float64          // share of the cooks
	Mean   map[string][]Row // by cut; "" is used for a cut that is not listed
	Cov    [][]float64      // of the coordinates about their mean
	// Fires shifts the coordinates by the kind of fire, as its swings tell it.
	Fires map[string][]float64
}

// Row is the mean of one coordinate: Base + Mass·ln(kg/3) + Thick·ln(mm/70) + Hot·(setpoint-115 °C)/20 K.
type Row struct{ Base, Mass, Thick, Hot float64 }

// traits are what is known about a piece before its probe says anything.
type traits struct {
	cut              string
	mass, thick, hot float64 // the covariates of Row
	thickSD          float64 // sd of thick where it was not measured
	strange          bool    // no cook behind the prior was of this cut
	fire             swing
}

// Noise is what the model does not explain.
type Noise struct {
	Misfit   float64 // sd of the slow misfit of the core, K
	MisfitH  float64 // its correlation time, hours
	Reading  float64 // sd of one ten-minute median, K
	Ahead    float64 // sd of the slow misfit from the present on, K
	WalkH    float64 // sd of ln h after one hour
	WalkWet  float64 // sd of ln wetness after one hour
	Overdisp float64 // widening of the posterior
	PitSag   float64 // by how much the pit falls short of its recent level in the hours ahead (lids, dying fires), K
	PitDrift float64 // sd of the same between cooks, K
}

// Habits are what people do that no plan says. The shipped ones are choices (common practice, no source), near what the
// simulated cooks show.
type Habits struct {
	WrapShift  float64   // where a wrap planned for a core temperature really comes, K from the plan
	WrapSpread float64   // sd of the same
	WrapShare  float64   // share of cooks without a plan that are wrapped all the same
	WrapAt     float64   // core temperature at which that happens, °C
	RaiseShare float64   // share of cooks whose pit is raised without a plan
	RaiseAt    float64   // core temperature at which that happens, °C
	RaiseSD    float64   // sd of the same
	RaiseBy    []float64 // by how much, K, equally likely
}

// traits gathers what is known about a piece.
func (p *Prior) traits(in *Input, pit []point) traits {
	thickSD := 0.0
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
	t := traits{cut: string(in.Cut), mass: math.Log(kg / 3), thick: math.Log(mm / 70), thickSD: thickSD, fire: swingOf(in, pit),
		strange: p.Cuts != nil && p.Cuts[string(in.Cut)] == 0}
	if sp := float64(in.SetPoint); sp > 60 && sp < 200 {
		t.hot = (sp - 115) / 20
	}
	return t
}

// at gives the mean and covariance of the coordinates for a piece.
func (w *Way) at(t *traits, pitMeasured bool) (mean vector, cov *mat.SymDense) {
	rows, shift := w.rows(t.cut), w.Fires[string(t.fire)]
	for i := range dims {
		mean[i] = rows[i].at(t)
		if shift != nil {
			mean[i] += shift[i]
		}
	}
	cov = w.covariance()
	for i := range dims {
		for j := range i + 1 {
			cov.SetSym(i, j, cov.At(i, j)+rows[i].Thick*rows[j].Thick*t.thickSD*t.thickSD)
		}
	}
	if t.strange {
		for i, sd := range handSD {
			cov.SetSym(i, i, cov.At(i, i)+strangeShare*sd*sd)
		}
	}
	if !pitMeasured {
		cov.SetSym(pPit, pPit, cov.At(pPit, pPit)+unseenPit*unseenPit)
	}
	return mean, cov
}

// strangeShare is how much of the handbook's variance is added for a cut that no cook taught: what cuts differ by comes on top
// of what pieces of one cut differ by (a choice of this project, no source).
const strangeShare = 0.5

// handSD is the spread of the coordinates over pieces before any cook was seen.
var handSD = vector{0.25, 0.7, 0.3, 0.5, 0.6, 0.4, 0.5, 0.8, 0.7, 4, 0.3, 0.2, 0.8, 0.6, 0.3}

// unseenPit is how much more uncertain the pit's offset is where nobody measures the pit, K.
const unseenPit = 6.0

// covariance is Cov for the matrix library.
func (w *Way) covariance() *mat.SymDense {
	c := mat.NewSymDense(dims, nil)
	for i := range dims {
		for j := range i + 1 {
			c.SetSym(i, j, w.Cov[i][j])
		}
	}
	return c
}

func (r Row) at(t *traits) float64 { return r.Base + r.Mass*t.mass + r.Thick*t.thick + r.Hot*t.hot }

// rows gives the means for a cut.
func (w *Way) rows(cut string) []Row {
	if rows, ok := w.Mean[cut]; ok {
		return rows
	}
	return w.Mean[""]
}

// BasePrior is the prior before any cook was seen: the ranges of the handbook, by kind of piece.
func BasePrior() Prior {
	p := Prior{Thickness: map[string][3]float64{}}
	for i := range dims {
		p.Names = append(p.Names, parameterNames[i])
	}
	for _, k := range handKinds {
		p.Thickness[string(k.cut)] = [3]float64{math.Log(k.mm) - math.Log(3)/3, 1.0 / 3, 0.2}
	}
	crust := vector{0, 0, math.Log(20), math.Log(0.33), math.Log(1.3), math.Log(3), math.Log(3000), logit(0.25), 0, 0,
		math.Log(0.6), math.Log(0.8), logit(0.3), math.Log(0.08), math.Log(0.42)}
	p.Ways = []Way{handWay(&crust, &handSD)}
	p.Noise = Noise{Misfit: 0.5, MisfitH: 0.75, Reading: 0.3, Ahead: 0.6, WalkH: 0.05, WalkWet: 0.15, Overdisp: 1.0, PitSag: 1.1, PitDrift: 1.5}
	p.Habits = Habits{WrapShift: -1, WrapSpread: 3, WrapShare: 0.2, WrapAt: 69, RaiseShare: 0.3, RaiseAt: 65.5, RaiseSD: 3, RaiseBy: []float64{11, 14, 14, 28}}
	return p
}

// handKinds are the shape (0 slab, 1 cylinder, 2 sphere) and the thickness of a 3 kg piece of each cut (common
// practice, no source; whole birds, which are hollow, after the published roasting times of Chang et al. 1998).
var handKinds = []struct {
	cut       Cut
	shape, mm float64
}{
	{"", 0.8, 75}, {BrisketPacker, 0.4, 60}, {BrisketFlat, 0.3, 50}, {BrisketFlatCured, 0.3, 52}, {PorkShoulder, 1.2, 110},
	{BeefChuck, 0.8, 90}, {PorkLoin, 1, 85}, {TurkeyBreast, 1.4, 115}, {TurkeyWhole, 1.6, 88},
	{ChickenWhole, 1.6, 88}, {BeefRib, 0.5, 60}, {LambShoulder, 0.9, 85}, {FishSide, 0.1, 28},
}

// handWay spreads one mean over the cuts, each with its shape.
func handWay(base, sd *vector) Way {
	w := Way{Weight: 1, Mean: map[string][]Row{}}
	for i := range dims {
		w.Cov = append(w.Cov, make([]float64, dims))
		w.Cov[i][i] = sd[i] * sd[i]
	}
	for _, k := range handKinds {
		rows := make([]Row, dims)
		for i := range rows {
			rows[i].Base = base[i]
		}
		rows[pShape].Base = logit(k.shape / shapeSpan)
		rows[pHalf] = Row{Base: math.Log(0.035), Thick: 1}
		w.Mean[string(k.cut)] = rows
	}
	return w
}

const hour = float64(time.Hour / time.Second)
