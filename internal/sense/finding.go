package sense

import (
	"time"

	"stallkeeper/internal/cook"
)

// Kind is what is wrong with a probe.
type Kind string

// The kinds of findings.
const (
	Faulty    Kind = "faulty"      // values that no working sensor gives
	Jumpy     Kind = "jumpy"       // values that cannot be, now and then
	Stuck     Kind = "stuck"       // the very same value for too long
	Noisy     Kind = "noisy"       // far noisier than it was
	TooHot    Kind = "too-hot"     // hotter than meat gets inside
	OutOfMeat Kind = "out-of-meat" // warms or cools as air does
	Shallow   Kind = "shallow"     // feels within minutes what the pit's air does
	Apart     Kind = "apart"       // far from another probe of the same piece
	Swapped   Kind = "swapped"     // meat and pit probe in each other's place
	ColdPit   Kind = "cold-pit"    // the pit's probe is colder than the meat that it heats
)

// Finding is something about a probe that a person should look at.
type Finding struct {
	Kind    Kind      `json:"kind"`
	Since   time.Time `json:"since"`   // reading time at which it began to show
	Because string    `json:"because"` // what was seen, with figures, and what to do
}

// meaning says what a quality that is not good points at, and what to do.
func meaning(q cook.Quality) (what, do string) {
	switch q {
	case cook.PowerUp:
		return "the value of a sensor that lost its power for a moment", "Look at its supply wire and connector; on a long cable wire the supply pin."
	case cook.Open:
		return "the value of a broken wire or an unplugged probe", "Look at plug and cable."
	case cook.OutOfRange:
		return "hotter than any cook, as a shorted probe is", "Look for a wet plug, a crushed or burnt cable."
	case cook.Spike:
		return "a jump that cannot be", "Look for a loose plug, a chafed cable, or a cable beside mains or an igniter."
	case cook.Stuck:
		return "the same noisy value for far too long", "Restart what sends it; if it stays, the probe or its converter hangs."
	}
	return "a value in doubt", "Look at plug and cable."
}
