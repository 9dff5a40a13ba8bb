package monitor

import (
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/sense"
)

// Snapshot is the whole live state at one moment, for reading only.
type Snapshot struct {
	Now        time.Time // the daemon's clock when it was taken
	Cooks      []CookView
	Probes     []ProbeView
	Stages     []StageView   // watched stages: of lots by lot and stage, then of running cooks
	Alarms     []alarm.Alarm // all that are not Normal, highest priority first
	QuietUntil QuietUntil
	Intake     IntakeView
	Failures   uint64 // panics of the forecaster since the start, survived
}

// CookView is a running cook with its forecasts.
type CookView struct {
	Stored   cook.Stored
	Pieces   []PieceView
	AllReady [7]time.Time // joint ready time of all pieces at estimator.Levels; zero = not within the horizon
	NewestAt time.Time    // time of the newest applied reading
}

// PieceView is a piece with its newest forecast.
type PieceView struct {
	Piece        cook.Piece
	Forecast     estimator.Forecast
	Forecasted   bool          // false until the first usable reading
	DangerZone   time.Duration // measured time between 5 and 57 °C so far, by safety.Lukewarm
	DangerUnseen time.Duration // without readings, and perhaps to be added
	ServeChance  float64       // P(ready by serve_by); NaN without a serving hour
	Advice       Advice
}

// Advice is what would help a piece to its serving hour if it were done at once; the zero value when the hour is in no
// doubt, or nothing tried helps. It is sought every ten minutes.
type Advice struct {
	Wrap     string          // "foil", or "" for no wrap
	SetPoint thermal.Celsius // 0 = the pit stays as it is
	Chance   float64         // P(ready by serve_by) when it is done
}

// ProbeView is what is known about a probe now.
type ProbeView struct {
	ID       cook.ProbeID
	Role     cook.Role
	Last     cook.Reading
	Silent   bool
	Interval time.Duration // typical time between its readings; 0 = unknown
	Cook     cook.ID       // 0 = in no running cook
	Piece    cook.PieceID
	Suspect  bool // its readings are in doubt
	Findings []sense.Finding
	Board    string        // the board it is wired to, where one said so
	Offline  time.Time     // since when that board is gone; zero when it is not
	Battery  *cook.Battery // that feeds it; nil: nothing is known of one
	Low      bool          // and has little left
	Fault    *Fault        // why it measures nothing; nil: it does, or nobody says
}

// QuietUntil is the latest time t with P(nothing needs a person before t) >= 0.9, and what comes then.
type QuietUntil struct {
	Known   bool
	Until   time.Time
	Because string // what is first needed, or why it cannot be said
}

// Unheard is a topic on which something was published that nobody took.
type Unheard struct {
	Topic string
	Meant string // the topic that was probably meant; empty when nothing comes to mind
	Times int64
	Last  time.Time
}

// IntakeView is the state of the way in.
type IntakeView struct {
	Connected   bool
	Outside     bool // to a broker that is not the daemon's own; its clients are unknown then
	Clients     int
	Received    uint64 // readings stored since the start
	Quarantined uint64
	Trouble     string // empty when all is well
	Scarce      string // that the disk is full and what was kept back is in use; empty when there is room
	Delivery    string // which way out for messages is down; empty when all are well

	Unheard []Unheard // topics of the own broker that nobody reads, newest first, a few of them

	Waiting int64         // readings that are stored and not judged yet
	Waited  time.Duration // how long the oldest of them has waited, or a cook to be counted; 0 when nothing waits
	Late    string        // what it means that they have waited for so long, and what to do; empty while it is no trouble
}
