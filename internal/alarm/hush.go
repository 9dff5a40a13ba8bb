package alarm

import (
	"fmt"
	"time"
)

// Hush watches for the silence of every probe of a cook at once, which has one cause and gets one message.
type Hush struct {
	words Words
	all   Condition
}

// NewHush watches the probes of a cook together.
func NewHush(cookID int64, s Settings, w Words) *Hush {
	a := Alarm{ID: ID(fmt.Sprintf("%s/%d", ProbeSilent, cookID)), Kind: ProbeSilent, Cook: cookID}
	r := s.ProbeSilent.Rule
	r.Priority = High
	return &Hush{words: w, all: NewCondition(a, r)}
}

// Conditions lists its alarms.
func (h *Hush) Conditions() []*Condition { return []*Condition{&h.all} }

// Observe takes the names of the silent probes when all are silent, and none otherwise; shortest is how long the last of
// them has been silent. covered says why no message is needed, empty when one is;
// cause is why all are silent, empty when that is not known.
func (h *Hush) Observe(now time.Time, silent []string, shortest time.Duration, covered, cause string) []Change {
	var out changes
	if covered != "" {
		if !h.all.Standing() {
			out.add(h.all.Cover(now, covered))
		}
		return out
	}
	f := Finding{Because: fmt.Sprintf("Probes speak again at %s.", h.words.clock(now))}
	if len(silent) > 1 {
		f = Finding{Holds: Yes, Because: fmt.Sprintf("No probe of the cook has spoken since %s (%s): nobody watches the fire. "+
			"Look at the receiver, its power and the network.", h.words.due(now.Add(-shortest), now), list(silent))}
	}
	if len(silent) > 1 && cause != "" {
		f.Because = fmt.Sprintf("No probe of the cook has spoken since %s (%s): %s. Nobody watches the fire. Look at the board's power and network.",
			h.words.due(now.Add(-shortest), now), list(silent), cause)
	}
	out.add(h.all.Observe(now, f))
	return out
}

// Standing reports whether the common silence is told, so that the probes' own need not be.
func (h *Hush) Standing() bool { return h.all.Standing() }
