package shop

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/problem"
)

// When gives the time that a person said, in UTC, or now where they said none. A time that is yet to come, or of another century,
// is refused under the name of what it is the time of.
func (s Shop) When(what string, said time.Time) (time.Time, error) {
	now := s.Now()
	if said.IsZero() {
		return now.UTC(), nil
	}
	if err := cook.CheckHappened(what, said, now); err != nil {
		return time.Time{}, problem.Bad("%v", err)
	}
	return said.UTC(), nil
}

// LogEvent checks an entry against the log of its cook and keeps it, logged now. Without a time it is now. A withdrawal repeats the event of the
// entry that it withdraws, so that the log says what never happened.
func (s Shop) LogEvent(ctx context.Context, id cook.ID, e cook.Entry) (cook.Entry, error) {
	stored, err := s.Library.Cook(ctx, id)
	if err != nil {
		return e, err
	}
	if err := correct(stored, &e); err != nil {
		return e, err
	}
	at, err := s.When("time", e.Time)
	if err != nil {
		return e, err
	}
	e.Time, e.Logged = cook.Instant(at), cook.Instant(s.Now())
	if !e.Withdraw {
		if err := stored.CheckEvent(e.Event); err != nil {
			return e, problem.Bad("%s", problem.ClipTo(err.Error(), 500))
		}
	}
	for _, text := range [][2]string{{"by", e.By}, {"note", e.Note}} {
		if err := cook.CheckText(text[0], text[1]); err != nil {
			return e, problem.Bad("%s", problem.ClipTo(err.Error(), 200))
		}
	}
	kept, err := s.Desk.LogEvent(ctx, id, e)
	return kept, problem.Saying(err, "this cook does not take the entry any more: look at its events again")
}

// correct checks what a correcting entry corrects; a withdrawal gets the event that never happened.
func correct(stored *cook.Stored, e *cook.Entry) error {
	if e.Corrects == 0 {
		if e.Withdraw {
			return problem.Bad("corrects is missing: say which entry is withdrawn")
		}
		return nil
	}
	i := slices.IndexFunc(stored.Entries, func(old cook.Entry) bool { return old.ID == e.Corrects })
	if i < 0 {
		return problem.Bad("corrects %d is no entry of this cook", e.Corrects)
	}
	if stored.Replaced(e.Corrects) {
		return problem.New(http.StatusConflict, "Conflict", fmt.Sprintf("entry %d has been corrected already: correct the later entry", e.Corrects))
	}
	if e.Withdraw {
		e.Event = stored.Entries[i].Event
	}
	return nil
}

// EnterReading keeps a temperature that a person read, with the quality that its value has. Without a time it is now.
func (s Shop) EnterReading(ctx context.Context, probe cook.ProbeID, celsius thermal.Celsius, said time.Time) (cook.Reading, error) {
	if err := probe.Validate(); err != nil {
		return cook.Reading{}, problem.Bad("probe: %s", problem.ClipTo(err.Error(), 200))
	}
	if !celsius.Finite() {
		return cook.Reading{}, problem.Bad("celsius %v is below absolute zero: check number and unit", float64(celsius))
	}
	at, err := s.When("time", said)
	if err != nil {
		return cook.Reading{}, err
	}
	reading := cook.Reading{Probe: probe, Time: cook.Instant(at), Celsius: celsius, Clock: cook.HandClock, Arrived: cook.Instant(s.Now())}
	judge := cook.Judge{Gas: map[cook.ProbeID]bool{}}
	for _, p := range s.View.Snapshot().Probes {
		judge.Gas[p.ID] = p.Role == cook.RoleCO
	}
	if reading.Quality = judge.Quality(reading); reading.Quality == cook.PowerUp {
		reading.Quality = cook.Good // a person does not read a sensor's power-up value
	}
	err = s.Desk.HandReading(ctx, reading)
	return reading, problem.Saying(err, "another value of this probe stands at this time: give the time at which it was read")
}
