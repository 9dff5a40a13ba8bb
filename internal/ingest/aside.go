package ingest

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"
	"time"

	"stallkeeper/internal/cook"
)

// Aside is what a message told about a probe beside its readings. It is not kept before the message is acknowledged: the next
// message tells it again.
type Aside struct {
	Probe   cook.ProbeID
	At      time.Time // the device's time where the payload has one, else of the arrival
	Percent *float64  // the charge of its battery, 0 to 100; nil: not told
	Fault   error     // why what it sent could not become degrees; nil: it did, or nothing was sent
}

// Unconverted is a quantity that the probe's conversion refuses: an open or shorted sensor, or no conversion at all.
type Unconverted struct {
	Probe    cook.ProbeID
	Quantity string
	Reason   error
}

// Error names quantity, probe and reason.
func (u *Unconverted) Error() string {
	return u.Quantity + " from probe " + strconv.Quote(string(u.Probe)) + ": " + u.Reason.Error()
}

// Unwrap gives the conversion's error.
func (u *Unconverted) Unwrap() error { return u.Reason }

// percent reads a charge. What is no number from 0 to 100 is no charge: the reading stands without.
func percent(raw json.RawMessage) *float64 {
	v, err := parseJSONNumber(bytes.TrimSpace(raw))
	if err != nil || math.IsNaN(v) || v < 0 || v > 100 {
		return nil
	}
	return &v
}

// timely dates an aside; false where a broker kept the message and nobody knows since when.
func timely(device time.Time, m Message, now time.Time) (time.Time, bool) {
	if device.IsZero() {
		return cook.Instant(now), !m.Retained && !m.Queued
	}
	return cook.Instant(device), device.Sub(now) <= FutureLimit
}

// charged adds the charge of a probe's battery to what was decoded.
func (d Decoded) charged(probe cook.ProbeID, charge *float64, device time.Time, m Message, now time.Time) Decoded {
	if at, ok := timely(device, m, now); ok && charge != nil {
		d.Asides = append(d.Asides, Aside{Probe: probe, At: at, Percent: charge})
	}
	return d
}

// Asides gives what was told since the last call, the newest of each probe.
func (in *Intake) Asides() []Aside {
	in.mu.Lock()
	defer in.mu.Unlock()
	out := make([]Aside, 0, len(in.asides))
	for _, a := range in.asides {
		out = append(out, a)
	}
	clear(in.asides)
	return out
}

// note keeps what a message told beside its readings. Of more probes than are tracked nothing is noted until it is fetched.
func (in *Intake) note(a Aside) {
	key := asideKey{a.Probe, a.Fault != nil}
	old, known := in.asides[key]
	if !known && len(in.asides) >= maxTracked || known && a.At.Before(old.At) {
		return
	}
	in.asides[key] = a
}

// asideKey keeps charge and fault of a probe apart.
type asideKey struct {
	probe cook.ProbeID
	fault bool
}
