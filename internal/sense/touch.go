package sense

import (
	"math"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// How far back Touched looks, and what counts as a touch by which a person says which probe is meant. Choices of this project: a hand warms
// a probe from the room's 20 °C by ten degrees within a minute; the air in a kitchen does not move one by three.
const (
	TouchWindow = 3 * time.Minute
	touchLeast  = 3.0 // K
	touchClear  = 2.0 // how many times larger than the next one's the change must be
)

// Touch is a probe whose reading jumps.
type Touch struct {
	Probe    cook.ProbeID
	From, To thermal.Celsius
}

// Touched finds the probe that somebody holds in a hand, by the readings of each probe within the window in order of time:
// the one whose newest reading lies farthest from an earlier one of its own, if it is far and no other's is half as far.
func Touched(recent map[cook.ProbeID][]cook.Reading) (Touch, bool) {
	var best Touch
	var most, next float64
	for id, readings := range recent {
		t, moved := jump(readings)
		t.Probe = id
		switch {
		case moved > most:
			best, most, next = t, moved, most
		case moved > next:
			next = moved
		}
	}
	return best, most >= touchLeast && most >= touchClear*next
}

// jump is the largest difference between the newest good reading and one before it, in kelvins.
func jump(readings []cook.Reading) (t Touch, moved float64) {
	last := -1
	for i, r := range readings {
		if r.Quality == cook.Good {
			last = i
		}
	}
	if last < 0 {
		return t, 0
	}
	t.To = readings[last].Celsius
	for _, r := range readings[:last] {
		if d := math.Abs(float64(t.To - r.Celsius)); r.Quality == cook.Good && d > moved {
			t.From, moved = r.Celsius, d
		}
	}
	return t, moved
}
