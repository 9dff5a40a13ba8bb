package alarm

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
)

// Rule says how urgent a kind of alarm is, how long its condition must hold, and how long it must be gone.
type Rule struct {
	Off      bool          `toml:"off"` // never raise it
	Priority Priority      `toml:"priority"`
	OnDelay  time.Duration `toml:"on_delay"`
	OffDelay time.Duration `toml:"off_delay"`
}

// Settings are the limits of every kind of alarm. A number without a source beside it is a choice of this project
// (common practice, no source).
type Settings struct {
	PitLow       PitBand    `toml:"pit_low"`
	PitHigh      PitBand    `toml:"pit_high"`
	PitFalling   PitFall    `toml:"pit_falling"`
	PitDanger    PitHeat    `toml:"pit_danger"`
	ProbeSilent  Silence    `toml:"probe_silent"`
	ProbeSuspect Rule       `toml:"probe_suspect"`
	Battery      Charge     `toml:"battery_low"`
	PieceReady   Rule       `toml:"piece_ready"`
	WrapDue      Rule       `toml:"wrap_due"`
	ServeAtRisk  ServeRisk  `toml:"serve_at_risk"`
	DangerZone   Dwell      `toml:"danger_zone"`
	ComeUp       StageLimit `toml:"come_up"`
	Cooling      StageLimit `toml:"cooling"`
	Holding      StageLimit `toml:"hot_holding"`
	ColdLimit    Rule       `toml:"cold_limit"`
	Cure         Rule       `toml:"cure_cooler"`
	ColdStore    Rule       `toml:"cold_store"`
	Freezer      Rule       `toml:"freezer"`
	CO           COLimits   `toml:"co"`
	Cooler       Cold       `toml:"cooler_warm"`
	Intake       Rule       `toml:"intake"`
}

// PitBand is how far the pit may be from its setpoint.
type PitBand struct {
	Rule
	Beyond   thermal.CelsiusDelta `toml:"beyond_k"`
	Deadband thermal.CelsiusDelta `toml:"deadband_k"` // inside the band by this much before it counts as returned
	Startup  time.Duration        `toml:"startup"`    // after lighting, or a new setpoint, until the band is first reached; at most this long
}

// PitFall is what a dying fire looks like: well below the setpoint, and falling without the recovery that follows a lid.
type PitFall struct {
	Rule
	Below thermal.CelsiusDelta `toml:"below_k"` // this far below the setpoint
	Fall  thermal.CelsiusDelta `toml:"fall_k"`  // fallen by this much within the last ten minutes, or twice this within half an hour
}

// PitHeat is how hot a pit with fat in it may get. Fat flashes from some 200 °C on (from memory).
type PitHeat struct {
	Rule                 // of the warning; the danger is always High and comes without delay
	Warn thermal.Celsius `toml:"warn_c"`
	Max  thermal.Celsius `toml:"max_c"`
}

// Silence is when a probe counts as dead, measured by the daemon's clock.
type Silence struct {
	Rule
	Times  float64       `toml:"times"`    // this many of its own intervals
	AtMost time.Duration `toml:"at_most"`  // never waits longer, however rarely the probe speaks
	Least  time.Duration `toml:"at_least"` // never sooner
}

// ServeRisk is when a forecast puts the serving hour in doubt.
type ServeRisk struct {
	Rule
	Below float64 `toml:"below"` // P(ready by the hour) under this
	Clear float64 `toml:"clear"` // over this it counts as returned
}

// Dwell is how long a piece may be between From and To, counted from what was measured. Four hours is common practice
// without an authority behind it.
type Dwell struct {
	Rule                    // Priority is for pieces that are not intact
	Intact  Priority        `toml:"intact_priority"`
	From    thermal.Celsius `toml:"from_c"`
	To      thermal.Celsius `toml:"to_c"`
	Longest time.Duration   `toml:"longest"`
}

// COLimits are in parts per million of carbon monoxide. 35 ppm is the NIOSH recommended limit and the EPA's for an hour,
// 200 ppm the NIOSH ceiling; 70 ppm is the lowest level that UL 2034 alarms answer to (they wait at least an hour; this
// waits less, for it is not a certified alarm and never a safety device).
type COLimits struct {
	Rule                    // of the warning
	Warn      float64       `toml:"warn_ppm"`
	Alarm     float64       `toml:"alarm_ppm"`
	AlarmWait time.Duration `toml:"alarm_on_delay"`
	Danger    float64       `toml:"danger_ppm"` // at once
}

