package ingest

import (
	"encoding/json"
	"strings"

	"stallkeeper/internal/cook"
)

// BoardFilter matches the topics on which boards say how they are: stallkeeper/probe/<board>/status, retained and as last
// will, {"online":true,"probes":{"flat":{"ok":true}}}.
const BoardFilter = "stallkeeper/probe/+/status"

// Board is what a board said about itself. One that is gone names no probes.
type Board struct {
	Name   string
	Online bool
	Probes []cook.ProbeID
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
		Online *bool                      `json:"online"`
		Probes map[string]json.RawMessage `json:"probes"`
	}
	if json.Unmarshal(payload, &said) != nil || said.Online == nil || len(said.Probes) > mostOnBoard {
		return Board{}, false
	}
	b = Board{Name: parts[0], Online: *said.Online}
	for name := range said.Probes {
		if id := cook.ProbeID(strings.TrimSpace(name)); id.Validate() == nil {
			b.Probes = append(b.Probes, id)
		}
	}
	return b, true
}
