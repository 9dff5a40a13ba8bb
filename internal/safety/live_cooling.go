package safety

import (
	"fmt"
	"math"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// Chilling follows one probe of a piece through a cooling rule. It agrees with the verdict on the same readings as a whole.
type Chilling struct {
	steps
	rule   CoolingRule
	legs   []leg
	top    float64        // hottest, °F
	hidden bool           // a long interval since the piece was surely heated again: it may have been hot and cold in it
	recent []cook.Reading // the last 20 minutes, to see a probe that was pulled
}

// leg is one stage of the rule on the way.
type leg struct {
	Stage
	start, next cook.Reading // the clock's start, and the reading after it
	after       int          // readings after the start, 2 = two or more
	seen, armed bool         // the start was measured; a hot reading would set the clock back
	reached     bool
	end, before cook.Reading // the newest that counts, and the one before it
	gap         bool         // a long interval lies before end
	pulled      time.Time    // the probe was pulled out between start and end
	fall        float64
}

// NewChilling begins with the first reading that it is given.
func NewChilling(rule CoolingRule, s Settings) *Chilling {
	c := &Chilling{steps: steps{s: s}, rule: s.stricter(rule), top: math.Inf(-1)}
	for _, stage := range c.rule.Stages {
		c.legs = append(c.legs, leg{Stage: stage, armed: true})
	}
	return c
}

// Add takes the next reading.
func (c *Chilling) Add(r cook.Reading) {
	_, step, gap, ok := c.add(r)
	if !ok {
		return
	}
	if c.hidden = c.hidden || gap; c.s.asHot(r) >= reheatedF {
		c.hidden = false
	}
	c.recent = append(c.recent, r)
	for len(c.recent) > 2 && r.Time.Sub(c.recent[1].Time) > pulledWithin {
		c.recent = c.recent[1:]
	}
	rearm := r.Celsius.Fahrenheit() >= c.top || r.Celsius.Fahrenheit() >= reheatedF
	c.top = max(c.top, r.Celsius.Fahrenheit())
	for i := range c.legs {
		c.legs[i].add(c, r, rearm, step == 0)
	}
}

func (l *leg) add(c *Chilling, r cook.Reading, rearm, first bool) {
	f := r.Celsius.Fahrenheit()
	l.armed = l.armed || rearm
	if hot := c.s.asHot(r) >= l.FromF && l.armed; hot || first {
		*l = leg{Stage: l.Stage, start: r, end: r, before: r, seen: hot, armed: l.armed, gap: c.hidden}
		return
	}
	if f < l.FromF {
		l.armed = false
	}
	if l.reached {
		return
	}
	l.after = min(l.after+1, 2)
	if l.after == 1 {
		l.next = r
	}
	l.before, l.end, l.gap = l.end, r, c.hidden
	if l.pulled.IsZero() {
		l.pullOut(c.recent, r)
	}
	l.reached = c.s.asCold(r) <= l.ToF
}

// pullOut looks for a fall that meat cannot make since the start of the clock.
func (l *leg) pullOut(recent []cook.Reading, r cook.Reading) {
	if r.Celsius.Fahrenheit() >= comeUpTo {
		return
	}
	for k := len(recent) - 2; k >= 0 && !recent[k].Time.Before(l.start.Time); k-- {
		dt, drop := r.Time.Sub(recent[k].Time), float64(recent[k].Celsius-r.Celsius)
		if drop >= 20 && (k == len(recent)-2 || drop >= 5*dt.Minutes()) {
			l.pulled, l.fall = r.Time, drop
			return
		}
	}
}

// Pulled reports whether the probe seems to have been pulled out of the meat.
func (c *Chilling) Pulled() bool {
	for i := range c.legs {
		if !c.legs[i].pulled.IsZero() {
			return true
		}
	}
	return false
}

// Legs gives the clock of each leg of the rule. A leg that has not begun is open and does not run.
func (c *Chilling) Legs() []Progress {
	out := make([]Progress, 0, len(c.legs))
	for i := range c.legs {
		out = append(out, c.legs[i].progress(c))
	}
	return out
}

func (l *leg) progress(c *Chilling) Progress {
	p := Progress{Verdict: Verdict{Rule: Cooling, Outcome: Unknown, Source: c.rule.Source, Needed: l.needed(), At: l.end.Time}, Within: l.Within}
	probe := c.last.Probe
	if !l.begun(c) {
		p.Open = true
		p.Because = fmt.Sprintf("probe %s has not begun to fall below %s", probe, fahrenheit(l.FromF))
		return p
	}
	took := l.end.Time.Sub(l.start.Time)
	surely := l.end.Time.Sub(l.next.Time)
	if l.reached {
		surely = l.before.Time.Sub(l.next.Time)
		if l.after < 2 {
			surely = 0
		}
	}
	p.Used, p.Measured = took, when.Exact(took)
	if !l.reached {
		p.Since = l.start.Time
	}
	switch {
	case !l.pulled.IsZero():
		p.At, p.Because = l.pulled, fmt.Sprintf("probe %s fell by %.0f °C faster than meat can, or with no reading between to tell: it may have been pulled out and read the air", probe, l.fall)
	case took > l.Within && (surely > l.Within || !l.gap):
		p.Outcome, p.Because = Missed, fmt.Sprintf("probe %s needed more than %s", probe, when.Exact(l.Within))
	case !l.reached && l.gap:
		p.Unseen = c.unseen
		p.Because = fmt.Sprintf("more than %s without readings lie in or before the cooling of probe %s", when.Exact(c.s.maxGap()), probe)
	case !l.reached:
		p.Open, p.Because = true, fmt.Sprintf("probe %s is on its way down to %s", probe, fahrenheit(l.ToF))
	case !l.seen:
		p.Because = fmt.Sprintf("the readings of probe %s begin below %s, or not surely above it: when the clock began is not known", probe, fahrenheit(l.FromF))
	case l.gap:
		p.Unseen = c.unseen
		p.Because = fmt.Sprintf("more than %s without readings lie in or before the cooling of probe %s", when.Exact(c.s.maxGap()), probe)
	default:
		p.Outcome, p.Because = Met, fmt.Sprintf("probe %s needed %s", probe, when.Exact(took))
	}
	return p
}

// begun reports whether the leg's clock runs or ran: after a measured start, or where the readings begin warm and fall.
func (l *leg) begun(c *Chilling) bool {
	if l.after == 0 {
		return false
	}
	first := c.first.Celsius
	return l.seen || first.Fahrenheit() >= warmF && c.last.Celsius < first-5 && c.top <= first.Fahrenheit()+2
}
