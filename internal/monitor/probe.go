package monitor

import (
	"slices"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

// probe is what is known about one probe.
type probe struct {
	id     cook.ProbeID
	role   cook.Role
	last   cook.Reading // newest by time
	heard  bool
	quiet  time.Duration // uptime at which it was last heard
	gaps   []time.Duration
	at     time.Time // newest reading that the probe's own watch has seen
	air    *alarm.Air
	cooler *alarm.Cooler
	watch  *alarm.Probe // while it is in a running cook, or has a declared role
	fire   *fire        // the running cook it is in; nil when none
	piece  cook.PieceID
}

func (m *State) probe(id cook.ProbeID, role cook.Role) *probe {
	p, ok := m.probes[id]
	if ok {
		return p
	}
	p = &probe{id: id, role: role, quiet: m.uptime}
	switch role {
	case cook.RoleCO:
		p.air = alarm.NewAir(id, m.o.Settings, m.words)
	case cook.RoleCooler:
		p.cooler = alarm.NewCooler(id, m.o.Settings, m.words)
	}
	if role != "" {
		p.watch = alarm.NewProbe(id, 0, "", m.o.Settings, m.words)
	}
	m.probes[id] = p
	m.adopt(p.conditions())
	return p
}

func (p *probe) conditions() []*alarm.Condition {
	var out []*alarm.Condition
	if p.air != nil {
		out = append(out, p.air.Conditions()...)
	}
	if p.cooler != nil {
		out = append(out, p.cooler.Conditions()...)
	}
	if p.watch != nil {
		out = append(out, p.watch.Conditions()...)
	}
	return out
}

// intervals is how many gaps between readings the typical one is the median of.
const intervals = 9

// hear takes note that the probe spoke. A reading that the broker had kept proves nothing about the probe.
func (p *probe) hear(r cook.Reading, uptime time.Duration) {
	if r.Retained && p.heard {
		return
	}
	p.note(r)
	p.heard, p.quiet = true, uptime
}

// note keeps the newest reading and the gaps between readings.
func (p *probe) note(r cook.Reading) {
	if gap := r.Time.Sub(p.last.Time); !p.last.Time.IsZero() && gap > 0 && r.Clock != cook.HandClock {
		p.gaps = append(p.gaps, gap)
		if len(p.gaps) > intervals {
			p.gaps = slices.Delete(p.gaps, 0, 1)
		}
	}
	if r.Time.After(p.last.Time) {
		p.last = r
	}
}

// interval is the median time between the newest readings; 0 when it is not known.
func (p *probe) interval() time.Duration {
	if len(p.gaps) == 0 {
		return 0
	}
	sorted := slices.Clone(p.gaps)
	slices.Sort(sorted)
	return sorted[len(sorted)/2]
}

// inOrder reports whether the reading is newer than what the probe's own watch has seen.
func (p *probe) inOrder(r cook.Reading) bool {
	if !r.Time.After(p.at) {
		return false
	}
	p.at = r.Time
	return true
}

// expected reports whether the probe should be speaking: it is declared or in a running cook whose piece is still on,
// and it is not read by hand.
func (p *probe) expected() bool {
	if p.watch == nil || p.last.Clock == cook.HandClock {
		return false
	}
	if p.fire == nil {
		return p.heard
	}
	piece := p.fire.pieceOf(p.id)
	return piece == nil || !piece.off
}

// silence is how long nothing has come from the probe.
func (m *State) silence(p *probe) time.Duration { return m.uptime - p.quiet }

// silent reports whether the probe has been silent for too long.
func (m *State) silent(p *probe) bool {
	return p.expected() && m.silence(p) > m.o.Settings.ProbeSilent.Patience(p.interval())
}

// listen looks for silent probes: all of a cook together have one cause, and so has everything when the way in is down.
func (m *State) listen() []Effect {
	var out []Effect
	broken := m.intake.Broken()
	hushed := map[*fire]bool{}
	for _, f := range m.fires {
		var names []string
		shortest, all := time.Duration(0), true
		for _, p := range m.byName() {
			if p.fire != f || !p.expected() {
				continue
			}
			if !m.silent(p) {
				all = false
				break
			}
			if len(names) == 0 || m.silence(p) < shortest {
				shortest = m.silence(p)
			}
			names = append(names, string(p.id))
		}
		if !all {
			names = nil
		}
		changes, covered := f.hush.Observe(m.now, names, shortest, broken)
		hushed[f] = covered
		out = append(out, m.alarmed(changes, true)...)
	}
	for _, p := range m.byName() {
		if p.watch == nil {
			continue
		}
		quiet := m.silence(p)
		if !p.expected() {
			quiet = 0
		}
		out = append(out, m.alarmed(p.watch.Quiet(m.now, quiet, p.interval(), p.last, broken || hushed[p.fire]), true)...)
	}
	return out
}
