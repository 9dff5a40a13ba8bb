package ingest

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// TopicPrefix stands before the probe's name in the topics of readings.
const TopicPrefix = "stallkeeper/reading/"

// Meant is the topic of readings that was probably meant by one that is none: capital letters, a letter too many or too few, no
// name of the probe. Empty when nothing comes to mind.
func Meant(topic string) string {
	levels := strings.SplitN(strings.Trim(topic, "/"), "/", 3)
	own := strings.Split(TopicPrefix, "/")
	if len(levels) < 2 || !alike(levels[0], own[0]) || !alike(levels[1], own[1]) {
		return ""
	}
	if len(levels) < 3 || levels[2] == "" {
		return TopicPrefix + "<probe>"
	}
	return TopicPrefix + levels[2]
}

// alike reports whether a word begins like another and is nearly as long.
func alike(a, b string) bool {
	return len(a) >= 2 && strings.EqualFold(a[:2], b[:2]) && len(a) <= len(b)+2 && len(a) >= len(b)-2
}

// MaxPayload is the longest payload that is looked into, in bytes.
const MaxPayload = 64 << 10

// FutureLimit is how far a device's clock may be ahead of the daemon's.
const FutureLimit = 10 * time.Minute

// BacklogAfter is how long after its device time a reading may come and still tell about now. Five minutes is the
// window of the median that decides whether a piece is ready: an older reading cannot change what that says about now.
// Common publish intervals (seconds to a minute) with a retry stay well below it.
const BacklogAfter = 5 * time.Minute

// Convert turns a raw quantity ("ohms", "volts", "millivolts" or "raw") of one probe into degrees. An error says what to
// configure; the payload then goes to quarantine with it.
type Convert func(probe cook.ProbeID, quantity string, value float64) (thermal.Celsius, error)

// Message is one MQTT publish as it arrived.
type Message struct {
	Topic    string
	Payload  []byte
	Retained bool // the broker kept it from before this connection
	Queued   bool // the broker held it back while the daemon was away
}

// Decoded is what a payload held.
type Decoded struct {
	Readings []cook.Reading
	Ignored  int // SenML records that are neither temperatures nor charges
	Asides   []Aside
}

// Decoder reads payloads. It is immutable and safe for concurrent use.
type Decoder struct {
	mappings []mapping
	convert  Convert
	correct  map[cook.ProbeID]Correction
}

// Correction is true = Slope × sent + K, from a check of the probe.
type Correction struct{ Slope, K float64 }

