package form

import "stallkeeper/estimator/thermal"

// Cut is what the form proposes for a cut.
type Cut struct {
	Cut    string
	Target thermal.Celsius
	Least  thermal.Celsius // a target below it gets a caution
	Wrap   string          // proposed wrap, "" = none
	WrapAt thermal.Celsius
}

// Least temperatures: whole-muscle meat and fish 145 °F, poultry 165 °F (FDA Food Code 3-401.11); meat that is injected,
// ground or tenderized needs 155 °F (same section), see Cut.LeastFor. "other" takes the strictest. Targets above the least, and the wraps, are
// common practice, no source.
const (
	leastWhole   thermal.Celsius = 63 // 145 °F is 62.8 °C, rounded up
	leastBroken  thermal.Celsius = 69 // 155 °F is 68.3 °C, rounded up
	leastPoultry thermal.Celsius = 74 // 165 °F is 73.9 °C, rounded up
)

var cuts = [...]Cut{
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

// Cuts are all cuts with what is proposed for them, in the order of the forms.
func Cuts() []Cut { return cuts[:] }

// UsualCut stands in an empty form.
func UsualCut() Cut { return cuts[1] }

// CutOf finds what is proposed for a cut by its name.
func CutOf(name string) (Cut, bool) {
	for _, c := range cuts {
		if c.Cut == name {
			return c, true
		}
	}
	return Cut{}, false
}

// LeastFor is the lowest target without a caution; meat that is not intact needs more.
func (c Cut) LeastFor(intact bool) thermal.Celsius {
	if !intact && c.Cut != "fish_side" {
		return max(c.Least, leastBroken)
	}
	return c.Least
}

// UsualWrapAt is the core temperature at which a cut is usually wrapped; common practice, no source.
func UsualWrapAt(cut string) thermal.Celsius {
	if d, ok := CutOf(cut); ok && d.WrapAt != 0 {
		return d.WrapAt
	}
	return 72
}
