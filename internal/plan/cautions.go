package plan

import (
	"fmt"
	"slices"
	"strings"

	"stallkeeper/estimator/thermal"
)

// Endpoints of USDA FSIS's safe minimum temperature chart, for whole pieces.
const (
	poultryLeast = thermal.Celsius((165 - 32) / 1.8)
	meatLeast    = thermal.Celsius((145 - 32) / 1.8)
)

// pitLeast is the least of the smoker temperatures USDA's smoking advice gives.
const pitLeast = thermal.Celsius((225 - 32) / 1.8)

func cautions(r Request) []string {
	var out []string
	for _, p := range r.Pieces {
		least, rule := meatLeast, "145 °F (63 °C) and 3 minutes of rest for whole cuts"
		if poultry(p.Cut) {
			least, rule = poultryLeast, "165 °F (74 °C) for poultry"
		}
		if p.Target < least-0.01 {
			out = append(out, fmt.Sprintf("%s: the target of %.0f °C is below USDA's %s: such a cook needs a dwell table and a thermometer.", p.ID, float64(p.Target), rule))
		}
	}
	if r.Pit < pitLeast-2.5 {
		out = append(out, fmt.Sprintf("A pit of %.0f °C is below the 225 to 300 °F (107 to 149 °C) of USDA's smoking advice: the meat stays long in the danger zone.", float64(r.Pit)))
	}
	if slices.ContainsFunc(r.Pieces, func(p Piece) bool { return p.Cure > 0 }) {
		out = append(out, "Curing salt is poisonous in excess: weigh it, keep it locked away and labelled. It goes into brine already cooled; no meat goes into brine above 4 °C (40 °F).",
			"Keep the cooler at or below 4.4 °C (40 °F) during the whole cure, with a probe in it; above 10 °C (50 °F) bacteria grow fast.")
	}
	return append(out, "Thermometer in the thickest part. A forecast never shows that food is safe: the measured temperature, the current rules, your local code and a licensed authority decide.")
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
