package estimator

import "math"

// The free parameters of a column, as coordinates on the whole real line.
const (
	pHalf = iota
	pShape
	pH
	pWet
	pBudget
	pSharp
	pVapour
	pDepth
	pStart
	pPit
	pFoilH
	pPaperH
	pPaperWet
	pTail
	pTotal
	dims
)

// parameterNames name the coordinates in the stored prior.
var parameterNames = [dims]string{
	"ln half-thickness/m", "logit shape/2.2", "ln h/(W/m2K)", "ln wetness", "ln budget/(kg/m2)", "ln sharpness",
	"ln vapour pressure/Pa", "logit probe depth/0.6", "start offset/K", "pit offset/K", "ln foil h", "ln paper h",
	"logit paper wetness", "ln crust wetness", "ln evaporable share",
}

// vector is one point in the coordinates.
type vector [dims]float64

const (
	shapeSpan = 2.2
	depthSpan = 0.6
)

// physics turns coordinates into the parameters of a column whose probe first read start.
func (z *vector) physics(start, boil float64) physics {
	p := physics{
		half:      math.Exp(clampTo(z[pHalf], -6, -1)),
		shape:     shapeSpan * sigmoid(z[pShape]),
		h:         math.Exp(clampTo(z[pH], 0, 5)),
		wet:       math.Exp(clampTo(z[pWet], -6, 1)),
		budget:    math.Exp(clampTo(z[pBudget], -4, 5)),
		sharp:     math.Exp(clampTo(z[pSharp], -1.5, 3)),
		vapour:    math.Exp(clampTo(z[pVapour], 3, 10.5)),
		depth:     depthSpan * sigmoid(z[pDepth]),
		start:     start + clampTo(z[pStart], -10, 10),
		pitOffset: clampTo(z[pPit], -60, 60),
		foilH:     math.Exp(clampTo(z[pFoilH], -3, 1)),
		paperH:    math.Exp(clampTo(z[pPaperH], -3, 1)),
		paperWet:  sigmoid(z[pPaperWet]),
		tail:      math.Exp(clampTo(z[pTail], -8, 0)),
		boil:      boil,
		hNow:      1, wNow: 1,
	}
	p.total = math.Exp(clampTo(z[pTotal], -4, 2)) * p.massPerArea()
	return p
}

// massPerArea is the kg of piece behind a m² of surface.
func (p *physics) massPerArea() float64 { return density * p.half / (p.shape + 1) }

func clampTo(x, lo, hi float64) float64 { return min(max(x, lo), hi) }

func sigmoid(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

func logit(p float64) float64 { return math.Log(p / (1 - p)) }
