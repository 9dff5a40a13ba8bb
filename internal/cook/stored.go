package cook

import (
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
)

// Entry is an event as somebody logged it in a running cook. Entries are never changed: a correction is a new entry.
type Entry struct {
	ID       int64     `json:"id"`
	Event              // what was done, and when
	Logged   time.Time `json:"logged"`             // when it was told to the daemon
	Corrects int64     `json:"corrects,omitempty"` // the entry that this one replaces; 0 = none
	Withdraw bool      `json:"withdraw,omitempty"` // with Corrects: that entry never happened
	By       string    `json:"by,omitempty"`
	Note     string    `json:"note,omitempty"`
}

// Amendment changes what a running cook aims at. Zero fields stay as they are.
type Amendment struct {
	Time     time.Time       `json:"time"`
	ServeBy  time.Time       `json:"serve_by,omitzero"`
	Piece    PieceID         `json:"piece,omitempty"`
	Target   thermal.Celsius `json:"target_c,omitempty"`
	Probes   []ProbeID       `json:"probes,omitempty"`
	Plan     *WrapPlan       `json:"plan,omitempty"`
	DropPlan bool            `json:"drop_plan,omitempty"` // no wrap is planned any more
	Pit      []PlannedPoint  `json:"pit_plan,omitzero"`   // empty, not nil: none is planned any more
	By       string          `json:"by,omitempty"`
}

// Stored is a cook in the store: the cook as it stands now, and how it got there.
type Stored struct {
	ID         ID          `json:"id"`
	Cook                   // Events holds the effective events (see Effective); amendments are applied
	Ended      time.Time   `json:"ended,omitzero"`
	Entries    []Entry     `json:"entries,omitempty"`
	Amendments []Amendment `json:"amendments,omitempty"`
}

// Running reports whether the cook has not been ended.
func (s *Stored) Running() bool { return s.Ended.IsZero() }

// Replaced reports whether a later entry corrects or withdraws the numbered one.
func (s *Stored) Replaced(entry int64) bool {
	return slices.ContainsFunc(s.Entries, func(e Entry) bool { return e.Corrects == entry })
}

// Effective gives the events that hold, in time order: those whose entry no later entry corrects or withdraws.
func Effective(entries []Entry) []Event {
	replaced := map[int64]bool{}
	for _, e := range entries {
		if e.Corrects != 0 {
			replaced[e.Corrects] = true
		}
	}
	var out []Event
	for _, e := range entries {
		if !replaced[e.ID] && !e.Withdraw {
			out = append(out, e.Event)
		}
	}
	slices.SortStableFunc(out, func(a, b Event) int { return a.Time.Compare(b.Time) })
	return out
}

// Make gives the cook with the amendment made, validated.
func (a Amendment) Make(c Cook) (Cook, error) {
	out, err := a.Apply(c)
	if err != nil {
		return out, err
	}
	return out, out.Validate()
}

// Apply gives the cook with an amendment that was made: it is not validated again, because the rules may be stricter now.
func (a Amendment) Apply(c Cook) (Cook, error) {
	c.Pieces = slices.Clone(c.Pieces)
	if !a.ServeBy.IsZero() {
		c.ServeBy = a.ServeBy
	}
	if a.Pit != nil {
		c.Pit.Plan = a.Pit
	}
	if a.Piece != "" {
		p, ok := c.Piece(a.Piece)
		if !ok {
			return Cook{}, ErrNotFound
		}
		if a.Target != 0 {
			p.Target = a.Target
		}
		if len(a.Probes) > 0 {
			p.Probes = a.Probes
		}
		if a.Plan != nil {
			p.Plan = a.Plan
		}
		if a.DropPlan {
			p.Plan = nil
		}
	}
	return c, nil
}

// ReadingQuery asks for stored readings: ascending by time, then by probe.
type ReadingQuery struct {
	Probe      ProbeID // "" = every probe
	From, To   time.Time
	AfterTime  time.Time // with AfterProbe: the last row of the page before; zero = the first page
	AfterProbe ProbeID
	Limit      int
}

// Bucket is a stretch of a thinned series.
type Bucket struct {
	Time           time.Time // of its first reading
	Until          time.Time // where the stretch ends; its last reading lies before
	Min, Max, Last thermal.Celsius
}

// KeptForecast is a forecast as it was kept: the contract's JSON line, and the time it is of.
type KeptForecast struct {
	Cook  ID
	Piece PieceID
	At    time.Time
	JSON  []byte
}
