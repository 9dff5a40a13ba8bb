package cook

import (
	"math"
	"time"

	"stallkeeper/estimator/thermal"
)

// Limits of plausibility. Common practice, no source, except the power-up value of the DS18B20 data sheet.
const (
	powerUpValue  thermal.Celsius = 85  // register after power-on, DS18B20 data sheet
	openBelow     thermal.Celsius = -60 // converters and libraries give −127 or lower without contact
	meatAbove     thermal.Celsius = 250 // no piece is hotter inside
	anythingAbove thermal.Celsius = 600 // no pit is hotter
	powerUpMargin                 = 5.0 // a true 85.0 comes from nearby, K
)

// Judge gives each reading the quality that it shows by itself and beside what the probe gave before.
// The zero value is ready. Feed it the readings of all probes in the order in which they are to be judged.
//
// The rules here are:
//   - 85.0 is believed only from a probe that was near it just before; −127 and the like never.
//   - A jump that no probe in its place can make is a Spike, if the level before was established. When the new level
//     stays – three readings, or two minutes – somebody moved the probe, and it is believed.
//   - The very same value for far too long is Stuck, if the probe was seen to be noisy by more than its own steps before.
//     A quiet probe with coarse steps may stand still for hours, in a stall above all, and is believed.
//   - What a person read is judged by its value alone.
type Judge struct {
	Gas    map[ProbeID]bool // probes that give parts per million (RoleCO): what cannot be a temperature is theirs to say
	probes map[ProbeID]*level
}

// Quality judges one reading.
func (j *Judge) Quality(r Reading) Quality {
	if j.Gas[r.Probe] {
		if r.Celsius < 0 { // sensors show a fault, or a drifted zero, so
			return OutOfRange
		}
		return Good
	}
	if j.probes == nil {
		j.probes = map[ProbeID]*level{}
	}
	l := j.probes[r.Probe]
	if l == nil {
		l = &level{last: thermal.Celsius(math.NaN())}
		j.probes[r.Probe] = l
	}
	if q := byValue(r, l.last); q != Good {
		return q
	}
	if r.Clock == HandClock || !r.Time.After(l.at) {
		l.last = r.Celsius // nothing to compare in time with
		return Good
	}
	if !l.allows(r) {
		return Spike
	}
	if l.repeats(r) {
		return Stuck
	}
	return Good
}

// byValue judges a value beside the last good one, NaN without one.
func byValue(r Reading, last thermal.Celsius) Quality {
	limit := meatAbove
	if r.Probe.IsPit() {
		limit = anythingAbove
	}
	switch {
	case r.Celsius <= openBelow:
		return Open
	case r.Celsius > limit:
		return OutOfRange
	case r.Celsius == powerUpValue && !(math.Abs(float64(r.Celsius-last)) <= powerUpMargin):
		return PowerUp
	}
	return Good
}

// How fast a reading can change. A wet-bulb's worth of evaporation, a lid, a flame and a hand on the cable are all slower
// than this. Choices of this project.
const (
	meatJump, meatRate = 15.0, 0.1 // K, K/s: the inside of a piece, a cooler, a room
	pitJump, pitRate   = 60.0, 1.0 // the air over a fire when the lid opens or fat flares
	settledAfter       = 5         // readings in a row within these limits establish a level …
	settledFor         = time.Minute
	believeAfter       = 3 // … and so many at a new one, or so long, replace it
	believeIn          = 2 * time.Minute
)

// level is what a probe gave before, in the order of its reading times.
type level struct {
	last  thermal.Celsius // last good value
	at    time.Time       // of the last good reading with a time of its own
	run   int             // readings in a row within the limits
	since time.Time       // when that run began

	off      int             // readings in a row away from the level
	offValue thermal.Celsius // the last of them
	offAt    time.Time
	offSince time.Time // the first since the level was left

	noise noise
}

func within(r Reading, from thermal.Celsius, at time.Time) bool {
	jump, rate := meatJump, meatRate
	if r.Probe.IsPit() {
		jump, rate = pitJump, pitRate
	}
	return math.Abs(float64(r.Celsius-from)) <= jump+rate*r.Time.Sub(at).Seconds()
}

// allows takes the reading over unless it is a jump from an established level.
func (l *level) allows(r Reading) bool {
	if l.at.IsZero() || within(r, l.last, l.at) {
		if l.run == 0 {
			l.since = r.Time
		}
		l.run++
		l.accept(r)
		return true
	}
	if l.run < settledAfter || l.at.Sub(l.since) < settledFor {
		l.run, l.since = 1, r.Time
		l.accept(r)
		return true
	}
	if l.off > 0 && within(r, l.offValue, l.offAt) {
		l.off++
	} else {
		l.off = 1
	}
	if l.offSince.IsZero() {
		l.offSince = r.Time
	}
	l.offValue, l.offAt = r.Celsius, r.Time
	if l.off < believeAfter && r.Time.Sub(l.offSince) < believeIn {
		return false
	}
	l.run, l.since, l.noise = 1, r.Time, noise{}
	l.accept(r)
	return true
}

func (l *level) accept(r Reading) {
	l.last, l.at, l.off, l.offSince = r.Celsius, r.Time, 0, time.Time{}
}

// When a standing value is no honest one. A probe whose noise is half a step stands still for 60 readings once in 10^10
// (0.68^60, the normal distribution). Below 40 °C an idle probe lies in still air, where less noise may reach it.
const (
	stuckAfter = 60
	stuckFor   = 10 * time.Minute
	stuckAbove = thermal.Celsius(40)
	noisyShare = 0.02 // of readings that turn back by three steps and more
	noisySeen  = 150  // readings before this is known
	noiseOver  = 100  // readings over which it is averaged
)

// noise is how lively a probe is beside the steps in which it counts.
type noise struct {
	seen   int
	value  float64
	before float64 // difference before
	step   float64 // smallest difference seen
	share  float64 // of readings that turned back by three steps, averaged; as it was before the present value
	same   int     // readings in a row with the present value
	since  time.Time
}

// repeats takes a good reading and reports whether it is one too many of the same.
func (l *level) repeats(r Reading) bool {
	n, v := &l.noise, float64(r.Celsius)
	if n.seen == 0 {
		n.seen, n.value, n.same, n.since = 1, v, 1, r.Time
		return false
	}
	d := v - n.value
	if d == 0 {
		n.same++
		return r.Celsius > stuckAbove && n.seen >= noisySeen && n.share >= noisyShare && n.same > stuckAfter && r.Time.Sub(n.since) >= stuckFor
	}
	if size := math.Abs(d); n.step == 0 || size < n.step {
		n.step = size
	}
	turned := 0.0
	if n.same == 1 && d*n.before < 0 && math.Abs(d-n.before) > 2.9*n.step {
		turned = 1
	}
	n.share *= math.Pow(1-1.0/noiseOver, float64(n.same))
	n.share += turned / noiseOver
	n.seen += n.same
	n.value, n.before, n.same, n.since = v, d, 1, r.Time
	return false
}
