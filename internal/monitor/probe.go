package monitor

import (
	"slices"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/sense"
	"stallkeeper/internal/when"
)

// probe is what is known about one probe.
type probe struct {
	id     cook.ProbeID
	role   cook.Role
	last   cook.Reading // newest by time
	heard  bool
	quiet  time.Duration // uptime at which it was last heard
	gaps   []time.Duration
	lag    lag       // of what it measured last
	at     time.Time // newest reading that the probe's own watch has seen
	air    *alarm.Air
	cooler *alarm.Cooler
	watch  *alarm.Probe // while it is in a running cook, or has a declared role
	sense  *sense.Watch // while it is in no running cook
	fire   *fire        // the running cook it is in; nil when none
	piece  cook.PieceID
	fault  *fault
	staged bool // it watches a stage of a lot
}

// What a stranger who makes up probe names can use. A cook whose pit is every probe called pit takes the first maxPitProbes of them.
const (
	maxProbes    = 1000
	maxPitProbes = 32
)

// room reports whether the probe is known or may become so: in the place of the one that was not heard for longest, if nothing waits for it.
func (m *State) room(id cook.ProbeID) bool {
	if m.probes[id] != nil || len(m.probes) < maxProbes {
		return true
	}
	var oldest *probe
	for _, p := range m.probes {
		if p.idle() && (oldest == nil || p.quiet < oldest.quiet || p.quiet == oldest.quiet && p.id < oldest.id) {
			oldest = p
		}
	}
	if oldest == nil {
		return false
	}
	delete(m.probes, oldest.id)
	return true
}

// idle reports whether nothing watches the probe: no cook, no stage, no declared role.
func (p *probe) idle() bool { return p.fire == nil && p.role == "" && !p.staged && p.watch == nil }

// surplus reports whether the probe is one too many of a cook's pit: it counts for nothing there.
func (m *State) surplus(f *fire, p *probe) bool {
	return p.fire == nil && p.air == nil && p.cooler == nil && f.pieceOf(p.id) == nil && m.pitProbes(f) >= maxPitProbes
}

// pitProbes counts the probes that a cook has as its pit's.
func (m *State) pitProbes(f *fire) int {
	n := 0
	for _, p := range m.probes {
		if p.fire == f && p.piece == "" {
			n++
		}
	}
	return n
}

func (m *State) probe(id cook.ProbeID, role cook.Role) *probe {
	p, ok := m.probes[id]
	if ok {
		return p
	}
	p = &probe{id: id, role: role, quiet: m.uptime, lag: lag{since: m.uptime}, sense: sense.New(func(id cook.ProbeID) sense.Place { return sense.Place{Pit: id.IsPit()} })}
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
	p.clearFault(r.Time)
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

// expected reports whether the probe should be speaking: it watches a cooler or the air, or a running cook whose piece is
// still on. What is read by hand is not waited for.
func (p *probe) expected() bool {
	switch {
	case p.watch == nil || p.last.Clock == cook.HandClock:
		return false
	case p.fire == nil:
		return p.role == cook.RoleCooler || p.role == cook.RoleCO || p.staged
	}
	piece := p.fire.pieceOf(p.id)
	return p.fire.device && (piece == nil || !piece.off)
}

// silence is how long nothing has come from the probe.
func (m *State) silence(p *probe) time.Duration { return m.uptime - p.quiet }

// unheard is how long a probe is waited for that has not spoken in its cook, or never.
const unheard = 15 * time.Minute

func (m *State) patience(p *probe) time.Duration {
	if p.fire != nil && p.fire.waits {
		return m.o.Settings.ProbeSilent.Patience(p.interval()) // who has spoken in it is not known
	}
	if p.last.Time.IsZero() || p.fire != nil && p.fire.spoken[p.id].IsZero() {
		return unheard
	}
	return m.o.Settings.ProbeSilent.Patience(p.interval())
}

// unknown reports whether the cook waits to be counted, so that its silence is not judged yet; one that waits for long is not left
// alone for it.
func (m *State) unknown(f *fire) bool { return f.waits && m.uptime-f.waitsSince <= alarm.LateAfter }

// silent reports whether the probe has been silent for too long.
func (m *State) silent(p *probe) bool { return p.expected() && m.silence(p) > m.patience(p) }

// listen looks for silent probes: all of a cook together have one cause, and so has everything when the way in is down.
func (m *State) listen() []Effect {
	var out []Effect
	covered := ""
	if m.intake.Broken() {
		covered = "the way in is down, which is told already"
	}
	for _, f := range m.fires {
		if m.unknown(f) {
			continue
		}
		names, shortest, heard := m.hushed(f)
		if heard || len(names) > 0 || covered != "" {
			out = append(out, m.alarmed(f.hush.Observe(m.now, names, shortest, covered, m.commonCause(names)), true)...)
		}
	}
	for _, p := range m.byName() {
		out = append(out, m.hearken(p, covered)...)
	}
	return out
}

// hushed gives the cook's probes if every one that should speak is silent, and whether any has spoken since the start.
func (m *State) hushed(f *fire) (names []string, shortest time.Duration, heard bool) {
	all := true
	for _, p := range m.byName() {
		if p.fire != f || !p.expected() {
			continue
		}
		heard = heard || p.heard
		all = all && m.silent(p)
		if quiet := m.silence(p); len(names) == 0 || quiet < shortest {
			shortest = quiet
		}
		names = append(names, string(p.id))
	}
	if !all {
		names = nil
	}
	return names, shortest, heard
}

func (m *State) hearken(p *probe, covered string) []Effect {
	ended := ""
	switch {
	case p.watch == nil || p.fire != nil && m.unknown(p.fire):
		return nil
	case !p.expected():
		ended = "it is not waited for any more"
	case covered == "" && p.fire != nil && p.fire.hush.Standing():
		covered = "the silence of all probes is told already"
	case covered == "" && m.toldByNeighbour(p):
		covered = m.boardCause(p.id) + ", which is told already"
	case !p.heard && !m.silent(p):
		return nil // after a start it gets its time before anything is said
	}
	h := alarm.Hearing{Quiet: m.silence(p), Interval: p.interval(), Last: p.last, Patience: m.patience(p), Covered: covered, Ended: ended, Cause: m.boardCause(p.id)}
	if p.fault != nil {
		h.Fault = p.fault.What + " since " + when.Clock(p.fault.Since, m.words.Zone)
	}
	return m.alarmed(p.watch.Hear(m.now, h), true)
}
