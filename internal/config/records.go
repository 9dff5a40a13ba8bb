package config

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"stallkeeper/internal/cook"
)

// Records sets the journal of the lots: how long it is kept, who may make entries, and where its checkpoints go.
type Records struct {
	Shop      string   `toml:"shop"` // name, address and number of the establishment, for the head of what is exported
	KeepYears int      `toml:"keep_years"`
	Mail      []string `toml:"mail"`    // paths of kind email that get the day's checkpoint
	MailAt    string   `toml:"mail_at"` // local time
	People    []Signer `toml:"person"`
}

// Signer makes entries with initials and a PIN.
type Signer struct {
	Initials string `toml:"initials"`
	Name     string `toml:"name"`
	PINHash  string `toml:"pin_hash"`
}

func defaultRecords() Records { return Records{KeepYears: 2, Mail: []string{}, MailAt: "20:00"} }

func (c *Config) validateRecords() error {
	r := c.Records
	var errs []error
	if err := cook.CheckText("records.shop", r.Shop); err != nil {
		errs = append(errs, err)
	}
	add := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	if r.KeepYears < 1 || r.KeepYears > 50 {
		add("records.keep_years %d is not between 1 and 50", r.KeepYears)
	}
	if _, _, err := clock(r.MailAt); err != nil {
		add("records.mail_at %q is not a time of the day such as 20:00", r.MailAt)
	}
	for _, name := range r.Mail {
		if !slices.ContainsFunc(c.Notify.Paths, func(p Path) bool { return p.Name == name && p.Kind == PathEmail }) {
			add("records.mail names %q, which is no notify.path of kind email", name)
		}
	}
	for i, p := range r.People {
		if strings.TrimSpace(p.Initials) == "" || p.PINHash == "" {
			add("%s needs initials and pin_hash", block("records.person", i, p.Name))
		}
		errs = append(errs, cook.CheckText("records.person initials", p.Initials), cook.CheckText("records.person name", p.Name))
		if slices.ContainsFunc(r.People[:i], func(q Signer) bool { return strings.EqualFold(q.Initials, p.Initials) }) {
			add("records.person %q stands twice: initials belong to one person", p.Initials)
		}
		if strings.EqualFold(p.Initials, "daemon") {
			add("records.person %q is the daemon's own name: take others", p.Initials)
		}
	}
	return errors.Join(errs...)
}

// Clock is the time of the day at which the checkpoint is mailed.
func (r Records) Clock() (hour, minute int, err error) { return clock(r.MailAt) }

func clock(s string) (hour, minute int, err error) {
	t, err := time.Parse("15:04", s)
	return t.Hour(), t.Minute(), err
}
