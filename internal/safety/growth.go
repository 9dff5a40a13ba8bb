package safety

import (
	"fmt"
	"math"
	"time"

	"stallkeeper/internal/cook"
)

// growthRate is the specific growth rate of C. perfringens in bulk meat per hour, natural logarithm: Le Marc et al. 2008, Int J Food
// Microbiol 128:41, for salt in the water phase (%) and pH. The collection that its parameters come from does not say the base of the
// logarithm; only the natural one makes sense (as a common logarithm it would double every five minutes).
func growthRate(celsius, saltPercent, pH float64) float64 {
	const tMin, tMax, c, awMin, pHMin = 12.20, 54.47, 0.095, 0.9755, 4.76
	if celsius <= tMin || celsius >= tMax {
		return 0
	}
	aw := 1 - saltPercent*(5.2471+0.12206*saltPercent)/1000
	return max(0, 7.45*(celsius-tMin)*(celsius-tMin)*(1-math.Exp(c*(celsius-tMax)))*(aw-awMin)*(2-aw-awMin)*(pH-pHMin))
}

// Growth is how much C. perfringens may have grown, log10, by the Baranyi model: lag ln(1+1/q0) = h0 divided by the rate. It is an
// advisory: it makes no verdict better. Likely takes h0 = 4.5 (chicken and pork, Juneja et al. 2011, Food Microbiol 28:791; that it
// fits beside this rate is a choice of this project), Low h0 = 6.0, High h0 = 2.7 (uncured beef, the same paper). Replicates scatter by
// about 1 log (Smith & Schaffner 2005, abstract).
type Growth struct{ Low, Likely, High float64 }

// Uncured meat of the usual pH; a cure grows less. The salt is that of meat without any.
const (
	growthSalt = 0.5
	growthPH   = 6.2
)

// CoolingGrowth integrates along the readings, the temperature straight between them; ok is false where an interval is too long.
func CoolingGrowth(r []cook.Reading, s Settings) (g Growth, ok bool) {
	if len(r) < 2 || s.gapWithin(r, 0, len(r)-1) {
		return Growth{}, false
	}
	return Growth{Low: baranyi(r, 6), Likely: baranyi(r, 4.5), High: baranyi(r, 2.7)}, true
}

// baranyi gives log10 of the growth: with A the integral of the rate, ln(N/N0) = ln(1 + (e^A − 1)·q), q = e^−h0.
func baranyi(r []cook.Reading, h0 float64) float64 {
	var a float64
	for i := 1; i < len(r); i++ {
		from, to := float64(r[i-1].Celsius), float64(r[i].Celsius)
		hours := r[i].Time.Sub(r[i-1].Time).Hours()
		n := max(1, int(r[i].Time.Sub(r[i-1].Time)/time.Minute))
		for k := range n { // the rate turns over within an interval: steps of a minute
			a += growthRate(from+(to-from)*(float64(k)+.5)/float64(n), growthSalt, growthPH) * hours / float64(n)
		}
	}
	return math.Log1p((math.Exp(a)-1)*math.Exp(-h0)) / math.Ln10
}

// advise says what may have grown in a cooling that is decided or at fault; empty for one that was in time.
func (s Settings) advise(r []cook.Reading) string {
	g, ok := CoolingGrowth(r, s)
	if !ok {
		return ""
	}
	return fmt.Sprintf("; advisory, never a reason to relax the rule: C. perfringens in uncured meat may have grown by about %.1f log10 (%.1f to %.1f by the lag "+
		"assumed, and about 1 more of scatter; the law allows at most 1)", g.Likely, g.Low, g.High)
}
