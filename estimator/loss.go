package estimator

import "math"

// Loss is what a piece has lost so far, as shares of its raw mass. NaN where it cannot be said.
type Loss struct {
	Evaporated float64
	Juice      float64 // let go by the shrinking meat and not evaporated: it drips
	Fat        float64 // rendered
}

// Total is the share of the raw mass that is gone.
func (l Loss) Total() float64 { return l.Evaporated + l.Juice + l.Fat }

// The most that meat lets go as juice and fat when it is done: lean and fat brisket flat, braised, where nothing
// evaporates, loses 25.0 points of moisture and 10.2 of fat (published, USDA table of cooking yields). Juice follows the
// shrinkage of proteins (the water-holding curve of van der Sman and Feyissa, from memory); fat is taken to render in
// step with it (common practice, no source).
const (
	mostJuice = 0.250
	mostFat   = 0.102
)

// lossAt splits the loss of a piece that has evaporated a share of its mass. Water that evaporates is juice that does
// not drip.
func lossAt(evaporated, core float64) Loss {
	shrunk := 1 / (1 + 30*math.Exp(-0.25*(core-52)))
	return Loss{Evaporated: evaporated, Juice: math.Max(0, mostJuice*shrunk-evaporated), Fat: mostFat * shrunk}
}

// The column knows the heat that evaporation takes up to a factor only, since neither its area nor its surface coefficient is
// known apart. Held against this repository's own simulator and the losses of the 230 simulated cooks it counts 1.4 to 2
// times the water, against published losses of smoked brisket (44.0 % at 90 °C, of which some 10 are fat) 1.1 times; the
// shares below lie between. Raw meat has 55 to 75 % of water, and nobody dries it out.
const (
	waterCounted = 0.7
	mostWater    = 0.4
)

// evaporated is the share of the raw mass that a member has lost as vapour: per area over the mass that the column's
// thickness and shape put behind an area.
func (m *member) evaporated() float64 {
	return math.Min(waterCounted*m.c.lost/m.p.massPerArea(), mostWater)
}
