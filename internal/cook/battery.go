package cook

import "time"

// Battery is the charge that a device says it has left: a probe's own, or that of a board with several probes on it.
type Battery struct {
	Device  string    `json:"device"`          // the probe's name, or the board's
	Board   bool      `json:"board,omitempty"` // it is a board
	Probes  []ProbeID `json:"probes"`          // that it feeds
	Percent float64   `json:"percent"`         // 0 to 100, as sent
	At      time.Time `json:"at,omitzero"`     // when it was said; zero: before anybody here could note the time
}
