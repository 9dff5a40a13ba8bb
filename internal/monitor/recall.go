package monitor

import (
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

// RecallOver is how much before its newest stored reading a probe is to be given to Recall: longer than the on-delays of what watches a place.
const RecallOver = time.Hour

// Places lists the probes that watch a place rather than a cook: coolers, the air, what stages of lots are measured by.
func (m *State) Places() []cook.ProbeID {
	var out []cook.ProbeID
	for _, p := range m.byName() {
		if p.fire == nil && (p.air != nil || p.cooler != nil || p.staged) {
			out = append(out, p.id)
		}
	}
	return out
}

// Recall lets the watch of a place see its newest stored readings again after a start: some may have been committed, and not applied
// before a kill. They come in the order of their time. Those up to the last turn of any of the probe's alarms were applied, for they
// brought it; the others again bring what they brought before.
func (m *State) Recall(readings []cook.Reading, now time.Time) []Effect {
	m.advance(now)
	var out []Effect
	turned := map[cook.ProbeID]time.Time{}
	for _, r := range readings {
		p := m.probes[r.Probe]
		if p == nil || r.Time.After(now.Add(future)) {
			continue
		}
		if _, known := turned[p.id]; !known {
			turned[p.id] = lastTurn(p.conditions())
		}
		p.note(r)
		if r.Time.After(turned[p.id]) {
			out = append(out, m.alone(p, r)...)
		}
	}
	return out
}

// RememberFor is how long after its last reading a probe that nobody declared is still shown after a start. Choice of this project.
const RememberFor = 24 * time.Hour

// Remember shows a probe that nobody declared, and that is in no cook, with its newest stored reading again after a start: else one that
// is silent since would be gone from the pages without a word. It raises nothing, and does nothing where the probe is known already.
func (m *State) Remember(last cook.Reading, now time.Time) {
	m.advance(now)
	if m.probes[last.Probe] == nil && m.room(last.Probe) && !last.Time.After(now.Add(future)) && now.Sub(last.Time) <= RememberFor {
		m.probe(last.Probe, m.o.Roles[last.Probe]).note(last)
	}
}

// lastTurn is when the newest of the alarms was raised or returned.
func lastTurn(conditions []*alarm.Condition) time.Time {
	var last time.Time
	for _, c := range conditions {
		for _, at := range []time.Time{c.Alarm().Raised, c.Alarm().Returned} {
			if at.After(last) {
				last = at
			}
		}
	}
	return last
}