// NewDecoder prepares the mappings; convert may be nil when no probe has a conversion, and correct when none is corrected.
// What a corrected probe sent stands in the reading's Raw. The error names the mapping.
func NewDecoder(mappings []Mapping, convert Convert, correct map[cook.ProbeID]Correction) (*Decoder, error) {
	d := &Decoder{convert: convert, correct: correct}
	var errs []error
	for i, m := range mappings {
		c, err := m.compile()
		if err != nil {
			errs = append(errs, fmt.Errorf("mapping %d: %w", i+1, err))
		}
		d.mappings = append(d.mappings, c)
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	return d, nil
}

// Filters lists the MQTT topic filters to subscribe to.
func (d *Decoder) Filters() []string {
	filters := []string{TopicPrefix + "#"}
	for _, m := range d.mappings {
		filters = append(filters, m.Topic)
	}
	return filters
}

// Consumes reports whether messages on the topic are readings.
func (d *Decoder) Consumes(topic string) bool {
	if strings.HasPrefix(topic, TopicPrefix) {
		return true
	}
	_, _, ok := d.mapped(topic)
	return ok
}

func (d *Decoder) mapped(topic string) (mapping, []string, bool) {
	for _, m := range d.mappings {
		if parts, ok := matchTopic(m.Topic, topic); ok {
			return m, parts, true
		}
	}
	return mapping{}, nil, false
}

// Decode reads one message that arrived at now. The error is the reason for quarantine, in plain words. A SenML pack may
// give both: its good records, and the reason for the first bad one. Readings come without a quality.
func (d *Decoder) Decode(m Message, now time.Time) (Decoded, error) {
	if len(m.Payload) > MaxPayload {
		return Decoded{}, fmt.Errorf("payload of %d bytes: a reading has at most %d", len(m.Payload), MaxPayload)
	}
	if mp, parts, ok := d.mapped(m.Topic); ok {
		return d.decodeMapped(mp, parts, m, now)
	}
	name, ok := strings.CutPrefix(m.Topic, TopicPrefix)
	if !ok {
		return Decoded{}, fmt.Errorf("topic %s is no topic of readings: publish to %s<probe> or add a mapping", clip(m.Topic), TopicPrefix)
	}
	probe := cook.ProbeID(name)
	if err := probe.Validate(); err != nil {
		return Decoded{}, err
	}
	body := bytes.Trim(m.Payload, padding)
	switch {
	case len(body) == 0:
		return Decoded{}, errors.New("empty payload: send a number in degrees Celsius")
	case body[0] == '{':
		return d.decodeObject(probe, body, m, now)
	case body[0] == '[':
		return d.decodePack(probe, body, m, now)
	}
	v, err := parseNumber(string(body))
	if err != nil {
		return Decoded{}, err
	}
	return d.one(probe, "celsius", v, time.Time{}, m, now)
}

// one decodes one quantity of one probe. Where its conversion refuses it, that is told beside the error.
func (d *Decoder) one(probe cook.ProbeID, quantity string, v float64, device time.Time, m Message, now time.Time) (Decoded, error) {
	r, err := d.measured(probe, quantity, v, device, m, now)
	if err == nil {
		return Decoded{Readings: []cook.Reading{r}}, nil
	}
	var out Decoded
	if u := (*Unconverted)(nil); errors.As(err, &u) {
		if at, ok := timely(device, m, now); ok {
			out.Asides = []Aside{{Probe: probe, At: at, Fault: u.Reason}}
		}
	}
	return out, err
}

// corrected applies what a check found, and keeps what was sent in raw.
func (d *Decoder) corrected(probe cook.ProbeID, c thermal.Celsius, raw string) (thermal.Celsius, string) {
	by, ok := d.correct[probe]
	if !ok || improbable(c) {
		return c, raw
	}
	if raw == "" {
		raw = rawText(float64(c), "C")
	}
	return rounded(thermal.Celsius(by.Slope*float64(c) + by.K)), raw
}

// improbable reports a value that a sensor gives for a fault, which no correction may hide: 85.0 and what lies below −60 °C.
func improbable(c thermal.Celsius) bool { return c == 85 || c <= -60 }

// reading builds and checks one reading; the zero device time means that the payload had none.
func reading(probe cook.ProbeID, c thermal.Celsius, device time.Time, m Message, now time.Time) (cook.Reading, error) {
	if !c.Finite() {
		return cook.Reading{}, fmt.Errorf("%.2f °C is below absolute zero or not finite: check the probe and its unit", float64(c))
	}
	r := cook.Reading{Probe: probe, Celsius: c, Clock: cook.ArrivalClock, Retained: m.Retained, Arrived: cook.Instant(now)}
	r.Time = r.Arrived
	if device.IsZero() {
		r.Backlog = m.Queued
		return r, nil
	}
	if ahead := device.Sub(now); ahead > FutureLimit {
		return cook.Reading{}, fmt.Errorf("time %s is ahead of this machine's clock, which says %s: set the clock of the device, or of this machine",
			device.UTC().Format(time.RFC3339), now.UTC().Format(time.RFC3339))
	}
	r.Clock, r.Time = cook.DeviceClock, cook.Instant(device)
	r.Backlog = now.Sub(device) > BacklogAfter
	return r, nil
}
