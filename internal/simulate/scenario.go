package simulate

import (
	"errors"
	"fmt"
	"time"

	"stallkeeper/estimator/thermal"
)

// Scenario is an invented cook before it happens.
type Scenario struct {
	Name      string
	Started   time.Time // when the pieces go on a pit that has reached its setpoint
	ServeBy   time.Time // zero = nobody waits
	Length    time.Duration
	Stop      time.Duration // the run ends this long after every piece has been ready; 0 = at Length
	Interval  time.Duration // between readings of a probe
	Seed      uint64
	AltitudeM float64
	SetPoint  thermal.Celsius
	Fire      Fire
	Pit       PitVary
	Weather   Weather
	Pieces    []Piece
	Probes    []Probe
	Script    []Act
	Faults    []FireFault
}

// Piece is one piece of meat and what is meant to happen to it.
type Piece struct {
	ID          string
	Cut         string // as in the cook log
	MassKg      float64
	ThicknessMM float64
	Start       thermal.Celsius // temperature when it goes on
	Target      thermal.Celsius
	Intact      bool
	Plan        *WrapPlan
	WrapLate    time.Duration // how long after its moment the planned wrap is really done
	TakeOff     bool          // taken off into an insulated box once its first probe has shown the target for a while
	Spot        thermal.CelsiusDelta
	Vary        Vary
}

// WrapPlan is a wrap intended when the piece's first probe shows AtCelsius.
type WrapPlan struct {
	With      string // "foil" or "paper"
	AtCelsius thermal.Celsius
}

// Vary sets a piece apart from the average of its cut; each is a factor and zero means 1.
type Vary struct {
	Conductivity float64 // of heat
	Seepage      float64 // how easily juice moves through the meat
	Holding      float64 // how much water heated protein lets go
	HeatTransfer float64 // at the surface
}

// PitVary sets one pit apart from the others of its kind; each is a factor and zero means 1.
type PitVary struct {
	Draught      float64 // of the air drawn through: the less, the damper
	HeatTransfer float64 // of the moving air at the meat
}

// Weather is the air around the pit.
type Weather struct {
	Mean     thermal.Celsius
	Swing    thermal.CelsiusDelta // warmest less mean; warmest at 15 h local time
	DewPoint thermal.Celsius
}

// Kind is something that is done during a cook; the values are those of the cook log.
type Kind string

// The kinds.
const (
	Wrap       Kind = "wrap"
	Unwrap     Kind = "unwrap"
	Lid        Kind = "lid"
	Spritz     Kind = "spritz"
	SetPoint   Kind = "setpoint"
	Fuel       Kind = "fuel"
	ProbeMoved Kind = "probe-moved"
	PieceOff   Kind = "piece-off"
)

// Act is something the script makes happen.
type Act struct {
	After    time.Duration // since Started
	Kind     Kind
	Piece    string          // empty = the pit, or for Spritz every piece
	With     string          // Wrap: "foil" or "paper"
	Celsius  thermal.Celsius // SetPoint
	Depth    float64         // ProbeMoved: the new depth of the piece's probes
	Unlogged bool            // done, but nobody wrote it down
}

// Event is something that was done and written down.
type Event struct {
	Time    time.Time
	Kind    Kind
	Piece   string
	With    string
	Celsius thermal.Celsius
}

// FireFault makes the fire fade until somebody feeds it (an Act of kind Fuel).
type FireFault struct {
	After time.Duration
	Left  float64       // the share of its full power that a fading fire keeps; 0 = it goes out
	Over  time.Duration // time constant of the fading
}

// Sees says what a probe measures.
type Sees string

// What probes see.
const (
	SeesPit     Sees = "pit"
	SeesPiece   Sees = "piece"
	SeesAmbient Sees = "ambient"
	SeesCooler  Sees = "cooler"
)

// Probe is one sensor. A probe without name, or two with one name, are an error.
type Probe struct {
	Name     string
	Sees     Sees
	Piece    string
	Depth    float64              // of a piece's probe: 0 = in the middle, 1 = at the surface that it enters by
	Lag      time.Duration        // first-order time constant
	Offset   thermal.CelsiusDelta // how far it is off the truth
	Noise    thermal.CelsiusDelta // standard deviation
	Step     thermal.CelsiusDelta // readings are rounded to multiples of this; 0 = not rounded
	Dropouts float64              // silences per hour, each of some minutes
	Spikes   float64              // absurd values per hour
}

// Reading is what a probe gave.
type Reading struct {
	Probe   string
	Time    time.Time
	Celsius thermal.Celsius
}

// check reports everything about a scenario that cannot be simulated.
func (s *Scenario) check() error {
	var errs []error
	add := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	if s.Started.IsZero() {
		add("scenario has no start: set Started")
	}
	if s.Interval <= 0 || s.Length < s.Interval {
		add("interval %v and length %v: both must be positive, the length the longer", s.Interval, s.Length)
	}
	if !(s.SetPoint >= 40 && s.SetPoint <= 300) {
		add("setpoint %v is not between 40 and 300 °C", s.SetPoint)
	}
	if _, ok := chamberOf(s.Fire); !ok {
		add("fire %q is not known: use electric, pellet, offset or kamado", s.Fire)
	}
	pieces := map[string]bool{}
	for _, p := range s.Pieces {
		if p.ID == "" || pieces[p.ID] {
			add("piece id %q is empty or stands twice", p.ID)
		}
		pieces[p.ID] = true
		if !(p.MassKg > 0.05 && p.MassKg < 60 && p.ThicknessMM >= 10 && p.ThicknessMM <= 400) {
			add("piece %q: mass %v kg and thickness %v mm must lie within 0.05 to 60 and 10 to 400", p.ID, p.MassKg, p.ThicknessMM)
		}
	}
	names := map[string]bool{}
	for _, p := range s.Probes {
		if p.Name == "" || names[p.Name] {
			add("probe name %q is empty or stands twice", p.Name)
		}
		names[p.Name] = true
		if p.Sees == SeesPiece && !pieces[p.Piece] {
			add("probe %q sees piece %q, which is not in the scenario", p.Name, p.Piece)
		}
	}
	for _, a := range s.Script {
		if a.Piece != "" && !pieces[a.Piece] {
			add("script at %v names piece %q, which is not in the scenario", a.After, a.Piece)
		}
	}
	return errors.Join(errs...)
}
