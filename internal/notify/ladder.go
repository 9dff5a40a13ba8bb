package notify

import (
	"fmt"
	"time"

	"stallkeeper/internal/alarm"
)

// Route is a path as the core sees it.
type Route struct {
	Path   string                           // its name
	Person string                           // whom it reaches; empty: a machine
	After  map[alarm.Priority]time.Duration // how long an alarm may stand before it is used; a priority that is missing never uses it
	Again  time.Duration                    // repeated so often until somebody acknowledges; 0: once
	Acks   bool                             // a machine that wants to hear of acknowledgements, such as a siren
}

// Clock is a time of day in minutes after midnight.
type Clock int

// ParseClock reads "22:00".
func ParseClock(s string) (Clock, error) {
	t, err := time.Parse("15:04", s)
	if err != nil {
		return 0, fmt.Errorf("%q is not a time of day: write it like 22:00", s)
	}
	return Clock(t.Hour()*60 + t.Minute()), nil
}

// Person is somebody who sleeps.
type Person struct {
	Name               string
	Quiet              bool           // whether there are quiet hours
	QuietFrom, QuietTo Clock          // in the ladder's zone; they may pass midnight
	Holds              alarm.Priority // the most urgent priority that the quiet hours hold back; High is never held
}

// quiet reports whether it is within the person's quiet hours.
func (p Person) quiet(now time.Time) bool {
	if !p.Quiet {
		return false
	}
	m := Clock(now.Hour()*60 + now.Minute())
	if p.QuietFrom <= p.QuietTo {
		return m >= p.QuietFrom && m < p.QuietTo
	}
	return m >= p.QuietFrom || m < p.QuietTo
}

// holds reports whether an alarm of that priority waits now.
func (p Person) holds(now time.Time, pr alarm.Priority) bool {
	return p.quiet(now) && pr != alarm.High && !pr.Above(p.Holds)
}

// Ladder is who is told and when.
type Ladder struct {
	Routes []Route // in the order in which they are used at the same time
	People []Person
	Zone   *time.Location
	Test   bool // a daily test message by every path
	TestAt Clock
}

func (l Ladder) person(name string) Person {
	for _, p := range l.People {
		if p.Name == name {
			return p
		}
	}
	return Person{Name: name}
}

func (l Ladder) route(path string) (Route, bool) {
	for _, r := range l.Routes {
		if r.Path == path {
			return r, true
		}
	}
	return Route{}, false
}
