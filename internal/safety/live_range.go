package safety

import (
	"fmt"
	"math"
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// Range is what a cooler, a hot box or a freezer must stay within. An excursion of the median of the newest five readings that
// is no longer than Tolerance counts as an opened door.
type Range struct {
	Rule      Rule
	Name      string          // of the rule set
	Source    string          //
	Low, High thermal.Celsius // infinite where there is no such limit
	Tolerance time.Duration
	Settle    time.Duration // until it is first within the limits, at most this long
}

func (r Range) needed() string {
	f := func(c thermal.Celsius) string {
		return celsius(c)
	}
	text := fmt.Sprintf("between %s and %s", f(r.Low), f(r.High))
	switch {
	case math.IsInf(float64(r.Low), -1):
		text = "at or below " + f(r.High)
	case math.IsInf(float64(r.High), 1):
		text = "at or above " + f(r.Low)
	}
	return fmt.Sprintf("%s; for at most %s outside, by the median of five readings", text, when.Exact(r.Tolerance))
}

// Keeping follows one probe that must stay within a range.
type Keeping struct {
	steps
	Range
	recent  []cook.Reading
	level   thermal.Celsius // median of the newest five readings within five minutes
	settled bool
	out     time.Duration // outside, this time, in known intervals
	since   time.Time     // outside since; zero within
	total   time.Duration // outside, over all
	worst   thermal.Celsius
	lowest  thermal.Celsius // of all readings
	highest thermal.Celsius
	missed  time.Time // an excursion passed the tolerance
	began   time.Time // that excursion began
	gapFrom time.Time // the newest long interval
	gapAt   time.Time
}

// NewKeeping begins with the first reading that it is given.
func NewKeeping(r Range, s Settings) *Keeping { return &Keeping{steps: steps{s: s}, Range: r} }

// Settled reports whether it has been within its limits, or has had the time to come there.
func (k *Keeping) Settled() bool {
	return k.settled || k.begun && k.last.Time.Sub(k.first.Time) > max(k.Settle, k.Tolerance)
}

// Outside tells since when the probe is outside, by how much at worst; since is zero while it is within.
func (k *Keeping) Outside() (since time.Time, worst thermal.Celsius) { return k.since, k.worst }

// Add takes the next reading.
func (k *Keeping) Add(r cook.Reading) {
	prev, step, gap, ok := k.add(r)
	if !ok {
		return
	}
	if gap {
		k.gapFrom, k.gapAt = prev.Time, r.Time
	}
	if len(k.recent) == 0 {
		k.lowest, k.highest = r.Celsius, r.Celsius
	}
	k.lowest, k.highest = min(k.lowest, r.Celsius), max(k.highest, r.Celsius)
	k.recent = append(k.recent, r)
	for len(k.recent) > 5 || r.Time.Sub(k.recent[0].Time) > 5*time.Minute {
		k.recent = slices.Delete(k.recent, 0, 1)
	}
	k.level = median(k.recent)
	k.settled = k.settled || k.outside(0) == 0
	if k.outside(thermal.Celsius(k.s.InstrumentError)) == 0 {
		k.out, k.since = 0, time.Time{}
		return
	}
	if k.since.IsZero() {
		k.since, k.worst = r.Time, k.level
	} else if !gap {
		k.out += step
		k.total += step
	}
	if math.Abs(float64(k.level-k.middle())) > math.Abs(float64(k.worst-k.middle())) {
		k.worst = k.level
	}
	tolerance := k.Tolerance
	if !k.settled {
		tolerance = max(k.Settle, tolerance)
	}
	if k.out > tolerance && !k.began.Equal(k.since) {
		k.missed, k.began = r.Time, k.since
	}
}

func (k *Keeping) middle() thermal.Celsius {
	switch {
	case math.IsInf(float64(k.Low), -1):
		return k.High
	case math.IsInf(float64(k.High), 1):
		return k.Low
	}
	return (k.Low + k.High) / 2
}

// outside gives 1 above the range, -1 below, 0 within, an instrument's error counted against it.
func (k *Keeping) outside(e thermal.Celsius) int {
	const hair = thermal.Celsius(hair)
	switch {
	case k.level+e > k.High+hair:
		return 1
	case k.level-e < k.Low-hair:
		return -1
	}
	return 0
}

func median(r []cook.Reading) thermal.Celsius {
	values := make([]thermal.Celsius, 0, 5)
	for _, x := range r {
		values = append(values, x.Celsius)
	}
	slices.Sort(values)
	n := len(values)
	return (values[n/2] + values[(n-1)/2]) / 2
}

// Progress tells how it stands. Met is never said before the end: ask Final.
func (k *Keeping) Progress() Progress {
	p := Progress{Verdict: Verdict{Set: k.Name, Rule: k.Rule, Outcome: Unknown, Source: k.Source, Needed: k.needed(), At: k.last.Time},
		Used: k.out, Unseen: k.unseen, Within: k.Tolerance, Since: k.since}
	if !k.settled {
		p.Within = max(k.Settle, k.Tolerance)
	}
	switch {
	case !k.missed.IsZero():
		p.Outcome, p.At, p.Began = Missed, k.missed, k.began
		p.Measured = fmt.Sprintf("%s outside in all, worst %s", when.Exact(k.total), celsius(k.worst))
		p.Because = fmt.Sprintf("probe %s was outside the limits from %s for more than %s", k.last.Probe, k.s.date(k.began), when.Exact(k.Tolerance))
	case k.gap:
		p.At, p.Began = k.gapAt, k.gapFrom
		p.Measured = fmt.Sprintf("%s without readings", when.Span(k.unseen))
		p.Because = fmt.Sprintf("%s passed without readings of probe %s, the last time until %s: what happened then is not known", when.Span(k.unseen), k.last.Probe, k.s.date(k.gapAt))
	case !k.begun:
		p.Open, p.Measured, p.Because = true, "no usable reading", "nothing was measured"
	default:
		p.Open, p.Measured = true, celsius(k.level)
		p.Because = fmt.Sprintf("probe %s reads %s", k.last.Probe, celsius(k.level))
	}
	return p
}

// Final is the verdict on everything so far as if the stage ended now.
func (k *Keeping) Final() Verdict {
	p := k.Progress()
	switch {
	case !k.begun:
		p.Measured, p.Because = "no usable reading", "nothing was measured"
	case p.Open:
		p.Outcome = Met
		p.Measured = fmt.Sprintf("%s over %s", k.reached(), when.Span(k.last.Time.Sub(k.first.Time)))
		p.Because = fmt.Sprintf("probe %s stayed within the limits", k.last.Probe)
		if k.total > 0 {
			p.Measured += fmt.Sprintf(", outside for %s in all", when.Exact(k.total))
			p.Because = fmt.Sprintf("probe %s was outside the limits for %s in all, never longer at a time than is allowed", k.last.Probe, when.Exact(k.total))
		}
	}
	return p.Verdict
}

// reached writes the lowest and the highest reading.
func (k *Keeping) reached() string {
	low, high := fmt.Sprintf("%.1f", float64(k.lowest)), fmt.Sprintf("%.1f", float64(k.highest))
	if low == high {
		return celsius(k.highest)
	}
	return celsiusRange(low, "to", high, k.lowest, k.highest, 1)
}

// Over is the verdict on a stage that has ended. Where the readings begin too long after the stage, or end too long before it did, nobody
// knows what happened then.
func (k *Keeping) Over(from, until time.Time) Verdict {
	v := k.Final()
	if v.Outcome != Met {
		return v
	}
	if late := k.first.Time.Sub(from); late > k.s.maxGap() {
		v.Outcome, v.At = Unknown, k.first.Time
		v.Because = fmt.Sprintf("the readings of probe %s begin %s after the stage: what happened before is not known", k.last.Probe, when.Span(late))
	}
	if early := until.Sub(k.last.Time); early > k.s.maxGap() {
		v.Outcome, v.At = Unknown, k.last.Time
		v.Because = fmt.Sprintf("the readings of probe %s end %s before the stage: what happened after is not known", k.last.Probe, when.Span(early))
	}
	return v
}
