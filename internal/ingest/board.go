package ingest

import (
	"cmp"
	"encoding/json"
	"slices"
	"strings"
	"time"

	"stallkeeper/internal/cook"
)

// BoardFilter matches the topics on which boards say how they are: stallkeeper/probe/<board>/status, retained and as last
// will, {"online":true,"battery_percent":73,"time":"…","probes":{"flat":{"ok":true},"pit":{"ok":false,"text":"…"}}}. Only online is needed.
const BoardFilter = "stallkeeper/probe/+/status"

// Board is what a board said about itself. One that is gone names no probes.
type Board struct {
	Name    string
	Online  bool
	Probes  []cook.ProbeID
	Faults  map[cook.ProbeID]string // of those that measure nothing: why
	Battery *float64                // its charge in percent; nil: not told
	Time    time.Time               // by its own clock; zero: not told
}

// mostOnBoard bounds the probes that a board may name.
const mostOnBoard = 200

// DecodeBoard reads the status of a board; ok is false for anything else.
func DecodeBoard(topic string, payload []byte) (b Board, ok bool) {
	parts, ok := matchTopic(BoardFilter, topic)
	if !ok || parts[0] == "" || len(payload) > MaxPayload || cook.ProbeID(parts[0]).Validate() != nil {
		return Board{}, false
	}
	var said struct {
		Online  *bool                      `json:"online"`
		Battery json.RawMessage            `json:"battery_percent"`
		Time    json.RawMessage            `json:"time"`
		Probes  map[string]json.RawMessage `json:"probes"`
	}
	if json.Unmarshal(payload, &said) != nil || said.Online == nil || len(said.Probes) > mostOnBoard {
		return Board{}, false
	}
	b = Board{Name: parts[0], Online: *said.Online, Battery: percent(said.Battery), Faults: map[cook.ProbeID]string{}}
	if at, _, err := parseTime(said.Time); err == nil {
		b.Time = at
	}
	for name, health := range said.Probes {
		id := cook.ProbeID(strings.TrimSpace(name))
		if id.Validate() != nil {
			continue
		}
		b.Probes = append(b.Probes, id)
		if why := fault(health); why != "" {
			b.Faults[id] = why
		}
	}
	slices.Sort(b.Probes)
	return b, true
}

// fault reads why a probe measures nothing; empty for one that does, or of which nothing is said.
func fault(health json.RawMessage) string {
	var said struct {
		OK    *bool  `json:"ok"`
		Fault string `json:"fault"`
		Text  string `json:"text"`
	}
	if json.Unmarshal(health, &said) != nil || said.OK == nil || *said.OK {
		return ""
	}
	why := cmp.Or(said.Text, said.Fault)
	if cook.CheckText("fault", why) != nil || why == "" {
		return "the board gets no value from it"
	}
	return why
}
