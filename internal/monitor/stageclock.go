package monitor

import (
	"math"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/safety"
)

// clocks are the limits of one stage as one of its probes shows them. What the stage does not need is nil.
type clocks struct {
	id    cook.ProbeID
	at    time.Time // newest reading
	level thermal.Celsius
	trend alarm.Recent

	cooking *safety.Cooking
	warm    *safety.Lukewarm // from before the stage on, where the meat was measured then
	early   cook.Reading     // newest reading from before the stage
	hot     bool             // it was hot before the stage: the probe was in the meat
	chill   *safety.Chilling
	cooled  []estimator.Sample // one a minute, of the last hour and a half: for the forecast of the cooling
	fitted  []foreseen         // that forecast, by leg of the rule; nil when there is none
	fitAt   time.Time          // the minute it was made in
	keep    *safety.Keeping
}

// add takes a reading if it is newer than what was seen, and reports whether it counts; late is set for one that is older.
func (c *clocks) add(r cook.Reading) (counts, late bool) {
	if r.Quality != cook.Good || r.Retained {
		return false, false
	}
	if !r.Time.After(c.at) {
		return false, r.Time.Before(c.at)
	}
	if c.at.IsZero() {
		c.inserted(r)
	}
	c.at, c.level = r.Time, c.trend.Add(r.Time, r.Celsius)
	if c.cooking != nil {
		c.cooking.Add(r)
	}
	if c.warm != nil {
		c.warm.Add(r)
	}
	if c.chill != nil {
		c.chill.Add(r)
		c.keepCooled()
	}
	if c.keep != nil {
		c.keep.Add(r)
	}
	return true, false
}

// precede takes a reading from before the stage, in the order of their times. It counts for the danger zone alone.
func (c *clocks) precede(r cook.Reading) {
	if c.warm == nil || r.Quality != cook.Good || r.Retained || !r.Time.After(c.early.Time) {
		return
	}
	c.inserted(r)
	c.warm.Add(r)
	c.early, c.hot = r, c.hot || r.Celsius >= lukewarmTo
}

// lukewarmTo is the upper end of the danger zone, °C (135 °F).
const lukewarmTo = 57

// inserted lets the danger zone begin anew when the probe shows something else than before, faster than meat can, and was never hot: it
// lay elsewhere, and was put into the meat only now.
func (c *clocks) inserted(r cook.Reading) {
	if c.warm == nil || c.early.Time.IsZero() || c.hot {
		return
	}
	if d := math.Abs(float64(r.Celsius - c.early.Celsius)); d > 5*notMeat && d > 5*notMeat*r.Time.Sub(c.early.Time).Minutes() {
		c.warm.Anew()
	}
}

// The forecasts of the clocks continue what was measured over this time. They are forecasts and labelled as such; those of a
// running cook come from the forecaster.
const (
	trendOver   = 30 * time.Minute
	chillAir    = 2.0  // °C, what a chilled piece goes towards (choice of this project)
	holdAir     = 20.0 // °C, what a held piece goes towards (choice of this project)
	notMeat     = 1.0  // °C a minute: a probe that falls faster is not in meat
	faintest    = 0.3  // °C over trendOver: less is no trend
	furthest    = 36 * time.Hour
	holdWarning = 45 * time.Minute // before it falls under the limit
)

// falls continues an exponential fall towards the surroundings: when the level comes down to a temperature. Zero: not within 36 h.
func (c *clocks) falls(to, towards float64) (at time.Time, ok bool) {
	before, known := c.trend.Ago(c.at, trendOver)
	if !known {
		return time.Time{}, false
	}
	now := float64(c.level)
	if now <= to {
		return c.at, true
	}
	drop := float64(before) - now
	if drop < faintest || to <= towards {
		return time.Time{}, true
	}
	rate := math.Log((float64(before)-towards)/(now-towards)) / trendOver.Hours()
	hours := math.Log((now-towards)/(to-towards)) / rate
	if hours > furthest.Hours() {
		return time.Time{}, true
	}
	return c.at.Add(time.Duration(hours * float64(time.Hour))), true
}

// rises continues a straight rise: when the level comes up to a temperature. Zero: not within 36 h.
func (c *clocks) rises(to float64) (at time.Time, ok bool) {
	before, known := c.trend.Ago(c.at, trendOver)
	if !known {
		return time.Time{}, false
	}
	rise, left := float64(c.level-before), to-float64(c.level)
	if rise < faintest {
		return time.Time{}, true
	}
	d := time.Duration(left / rise * float64(trendOver))
	if d > furthest {
		return time.Time{}, true
	}
	return c.at.Add(d), true
}

// inAir reports whether the probe falls as no meat does.
func (c *clocks) inAir() bool {
	before, known := c.trend.Ago(c.at, 5*time.Minute)
	return known && float64(before-c.level) > 5*notMeat
}
