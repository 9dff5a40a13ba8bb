package main

import (
	"encoding/json"
	"fmt"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/when"
)

// who makes an entry.
type who struct {
	By  string `placeholder:"KM" help:"Your initials; not needed with a login."`
	PIN string `name:"pin" env:"STALLKEEPER_PIN" placeholder:"PIN" help:"Your PIN, where people are set up; better given as STALLKEEPER_PIN."`
}

// entering is what the verbs share that make entries: where the daemon is, who makes them, and of when they are.
type entering struct {
	daemonAPI
	who
	At  time.Time     `placeholder:"TIME" help:"When it happened (RFC 3339; default: now)."`
	Ago time.Duration `placeholder:"20m" help:"How long ago it happened."`
}

// signed is who and when as the daemon takes them; a zero time is the daemon's now.
type signed struct {
	At  time.Time `json:"at,omitzero"`
	By  string    `json:"by,omitempty"`
	PIN string    `json:"pin,omitempty"`
}

func (w who) sign(at time.Time) signed { return signed{At: at, By: w.By, PIN: w.PIN} }

// sign gives who and when.
func (e entering) sign() (signed, error) {
	switch {
	case e.Ago < 0:
		return signed{}, fmt.Errorf("--ago %v is negative: enter what has happened", e.Ago)
	case e.At.IsZero() && e.Ago > 0:
		return e.who.sign(time.Now().Add(-e.Ago).UTC()), nil
	}
	return e.who.sign(e.At), nil
}

// entry is an entry as it is sent to the daemon.
type entry struct {
	signed
	Lot      cook.LotID      `json:"lot,omitempty"`
	Kind     record.Kind     `json:"kind"`
	Body     json.RawMessage `json:"body"`
	Corrects int64           `json:"corrects,omitempty"`
	Reason   string          `json:"reason,omitempty"`
}

// enter makes an entry and says which.
func (a daemonAPI) enter(c *console, out entry) error {
	var kept record.Entry
	if err := a.call(c.ctx, "POST", "/records", out, &kept); err != nil {
		return err
	}
	late := ""
	if d := kept.Late(); d > 0 {
		late = fmt.Sprintf(", entered %s later", when.Span(d))
	}
	_, err := fmt.Fprintf(c.out, "entry %d: %s of %s by %s%s\n", kept.Seq, kept.Kind, clock(kept.At), kept.By, late)
	return err
}

// lotVerb is a verb that makes an entry of a lot.
type lotVerb struct {
	entering
	Lot string `arg:"" help:"Name of the lot."`
}

// enter makes the entry of that body.
func (v lotVerb) enter(c *console, body record.Body) error {
	by, err := v.sign()
	if err != nil {
		return err
	}
	data, err := json.Marshal(body)
	if err != nil {
		return err
	}
	return v.daemonAPI.enter(c, entry{signed: by, Lot: cook.LotID(v.Lot), Kind: body.Kind(), Body: data})
}

// clock is a time on this machine's clock.
func clock(t time.Time) string { return when.Date(t, time.Local) }
