package alarm

import (
	"fmt"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/when"
)

// Piece watches one piece: is it ready, will it make the serving hour, how long has it been lukewarm.
type Piece struct {
	set    Settings
	words  Words
	name   string
	intact bool
	ready  Condition
	wrap   Condition
	serve  Condition
	danger Condition

	recent recent
	last   point
	dwell  time.Duration
	plan   WrapPlan
	off    bool
}

// WrapPlan is a wrap that is intended and not yet done: at an hour, or else at a core temperature. Empty With is none.
type WrapPlan struct {
	With string
	Core thermal.Celsius
	At   time.Time
}

// NewPiece watches a piece of a cook. The danger zone is watched for an intact piece too, at the lower priority.
func NewPiece(cookID int64, name string, intact bool, s Settings, w Words) *Piece {
	dwell := s.DangerZone.Rule
	if intact {
		dwell.Priority = s.DangerZone.Intact
	}
	condition := func(k Kind, r Rule) Condition {
		return NewCondition(Alarm{ID: ID(fmt.Sprintf("%s/%d/%s", k, cookID, name)), Kind: k, Cook: cookID, Piece: name}, r)
	}
	return &Piece{set: s, words: w, name: name, intact: intact, ready: condition(PieceReady, s.PieceReady),
		wrap: condition(WrapDue, s.WrapDue), serve: condition(ServeAtRisk, s.ServeAtRisk.Rule), danger: condition(DangerZone, dwell)}
}

// Conditions lists the alarms of the piece.
func (p *Piece) Conditions() []*Condition {
	return []*Condition{&p.ready, &p.wrap, &p.serve, &p.danger}
}

// Plan takes the wrap that is still to be done.
func (p *Piece) Plan(w WrapPlan) { p.plan = w }

func (p *Piece) wrapDue(at time.Time, target thermal.Celsius) Finding {
	w, level := p.plan, p.last.c
	due := w.With != "" && level < target
	if w.At.IsZero() {
		if due && level < w.Core && level >= w.Core-wrapDeadband {
			return Finding{Holds: Between}
		}
		due = due && level >= w.Core
	} else {
		due = due && !at.Before(w.At)
	}
	if !due {
		return Finding{Because: fmt.Sprintf("%s is wrapped, or not to be wrapped any more.", p.name)}
	}
	return Finding{Holds: Yes, Because: fmt.Sprintf("%s is at %s: its planned wrap in %s is due. Wrap it and log it, or change the plan.", p.name, level, w.With)}
}

// wrapDeadband is how far a core may sink in the stall without its wrap being undue. Choice of this project.
const wrapDeadband = 3

// Dwell is the measured time in the danger zone so far.
func (p *Piece) Dwell() time.Duration { return p.dwell }

// Off takes note that the piece was taken off the fire, or put back.
func (p *Piece) Off(at time.Time, off bool) []Change {
	if off == p.off {
		return nil
	}
	p.off = off
	var out changes
	if off {
		for _, c := range p.Conditions() {
			out.add(c.Cover(at, p.name+" was taken off"))
		}
	}
	return out
}

// Observe takes a measured core temperature. Between two measurements the temperature is taken to change evenly,
// however long the gap: a gap is never counted as fine.
func (p *Piece) Observe(at time.Time, c thermal.Celsius) []Change {
	if p.off || !at.After(p.last.at) {
		return nil
	}
	level := p.recent.add(at, c)
	if !p.last.at.IsZero() {
		p.dwell += within(p.set.DangerZone, p.last.c, level, at.Sub(p.last.at))
	}
	p.last = point{at, level}
	var out changes
	out.add(p.danger.Observe(at, p.lukewarm(level)))
	return out
}

// within is the share of d that a straight line from a to b spends between the limits.
func within(z Dwell, a, b thermal.Celsius, d time.Duration) time.Duration {
	lo, hi := min(a, b), max(a, b)
	if lo == hi {
		if lo >= z.From && lo < z.To {
			return d
		}
		return 0
	}
	share := float64(min(hi, z.To)-max(lo, z.From)) / float64(hi-lo)
	return time.Duration(max(share, 0) * float64(d))
}

