package watch

import (
	"fmt"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/page/frame"
)

// quiet is the sentence at the top.
type quiet struct {
	Class string // "calm", "needed" or "unsure"
	Head  string
	Time  time.Time // set when Head ends with a time
	Why   string
}

func (s reader) quiet(snap *monitor.Snapshot) quiet {
	q := snap.QuietUntil
	soon := q.Until.Sub(s.Now()) < time.Minute
	if n := loud(snap.Alarms); n > 0 {
		out := quiet{Class: "needed", Head: "You are needed now", Why: "The alarm below says for what."}
		if n > 1 {
			out.Why = fmt.Sprintf("The %d alarms below say for what.", n)
		}
		if q.Known && !soon {
			out.Why += fmt.Sprintf(" After that, probably nothing until %s: %s", s.Clock(q.Until), frame.Ended(q.Because))
		}
		return out
	}
	switch {
	case allOff(snap.Cooks) && !q.Known: // else what came off is being held or chilled, and its clock counts
		return quiet{Class: "calm", Head: "Everything is off the fire", Why: "End the cook when you like: the watch stops then, the record stays."}
	case !q.Known:
		return quiet{Class: "unsure", Head: "No quiet time can be promised", Why: frame.Sentence(q.Because)}
	case soon:
		return quiet{Class: "needed", Head: "You may be needed any moment", Why: frame.Sentence(q.Because)}
	}
	return quiet{Class: "calm", Head: "Quiet until", Time: q.Until, Why: frame.Sentence(q.Because)}
}

// allOff reports whether cooks run and every piece of theirs has been taken off.
func allOff(cooks []monitor.CookView) bool {
	for i := range cooks {
		for _, v := range cooks[i].Pieces {
			if cooks[i].Stored.OffAt(v.Piece.ID).IsZero() {
				return false
			}
		}
	}
	return len(cooks) > 0
}

// title is the sentence for the name of a browser's tab.
func (q quiet) title(see reader) string {
	if q.Time.IsZero() {
		return q.Head
	}
	return q.Head + " " + see.Hour(q.Time)
}

// loud counts the alarms that want somebody within minutes.
func loud(alarms []alarm.Alarm) int {
	n := 0
	for _, a := range alarms {
		if a.State == alarm.Active && (a.Priority == alarm.High || a.Priority == alarm.Medium) {
			n++
		}
	}
	return n
}
