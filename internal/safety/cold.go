package safety

import (
	"slices"

	"stallkeeper/internal/cook"
)

const usdaCold = "USDA FSIS cold storage chart: refrigerate at 40 °F (4.4 °C) or below (the Food Code has 41 °F, 5 °C)"

// usdaColdRules judge what was kept cold after cooking by the stricter of the two standards.
func usdaColdRules(x Subject, s Settings) []Verdict {
	return fold(nil, x.Traces, func(t Trace) (Verdict, bool) { return coldHolding(t, s.coldF(40), usdaCold, s) })
}

// neverCured is the temperature at which a trace is no cooler's or curing piece's. Choice of this project.
const neverCured = 40

// curing judges a trace that never was warm as that of a curing piece or of its cooler.
func curing(x Subject, s Settings) []Verdict {
	return fold(nil, x.Traces, func(t Trace) (Verdict, bool) {
		if len(t.Readings) < 2 || slices.ContainsFunc(t.Readings, aboveCure) {
			return Verdict{}, false
		}
		k := NewKeeping(s.CureRange(), s)
		for _, r := range t.Readings {
			k.Add(r)
		}
		return k.Final(), true
	})
}

func aboveCure(r cook.Reading) bool { return r.Celsius >= neverCured }
