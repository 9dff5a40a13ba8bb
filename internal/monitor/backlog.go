package monitor

import (
	"slices"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

// Readings that are stored faster than they are applied wait. What waits counts in two ways. A probe has spoken as soon as its reading is
// stored, so that its silence is neither told wrongly nor missed; that it is applied later makes it no younger. And what the reading shows is
// judged when it is applied, at its own time, as in a night without a backlog: what is due by reading time alone comes as late as the
// readings do. People are told of it if the reading was new when it came in, for nothing newer is known.

// waitGrain is how exactly it is known since when readings wait; uptime.
const waitGrain = time.Minute

// mark says that everything up to a place in the order of commits was stored by then.
type mark struct {
	through int64
	at      time.Duration // uptime; at most waitGrain too early
}

// backlog is what is stored and not applied yet.
type backlog struct {
	applied int64     // place of the newest applied reading
	judged  time.Time // when it came in
	told    int64     // up to here Await has told who spoke
	through int64     // up to here is stored, as far as Await has told
	marks   []mark
	delay   time.Duration // by how much the newest applied reading is late because it waited; 0 when it did not
}

// Stored is a reading that Await is told of: the newest of its probe among those that were stored since the last call, and not one that a
// broker had kept from before.
type Stored = Committed

// Applied takes over after a start: what was committed up to there is counted from what is stored, and not given to Apply.
func (m *State) Applied(through int64) { m.backlog.applied = max(m.backlog.applied, through) }

// Heard is up to which place in the order of commits the monitor knows who spoke: what is stored behind it is for Await.
func (m *State) Heard() int64 { return max(m.backlog.applied, m.backlog.told) }

// Await lets time pass while readings wait to be applied, in place of Tick. newest are the readings of all probes that spoke behind Heard,
// the newest of each, through is the place of the newest stored reading. It looks at silence and shelves, and at the backlog itself; what
// Tick does for want of readings (order, pauses, counting again) is left until they are applied.
func (m *State) Await(newest []Stored, through int64, now time.Time) []Effect {
	m.advance(now)
	b := &m.backlog
	b.told, b.through = max(b.told, through), max(b.through, through)
	if n := len(b.marks); through > b.applied && (n == 0 || m.uptime-b.marks[n-1].at >= waitGrain) {
		b.marks = append(b.marks, mark{through, m.uptime})
	} else if n > 0 {
		b.marks[n-1].through = max(b.marks[n-1].through, through)
	}
	for _, r := range newest {
		if m.room(r.Probe) {
			m.spoke(r)
		}
	}
	out := m.listen()
	out = append(out, m.late()...)
	out = append(out, m.expire()...)
	return append(out, m.overdue()...)
}

// spoke takes note that a probe has spoken whose reading is not applied yet.
func (m *State) spoke(r Stored) {
	p := m.probe(r.Probe, m.o.Roles[r.Probe])
	if r.Time.After(p.last.Time) {
		p.last = r.Reading
	}
	p.clearFault(r.Time)
	p.heard, p.quiet = true, m.uptime
	for _, f := range m.fires {
		if p.fire == nil {
			m.enlist(f, r.Probe)
		}
		if p.fire == f && f.wants(r.Reading) && r.Clock != cook.HandClock {
			f.device = true
		}
	}
}

// applies takes note of a reading that is applied, and reports whether Await told of it before.
func (m *State) applies(c Committed) (told bool) {
	b := &m.backlog
	b.applied = max(b.applied, c.Seq)
	came := c.Arrived
	if came.IsZero() {
		came = c.Time
	}
	b.judged = came
	b.marks = slices.DeleteFunc(b.marks, func(k mark) bool { return k.through <= b.applied })
	if told = c.Seq <= b.told; told {
		b.delay = max(0, m.now.Sub(came))
	} else {
		b.delay = 0
	}
	return told
}

// caughtUp takes note that everything that is stored was applied.
func (m *State) caughtUp() {
	m.backlog.marks, m.backlog.delay, m.backlog.through = nil, 0, m.backlog.applied
}

// asOf is the time at which the readings that are applied now came in.
func (m *State) asOf() time.Time { return m.now.Add(-m.backlog.delay) }

// waits is what waits to be judged, and since when: readings, or a cook that is to be counted.
func (m *State) waits() alarm.Backlog {
	b := alarm.Backlog{Judged: m.backlog.judged}
	if len(m.backlog.marks) > 0 {
		b.Waited = m.uptime - m.backlog.marks[0].at
	}
	for _, f := range m.fires {
		if waited := m.uptime - f.waitsSince; f.waits && waited > b.Waited {
			b.Waited, b.Anew = waited, f.stored.Name
		}
	}
	return b
}

// late looks whether what waits has waited for too long.
func (m *State) late() []Effect { return m.alarmed(m.intake.Behind(m.now, m.waits()), true) }
