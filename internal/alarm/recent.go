package alarm

import (
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
)

// recent is the short memory of one series: the median of the newest five readings, and one such median a minute.
type recent struct {
	newest  []point // at most five, within five minutes
	minutes []point // one a minute, ascending, the last 40 minutes
}

type point struct {
	at time.Time
	c  thermal.Celsius
}

// Choices of this project.
const (
	medianOf  = 5
	medianFor = 5 * time.Minute
	remember  = 40 * time.Minute
)

// add takes a reading and gives the level: the median of the newest readings. A time before the newest is left out.
func (r *recent) add(at time.Time, c thermal.Celsius) thermal.Celsius {
	if n := len(r.newest); n == 0 || !at.Before(r.newest[n-1].at) {
		r.newest = append(r.newest, point{at, c})
	}
	for len(r.newest) > medianOf || at.Sub(r.newest[0].at) > medianFor {
		r.newest = slices.Delete(r.newest, 0, 1)
	}
	level := point{at, r.level()}
	if n := len(r.minutes); n > 0 && !at.Truncate(time.Minute).After(r.minutes[n-1].at.Truncate(time.Minute)) {
		r.minutes[n-1] = level
	} else {
		r.minutes = append(r.minutes, level)
	}
	for at.Sub(r.minutes[0].at) > remember {
		r.minutes = slices.Delete(r.minutes, 0, 1)
	}
	return level.c
}

func (r *recent) level() thermal.Celsius {
	values := make([]thermal.Celsius, 0, medianOf)
	for _, p := range r.newest {
		values = append(values, p.c)
	}
	slices.Sort(values)
	n := len(values)
	return (values[n/2] + values[(n-1)/2]) / 2
}

// ago gives the level that long before at; false when nothing was read within the four minutes before that.
func (r *recent) ago(at time.Time, d time.Duration) (thermal.Celsius, bool) {
	when := at.Add(-d)
	for _, p := range slices.Backward(r.minutes) {
		if !p.at.After(when) {
			return p.c, when.Sub(p.at) < 4*time.Minute
		}
	}
	return 0, false
}

// Recent is the short memory of one series: its level, and what the level was a while ago. The zero value is ready.
type Recent struct{ r recent }

// Add takes a reading and gives the level: the median of the newest five within five minutes.
func (m *Recent) Add(at time.Time, c thermal.Celsius) thermal.Celsius { return m.r.add(at, c) }

// Ago gives the level that long before at, up to 40 minutes; false when nothing was read within the four minutes before that.
func (m *Recent) Ago(at time.Time, d time.Duration) (thermal.Celsius, bool) { return m.r.ago(at, d) }
