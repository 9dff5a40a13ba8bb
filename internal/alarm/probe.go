package alarm

import (
	"fmt"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// Probe watches one probe: does it speak, and can it be believed.
type Probe struct {
	set     Settings
	words   Words
	name    string // as people call it: "core" or "core (flat)"
	piece   bool
	silent  Condition
	suspect Condition

	recent recent
	bad    [medianOf]cook.Quality // the newest qualities, as a ring
	seen   int
	before thermal.Celsius // level before a jump
	jumped time.Time       // zero without one
	worked time.Time       // somebody last had a hand on the probe or the piece
}

// NewProbe watches a probe; cook and piece are empty for one that stands by itself.
func NewProbe(id cook.ProbeID, cookID int64, piece string, s Settings, w Words) *Probe {
	condition := func(k Kind, r Rule) Condition {
		return NewCondition(Alarm{ID: ID(fmt.Sprintf("%s/%s", k, id)), Kind: k, Cook: cookID, Piece: piece, Probe: string(id)}, r)
	}
	name := string(id)
	if piece != "" && piece != name {
		name = fmt.Sprintf("%s (%s)", id, piece)
	}
	return &Probe{set: s, words: w, name: name, piece: piece != "",
		silent: condition(ProbeSilent, s.ProbeSilent.Rule), suspect: condition(ProbeSuspect, s.ProbeSuspect)}
}

// Conditions lists the alarms of the probe.
func (p *Probe) Conditions() []*Condition { return []*Condition{&p.silent, &p.suspect} }

// Silent reports whether its silence is an alarm that stands.
func (p *Probe) Silent() bool { return p.silent.Standing() }

// Suspect reports whether the probe's readings are in doubt.
func (p *Probe) Suspect() bool { return p.suspect.Standing() }

// Doubtful reports whether they are, or are about to be: the on-delay runs.
func (p *Probe) Doubtful() bool { return p.suspect.Standing() || p.suspect.alarm.State == Pending }

// Patience is how long a probe with this interval between its readings may be silent.
func (s Silence) Patience(interval time.Duration) time.Duration {
	if interval <= 0 {
		return s.AtMost
	}
	return min(max(time.Duration(s.Times*float64(interval)), s.Least), s.AtMost)
}

// Hearing is how a probe has been heard, by the daemon's clock.
type Hearing struct {
	Quiet    time.Duration // since it last spoke, or since it was first waited for
	Interval time.Duration // typical between its readings; 0 = unknown
	Last     cook.Reading  // zero when it never spoke
	Patience time.Duration // how long it may be quiet
	Covered  string        // why its silence raises nothing new; empty when it does
	Fault    string        // what its conversion or its board says is wrong with it: "open circuit since 02:13"; empty when nothing is
	Cause    string        // what else is known of why it is silent: "board shed has been offline since 02:13"; empty when nothing is
	Ended    string        // why nobody waits for it any more; empty when somebody does
}

// Hear takes how the probe has been heard.
func (p *Probe) Hear(now time.Time, h Hearing) []Change {
	var out changes
	switch {
	case h.Ended != "":
		out.add(p.silent.Cover(now, h.Ended))
		return out
	case h.Covered != "":
		if !p.silent.Standing() {
			out.add(p.silent.Cover(now, h.Covered))
		}
		return out
	}
	f := Finding{Because: fmt.Sprintf("Probe %s speaks again at %s: %s.", p.name, p.words.clock(now), h.Last.Celsius)}
	if h.Quiet > h.Patience {
		f = Finding{Holds: Yes, Because: p.silence(now, h)}
	}
	out.add(p.silent.Observe(now, f))
	return out
}

// silence names the hour and no span: the sentence is read again while the silence lasts.
func (p *Probe) silence(now time.Time, h Hearing) string {
	since := "silent since " + p.words.due(now.Add(-h.Quiet), now)
	if !h.Last.Time.IsZero() {
		since = fmt.Sprintf("silent since %s, when it read %s", p.words.due(h.Last.Time, now), h.Last.Celsius)
	}
	switch {
	case h.Cause != "":
		return fmt.Sprintf("Probe %s %s: %s. Its other probes are silent with it. Look at the board's power and network.", p.name, since, h.Cause)
	case h.Fault != "":
		return fmt.Sprintf("Probe %s %s: %s. Look at its plug and cable; until it measures again %s.", p.name, since, h.Fault, p.cost())
	case h.Last.Time.IsZero():
		return fmt.Sprintf("Probe %s has not spoken since it was first waited for at %s. Look at its name, plug and battery, or correct the cook.",
			p.name, p.words.due(now.Add(-h.Quiet), now))
	case h.Interval > 0:
		return fmt.Sprintf("Probe %s %s; it used to speak every %s. Look at its plug, battery and radio.", p.name, since, when.Span(h.Interval))
	}
	return fmt.Sprintf("Probe %s %s. Look at its plug, battery and radio.", p.name, since)
}

// Worked takes note that somebody moved the probe, wrapped the piece or took it off, so a jump is no fault.
func (p *Probe) Worked(at time.Time) {
	if at.After(p.worked) {
		p.worked = at
	}
	if !p.jumped.IsZero() && at.After(p.jumped.Add(-jumpAfter)) {
		p.jumped = time.Time{}
	}
}

// What the inside of a piece cannot do. Choices of this project, but for the boiling point of water.
const (
	jumpBy    thermal.CelsiusDelta = 20 // within jumpIn
	jumpIn                         = 5 * time.Minute
	jumpAfter                      = 15 * time.Minute // a hand at the probe explains a jump for this long
	jumpUntil                      = 2 * time.Hour
	hottest   thermal.Celsius      = 103 // moist meat does not get past the boiling point
)

// Observe takes a reading of whatever quality.
func (p *Probe) Observe(r cook.Reading) []Change {
	p.bad[p.seen%medianOf] = r.Quality
	p.seen++
	var out changes
	out.add(p.suspect.Observe(r.Time, p.believe(r)))
	return out
}

func (p *Probe) believe(r cook.Reading) Finding {
	if f, ok := p.faulty(r); ok {
		return f
	}
	level := p.recent.add(r.Time, r.Celsius)
	if !p.piece {
		return p.fine(r.Time, level)
	}
	p.noteJump(r.Time, level)
	switch {
	case !p.jumped.IsZero():
		return Finding{Holds: Yes, Because: fmt.Sprintf("Probe %s jumped from %s to %s at %s, meat cannot do that: it may have slipped out. "+
			"Put it back into the thickest part, or log that it was moved.", p.name, p.before, level, p.words.clock(p.jumped))}
	case level > hottest:
		return Finding{Holds: Yes, Because: fmt.Sprintf("Probe %s reads %s, hotter than meat gets inside: it may hang in the pit's air or be swapped with the pit probe. "+
			"Put it into the thickest part.", p.name, level)}
	}
	return p.fine(r.Time, level)
}

func (p *Probe) fine(at time.Time, level thermal.Celsius) Finding {
	return Finding{Because: fmt.Sprintf("Probe %s is plausible again: %s at %s.", p.name, level, p.words.clock(at))}
}

// faulty judges by the newest five qualities: three bad ones hold, a single one does not let it return.
func (p *Probe) faulty(r cook.Reading) (Finding, bool) {
	n := 0
	for _, q := range p.bad[:min(p.seen, medianOf)] {
		if q != cook.Good {
			n++
		}
	}
	switch {
	case n >= 3:
		return Finding{Holds: Yes, Because: fmt.Sprintf("Probe %s gives %s, %s. Look at its plug and cable; until then %s.", p.name, r.Celsius, meaning(r.Quality), p.cost())}, true
	case r.Quality != cook.Good || n > 0 && p.suspect.Standing():
		return Finding{Holds: Between}, true
	}
	return Finding{}, false
}

// cost says what goes without a probe.
func (p *Probe) cost() string {
	if p.piece {
		return "the piece is not watched"
	}
	return "it is not used"
}

func meaning(q cook.Quality) string {
	switch q {
	case cook.PowerUp:
		return "the value of a sensor that has not measured yet"
	case cook.Open:
		return "the value of a sensor without contact"
	case cook.OutOfRange:
		return "hotter than any cook"
	case cook.Spike:
		return "a jump that cannot be"
	case cook.Stuck:
		return "the same value for far too long"
	case cook.Suspect:
		return "from a probe that failed its check"
	}
	return "now and then without contact"
}

func (p *Probe) noteJump(at time.Time, level thermal.Celsius) {
	if !p.jumped.IsZero() {
		back := thermal.CelsiusDelta(level - p.before)
		if back > -jumpBy/2 && back < jumpBy/2 || at.Sub(p.jumped) > jumpUntil {
			p.jumped, p.worked = time.Time{}, at // coming back is no jump of its own
		}
		return
	}
	before, ok := p.recent.ago(at, jumpIn)
	by := thermal.CelsiusDelta(level - before)
	if ok && (by > jumpBy || by < -jumpBy) && at.Sub(p.worked) > jumpAfter {
		p.before, p.jumped = before, at
	}
}
