package alarm

import (
	"fmt"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/when"
)

// Pit watches one pit by its readings: band, falling fire, dangerous heat. Of the three that a cold fire could raise
// only one stands at a time.
type Pit struct {
	set     Settings
	words   Words
	low     Condition
	high    Condition
	falling Condition
	danger  Condition

	recent   recent
	point    thermal.Celsius // setpoint in force
	since    time.Time       // of lighting, or of the setpoint
	risen    bool            // has reached the band from below since then
	sunk     bool            // the same from above
	deep     time.Time       // far below the band since; zero when it is not
	lowSince time.Time
	hiSince  time.Time
}

// NewPit watches the pit of a cook that was lit at a time.
func NewPit(cook int64, s Settings, w Words, lit time.Time, point thermal.Celsius) *Pit {
	condition := func(k Kind, r Rule) Condition {
		return NewCondition(Alarm{ID: ID(fmt.Sprintf("%s/%d", k, cook)), Kind: k, Cook: cook}, r)
	}
	return &Pit{set: s, words: w, since: lit, point: point, sunk: true,
		low: condition(PitLow, s.PitLow.Rule), high: condition(PitHigh, s.PitHigh.Rule),
		falling: condition(PitFalling, s.PitFalling.Rule), danger: condition(PitDanger, s.PitDanger.Rule)}
}

// Conditions lists the alarms of the pit.
func (p *Pit) Conditions() []*Condition {
	return []*Condition{&p.danger, &p.falling, &p.low, &p.high}
}

// Observe takes the pit's level and the setpoint in force. When idle (nothing is on the fire) only heat is watched.
func (p *Pit) Observe(at time.Time, c, point thermal.Celsius, idle bool) []Change {
	if point != p.point {
		p.since = at
		p.risen, p.sunk = p.risen && point < p.point, p.sunk && point > p.point
		p.point = point
	}
	level := p.recent.add(at, c)
	p.risen = p.risen || level >= p.point-thermal.Celsius(p.set.PitLow.Beyond)
	p.sunk = p.sunk || level <= p.point+thermal.Celsius(p.set.PitHigh.Beyond)
	var out changes
	out.add(p.danger.Observe(at, p.heat(level)))
	if idle {
		for _, c := range []*Condition{&p.falling, &p.low, &p.high} {
			out.add(c.Cover(at, "nothing is on the fire any more"))
		}
		return out
	}
	out.add(p.falling.Observe(at, p.fall(at, level)))
	if p.falling.Standing() {
		out.add(p.low.Cover(at, "the falling pit is told already"))
	} else {
		out.add(p.low.Observe(at, p.under(at, level)))
	}
	if p.danger.Standing() {
		out.add(p.high.Cover(at, "the dangerous heat is told already"))
	} else {
		out.add(p.high.Observe(at, p.over(at, level)))
	}
	return out
}

// changes collects what happened.
type changes []Change

func (cs *changes) add(c Change, happened bool) {
	if happened {
		*cs = append(*cs, c)
	}
}

func (p *Pit) heat(level thermal.Celsius) Finding {
	warn := max(p.set.PitDanger.Warn, p.point+20)
	switch {
	case level >= p.set.PitDanger.Max:
		return Finding{Holds: Yes, Priority: High, Own: true, Because: fmt.Sprintf("Pit %s: fat may be burning. Shut the air and keep the lid closed; "+
			"salt or baking soda, never water. If it does not go down at once, keep away and call the fire service.", whole(level))}
	case level >= warn && warn < p.set.PitDanger.Max:
		return Finding{Holds: Yes, Because: fmt.Sprintf("Pit %s, setpoint %s: from about 200 °C fat can catch fire. Cut the air, keep the lid closed, "+
			"look at the drip pan. Never water on burning fat.", whole(level), whole(p.point))}
	case level > warn-10:
		return Finding{Holds: Between}
	}
	return Finding{Because: fmt.Sprintf("Pit down to %s at %s.", whole(level), p.words.clock(p.at()))}
}

func (p *Pit) at() time.Time { return p.recent.newest[len(p.recent.newest)-1].at }

// band gives Yes beyond the band's edge by gap (positive outside), No inside by the deadband, and remembers since when.
func band(gap thermal.CelsiusDelta, b PitBand, at time.Time, since *time.Time) Holds {
	switch {
	case gap > 0:
		if since.IsZero() {
			*since = at
		}
		return Yes
	case gap > -b.Deadband:
		return Between
	}
	*since = time.Time{}
	return No
}

func (p *Pit) under(at time.Time, level thermal.Celsius) Finding {
	b := p.set.PitLow
	if !p.risen && at.Sub(p.since) < b.Startup {
		return Finding{}
	}
	gap := thermal.CelsiusDelta(p.point-level) - b.Beyond
	holds := band(gap, b, at, &p.lowSince)
	switch {
	case holds == No:
		return Finding{Because: fmt.Sprintf("Pit back at %s at %s.", whole(level), p.words.clock(at))}
	case !p.low.Standing() && p.comingBack(at, level, gap):
		return Finding{Because: fmt.Sprintf("Pit %s and on its way back at %s.", whole(level), p.words.clock(at))}
	case !p.risen:
		return Finding{Holds: holds, Because: fmt.Sprintf("Pit %s, setpoint %s, %s after the start: it has not come up. Look at fuel, air and the lid.",
			whole(level), whole(p.point), when.Span(at.Sub(p.since)))}
	}
	return Finding{Holds: holds, Because: fmt.Sprintf("Pit %s, more than %.0f °C under its setpoint %s since %s. Look at fuel, air and the lid.",
		whole(level), float64(b.Beyond), whole(p.point), p.words.clock(p.lowSince))}
}

