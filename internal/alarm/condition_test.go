package alarm

import (
	"errors"
	"testing"
	"time"

	"stallkeeper/internal/cook"
)

var start = time.Date(2026, 5, 2, 20, 0, 0, 0, time.UTC)

func minute(m float64) time.Time { return start.Add(time.Duration(m * float64(time.Minute))) }

// newTested has an on-delay of five minutes and an off-delay of three.
func newTested() Condition {
	return NewCondition(Alarm{ID: "pit-low/1", Kind: PitLow}, Rule{Priority: Medium, OnDelay: 5 * time.Minute, OffDelay: 3 * time.Minute})
}

// step is one thing that happens to a condition, and the state it leads to.
type step struct {
	at    float64
	do    string // yes, between, no, urgent; ack; shelve (for an hour); expire
	state State
	call  bool
}

func TestCondition_Life(t *testing.T) {
	for name, steps := range map[string][]step{
		"stays quiet during its on-delay": {{0, "yes", Pending, false}, {4, "yes", Pending, false}, {4.5, "no", Normal, false}},
		"counts the on-delay anew after it was gone": {{0, "yes", Pending, false}, {3, "no", Normal, false}, {4, "yes", Pending, false},
			{8, "yes", Pending, false}, {9, "yes", Active, true}},
		"the deadband neither raises nor ends it": {{0, "between", Normal, false}, {1, "yes", Pending, false}, {4, "between", Pending, false},
			{6, "between", Active, true}, {20, "between", Active, false}},
		"returns after its off-delay only": {{0, "yes", Pending, false}, {5, "yes", Active, true}, {6, "no", Active, false},
			{8, "no", Active, false}, {9, "no", Returned, true}, {10, "ack", Normal, false}},
		"a short dip out does not end it": {{0, "yes", Pending, false}, {5, "yes", Active, true}, {6, "no", Active, false}, {8, "yes", Active, false},
			{9, "no", Active, false}, {11, "no", Active, false}, {12, "no", Returned, true}},
		"acknowledged goes straight to normal": {{0, "yes", Pending, false}, {5, "yes", Active, true}, {6, "ack", Acked, false},
			{7, "yes", Acked, false}, {8, "no", Acked, false}, {11, "no", Normal, true}},
		"returned comes back": {{0, "yes", Pending, false}, {5, "yes", Active, true}, {6, "no", Active, false}, {9, "no", Returned, true},
			{10, "yes", Returned, false}, {15, "yes", Active, true}},
		"more urgent calls again, even when acknowledged": {{0, "yes", Pending, false}, {5, "yes", Active, true}, {6, "ack", Acked, false},
			{7, "urgent", Active, true}, {8, "urgent", Active, false}, {9, "yes", Active, false}},
		"shelved says nothing until the shelf ends": {{0, "yes", Pending, false}, {5, "yes", Active, true}, {6, "shelve", Shelved, false},
			{30, "urgent", Shelved, false}, {65, "expire", Shelved, false}, {66, "expire", Active, true}},
		"gone while shelved": {{0, "yes", Pending, false}, {5, "yes", Active, true}, {6, "shelve", Shelved, false}, {20, "no", Shelved, false},
			{24, "no", Shelved, false}, {66, "expire", Normal, false}},
	} {
		c := newTested()
		for i, s := range steps {
			change, _ := perform(&c, s)
			if c.Alarm().State != s.state || change.Call != s.call {
				t.Errorf("%s: step %d (%s at %v): %s, call %v; want %s, call %v", name, i, s.do, s.at, c.Alarm().State, change.Call, s.state, s.call)
			}
		}
	}
}

func perform(c *Condition, s step) (Change, error) {
	now := minute(s.at)
	var change Change
	var err error
	switch s.do {
	case "yes":
		change, _ = c.Observe(now, Finding{Holds: Yes, Because: "it holds"})
	case "urgent":
		change, _ = c.Observe(now, Finding{Holds: Yes, Because: "it is worse", Priority: High})
	case "between":
		change, _ = c.Observe(now, Finding{Holds: Between})
	case "no":
		change, _ = c.Observe(now, Finding{Because: "it is gone"})
	case "ack":
		change, err = c.Acknowledge(now, "the cook")
	case "shelve":
		change, err = c.Shelve(now, now.Add(time.Hour), "the cook")
	case "expire":
		change, _ = c.Expire(now)
	}
	return change, err
}

