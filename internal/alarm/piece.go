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

// Off takes note that the piece was taken off the fire, or put back. The clock of the danger zone goes on: see Lukewarm.
func (p *Piece) Off(at time.Time, off bool) []Change {
	if off == p.off {
		return nil
	}
	p.off = off
	var out changes
	if off {
		for _, c := range []*Condition{&p.ready, &p.wrap, &p.serve} {
			out.add(c.Cover(at, p.name+" was taken off"))
		}
	}
	return out
}

// Observe takes a measured core temperature.
func (p *Piece) Observe(at time.Time, c thermal.Celsius) {
	if !p.off && at.After(p.last.at) {
		p.last = point{at, p.recent.add(at, c)}
	}
}

// Warm is how the clock of the danger zone stands, by the safety rules: measured time, and what nobody measured.
type Warm struct {
	Level  thermal.Celsius
	Inside bool          // it runs
	Used   time.Duration // measured
	Unseen time.Duration // without readings, and perhaps to be added
	Within time.Duration // the shop's own limit; 0 = none
	Cooked bool          // the piece has met the table by which it is cooked
	Pulled bool          // the probe seems to be out of the meat
}

// Longest is the limit that holds: the dwell's, or the shop's own where that is shorter.
func (w Warm) Longest(z Dwell) time.Duration {
	if w.Within > 0 {
		return min(z.Longest, w.Within)
	}
	return z.Longest
}

// Lukewarm takes how the clock of the danger zone stands, on the fire or off it. It ends for a piece that was cooked and taken off: from then
// on the cooling rules give it six hours from 57 to 5 °C (Food Code 3-501.14), and their own alarm watches them. One that came off before it
// was cooked is watched wherever it lies (USDA FSIS Danger Zone fact sheet; the come-up counts on, FSIS-GD-2021-14).
func (p *Piece) Lukewarm(at time.Time, w Warm) []Change {
	var out changes
	switch {
	case p.off && w.Cooked:
		out.add(p.danger.Cover(at, p.name+" was cooked and taken off: its cooling limits count from here on"))
	case p.off && w.Pulled:
		out.add(p.danger.Cover(at, "the probe of "+p.name+" was pulled out"))
	default:
		out.add(p.danger.Observe(at, p.lukewarm(w)))
	}
	return out
}

func (p *Piece) lukewarm(w Warm) Finding {
	z := p.set.DangerZone
	longest := w.Longest(z)
	switch {
	case !w.Inside:
		return Finding{Because: fmt.Sprintf("%s %s: out of %.0f to %s after %s.", p.name, w.Level, float64(z.From), whole(z.To), when.Span(w.Used))}
	case w.Used+w.Unseen <= longest:
		return Finding{}
	}
	spent := "for " + when.Span(w.Used)
	switch {
	case w.Used <= longest:
		spent = fmt.Sprintf("for %s as measured and perhaps for the %s without readings", when.Span(w.Used), when.Span(w.Unseen))
	case w.Unseen > 0:
		spent += fmt.Sprintf(", and perhaps for the %s without readings", when.Span(w.Unseen))
	}
	todo := "Raise the pit, and decide by the published rules whether it may be kept."
	if p.off {
		todo = "It came off before it was cooked: decide by the published rules whether it may be kept."
	}
	if p.intact && !p.off {
		todo = "It is marked as intact. If it was pierced, rolled or injected after all: raise the pit, and decide by the published rules whether it may be kept."
	}
	return Finding{Holds: Yes, Because: fmt.Sprintf("%s has been between %.0f and %s %s, now %s; common practice is at most %s. %s",
		p.name, float64(z.From), whole(z.To), spent, w.Level, when.Span(longest), todo)}
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
