package alarm

import (
	"fmt"
	"time"

	"stallkeeper/internal/cook"
)

// Holds says where a measured quantity stands to its limit.
type Holds int8

// Between is inside the deadband: it neither raises a condition nor lets it return.
const (
	No Holds = iota
	Between
	Yes
)

// Finding is what was found out about a condition at one moment.
type Finding struct {
	Holds    Holds
	Because  string        // with figures and what to do when it holds; what was measured when it does not
	Priority Priority      // empty: the rule's
	OnDelay  time.Duration // used when Own is set, else the rule's
	Own      bool
}

// Change is a step in the life of an alarm.
type Change struct {
	Alarm   Alarm // as it stands now
	From    State
	Because string // why it changed
	Call    bool   // somebody should be told: it became active, or more urgent, or returned after being told
}

// Condition is one alarm with its delays. It moves by Observe, Acknowledge, Shelve and Expire.
//
//	Normal → Pending → Active → Acked → Normal
//	                   Active → Returned → Normal (acknowledged) or → Active (it holds again)
//	                   Active, Acked, Returned → Shelved → Active or Normal when the shelf ends
type Condition struct {
	alarm  Alarm
	rule   Rule
	since  time.Time // the condition has held since; zero when it does not
	gone   time.Time // it has been gone since; zero when it holds
	latest Finding
	said   time.Time // when it was found
}

// NewCondition starts in Normal. The alarm carries what stays: id, kind, cook, piece, probe.
func NewCondition(a Alarm, r Rule) Condition {
	a.State, a.Priority = Normal, r.Priority
	return Condition{alarm: a, rule: r}
}

// Alarm is the alarm as it stands.
func (c *Condition) Alarm() Alarm { return c.alarm }

// Standing reports whether the condition is raised: somebody was, or would have been, told.
func (c *Condition) Standing() bool {
	return c.alarm.State == Active || c.alarm.State == Acked || c.alarm.State == Shelved && !c.since.IsZero()
}

// Observe advances the condition to now, which never steps back, and reports whether it changed state.
func (c *Condition) Observe(now time.Time, f Finding) (Change, bool) {
	if c.rule.Off {
		return Change{}, false
	}
	if f.Priority == "" {
		f.Priority = c.rule.Priority
	}
	switch {
	case f.Holds == Yes || f.Holds == Between && !c.since.IsZero():
		return c.holds(now, f)
	case f.Holds == No:
		return c.gonePast(now, f)
	}
	return Change{}, false
}

func (c *Condition) holds(now time.Time, f Finding) (Change, bool) {
	if c.since.IsZero() {
		c.since = now
	}
	c.gone = time.Time{}
	if f.Holds == Yes {
		c.latest, c.said = f, now
	}
	delay := c.rule.OnDelay
	if f.Own {
		delay = f.OnDelay
	}
	due := now.Sub(c.since) >= delay
	switch c.alarm.State {
	case Normal, Pending, Returned:
		if due {
			return c.raise(now, now), true
		}
		if c.alarm.State == Normal {
			return c.move(now, Pending, c.latest.Because, false), true
		}
	case Active, Acked:
		if due && f.Priority.Above(c.alarm.Priority) {
			return c.raise(now, c.alarm.Raised), true
		}
	}
	return Change{}, false
}

func (c *Condition) raise(now, raised time.Time) Change {
	c.alarm.Raised, c.alarm.Returned, c.alarm.Acknowledged, c.alarm.By = raised, time.Time{}, time.Time{}, ""
	c.alarm.Priority, c.alarm.Because, c.alarm.Said = c.latest.Priority, c.latest.Because, c.said
	if c.alarm.Priority == "" {
		c.alarm.Priority = c.rule.Priority
	}
	return c.move(now, Active, c.latest.Because, true)
}

func (c *Condition) gonePast(now time.Time, f Finding) (Change, bool) {
	if c.gone.IsZero() {
		c.gone = now
	}
	switch c.alarm.State {
	case Pending:
		c.since = time.Time{}
		return c.move(now, Normal, f.Because, false), true
	case Active, Acked:
		if now.Sub(c.gone) < c.rule.OffDelay {
			return Change{}, false
		}
		return c.leave(now, f.Because), true
	case Shelved:
		if now.Sub(c.gone) >= c.rule.OffDelay {
			c.since = time.Time{}
		}
	default:
		c.since = time.Time{}
	}
	return Change{}, false
}

