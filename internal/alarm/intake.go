package alarm

import (
	"fmt"
	"time"

	"stallkeeper/internal/when"
)

// Intake watches the way in, the way out, and whether what comes in is judged in time, by the daemon's clock.
type Intake struct {
	words               Words
	in, out, late, room Condition
}

// NewIntake watches broker and store, the delivery of messages, and the backlog of what is stored and not judged.
func NewIntake(s Settings, w Words) *Intake {
	condition := func(id ID) Condition { return NewCondition(Alarm{ID: id, Kind: IntakeBroken}, s.Intake) }
	return &Intake{words: w, in: condition(ID(IntakeBroken)), out: condition(ID(IntakeBroken + "/delivery")), late: condition(ID(IntakeBroken + "/late")),
		room: condition(ID(IntakeBroken + "/disk"))}
}

// Conditions lists its alarms.
func (i *Intake) Conditions() []*Condition { return []*Condition{&i.in, &i.out, &i.late, &i.room} }

// Broken reports whether the way in is down, so that no probe's silence says anything about the probe. Readings that come in and are not
// judged yet do not break it.
func (i *Intake) Broken() bool { return i.in.alarm.State != Normal && !i.in.since.IsZero() }

// Observe takes what is wrong with the way in and with delivery; empty when all is well.
func (i *Intake) Observe(now time.Time, trouble, delivery string) []Change {
	finding := func(what, follows, well string) Finding {
		if what == "" {
			return Finding{Because: well}
		}
		return Finding{Holds: Yes, Because: fmt.Sprintf("%s. %s", what, follows)}
	}
	var out changes
	out.add(i.in.Observe(now, finding(trouble, "No reading is taken in until this is mended; the fire is not watched.", "Readings are taken in again.")))
	out.add(i.out.Observe(now, finding(delivery, "Messages do not get through this way; look at the page yourself.", "Messages get through again.")))
	return out
}

// Scarce takes what is wrong with the room on the disk while readings are still kept; empty when there is enough.
func (i *Intake) Scarce(now time.Time, what string) []Change {
	f := Finding{Because: "The disk has room again.", Own: true}
	if what != "" {
		f.Holds, f.Because = Yes, what+". Readings and alarms are kept for an hour or so yet; then no reading is taken in and no alarm is told."
	}
	var out changes
	out.add(i.room.Observe(now, f))
	return out
}

// A stored reading that waits longer than LateAfter to be judged is an alarm without further delay, and it is over when none waits longer
// than LateUntil. As long as it takes a dying fire to be told of (see PitFalling); choices of this project.
const (
	LateAfter = 10 * time.Minute
	LateUntil = 2 * time.Minute
)

// Backlog is what is stored and not judged yet.
type Backlog struct {
	Waited time.Duration // how long the oldest has waited; 0 when nothing waits
	Judged time.Time     // when the newest reading that is judged came in; zero when none is
	Anew   string        // the cook that waits to be counted from what is stored, where it has waited longest; empty for what came in lately
}

// Late says what is wrong, and what to do; empty while the backlog is no trouble.
func (i *Intake) Late(b Backlog) string {
	if b.Waited <= LateUntil || b.Waited <= LateAfter && !i.late.Standing() {
		return ""
	}
	return i.words.late(b)
}

func (w Words) late(b Backlog) string {
	const todo = "Look at fire and meat yourself. End what else runs on this machine, or let the probes send less often."
	if b.Anew != "" {
		return fmt.Sprintf("%s has waited for %s to be counted from its stored readings: until it is, its alarms may be late. %s", b.Anew, when.Span(b.Waited), todo)
	}
	judged := ""
	if !b.Judged.IsZero() {
		judged = fmt.Sprintf(" the newest that is judged came in at %s,", w.clock(b.Judged))
	}
	return fmt.Sprintf("Readings come in faster than this machine can judge them:%s others wait for %s. Alarms may be late by as much; silent probes are told all the same. %s",
		judged, when.Span(b.Waited), todo)
}

// Behind takes what waits to be judged.
func (i *Intake) Behind(now time.Time, b Backlog) []Change {
	f := Finding{Because: "Readings are judged as they come in again.", Own: true}
	switch {
	case b.Waited > LateAfter:
		f.Holds, f.Because = Yes, i.words.late(b)
	case b.Waited > LateUntil:
		f.Holds = Between
	}
	var out changes
	out.add(i.late.Observe(now, f))
	return out
}
