package cook

import (
	"fmt"
	"time"
)

// The rules here are, for every time that a person or another program says, at every door:
//   - it lies in the years 1970 to 2099: a device without a clock counts from 1970, and so may its log; after 2099 a digit is wrong;
//   - what has happened is not later than now, but for Ahead by which clocks differ;
//   - what is planned lies at most Farthest after what it is planned from.
// All three are choices of this project. Zero is a time that nobody gave, and is for the caller to miss.

const (
	// Ahead is how far ahead of this machine's clock the time of something that has happened may lie.
	Ahead = 10 * time.Minute
	// Farthest is how far ahead something may be planned.
	Farthest = 400 * 24 * time.Hour
)

// CheckTime reports a time outside the years 1970 to 2099; what names it in the error.
func CheckTime(what string, t time.Time) error {
	if t.IsZero() {
		return nil
	}
	return CheckSaid(what, t)
}

// CheckSaid is CheckTime for a time read from somebody's words: the beginning of the year 1 is refused too, which elsewhere is a time
// that nobody gave.
func CheckSaid(what string, t time.Time) error {
	switch year := t.UTC().Year(); {
	case year < 1970:
		return fmt.Errorf("%s lies in the year %d, before 1970: correct the date", what, year)
	case year > 2099:
		return fmt.Errorf("%s lies in the year %d, after 2099: correct the date", what, year)
	}
	return nil
}

// CheckHappened is CheckTime for what has happened: it is not still to come either.
func CheckHappened(what string, t, now time.Time) error {
	if err := CheckTime(what, t); err != nil {
		return err
	}
	if t.After(now.Add(Ahead)) {
		return fmt.Errorf("%s is in the future: enter what has happened, or set this machine's clock", what)
	}
	return nil
}

// CheckPlanned is CheckTime for what is planned: it lies at most Farthest after its start.
func CheckPlanned(what string, t, start time.Time) error {
	if err := CheckTime(what, t); err != nil {
		return err
	}
	if t.After(start.Add(Farthest)) {
		return fmt.Errorf("%s is more than %d days ahead: check the year", what, Farthest/(24*time.Hour))
	}
	return nil
}