func (p *Piece) lukewarm(level thermal.Celsius) Finding {
	z := p.set.DangerZone
	inside := level >= z.From && level < z.To
	switch {
	case !inside:
		return Finding{Because: fmt.Sprintf("%s %s: out of %.0f to %s after %s.", p.name, level, float64(z.From), whole(z.To), when.Span(p.dwell))}
	case p.dwell < z.Longest:
		return Finding{}
	}
	todo := "Raise the pit, and decide by the published rules whether it may be kept."
	if p.intact {
		todo = "It is marked as intact. If it was pierced, rolled or injected after all: raise the pit, and decide by the published rules whether it may be kept."
	}
	return Finding{Holds: Yes, Because: fmt.Sprintf("%s has been between %.0f and %s for %s, now %s; common practice is at most %s. %s",
		p.name, float64(z.From), whole(z.To), when.Span(p.dwell), level, when.Span(z.Longest), todo)}
}

// Outlook is what a forecast says about a piece.
type Outlook struct {
	Core     thermal.Celsius
	Target   thermal.Celsius
	Ready    time.Time // measured; zero when it is not ready
	ServeBy  time.Time // zero without a serving hour
	Chance   float64   // P(ready by ServeBy)
	Early    time.Time // of the band; zero when not within the horizon
	Middle   time.Time
	Late     time.Time
	Advice   string // what would reach the hour; empty when nothing was found
	Wait     bool   // whatever is to be done may as well be done an hour later
	Doubtful bool   // the probe cannot be believed just now
}

// coolBy is how far a ready piece cools before its alarm returns: somebody has taken it off. Choice of this project.
const coolBy = 5

// Forecast takes what a forecast says. While the probe is in doubt nothing new is raised from it.
func (p *Piece) Forecast(at time.Time, o Outlook) []Change {
	if p.off || o.Doubtful {
		return nil
	}
	var out changes
	out.add(p.wrap.Observe(at, p.wrapDue(at, o.Target)))
	if level := p.last.c; o.Ready.IsZero() || level < o.Target-coolBy {
		out.add(p.ready.Observe(at, Finding{Because: fmt.Sprintf("%s is at %s, under its target %s.", p.name, level, o.Target)}))
	} else {
		out.add(p.ready.Observe(at, Finding{Holds: Yes, Because: fmt.Sprintf("%s reached its target %s at %s. Check it in the thickest part, then take it off, "+
			"and hold it at 60 °C or above until it is served.", p.name, o.Target, p.words.clock(o.Ready))}))
	}
	switch {
	case o.ServeBy.IsZero():
		out.add(p.serve.Observe(at, Finding{Because: "The cook has no serving hour any more."}))
	case !o.Ready.IsZero():
		out.add(p.serve.Observe(at, Finding{Because: fmt.Sprintf("%s has been ready since %s.", p.name, p.words.clock(o.Ready))}))
	default:
		out.add(p.serve.Observe(at, p.atRisk(at, o)))
	}
	return out
}

// AtRisk reports whether the forecast alone would put the serving hour in doubt, so advice is worth looking for.
func (p *Piece) AtRisk(chance float64) bool {
	return chance < p.set.ServeAtRisk.Below && !p.serve.Standing() && !p.off
}

func (p *Piece) atRisk(at time.Time, o Outlook) Finding {
	s := p.set.ServeAtRisk
	switch {
	case !at.Before(o.ServeBy):
		return Finding{Holds: Yes, Because: fmt.Sprintf("%s is at %s of %s, and the serving hour %s has come. %s. Serve later, or something else first.",
			p.name, o.Core, o.Target, p.words.clock(o.ServeBy), p.when(at, o))}
	case o.Chance > s.Clear:
		return Finding{Because: fmt.Sprintf("Forecast: %s makes the serving hour %s after all (%s likely).", p.name, p.words.due(o.ServeBy, at), Chance(o.Chance))}
	case o.Wait && !p.serve.Standing():
		return Finding{} // nobody is woken for what can wait
	case o.Chance >= s.Below:
		return Finding{Holds: Between}
	}
	todo := "Nothing tried reaches it: serve later."
	if o.Advice != "" {
		todo = o.Advice
	}
	return Finding{Holds: Yes, Because: fmt.Sprintf("Forecast: %s will probably miss the serving hour %s (%s likely to make it). %s. %s",
		p.name, p.words.due(o.ServeBy, at), Chance(o.Chance), p.when(at, o), todo)}
}

func (p *Piece) when(at time.Time, o Outlook) string {
	due := func(t time.Time) string { return p.words.due(t, at) }
	switch {
	case o.Middle.IsZero():
		return "It is more likely than not to take over 36 h"
	case o.Early.IsZero() || o.Late.IsZero():
		return fmt.Sprintf("Ready about %s, or much later", due(o.Middle))
	}
	return fmt.Sprintf("Ready about %s, in four cases of five between %s and %s", due(o.Middle), due(o.Early), due(o.Late))
}
