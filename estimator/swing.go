package estimator

import (
	"math"
	"strings"
)

// swing is the kind of fire, told by how its temperature moves.
type swing string

// The swings. The words a cook may use for such a fire stand beside them in fireWords.
const (
	unknownSwing swing = ""
	cycling      swing = "cycling"  // wide and quick: an auger that feeds and waits
	switched     swing = "switched" // narrow and quick: a thermostat
	drifting     swing = "drifting" // narrow and slow: charcoal in a thick shell
	fed          swing = "fed"      // wide and slow: wood put on by hand
)

var fireWords = []struct {
	word string
	kind swing
}{
	{"pellet", cycling}, {"electric", switched}, {"cabinet", switched}, {"kamado", drifting}, {"ceramic", drifting},
	{"offset", fed}, {"stick", fed}, {"log", fed},
}

// swingOf tells the kind of fire from the cook's word for it or else from the pit readings.
func swingOf(in *Input, pit []point) swing {
	name := strings.ToLower(in.Fire)
	for _, w := range fireWords {
		if strings.Contains(name, w.word) {
			return w.kind
		}
	}
	minutes := pitMinutes(pit)
	if len(minutes) < 45 {
		return unknownSwing
	}
	quick, slow := typicalMove(minutes, 5), typicalMove(minutes, 20)
	switch {
	case quick >= 3:
		return cycling
	case slow >= 2.2*quick && slow >= 2.8:
		return fed
	case quick >= 1.4 && slow < 1.6*quick:
		return switched
	case quick < 1.4:
		return drifting
	}
	return unknownSwing
}

// pitMinutes gives the pit minute by minute from the twenty-fifth minute on, at most six hours; none where a minute
// has no reading.
func pitMinutes(pit []point) []float64 {
	const settle = 25
	if len(pit) == 0 {
		return nil
	}
	out := make([]float64, 0, 360)
	start := pit[0].ms
	for _, p := range pit {
		i := int((p.ms-start)/60000) - settle
		if i < 0 {
			continue
		}
		if i >= 360 {
			break
		}
		for len(out) <= i {
			out = append(out, math.NaN())
		}
		if math.IsNaN(out[i]) {
			out[i] = p.c
		}
	}
	return out
}

// typicalMove is the median change over a number of minutes, K; NaN when too few pairs are known.
func typicalMove(minutes []float64, apart int) float64 {
	var moves []float64
	for i := apart; i < len(minutes); i++ {
		if d := math.Abs(minutes[i] - minutes[i-apart]); !math.IsNaN(d) {
			moves = append(moves, d)
		}
	}
	if len(moves) < 20 {
		return math.NaN()
	}
	return median(moves)
}