func (p *Pit) over(at time.Time, level thermal.Celsius) Finding {
	b := p.set.PitHigh
	if !p.sunk && at.Sub(p.since) < b.Startup {
		return Finding{}
	}
	holds := band(thermal.CelsiusDelta(level-p.point)-b.Beyond, b, at, &p.hiSince)
	if holds == No {
		return Finding{Because: fmt.Sprintf("Pit back at %s at %s.", whole(level), p.words.clock(at))}
	}
	return Finding{Holds: holds, Because: fmt.Sprintf("Pit %s, more than %.0f °C over its setpoint %s since %s. Close the air a little; look for dripping fat.",
		whole(level), float64(b.Beyond), whole(p.point), p.words.clock(p.hiSince))}
}

// comingBack reports whether a pit below its band climbs fast enough to be in it soon, as one does after a lid: nobody is
// needed for that.
func (p *Pit) comingBack(at time.Time, level thermal.Celsius, gap thermal.CelsiusDelta) bool {
	before, ok := p.recent.ago(at, stillFor)
	rise := thermal.CelsiusDelta(level - before)
	return ok && rise > climbs && float64(gap)*float64(stillFor) <= float64(rise)*float64(backWithin)
}

// The shape of a dying fire. A lid lets the pit fall while it is open, then it climbs; so a fire counts as dying only when
// it fell in each third of nine minutes or of half an hour, or fell and did not climb afterwards, or stayed far down.
const (
	shortThird = 3 * time.Minute
	longThird  = 10 * time.Minute
	deepFor    = 12 * time.Minute

	stillFor                        = 9 * time.Minute
	climbs     thermal.CelsiusDelta = 2 // within stillFor
	backWithin                      = 20 * time.Minute
	staysDelay                      = 3 * time.Minute
)

// fall compares the pit with itself a while ago, so a slow drift of the weather does not matter.
func (p *Pit) fall(at time.Time, level thermal.Celsius) Finding {
	s := p.set.PitFalling
	below := thermal.CelsiusDelta(p.point - level)
	if below < 2*s.Below {
		p.deep = time.Time{}
	} else if p.deep.IsZero() {
		p.deep = at
	}
	if !p.risen || below < s.Below {
		if below > s.Below-4 && p.falling.Standing() {
			return Finding{Holds: Between}
		}
		return Finding{Because: fmt.Sprintf("Pit back at %s at %s.", whole(level), p.words.clock(at))}
	}
	fast, isFast := p.fellSteadily(at, level, shortThird, s.Fall)
	slow, isSlow := p.fellSteadily(at, level, longThird, 2*s.Fall)
	isSlow = isSlow && !p.lidAtEnd(at, level, slow)
	const todo = "The fire may be dying: add fuel or open the air, then keep the lid closed."
	switch {
	case isFast:
		return Finding{Holds: Yes, Because: fmt.Sprintf("Pit %s and falling, %.0f °C in the last 9 min, setpoint %s. %s", whole(level), float64(fast), whole(p.point), todo)}
	case isSlow:
		return Finding{Holds: Yes, Because: fmt.Sprintf("Pit %s and falling, %.0f °C in the last 30 min, setpoint %s. %s", whole(level), float64(slow), whole(p.point), todo)}
	case !p.deep.IsZero() && at.Sub(p.deep) >= deepFor:
		return Finding{Holds: Yes, Own: true, Because: fmt.Sprintf("Pit %s, far under its setpoint %s since %s. %s", whole(level), whole(p.point), p.words.clock(p.deep), todo)}
	case p.stays(at, level):
		return Finding{Holds: Yes, Own: true, OnDelay: staysDelay, Because: fmt.Sprintf("Pit %s, setpoint %s: it fell within half an hour and does not climb again. %s", whole(level), whole(p.point), todo)}
	case p.falling.Standing():
		return Finding{Holds: Between}
	}
	return Finding{}
}

// lidAtEnd reports whether most of a slow fall came in its newest third, as when a lid is opened over a fire that sags a little.
func (p *Pit) lidAtEnd(at time.Time, level thermal.Celsius, total thermal.CelsiusDelta) bool {
	before, ok := p.recent.ago(at, longThird)
	return ok && thermal.CelsiusDelta(before-level) > 0.6*total
}

// stays reports whether the pit fell by as much as a slow dying within half an hour and has not climbed since: what a lid
// brings down comes up again when it is shut.
func (p *Pit) stays(at time.Time, level thermal.Celsius) bool {
	high, long := p.recent.ago(at, 3*longThird)
	newer, short := p.recent.ago(at, stillFor)
	fell := thermal.CelsiusDelta(high-level) >= 2*p.set.PitFalling.Fall
	last, now := p.recent.ago(at, shortThird)
	climbing := !now || thermal.CelsiusDelta(level-last) > climbs/2 || thermal.CelsiusDelta(level-newer) > climbs
	return long && short && fell && !climbing && thermal.CelsiusDelta(p.point-newer) >= p.set.PitFalling.Below
}

// fellSteadily reports the fall over three spans, and whether each of them had its share.
func (p *Pit) fellSteadily(at time.Time, level thermal.Celsius, span time.Duration, least thermal.CelsiusDelta) (thermal.CelsiusDelta, bool) {
	newer, total := level, thermal.CelsiusDelta(0)
	for i := range 3 {
		older, ok := p.recent.ago(at, span*time.Duration(i+1))
		if !ok || thermal.CelsiusDelta(older-newer) < least/6 {
			return 0, false
		}
		total += thermal.CelsiusDelta(older - newer)
		newer = older
	}
	return total, total >= least
}
