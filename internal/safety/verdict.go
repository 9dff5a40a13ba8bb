package safety

import (
	"fmt"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// Outcome is what a verdict says.
type Outcome int

// The outcomes, worst first. Unknown is a finding: it is never as good as Met.
const (
	Missed Outcome = iota
	Unknown
	Met
)

// Rule is the kind of limit a verdict is about.
type Rule string

// The rules.
const (
	Dwell       Rule = "dwell"
	ComeUp      Rule = "come-up"
	Lethality   Rule = "lethality"
	DangerZone  Rule = "danger-zone"
	Cooling     Rule = "cooling"
	HotHolding  Rule = "hot-holding"
	ColdHolding Rule = "cold-holding"
	PitLimits   Rule = "pit"
	Gaps        Rule = "gaps"
)

// Verdict is the judgement of one rule of one rule set on one piece.
type Verdict struct {
	Set      string
	Rule     Rule
	Outcome  Outcome
	At       time.Time // when it was decided; zero when it was not
	Needed   string    // the limit, with the instrument's error in it
	Measured string    // the actual value
	Source   string
	Because  string // one sentence
}

// Settings are what a shop may set; the zero value of MaxGap means 30 minutes.
type Settings struct {
	InstrumentError thermal.CelsiusDelta
	MaxGap          time.Duration  // longest interval between readings that still counts
	FatPercent      float64        // of poultry; 0 = unknown
	Organism        Organism       // of the advisory integral; zero = Salmonella
	Own             Limits         // a shop's own stricter limits
	Zone            *time.Location // of the times that verdicts name; nil: UTC, and they say so
}

const defaultMaxGap = 30 * time.Minute // FSIS-GD-2021-14: observations at least every 30 min

// fahrenheit writes a temperature of a table in both scales: "140 °F (60.0 °C)".
func fahrenheit(f float64) string {
	return fmt.Sprintf("%g °F (%.1f °C)", f, float64(thermal.FromFahrenheit(f)))
}

// celsius writes a measured temperature in both scales: "62.8 °C (145.0 °F)".
func celsius(c thermal.Celsius) string {
	return fmt.Sprintf("%.1f °C (%.1f °F)", float64(c), c.Fahrenheit())
}

// celsiusRange writes two temperatures in both scales: "5 to 57 °C (41 to 135 °F)".
func celsiusRange(low, word, high string, a, b thermal.Celsius, places int) string {
	return fmt.Sprintf("%s %s %s °C (%.*f %s %.*f °F)", low, word, high, places, a.Fahrenheit(), word, places, b.Fahrenheit())
}

// date writes a time for people.
func (s Settings) date(t time.Time) string {
	if s.Zone == nil {
		return when.Date(t, time.UTC) + " UTC"
	}
	return when.Date(t, s.Zone)
}

func (s Settings) maxGap() time.Duration {
	if s.MaxGap > 0 {
		return s.MaxGap
	}
	return defaultMaxGap
}

// Trace is what one probe of one piece measured, good readings only, ascending, with what was left out.
type Trace struct {
	Probe    cook.ProbeID
	Readings []cook.Reading
	Excluded int
}

// Subject is a piece and everything measured in it.
type Subject struct {
	Piece   cook.Piece
	Poultry bool
	Fish    bool
	Traces  []Trace
	Pit     []Trace
	Events  []cook.Event
}

// NewSubject picks a piece's readings out of a log.
func NewSubject(log *cook.Log, p cook.Piece) Subject {
	s := Subject{Piece: p, Events: log.Cook.Events}
	switch p.Cut {
	case "turkey_breast", "turkey_whole", "chicken_whole":
		s.Poultry = true
	case "fish_side":
		s.Fish = true
	}
	for _, id := range p.ProbeIDs() {
		s.Traces = append(s.Traces, trace(log.Readings, id))
	}
	seen := map[cook.ProbeID]bool{}
	for _, r := range log.Readings {
		if log.Cook.Pit.OwnsProbe(r.Probe) && !seen[r.Probe] {
			seen[r.Probe] = true
			s.Pit = append(s.Pit, trace(log.Readings, r.Probe))
		}
	}
	return s
}

func trace(readings []cook.Reading, id cook.ProbeID) Trace {
	t := Trace{Probe: id}
	for _, r := range readings {
		switch {
		case r.Probe != id:
		case r.Quality == cook.Good && !r.Retained:
			t.Readings = append(t.Readings, r)
		default:
			t.Excluded++
		}
	}
	return t
}

// worst folds the verdicts of several probes into the one that stands: the worst outcome, and among equals the latest.
func worst(verdicts []Verdict) Verdict {
	out := verdicts[0]
	for _, v := range verdicts[1:] {
		if v.Outcome < out.Outcome || v.Outcome == out.Outcome && v.At.After(out.At) {
			out = v
		}
	}
	return out
}

// String is the outcome in a word.
func (o Outcome) String() string {
	switch o {
	case Missed:
		return "missed"
	case Met:
		return "met"
	}
	return "unknown"
}
