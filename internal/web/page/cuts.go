package page

import (
	"stallkeeper/estimator/thermal"
)

// cutDefault is what the form proposes for a cut.
type cutDefault struct {
	Cut    string
	Target thermal.Celsius
	Least  thermal.Celsius // a target below it gets a caution
	Wrap   string          // proposed wrap, "" = none
	WrapAt thermal.Celsius
}

// Least temperatures: whole-muscle meat and fish 145 °F, poultry 165 °F (FDA Food Code 3-401.11); meat that is injected,
// ground or tenderized needs 155 °F (same section), see leastFor. "other" takes the strictest. Targets above the least, and the wraps, are
// common practice, no source.
const (
	leastWhole   thermal.Celsius = 63 // 145 °F is 62.8 °C, rounded up
	leastBroken  thermal.Celsius = 69 // 155 °F is 68.3 °C, rounded up
	leastPoultry thermal.Celsius = 74 // 165 °F is 73.9 °C, rounded up
)

var cutDefaults = [...]cutDefault{
	{"brisket_packer", 95, leastWhole, "paper", 74},
	{"brisket_flat", 93, leastWhole, "foil", 72},
	{"brisket_flat_cured", 93, leastBroken, "foil", 72},
	{"pork_shoulder", 95, leastWhole, "", 74},
	{"beef_chuck", 95, leastWhole, "foil", 74},
	{"beef_rib", 95, leastWhole, "", 74},
	{"lamb_shoulder", 93, leastWhole, "", 72},
	{"pork_loin", 63, leastWhole, "", 0},
	{"turkey_breast", 74, leastPoultry, "", 0},
	{"turkey_whole", 74, leastPoultry, "", 0},
	{"chicken_whole", 74, leastPoultry, "", 0},
	{"fish_side", 63, leastWhole, "", 0},
	{"other", leastPoultry, leastPoultry, "", 0},
}

// usualCut stands in an empty form.
var usualCut = cutDefaults[1]

func defaultFor(cut string) (cutDefault, bool) {
	for _, d := range cutDefaults {
		if d.Cut == cut {
			return d, true
		}
	}
	return cutDefault{}, false
}

// leastFor is the lowest target without a caution.
func leastFor(d cutDefault, intact bool) thermal.Celsius {
	if !intact && d.Cut != "fish_side" {
		return max(d.Least, leastBroken)
	}
	return d.Least
}