func TestCondition_CarriesTimesReasonsAndNames(t *testing.T) {
	c := newTested()
	perform(&c, step{at: 0, do: "yes"})
	raised, _ := perform(&c, step{at: 5, do: "yes"})
	if a := raised.Alarm; raised.From != Pending || raised.Because != "it holds" || !a.Raised.Equal(minute(5)) || a.Because != "it holds" || a.Priority != Medium {
		t.Errorf("raised: %+v", raised)
	}
	acked, err := perform(&c, step{at: 6, do: "ack"})
	if a := acked.Alarm; err != nil || a.By != "the cook" || !a.Acknowledged.Equal(minute(6)) || acked.Because != "acknowledged by the cook" {
		t.Errorf("acknowledged: %+v %v", acked, err)
	}
	perform(&c, step{at: 8, do: "no"})
	gone, _ := perform(&c, step{at: 11, do: "no"})
	if a := gone.Alarm; gone.Because != "it is gone" || !a.Returned.Equal(minute(11)) || a.Because != "it holds" {
		t.Errorf("gone: %+v", gone)
	}
}

func TestCondition_RefusesWhatDoesNotFit(t *testing.T) {
	c := newTested()
	if _, err := c.Acknowledge(start, ""); !errors.Is(err, cook.ErrNotFound) {
		t.Errorf("acknowledging what does not stand: %v", err)
	}
	perform(&c, step{at: 0, do: "yes"})
	perform(&c, step{at: 5, do: "yes"})
	if _, err := c.Shelve(minute(6), minute(6+25*60), ""); err == nil {
		t.Error("shelving for 25 hours was allowed")
	}
	if _, err := c.Shelve(minute(6), minute(5), ""); err == nil {
		t.Error("shelving into the past was allowed")
	}
	if _, err := perform(&c, step{at: 7, do: "ack"}); err != nil {
		t.Error(err)
	}
	if _, err := perform(&c, step{at: 8, do: "ack"}); !errors.Is(err, cook.ErrConflict) {
		t.Errorf("acknowledging twice: %v", err)
	}
}

func TestCondition_OffMeansOff(t *testing.T) {
	c := NewCondition(Alarm{ID: "x"}, Rule{Off: true, Priority: High})
	if change, happened := c.Observe(start, Finding{Holds: Yes}); happened {
		t.Errorf("a condition that is off changed: %+v", change)
	}
}

func TestSettings_DefaultsAreValidAndMistakesAreNamed(t *testing.T) {
	if err := DefaultSettings().Validate(); err != nil {
		t.Error(err)
	}
	for name, spoil := range map[string]func(*Settings){
		"priority":   func(s *Settings) { s.PitLow.Priority = "urgent" },
		"delay":      func(s *Settings) { s.Intake.OnDelay = -time.Second },
		"band":       func(s *Settings) { s.PitHigh.Deadband = 30 },
		"fall":       func(s *Settings) { s.PitFalling.Fall = 0 },
		"heat":       func(s *Settings) { s.PitDanger.Max = 190 },
		"silence":    func(s *Settings) { s.ProbeSilent.Times = 1 },
		"chance":     func(s *Settings) { s.ServeAtRisk.Clear = 0.2 },
		"intact":     func(s *Settings) { s.DangerZone.Intact = "" },
		"dwell":      func(s *Settings) { s.DangerZone.To = 4 },
		"co ceiling": func(s *Settings) { s.CO.Danger = 400 },
		"cooler":     func(s *Settings) { s.Cooler.Min = 6 },
	} {
		s := DefaultSettings()
		spoil(&s)
		if err := s.Validate(); err == nil {
			t.Errorf("%s: a mistake passed", name)
		}
	}
}
