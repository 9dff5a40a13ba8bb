package monitor

import (
	"fmt"
	"time"

	"stallkeeper/internal/cook"
)

// Board is what a board with probes on it said about itself. One that is gone names no probes.
type Board struct {
	Name   string
	Online bool
	Probes []cook.ProbeID
}

// board is what is known about a board.
type board struct {
	online bool
	since  time.Time // of the daemon's clock
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
		known = &board{online: b.Online, since: now}
		m.boards[b.Name] = known
	}
	if known.online != b.Online {
		known.online, known.since = b.Online, now
	}
	for _, id := range b.Probes {
		if len(m.boardOf) < maxProbes || m.boardOf[id] != "" {
			m.boardOf[id] = b.Name
		}
	}
	return m.listen()
}

// offline tells why a probe is silent: its board is gone, since then. The name is empty when it is not, or not known.
func (m *State) offline(id cook.ProbeID) (name string, since time.Time) {
	name = m.boardOf[id]
	if b := m.boards[name]; b != nil && !b.online {
		return name, b.since
	}
	return "", time.Time{}
}

// boardCause says that a probe's board is gone; empty when it is not, or not known.
func (m *State) boardCause(id cook.ProbeID) string {
	name, since := m.offline(id)
	if name == "" {
		return ""
	}
	return fmt.Sprintf("board %s has been offline since %s", name, since.In(m.words.Zone).Format("15:04"))
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
