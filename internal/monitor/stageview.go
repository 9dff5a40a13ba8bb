package monitor

import (
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// StageView is a stage that is being watched with the clocks of its limits: one of a lot that somebody started, or what a
// running cook implies (smoke while a piece is on the fire, hold and chill once it came off).
//
// To draw a clock: while State is running, Used grows by the daemon's time passed since StageView.At; Due is when it runs
// out if nothing changes. A clock whose State is unknown is drawn as unknown, never as fine: Because says what is missing.
// Nothing here is a forecast but Forecast and AtRisk, and these two must be labelled as one.
type StageView struct {
	Watch   cook.StageWatch // Lot is empty for what a running cook implies
	Cook    cook.ID         // the running cook that implies it; 0 = a lot's
	At      time.Time       // of the newest reading that counts; zero before the first
	Probe   cook.ProbeID    // the probe that counts just now: of several the worst
	Celsius thermal.Celsius // its level at At: the median of its newest readings; NaN before the first
	Clocks  []Clock
}

// ClockName says what a clock measures.
type ClockName string

// The clocks.
const (
	ClockDangerZone ClockName = "danger-zone" // smoke, hold, chill: time between 5 and 57 °C since the piece left the cold, also between the stages
	ClockComeUp     ClockName = "come-up"     // smoke: time between 10 and 54.4 °C until it is cooked
	ClockCooked     ClockName = "cooked"      // smoke: time at or above the row of the table that is nearest to being met
	ClockHold       ClockName = "hot-holding" // hold: time below the limit, this time
	ClockCooling1   ClockName = "cooling-1"   // chill: first leg of the cooling rule, such as 57 to 21 °C in 2 h
	ClockCooling2   ClockName = "cooling-2"   // chill: second leg
	ClockCold       ClockName = "cold"        // thaw, cure, dry, store, freeze: time outside the limits of the cooler, this time
)

// ClockState is how a limit stands, from what was measured.
type ClockState string

// The states of a clock.
const (
	ClockWaiting ClockState = "waiting" // has not begun, or stands within its limit
	ClockRunning ClockState = "running" // time is being used up, or gained (cooked)
	ClockMet     ClockState = "met"
	ClockMissed  ClockState = "missed"
	ClockUnknown ClockState = "unknown" // readings are missing where they matter
)

// Clock is one limit of a stage as it stands.
type Clock struct {
	Name     ClockName
	Set      string // the rule set, such as "foodcode-2022"
	Source   string
	Needed   string // the limit in words
	Thumb    bool   // a rule of thumb: no authority has published it, and the shop has not made it its own
	State    ClockState
	Probe    cook.ProbeID  // the probe that decides
	Used     time.Duration // measured, up to StageView.At
	Unseen   time.Duration // without readings, and perhaps to be added to Used
	Within   time.Duration // Used must stay at or below it; for cooked it must be reached; 0 = no limit in time
	Since    time.Time     // when it began to run this time; zero while it does not
	Due      time.Time     // when Used reaches Within if nothing changes; zero while it does not run
	Forecast time.Time     // forecast of when it stops running (cooked: is met); zero = none
	AtRisk   bool          // the forecast lies behind Due
	Because  string        // one sentence
}