// Cold are the limits of a cooler. 5 °C is 41 °F, Food Code 3-501.16.
type Cold struct {
	Rule
	Max      thermal.Celsius      `toml:"max_c"`
	Min      thermal.Celsius      `toml:"min_c"` // below it a cure stands still and meat freezes
	Deadband thermal.CelsiusDelta `toml:"deadband_k"`
}

// DefaultSettings is what holds unless told otherwise.
func DefaultSettings() Settings {
	m := time.Minute
	return Settings{
		PitLow:       PitBand{Rule{Priority: Medium, OnDelay: 20 * m, OffDelay: 5 * m}, 15, 4, 90 * m},
		PitHigh:      PitBand{Rule{Priority: Medium, OnDelay: 15 * m, OffDelay: 5 * m}, 20, 4, 90 * m},
		PitFalling:   PitFall{Rule{Priority: High, OnDelay: 8 * m, OffDelay: 10 * m}, 15, 6},
		PitDanger:    PitHeat{Rule{Priority: Medium, OnDelay: 2 * m, OffDelay: 5 * m}, 200, 280},
		ProbeSilent:  Silence{Rule{Priority: Medium}, 6, 90 * m, 15 * m},
		ProbeSuspect: Rule{Priority: Medium, OnDelay: 3 * m, OffDelay: 5 * m},
		Battery:      Charge{Rule{Priority: Low}, 20, 5},
		PieceReady:   Rule{Priority: Medium, OffDelay: 10 * m},
		WrapDue:      Rule{Priority: Low, OnDelay: 2 * m},
		ServeAtRisk:  ServeRisk{Rule{Priority: Medium, OnDelay: 15 * m, OffDelay: 15 * m}, 0.5, 0.65},
		DangerZone:   Dwell{Rule{Priority: Medium}, Low, 5, 57, 4 * time.Hour},
		ComeUp:       StageLimit{Rule{Priority: Medium}, Notice, Medium, 15 * m},
		Cooling:      StageLimit{Rule{Priority: Medium}, Medium, Medium, 10 * m},
		Holding:      StageLimit{Rule{Priority: Medium, OffDelay: 5 * m}, Medium, Low, 10 * m},
		ColdLimit:    Rule{Priority: Low},
		Cure:         Rule{Priority: Medium, OnDelay: 15 * m, OffDelay: 5 * m},
		ColdStore:    Rule{Priority: Medium, OnDelay: 15 * m, OffDelay: 5 * m},
		Freezer:      Rule{Priority: Low, OnDelay: 2 * time.Hour, OffDelay: 10 * m},
		CO:           COLimits{Rule{Priority: Medium, OnDelay: 15 * m, OffDelay: 5 * m}, 35, 70, 5 * m, 200},
		Cooler:       Cold{Rule{Priority: Medium, OnDelay: 30 * m, OffDelay: 5 * m}, 5, -1, 0.5},
		Intake:       Rule{Priority: High, OnDelay: 1 * m, OffDelay: 1 * m},
	}
}

