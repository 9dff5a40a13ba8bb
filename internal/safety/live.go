package safety

import (
	"fmt"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// Progress is how a limit stands in the middle of a stage: a verdict that may still be open.
type Progress struct {
	Verdict
	Open   bool          // nothing is decided and nothing is missing; Outcome is Unknown until something is
	Used   time.Duration // measured time that counts against the limit, or towards a dwell
	Unseen time.Duration // in intervals without readings, and perhaps to be added
	Within time.Duration // what Used is held against
	Since  time.Time     // it runs since then; zero while it does not
	Began  time.Time     // of an excursion or a gap: when; zero for a limit that counts from the stage's beginning
}

// Due is when Used reaches Within if nothing changes after at; zero while the clock does not run.
func (p Progress) Due(at time.Time) time.Time {
	if p.Since.IsZero() || p.Within == 0 {
		return time.Time{}
	}
	return at.Add(max(p.Within-p.Used, 0))
}

// steps joins the good readings of one probe to intervals, in the order of their time. What is not newer is left out.
type steps struct {
	s           Settings
	first, last cook.Reading
	begun, gap  bool          // gap: some interval was too long
	unseen      time.Duration // in such intervals
}

// add reports whether the reading counts, and the interval before it: none (0) for the first.
func (t *steps) add(r cook.Reading) (prev cook.Reading, step time.Duration, gap, ok bool) {
	if r.Quality != cook.Good || r.Retained || t.begun && !r.Time.After(t.last.Time) {
		return prev, 0, false, false
	}
	prev, t.last = t.last, r
	if !t.begun {
		t.begun, t.first = true, r
		return r, 0, false, true
	}
	step = r.Time.Sub(prev.Time)
	if gap = step > t.s.maxGap(); gap {
		t.gap = true
		t.unseen += step
	}
	return prev, step, gap, true
}

// Cooking follows one probe of a piece while it is cooked: the dwell table and the come-up clock. It agrees with the verdicts on
// the same readings as a whole, and its memory does not grow. Not for several goroutines.
type Cooking struct {
	steps
	table  Table
	intact bool
	totals []time.Duration
	lethal time.Time // a row is reached; zero before
	row    Row

	took, surely time.Duration // between 50 and 130 °F until lethal: with and without long intervals
	missing      bool          // a long interval lies before lethal
	heated       bool          // has reached 130 °F
	since        time.Time     // in the window since; zero outside
}

// NewCooking begins with the first reading that it is given.
func NewCooking(table Table, intact bool, s Settings) *Cooking {
	return &Cooking{steps: steps{s: s}, table: table, intact: intact, totals: make([]time.Duration, len(table.Rows))}
}

// Add takes the next reading.
func (c *Cooking) Add(r cook.Reading) {
	prev, step, gap, ok := c.add(r)
	if !ok || !c.lethal.IsZero() && prev.Time.After(c.lethal) {
		return
	}
	hot := c.s.asHot(r)
	c.heated = c.heated || hot >= comeUpTo
	c.missing = c.missing || gap
	if step > 0 {
		c.comeUp(prev, r, step, gap)
	}
	for i, row := range c.table.Rows {
		c.dwell(i, row, prev, r, step, gap)
	}
}

func (c *Cooking) comeUp(prev, r cook.Reading, step time.Duration, gap bool) {
	below := c.s.asCold(prev) <= comeUpFrom && c.s.asCold(r) <= comeUpFrom
	above := c.s.asHot(prev) >= comeUpTo && c.s.asHot(r) >= comeUpTo
	if below || above {
		c.since = time.Time{}
		return
	}
	if c.since.IsZero() {
		c.since = prev.Time
	}
	c.took += step
	if !gap {
		c.surely += step
	}
}

func (c *Cooking) dwell(i int, row Row, prev, r cook.Reading, step time.Duration, gap bool) {
	if c.s.asHot(r) < row.Fahrenheit {
		return
	}
	reached := func(at time.Time) {
		if c.lethal.IsZero() || at.Before(c.lethal) {
			c.lethal, c.row = at, row
		}
	}
	switch {
	case row.Dwell == 0:
		reached(r.Time)
	case step == 0 || gap || c.s.asHot(prev) < row.Fahrenheit:
	case c.totals[i]+step >= row.Dwell:
		reached(prev.Time.Add(row.Dwell - c.totals[i]))
	default:
		c.totals[i] += step
	}
}

// Gap reports whether an interval that counts was too long to know what happened in it.
func (c *Cooking) Gap() bool { return c.missing }

// Cooked is the row of the table that is nearest to being reached, or the one that was.
func (c *Cooking) Cooked() Progress {
	p := Progress{Verdict: Verdict{Rule: Dwell, Source: c.table.Source, Needed: needs(c.table, c.s)}}
	if !c.lethal.IsZero() {
		p.Outcome, p.At, p.Used, p.Within = Met, c.lethal, c.row.Dwell, c.row.Dwell
		p.Measured = fmt.Sprintf("%s at or above %s", when.Exact(c.row.Dwell), fahrenheit(c.row.Fahrenheit))
		p.Because = fmt.Sprintf("the row %s needs %s, reached by probe %s", fahrenheit(c.row.Fahrenheit), when.Exact(c.row.Dwell), c.last.Probe)
		return p
	}
	p.Outcome, p.Open = Unknown, true
	best, share := Row{}, -1.0
	for i, row := range c.table.Rows {
		if q := c.totals[i].Seconds() / max(row.Dwell.Seconds(), 1); q > share && row.Dwell > 0 {
			best, share, p.Used, p.Within = row, q, c.totals[i], row.Dwell
		}
	}
	p.At = c.last.Time
	p.Measured = fmt.Sprintf("%s at or above %s", when.Exact(p.Used), fahrenheit(best.Fahrenheit))
	p.Because = fmt.Sprintf("no row of the table is reached yet by probe %s", c.last.Probe)
	if c.begun && c.s.asHot(c.last) >= c.table.Rows[0].Fahrenheit {
		p.Since = c.last.Time
	}
	return p
}

// ComeUp is the clock between 50 and 130 °F: it runs until the table is met.
func (c *Cooking) ComeUp() Progress {
	limit := c.s.comeUpLimit()
	p := Progress{Verdict: Verdict{Rule: ComeUp, Outcome: Unknown, Source: comeUpSource, Needed: comeUpNeeded(limit), At: c.last.Time, Measured: when.Exact(c.surely)},
		Used: c.surely, Unseen: c.took - c.surely, Within: limit}
	lethal := !c.lethal.IsZero()
	running := !lethal && (!c.begun || c.s.asHot(c.last) < comeUpTo)
	if running && !c.since.IsZero() {
		p.Since = c.since
	}
	probe := c.last.Probe
	switch {
	case c.surely > limit && c.intact:
		p.Because = fmt.Sprintf("probe %s has needed %s; the piece is intact, so its surface may be judged instead, with support, and no surface is measured", probe, when.Exact(c.surely))
	case c.surely > limit:
		p.Outcome, p.Because = Missed, fmt.Sprintf("probe %s has needed %s", probe, when.Exact(c.surely))
	case c.missing:
		p.Because = fmt.Sprintf("more than %s without readings lie in the come-up of probe %s", when.Exact(c.s.maxGap()), probe)
	case running:
		p.Open, p.Because = true, fmt.Sprintf("probe %s has spent %s between 50 and 130 °F (10 and 54.4 °C)", probe, when.Exact(c.surely))
	case c.s.asCold(c.first) > comeUpFrom:
		p.Because = fmt.Sprintf("the readings of probe %s begin at %s, above 50 °F (10 °C): how long it had been warm before is not known", probe, celsius(c.first.Celsius))
	default:
		p.Outcome, p.Because = Met, fmt.Sprintf("probe %s needed %s", probe, when.Exact(c.surely))
	}
	return p
}

// RuleOfThumb says that the limit is common practice and published by no authority. One that a shop has made stricter is its own.
func (p Progress) RuleOfThumb() bool { return p.Source == dangerSource && p.Within >= dangerPublished }

// Lukewarm follows the danger zone of one probe over all stages that it is fed.
type Lukewarm struct {
	steps
	low, high float64 // °C
	total     time.Duration
	since     time.Time
	missed    time.Time
	out       time.Time // out of the cold since; zero: not known
}

// NewLukewarm counts between 5 and 57 °C, as the rule danger-zone-4h does.
func NewLukewarm(s Settings) *Lukewarm { return &Lukewarm{steps: steps{s: s}, low: 5, high: 57} }

// Widen counts between other temperatures: a shop may be stricter, never looser.
func (l *Lukewarm) Widen(low, high thermal.Celsius) {
	l.low, l.high = min(l.low, float64(low)), max(l.high, float64(high))
}

// Out says since when the meat has been out of the cold. What passes until the first reading is not known then, and is said to be.
func (l *Lukewarm) Out(since time.Time) { l.out = since }

// Anew forgets what was read before: the probe was put into the meat only now, and what was before is not known.
func (l *Lukewarm) Anew() {
	*l = Lukewarm{steps: steps{s: l.s}, low: l.low, high: l.high, out: l.out}
}

// Add takes the next reading.
func (l *Lukewarm) Add(r cook.Reading) {
	prev, step, gap, ok := l.add(r)
	if ok && step == 0 && !l.out.IsZero() && r.Time.Sub(l.out) > l.s.maxGap() {
		l.gap = true
		l.unseen += r.Time.Sub(l.out)
	}
	if !ok || step == 0 {
		return
	}
	a, b, slack := float64(prev.Celsius), float64(r.Celsius), float64(l.s.InstrumentError)
	if max(a, b)+slack <= l.low || min(a, b)-slack >= l.high {
		l.since = time.Time{}
		return
	}
	if gap {
		return
	}
	if l.since.IsZero() {
		l.since = prev.Time
	}
	l.total += step
	if l.total > l.s.dangerLimit() && l.missed.IsZero() {
		l.missed = r.Time
	}
}

// span names the zone.
func (l *Lukewarm) span() string { return zoneWords(thermal.Celsius(l.low), thermal.Celsius(l.high)) }

// Progress tells how the clock stands. It is never Met: the next stage may use up what is left.
func (l *Lukewarm) Progress() Progress {
	limit := l.s.dangerLimit()
	p := Progress{Verdict: Verdict{Rule: DangerZone, Outcome: Unknown, Source: dangerSource, At: l.last.Time, Measured: when.Exact(l.total),
		Needed: fmt.Sprintf("at most %s between %s", when.Exact(limit), l.span())}, Used: l.total, Unseen: l.unseen, Within: limit, Since: l.since}
	p.Because = fmt.Sprintf("probe %s has spent %s between %s", l.last.Probe, when.Exact(l.total), l.span())
	switch {
	case !l.missed.IsZero():
		p.Outcome, p.At = Missed, l.missed
	case l.gap:
		p.Because += fmt.Sprintf("; %s without readings are not counted", when.Exact(l.unseen))
	default:
		p.Open = true
	}
	return p
}
