package plan

import (
	"time"

	"stallkeeper/internal/cook"
)

// StepID names a step. The ids are stable: calendars and other programs rely on them.
type StepID string

// The steps, in the order in which they come.
const (
	Buy        StepID = "buy"
	Thaw       StepID = "thaw"
	Trim       StepID = "trim"
	BrineMake  StepID = "brine-make"
	BrineCool  StepID = "brine-cool"
	CureStart  StepID = "cure-start"
	CureTurn   StepID = "cure-turn"
	CureEnd    StepID = "cure-end"
	Dry        StepID = "dry"
	Rub        StepID = "rub"
	FireLight  StepID = "fire-light"
	SmokeStart StepID = "smoke-start"
	Stall      StepID = "stall"
	Wrap       StepID = "wrap"
	Ready      StepID = "ready"
	Rest       StepID = "rest"
	Hold       StepID = "hold"
	Slice      StepID = "slice"
	Serve      StepID = "serve"
	Chill      StepID = "chill"
	Freeze     StepID = "freeze"
)

// Steps lists every step in order.
func Steps() []StepID {
	return []StepID{Buy, Thaw, Trim, BrineMake, BrineCool, CureStart, CureTurn, CureEnd, Dry, Rub, FireLight, SmokeStart, Stall,
		Wrap, Ready, Rest, Hold, Slice, Serve, Chill, Freeze}
}

// Words says what the step is, for people: "put it on".
func (id StepID) Words() string {
	if words, ok := map[StepID]string{BrineMake: "make the brine", BrineCool: "cool the brine", CureStart: "start the cure", CureTurn: "turn it in the cure",
		CureEnd: "end the cure", FireLight: "light the fire", SmokeStart: "put it on"}[id]; ok {
		return words
	}
	return string(id)
}

// Step is one thing to do.
type Step struct {
	ID     StepID
	Piece  cook.PieceID // empty = all pieces together
	At     time.Time    // comfortable; the soonest possible when the plan cannot be met
	Latest time.Time    // begun later, the serving hour is lost (stall and wrap: where they lie then); chill and freeze: a food limit is
	Until  time.Time    // when it is over, for steps that last; zero where nothing is said
	Do     string
	IfLate string
	Basis  string // where its duration comes from
}

// Slack is how much later than comfortable the step may begin; negative when it comes too late.
func (s Step) Slack() time.Duration { return s.Latest.Sub(s.At) }

// stage is a step with how long it lasts until the next one begins.
type stage struct {
	id             StepID
	comfort, least time.Duration
	byDay          bool // handwork that is kept out of the night
	follows        bool // begins as soon as the step before it ends, even if that was moved to an earlier hour
	do, late       string
	basis          string
}

// The waking hours of handwork. Choice of this project; common practice, no source.
const morning, evening = 8, 20

// daytime gives the newest waking moment at or before t. Later moments never come out earlier.
func daytime(t time.Time, zone *time.Location) time.Time {
	l := t.In(zone)
	y, m, d := l.Date()
	switch {
	case l.Hour() < morning:
		return time.Date(y, m, d-1, evening, 0, 0, 0, zone)
	case l.Hour() >= evening:
		return time.Date(y, m, d, evening, 0, 0, 0, zone)
	}
	return t
}

// nextDaytime gives the first waking moment at or after t.
func nextDaytime(t time.Time, zone *time.Location) time.Time {
	l := t.In(zone)
	y, m, d := l.Date()
	switch {
	case l.Hour() < morning:
		return time.Date(y, m, d, morning, 0, 0, 0, zone)
	case l.Hour() >= evening:
		return time.Date(y, m, d+1, morning, 0, 0, 0, zone)
	}
	return t
}

// schedule gives each stage its two times. The last stage is the serving hour.
func schedule(chain []stage, r Request, p Piece) []Step {
	n := len(chain)
	steps := make([]Step, n)
	comfort := r.Serve
	latest := r.Serve
	for i := n - 1; i >= 0; i-- {
		if i < n-1 {
			comfort, latest = comfort.Add(-chain[i].comfort), latest.Add(-chain[i].least)
		}
		if chain[i].byDay {
			comfort = daytime(comfort, r.Zone)
		}
		c := chain[i]
		steps[i] = Step{ID: c.id, Piece: p.ID, At: comfort, Latest: latest, Do: c.do, IfLate: c.late, Basis: c.basis}
	}
	soonest := r.Now
	for i := range steps {
		if i == 0 && chain[i].id == p.Done {
			steps[i].At = p.DoneAt
		} else if steps[i].At.Before(soonest) {
			steps[i].At = soonest
		}
		if next := i + 1; next < n && chain[next].follows {
			if end := steps[i].At.Add(chain[i].comfort); end.Before(steps[next].At) {
				steps[next].At = end
			}
		}
		soonest = steps[i].At.Add(chain[i].least)
		if soonest.Before(r.Now) {
			soonest = r.Now
		}
	}
	return steps
}
