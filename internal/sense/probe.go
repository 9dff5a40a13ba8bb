package sense

import (
	"math"
	"slices"
	"time"

	"stallkeeper/internal/cook"
)

// probe is the course of one probe.
type probe struct {
	id    cook.ProbeID
	place Place
	found []Finding // at present, by kind

	newest  time.Time
	levels  []level // one a minute, ascending, the last remember
	window  []point // good readings of the last five minutes, at most five
	quality []mark  // bad readings of the last jumpyFor
	ring    [ringSize]cook.Quality
	seen    int

	value   float64   // newest good value, and since when and how often in a row it stands
	since   time.Time //
	same    int
	changes int // values that differed from the one before, ever
	highest float64
	lowest  float64

	diff   float64 // last difference between neighbours
	diffAt time.Time
	rough  []float64 // newest second differences
	quiet  float64   // their median when the probe was at its quietest, NaN before it is known

	worked time.Time // a hand was on it
}

type point struct {
	at time.Time
	c  float64
}

// level is the median of a minute's readings.
type level struct {
	minute int64 // Unix time in minutes
	c      float64
}

type mark struct {
	at time.Time
	q  cook.Quality
	c  float64
}

// Sizes. Choices of this project.
const (
	remember  = 3 * 60 // minutes of levels
	ringSize  = 5
	jumpyFor  = 2 * time.Hour
	maxMarks  = 500
	roughness = 60 // second differences in a window
)

func newProbe(id cook.ProbeID, p Place) *probe {
	return &probe{id: id, place: p, quiet: math.NaN(), highest: math.Inf(-1), lowest: math.Inf(1)}
}

// add takes a reading that is newer than all before.
func (p *probe) add(r cook.Reading) {
	p.newest = r.Time
	p.ring[p.seen%ringSize] = r.Quality
	p.seen++
	v := float64(r.Celsius)
	if r.Quality != cook.Good {
		p.quality = append(p.quality, mark{r.Time, r.Quality, v})
		if len(p.quality) > maxMarks {
			p.quality = slices.Delete(p.quality, 0, 1)
		}
	}
	for len(p.quality) > 0 && r.Time.Sub(p.quality[0].at) > jumpyFor {
		p.quality = slices.Delete(p.quality, 0, 1)
	}
	if r.Quality != cook.Good {
		return
	}
	p.stand(r.Time, v)
	p.roughen(r, v)
	p.window = append(p.window, point{r.Time, v})
	for len(p.window) > ringSize || r.Time.Sub(p.window[0].at) > 5*time.Minute {
		p.window = slices.Delete(p.window, 0, 1)
	}
	now := level{r.Time.Unix() / 60, median(p.window)}
	if n := len(p.levels); n > 0 && p.levels[n-1].minute == now.minute {
		p.levels[n-1] = now
		return
	}
	p.levels = append(p.levels, now)
	for now.minute-p.levels[0].minute > remember {
		p.levels = slices.Delete(p.levels, 0, 1)
	}
}

// stand counts how long the very same value stands.
func (p *probe) stand(at time.Time, v float64) {
	p.highest, p.lowest = max(p.highest, v), min(p.lowest, v)
	if p.same > 0 && v == p.value {
		p.same++
		return
	}
	if p.same > 0 {
		p.changes++
	}
	p.value, p.since, p.same = v, at, 1
}

// roughen notes the second difference of neighbours that are close in time: a straight course has none, noise has.
func (p *probe) roughen(r cook.Reading, v float64) {
	if n := len(p.window); n > 0 && r.Clock != cook.HandClock {
		last := p.window[n-1]
		d := v - last.c
		if p.diffAt.Equal(last.at) && r.Time.Sub(last.at) <= 2*time.Minute {
			p.rough = append(p.rough, math.Abs(d-p.diff))
			if len(p.rough) > roughness {
				p.rough = slices.Delete(p.rough, 0, 1)
			}
		}
		p.diff, p.diffAt = d, r.Time
	} else {
		p.diffAt = time.Time{}
	}
}

func median(points []point) float64 {
	values := make([]float64, 0, ringSize)
	for _, q := range points {
		values = append(values, q.c)
	}
	return middle(values)
}

// middle sorts the values and gives their median.
func middle(values []float64) float64 {
	slices.Sort(values)
	n := len(values)
	return (values[n/2] + values[(n-1)/2]) / 2
}

// at gives the level of a minute, or of one of the three before it.
func (p *probe) at(minute int64) (float64, bool) {
	i, found := slices.BinarySearchFunc(p.levels, minute, func(l level, m int64) int { return int(l.minute - m) })
	if !found {
		i--
	}
	if i < 0 || minute-p.levels[i].minute > 3 {
		return 0, false
	}
	return p.levels[i].c, true
}

// now is the newest level; ok is false when the probe has been silent for more than three minutes before the minute.
func (p *probe) now(minute int64) (float64, bool) { return p.at(minute) }

// find sets or clears a finding. Since is kept while it stands.
func (p *probe) find(k Kind, holds bool, since time.Time, because func() string) {
	i := slices.IndexFunc(p.found, func(f Finding) bool { return f.Kind == k })
	switch {
	case holds && i >= 0:
		p.found[i].Because = because()
	case holds:
		p.found = append(p.found, Finding{Kind: k, Since: since, Because: because()})
	case i >= 0:
		p.found = slices.Delete(p.found, i, i+1)
	}
}

func (p *probe) has(k Kind) bool {
	return slices.ContainsFunc(p.found, func(f Finding) bool { return f.Kind == k })
}

// touched reports whether somebody had a hand on the probe within the span before its newest reading.
func (p *probe) touched(d time.Duration) bool {
	return !p.worked.IsZero() && p.newest.Sub(p.worked) < d
}
