package monitor

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// Board is what a board with probes on it said about itself. One that is gone names no probes.
type Board struct {
	Name    string
	Online  bool
	Probes  []cook.ProbeID
	Faults  map[cook.ProbeID]string // of those that measure nothing: why
	Battery *float64                // its charge in percent; nil: not told
	At      time.Time               // when it said so; zero: not known
}

// board is what is known about a board.
type board struct {
	online bool
	since  time.Time // of the daemon's clock
	found  bool      // it was offline already when it was first heard of: since is when it was found so
	heard  bool      // since the start; else it is known from before
}

// Wired is what is kept of a board over a restart.
type Wired struct {
	Name   string         `json:"name"`
	Probes []cook.ProbeID `json:"probes"`
	Gone   time.Time      `json:"gone,omitzero"` // offline since then; zero when it was online
}

// Boards gives what is to be kept over a restart, by name.
func (m *State) Boards() []Wired {
	out := make([]Wired, 0, len(m.boards))
	for _, name := range slices.Sorted(maps.Keys(m.boards)) {
		w := Wired{Name: name}
		for id, on := range m.boardOf {
			if on == name {
				w.Probes = append(w.Probes, id)
			}
		}
		slices.Sort(w.Probes)
		if b := m.boards[name]; !b.online {
			w.Gone = b.since
		}
		out = append(out, w)
	}
	return out
}

// RestoreBoards takes over after a start what Boards gave before. A board that says nothing any more is known by it: the message that a
// broker keeps of one that is gone names no probes, and a broker that was started anew keeps none.
func (m *State) RestoreBoards(boards []Wired, now time.Time) {
	m.advance(now)
	for _, w := range boards {
		m.boards[w.Name] = &board{online: w.Gone.IsZero(), since: w.Gone}
		if w.Gone.IsZero() {
			m.boards[w.Name].since = now
		}
		for _, id := range w.Probes {
			m.boardOf[id] = w.Name
		}
	}
}

// maxBoards bounds what a stranger who makes up boards can use.
const maxBoards = 200

// SetBoard takes the status of a board, so that the silence of its probes has its cause.
func (m *State) SetBoard(b Board, now time.Time) []Effect {
	m.advance(now)
	known := m.boards[b.Name]
	if known == nil {
		if len(m.boards) >= maxBoards {
			return nil
		}
		known = &board{online: b.Online, since: now, found: !b.Online}
		m.boards[b.Name] = known
	}
	if known.online != b.Online {
		known.online, known.since, known.found = b.Online, now, !known.heard
	}
	known.heard = true
	for _, id := range b.Probes {
		if len(m.boardOf) < maxProbes || m.boardOf[id] != "" {
			m.boardOf[id] = b.Name
		}
	}
	return append(m.health(b), m.listen()...)
}

// health takes what a board says about its battery and its probes.
func (m *State) health(b Board) []Effect {
	var out []Effect
	if b.Battery != nil {
		out = m.setBattery(cook.Battery{Device: b.Name, Board: true, Probes: b.Probes, Percent: *b.Battery, At: b.At})
	}
	at := b.At
	if at.IsZero() || at.After(m.now) {
		at = m.now
	}
	for _, id := range b.Probes {
		if why := b.Faults[id]; why != "" {
			out = append(out, m.SetFault(id, Fault{Since: at, What: why}, m.now)...)
		} else if p := m.probes[id]; p != nil {
			p.clearFault(at)
		}
	}
	return out
}

// offline tells why a probe is silent: its board is gone, since then. The name is empty when it is not, or not known.
func (m *State) offline(id cook.ProbeID) (name string, since time.Time) {
	name = m.boardOf[id]
	if b := m.boards[name]; b != nil && (!b.online || m.lost(name)) {
		return name, b.since
	}
	return "", time.Time{}
}

// lost reports whether a board that was there before the start has not been heard since, nor any of its probes, and one is missed.
func (m *State) lost(name string) bool {
	missed := false
	for id, on := range m.boardOf {
		p := m.probes[id]
		if on != name || p == nil {
			continue
		}
		if p.heard {
			return false
		}
		missed = missed || m.silent(p)
	}
	return missed && !m.boards[name].heard
}

// boardCause says that a probe's board is gone; empty when it is not, or not known.
func (m *State) boardCause(id cook.ProbeID) string {
	name, since := m.offline(id)
	if name == "" {
		return ""
	}
	words := "has been offline since"
	switch b := m.boards[name]; {
	case b.online:
		words = "has not been heard of since the start of the daemon at"
	case b.found:
		words = "was found offline at"
	}
	return fmt.Sprintf("board %s %s %s", name, words, when.Clock(since, m.words.Zone))
}

// toldByNeighbour reports whether the silence of another probe on the same gone board is told already.
func (m *State) toldByNeighbour(p *probe) bool {
	name, _ := m.offline(p.id)
	for _, q := range m.byName() {
		if name != "" && q != p && m.boardOf[q.id] == name && q.watch != nil && q.watch.Silent() {
			return true
		}
	}
	return false
}

// commonCause is the one cause of the silence of several probes; empty when they have none in common.
func (m *State) commonCause(ids []string) string {
	cause := ""
	for i, id := range ids {
		c := m.boardCause(cook.ProbeID(id))
		if c == "" || i > 0 && c != cause {
			return ""
		}
		cause = c
	}
	return cause
}