// Validate reports everything that is wrong, keys named.
func (s Settings) Validate() error {
	var errs []error
	add := func(format string, a ...any) { errs = append(errs, fmt.Errorf("alarm."+format, a...)) }
	for _, r := range s.rules() {
		if !slices.Contains(priorities, r.rule.Priority) {
			add("%s.priority %q is not notice, low, medium or high", r.key, r.rule.Priority)
		}
		if r.rule.OnDelay < 0 || r.rule.OffDelay < 0 || r.rule.OnDelay > 6*time.Hour || r.rule.OffDelay > 6*time.Hour {
			add("%s: on_delay %v and off_delay %v must lie between 0s and 6h", r.key, r.rule.OnDelay, r.rule.OffDelay)
		}
	}
	for _, b := range []struct {
		key  string
		band PitBand
	}{{"pit_low", s.PitLow}, {"pit_high", s.PitHigh}} {
		if !(b.band.Beyond > 0 && b.band.Deadband >= 0 && b.band.Deadband < b.band.Beyond && b.band.Startup >= 0) {
			add("%s: beyond_k must be above 0, deadband_k between 0 and beyond_k, startup not negative", b.key)
		}
	}
	if !(s.PitFalling.Below > 0 && s.PitFalling.Fall > 0) {
		add("pit_falling: below_k and fall_k must be above 0")
	}
	if !(s.PitDanger.Warn >= 150 && s.PitDanger.Max > s.PitDanger.Warn && s.PitDanger.Max <= 400) {
		add("pit_danger: warn_c must be at least 150, max_c above it and at most 400")
	}
	if !(s.ProbeSilent.Times >= 2 && s.ProbeSilent.Least > 0 && s.ProbeSilent.AtMost >= s.ProbeSilent.Least) {
		add("probe_silent: times must be at least 2, at_least above 0s, at_most not below at_least")
	}
	if !(s.Battery.Below >= 0 && s.Battery.Deadband >= 0 && s.Battery.Below+s.Battery.Deadband <= 100) {
		add("battery_low: below_percent and deadband_percent must not be negative, both together at most 100")
	}
	if !(s.ServeAtRisk.Below > 0 && s.ServeAtRisk.Clear >= s.ServeAtRisk.Below && s.ServeAtRisk.Clear < 1) {
		add("serve_at_risk: below must be above 0, clear between it and 1")
	}
	if !slices.Contains(priorities, s.DangerZone.Intact) {
		add("danger_zone.intact_priority %q is not notice, low, medium or high", s.DangerZone.Intact)
	}
	if !(s.DangerZone.From < s.DangerZone.To && s.DangerZone.Longest > 0) {
		add("danger_zone: from_c must be below to_c, longest above 0s")
	}
	if s.DangerZone.From > 5 || s.DangerZone.To < 57 {
		add("danger_zone: from_c %v to to_c %v is narrower than the 5 to 57 °C of the safety rules, which pages and records count by: write from_c 5 or less, to_c 57 or more",
			float64(s.DangerZone.From), float64(s.DangerZone.To))
	}
	for _, l := range []struct {
		key   string
		limit StageLimit
	}{{"come_up", s.ComeUp}, {"cooling", s.Cooling}, {"hot_holding", s.Holding}} {
		if !slices.Contains(priorities, l.limit.Intact) || !slices.Contains(priorities, l.limit.Risk) {
			add("%s: intact_priority %q and risk_priority %q must be notice, low, medium or high", l.key, l.limit.Intact, l.limit.Risk)
		}
		if l.limit.RiskWait < 0 || l.limit.RiskWait > time.Hour {
			add("%s.risk_on_delay %v is not between 0s and 1h", l.key, l.limit.RiskWait)
		}
	}
	if !(s.CO.Warn > 0 && s.CO.Alarm >= s.CO.Warn && s.CO.Danger >= s.CO.Alarm && s.CO.Danger <= 200 && s.CO.AlarmWait >= 0) {
		add("co: warn_ppm, alarm_ppm and danger_ppm must rise, danger_ppm at most 200 (the NIOSH ceiling)")
	}
	if !(s.Cooler.Min < s.Cooler.Max && s.Cooler.Deadband >= 0) {
		add("cooler_warm: min_c must be below max_c, deadband_k not negative")
	}
	return errors.Join(errs...)
}

// priorities ascend.
var priorities = []Priority{Notice, Low, Medium, High}

// Above reports whether p is more urgent than q.
func (p Priority) Above(q Priority) bool {
	return slices.Index(priorities, p) > slices.Index(priorities, q)
}

type namedRule struct {
	key  string
	rule Rule
}

func (s Settings) rules() []namedRule {
	return []namedRule{
		{"pit_low", s.PitLow.Rule}, {"pit_high", s.PitHigh.Rule}, {"pit_falling", s.PitFalling.Rule}, {"pit_danger", s.PitDanger.Rule},
		{"probe_silent", s.ProbeSilent.Rule}, {"probe_suspect", s.ProbeSuspect}, {"battery_low", s.Battery.Rule}, {"piece_ready", s.PieceReady}, {"wrap_due", s.WrapDue},
		{"serve_at_risk", s.ServeAtRisk.Rule}, {"danger_zone", s.DangerZone.Rule}, {"co", s.CO.Rule},
		{"come_up", s.ComeUp.Rule}, {"cooling", s.Cooling.Rule}, {"hot_holding", s.Holding.Rule}, {"cold_limit", s.ColdLimit},
		{"cure_cooler", s.Cure}, {"cold_store", s.ColdStore}, {"freezer", s.Freezer},
		{"cooler_warm", s.Cooler.Rule}, {"intake", s.Intake},
	}
}
