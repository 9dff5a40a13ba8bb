package estimator

import (
	"time"

	"stallkeeper/estimator/thermal"
)

// Cut names a kind of piece. The zero value counts as Other.
type Cut string

// The cuts that carry a prior of their own.
const (
	BrisketPacker    Cut = "brisket_packer"
	BrisketFlat      Cut = "brisket_flat"
	BrisketFlatCured Cut = "brisket_flat_cured"
	PorkShoulder     Cut = "pork_shoulder"
	BeefChuck        Cut = "beef_chuck"
	PorkLoin         Cut = "pork_loin"
	TurkeyBreast     Cut = "turkey_breast"
	TurkeyWhole      Cut = "turkey_whole"
	ChickenWhole     Cut = "chicken_whole"
	BeefRib          Cut = "beef_rib"
	LambShoulder     Cut = "lamb_shoulder"
	FishSide         Cut = "fish_side"
	Other            Cut = "other"
)

// Sample is one reading. A missing value is an absent sample, never a zero.
type Sample struct {
	Time    time.Time
	Celsius thermal.Celsius
}

// EventKind is something that was done to the piece or the pit.
type EventKind string

// The events that change the physics.
const (
	Wrap       EventKind = "wrap"
	Unwrap     EventKind = "unwrap"
	Lid        EventKind = "lid"
	Spritz     EventKind = "spritz"
	SetPoint   EventKind = "setpoint"
	Fuel       EventKind = "fuel"
	ProbeMoved EventKind = "probe-moved"
	PieceOff   EventKind = "piece-off"
)

// Wrapping is the material of a wrap.
type Wrapping string

// The wrappings.
const (
	Foil  Wrapping = "foil"
	Paper Wrapping = "paper"
)

// Event is something done, or planned, at a time.
type Event struct {
	Time    time.Time
	Kind    EventKind
	With    Wrapping        // wrap only
	Celsius thermal.Celsius // setpoint only
}

// WrapPlan is a wrap intended but not yet done: at a core temperature, or at a time if AtTime is set.
type WrapPlan struct {
	With      Wrapping
	AtCelsius thermal.Celsius // used when AtTime is zero; zero means unset
	AtTime    time.Time
}

// Input is everything known about one piece: what it is, where it cooks, what was measured, done and planned.
// Samples and events may come in any order. Forecast looks at nothing later than the time it is asked for,
// plans excepted.
type Input struct {
	Cut         Cut
	MassKg      float64 // 0 = unknown
	ThicknessMM float64 // 0 = unknown
	Target      thermal.Celsius
	Started     time.Time
	AltitudeM   float64
	SetPoint    thermal.Celsius // of the pit at the start
	Fire        string          // free text, for instance "offset" or "electric"; empty = unknown
	Plan        *WrapPlan
	PitPlan     []Event // planned setpoint changes
	Events      []Event
	Pit         []Sample
	Core        []Sample

	doLater []Event // wraps and unwraps of a what-if, after the present
}

// State says what the piece is doing, in a cook's words.
type State string

// The states of a piece.
const (
	Warming  State = "warming"
	Stall    State = "stall"
	Climbing State = "climbing"
	Wrapped  State = "wrapped"
	Ready    State = "ready"
	Cooling  State = "cooling"
	Unknown  State = "unknown"
)

// Levels are the probabilities at which ready times are stated, ascending.
var Levels = [7]float64{0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95}

// Forecast is what can be said about one piece at one moment.
type Forecast struct {
	At       time.Time
	Core     thermal.Celsius // five-minute median; NaN when there is none
	Target   thermal.Celsius
	State    State
	Since    time.Time
	PNever   float64      // P(not ready within Horizon of At)
	Ready    [7]time.Time // at Levels; zero where the level is above 1 − PNever; all equal once ready
	Because  string
	WaterKg  float64     // estimated water evaporated so far; NaN when it cannot be said
	Loss     Loss        // what the raw mass has lost so far; zero while nothing can be said
	Path     []PathPoint // the fan, from At on; empty once ready
	Draws    []Draw      // equally weighted scenarios, comparable by index between pieces of one pit
	StallEnd time.Time   // median end of a running or expected stall; zero when none is expected
}

// PathPoint is the spread of the core temperature at a future time.
type PathPoint struct {
	Time                    time.Time
	P05, P10, P25, P50, P75 thermal.Celsius
	P90, P95                thermal.Celsius
}

// Draw is one scenario: when it reaches the target, and when its planned wrap comes. Zero times mean never.
type Draw struct {
	Ready time.Time
	Wrap  time.Time
}

// Horizon is how far ahead a forecast looks.
const Horizon = 36 * time.Hour
