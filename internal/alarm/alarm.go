// Package alarm turns facts and the time into alarm states and says why each one changed.
//
// Words follow the published alarm-management standards (IEC 62682, OPC 10000-9; from memory): active, acknowledged,
// shelved, on-delay, off-delay, deadband, priority. It is pure: facts and times in, states and changes out.
package alarm

import "time"

// ID names one alarm: its kind and what it is about, such as "pit-low/1" or "probe-silent/core".
type ID string

// Kind is the cause an alarm stands for.
type Kind string

// The kinds of alarm.
const (
	PitLow       Kind = "pit-low"       // below its band
	PitHigh      Kind = "pit-high"      // above its band
	PitFalling   Kind = "pit-falling"   // falls as a dying fire does
	PitDanger    Kind = "pit-danger"    // hot enough for a fat fire
	ProbeSilent  Kind = "probe-silent"  // no reading for too long
	ProbeSuspect Kind = "probe-suspect" // readings that cannot be
	BatteryLow   Kind = "battery-low"   // a device has little charge left
	PieceReady   Kind = "piece-ready"   // reached its target
	WrapDue      Kind = "wrap-due"      // at the core temperature or hour of its planned wrap
	ServeAtRisk  Kind = "serve-at-risk" // will probably miss the serving hour
	DangerZone   Kind = "danger-zone"   // too long between 5 and 57 °C
	ComeUp       Kind = "come-up"       // too long between 10 and 54 °C, as measured
	ComeUpRisk   Kind = "come-up-risk"  // a forecast says that it will be
	Cooling      Kind = "cooling"       // cooled too slowly, as measured
	CoolingRisk  Kind = "cooling-risk"  // a forecast says that it will be too slow
	HoldCold     Kind = "hold-cold"     // under its limit while it is held hot, as measured
	HoldRisk     Kind = "hold-risk"     // a forecast says that it will be
	ColdLimit    Kind = "cold-limit"    // the cooler of a lot's stage was outside its limits for too long
	CarbonOxide  Kind = "co"            // carbon monoxide above its limit
	CoolerWarm   Kind = "cooler-warm"   // cure or storage cooler outside its limits
	IntakeBroken Kind = "intake"        // broker, store or disk in trouble
)

// OfPit reports whether the cause lies in the pit, so that two cooks on one pit share it.
func (k Kind) OfPit() bool { return k == PitLow || k == PitHigh || k == PitFalling || k == PitDanger }

// Priority says how soon a person is needed.
type Priority string

// The priorities, lowest first.
const (
	Notice Priority = "notice" // when convenient
	Low    Priority = "low"    // within the hour
	Medium Priority = "medium" // within minutes
	High   Priority = "high"   // now
)

// State is the life of an alarm.
type State string

// The states. An alarm that returned without being acknowledged stays listed until it is.
const (
	Pending  State = "pending" // the condition holds, its on-delay runs
	Active   State = "active"  // nobody has acknowledged it
	Acked    State = "acknowledged"
	Shelved  State = "shelved"
	Returned State = "returned" // the condition is gone, not yet acknowledged
	Normal   State = "normal"
)

// Alarm is one alarm as people see it.
type Alarm struct {
	ID           ID        `json:"id"`
	Kind         Kind      `json:"kind"`
	Priority     Priority  `json:"priority"`
	State        State     `json:"state"`
	Cook         int64     `json:"cook,omitempty"`
	Piece        string    `json:"piece,omitempty"`
	Probe        string    `json:"probe,omitempty"`
	Because      string    `json:"because"`       // one sentence with figures, and what to do
	Said         time.Time `json:"said,omitzero"` // when that was so: the figures have gone on since; zero for an alarm of an older version
	Raised       time.Time `json:"raised"`        // when it became active
	Changed      time.Time `json:"changed"`
	Returned     time.Time `json:"returned,omitzero"`
	Acknowledged time.Time `json:"acknowledged,omitzero"`
	By           string    `json:"by,omitempty"`
	ShelvedUntil time.Time `json:"shelved_until,omitzero"`
	Told         bool      `json:"told,omitempty"` // people are, or were, told that it stands; not of what old readings showed, or another alarm tells
}

// SaidAt is when what the alarm says was so.
func (a Alarm) SaidAt() time.Time {
	if a.Said.IsZero() {
		return a.Raised
	}
	return a.Said
}