// leave takes a raised alarm to Returned, or to Normal when it had been acknowledged.
func (c *Condition) leave(now time.Time, because string) Change {
	c.since = time.Time{}
	c.alarm.Returned = now
	if c.alarm.State == Acked {
		return c.move(now, Normal, because, true)
	}
	return c.move(now, Returned, because, true)
}

// Cover takes the alarm back because another one stands for the same cause; nobody is told.
func (c *Condition) Cover(now time.Time, because string) (Change, bool) {
	c.since, c.gone = time.Time{}, time.Time{}
	if c.alarm.State == Normal {
		return Change{}, false
	}
	if c.Standing() {
		c.alarm.Returned = now
	}
	return c.move(now, Normal, because, false), true
}

func (c *Condition) move(now time.Time, to State, because string, call bool) Change {
	from := c.alarm.State
	c.alarm.State, c.alarm.Changed = to, now
	if to != Shelved {
		c.alarm.ShelvedUntil = time.Time{}
	}
	return Change{Alarm: c.alarm, From: from, Because: because, Call: call}
}

// Acknowledge takes note that a person knows; a returned alarm becomes Normal.
func (c *Condition) Acknowledge(now time.Time, by string) (Change, error) {
	to := Acked
	switch c.alarm.State {
	case Active:
	case Returned:
		to = Normal
	case Acked:
		return Change{}, fmt.Errorf("alarm %s is acknowledged already: %w", c.alarm.ID, cook.ErrConflict)
	case Shelved:
		return Change{}, fmt.Errorf("alarm %s is shelved until %s: %w", c.alarm.ID, c.alarm.ShelvedUntil.Format(time.RFC3339), cook.ErrConflict)
	default:
		return Change{}, fmt.Errorf("standing alarm %s: %w", c.alarm.ID, cook.ErrNotFound)
	}
	c.alarm.Acknowledged, c.alarm.By = now, by
	return c.move(now, to, "acknowledged"+byWhom(by), false), nil
}

// longestShelf is as long as an alarm may be put aside. Choice of this project.
const longestShelf = 24 * time.Hour

// Shelve puts the alarm aside until a time; it comes back then if its condition still holds.
func (c *Condition) Shelve(now, until time.Time, by string) (Change, error) {
	if !until.After(now) || until.Sub(now) > longestShelf {
		return Change{}, fmt.Errorf("shelve alarm %s: the end must lie within the next 24 hours", c.alarm.ID)
	}
	switch c.alarm.State {
	case Active, Acked, Returned, Shelved:
	default:
		return Change{}, fmt.Errorf("standing alarm %s: %w", c.alarm.ID, cook.ErrNotFound)
	}
	c.alarm.By = by
	change := c.move(now, Shelved, "put aside"+byWhom(by), false)
	c.alarm.ShelvedUntil = until
	change.Alarm.ShelvedUntil = until
	return change, nil
}

func byWhom(by string) string {
	if by == "" {
		return ""
	}
	return " by " + by
}

// Expire ends a shelf whose time has come, by the daemon's clock. What still holds is raised again.
func (c *Condition) Expire(now time.Time) (Change, bool) {
	if c.alarm.State != Shelved || now.Before(c.alarm.ShelvedUntil) {
		return Change{}, false
	}
	if c.since.IsZero() {
		c.alarm.Returned = now
		return c.move(now, Normal, "gone while it was put aside", false), true
	}
	raised := c.alarm.Raised
	return c.raise(now, raised), true
}

// Adopt takes over the state of an alarm kept earlier: a restart, or a recount after late readings.
func (c *Condition) Adopt(kept Alarm) {
	standing := kept.State == Active || kept.State == Acked || kept.State == Shelved
	id := c.alarm
	c.alarm = kept
	c.alarm.ID, c.alarm.Kind, c.alarm.Cook, c.alarm.Piece, c.alarm.Probe = id.ID, id.Kind, id.Cook, id.Piece, id.Probe
	if standing && c.since.IsZero() {
		c.since = kept.Raised
		c.latest, c.said = Finding{Holds: Yes, Because: kept.Because, Priority: kept.Priority}, kept.SaidAt()
	}
}
