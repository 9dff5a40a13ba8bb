package ingest

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// relativeBelow is 2^28 s: smaller times in a SenML pack count from the arrival (RFC 8428 section 4.5.3).
const relativeBelow = 1 << 28

// longestAgo keeps relative times, in seconds, within what a time.Duration can hold (292 years).
const longestAgo = 9e9

// packVersion is the highest SenML version understood (RFC 8428 section 4.4).
const packVersion = 10

// record is a SenML record resolved against the base fields before it (RFC 8428 section 4.6).
type record struct {
	name, unit string
	time       float64
	value      json.RawMessage // nil without a numeric value
	base       float64         // to be added to value
}

func (d *Decoder) decodePack(probe cook.ProbeID, body []byte, m Message, now time.Time) (Decoded, error) {
	var raw []map[string]json.RawMessage
	if err := json.Unmarshal(body, &raw); err != nil {
		return Decoded{}, fmt.Errorf("payload is not a SenML pack (%w): send an array of records (RFC 8428)", err)
	}
	records, err := resolve(raw)
	if err != nil {
		return Decoded{}, err
	}
	shared := true
	for _, rec := range records {
		shared = shared && rec.name == records[0].name
	}
	var out Decoded
	var bad error
	var charge *float64
	var charged record
	for i, rec := range records {
		if v, ok := rec.charge(); ok {
			charge, charged = v, rec
			continue
		}
		if rec.unit != "Cel" && rec.unit != "K" {
			out.Ignored++
			continue
		}
		name := probe
		if !shared {
			name += cook.ProbeID("/" + rec.name)
		}
		r, err := d.record(rec, name, m, now)
		if err != nil && bad == nil {
			bad = fmt.Errorf("SenML record %d: %w", i+1, err)
		}
		if err == nil {
			out.Readings = append(out.Readings, r)
		}
	}
	out = out.fed(probe, charge, charged, m, now)
	if len(out.Readings)+len(out.Asides) == 0 && bad == nil {
		bad = errors.New("SenML pack without a temperature: no record has the unit Cel or K")
	}
	return out, bad
}

// charge gives the charge that a record tells; false for a record of another kind. %EL is the level of a battery in percent (RFC 8428
// section 12.1).
func (rec record) charge() (*float64, bool) {
	if rec.unit != "%EL" {
		return nil, false
	}
	v, err := parseJSONNumber(rec.value)
	if v += rec.base; err != nil || math.IsNaN(v) || v < 0 || v > 100 {
		return nil, false
	}
	return &v, true
}

// fed gives the charge to every probe of the pack, for they are on one device; to the topic's where there is none.
func (d Decoded) fed(topic cook.ProbeID, charge *float64, rec record, m Message, now time.Time) Decoded {
	device, _, err := rec.at(now)
	if charge == nil || err != nil {
		return d
	}
	var names []cook.ProbeID
	for _, r := range d.Readings {
		if !slices.Contains(names, r.Probe) {
			names = append(names, r.Probe)
		}
	}
	if len(names) == 0 {
		names = append(names, topic)
	}
	for _, name := range names {
		d = d.charged(name, charge, device, m, now)
	}
	return d
}

// at is the device's time of a record, zero where it has none; relative where it was counted from the arrival.
func (rec record) at(now time.Time) (device time.Time, relative bool, err error) {
	switch {
	case rec.time >= relativeBelow:
		device, err = unixTime(rec.time)
		return device, false, err
	case rec.time < -longestAgo:
		return device, true, fmt.Errorf("unreadable time: %g s before the arrival", -rec.time)
	case rec.time != 0:
		device = now.Add(time.Duration(rec.time * float64(time.Second)))
	}
	return device, true, nil
}

// record gives the temperature of a record. A time counted from the arrival is timed by the daemon's clock, and the
// same pack sent again makes new readings.
func (d *Decoder) record(rec record, probe cook.ProbeID, m Message, now time.Time) (cook.Reading, error) {
	if err := probe.Validate(); err != nil {
		return cook.Reading{}, err
	}
	if rec.value == nil {
		return cook.Reading{}, errors.New("no number in v: the device has no measurement")
	}
	v, err := parseJSONNumber(rec.value)
	if err != nil {
		return cook.Reading{}, err
	}
	v += rec.base
	c, raw := thermal.Celsius(v), ""
	if rec.unit == "K" {
		c, raw = thermal.FromKelvin(v), rawText(v, "K")
	}
	if rec.unit == "K" || rec.base != 0 {
		c = rounded(c)
	}
	device, relative, err := rec.at(now)
	if err != nil {
		return cook.Reading{}, err
	}
	c, raw = d.corrected(probe, c, raw)
	r, err := reading(probe, c, device, m, now)
	r.Raw = raw
	if relative {
		r.Clock = cook.ArrivalClock
		r.Backlog = r.Backlog || m.Queued
	}
	return r, err
}

// resolve applies the base fields. Records that only set base fields are not measurements and are left out.
func resolve(raw []map[string]json.RawMessage) ([]record, error) {
	var baseName, baseUnit string
	var baseTime, baseValue float64
	var out []record
	for i, fields := range raw {
		f := fieldReader{fields: fields}
		f.text("bn", &baseName)
		f.text("bu", &baseUnit)
		f.number("bt", &baseTime)
		f.number("bv", &baseValue)
		version := float64(packVersion)
		f.number("bver", &version)
		rec := record{unit: baseUnit, base: baseValue}
		name, t := "", 0.0
		f.text("n", &name)
		f.text("u", &rec.unit)
		f.number("t", &t)
		rec.name, rec.time = baseName+name, baseTime+t
		switch err := f.err; {
		case err != nil:
			return nil, fmt.Errorf("SenML record %d: %w", i+1, err)
		case version > packVersion:
			return nil, fmt.Errorf("SenML record %d has version %g: versions up to %d are understood", i+1, version, packVersion)
		}
		if name := mustUnderstand(fields); name != "" {
			return nil, fmt.Errorf("SenML record %d has the field %s that must be understood and is not (RFC 8428 section 4.4)", i+1, clip(name))
		}
		rec.value = fields["v"]
		if measures(fields) {
			out = append(out, rec)
		}
	}
	return out, nil
}

// measures reports whether a record has anything of its own beside base fields.
func measures(fields map[string]json.RawMessage) bool {
	for name := range fields {
		switch name {
		case "bn", "bt", "bu", "bv", "bs", "bver":
		default:
			return true
		}
	}
	return false
}

func mustUnderstand(fields map[string]json.RawMessage) string {
	for name := range fields {
		if strings.HasSuffix(name, "_") {
			return name
		}
	}
	return ""
}

// fieldReader reads fields of a record and keeps the first error.
type fieldReader struct {
	fields map[string]json.RawMessage
	err    error
}

func (f *fieldReader) text(name string, into *string) {
	raw, ok := f.fields[name]
	if !ok || f.err != nil {
		return
	}
	if json.Unmarshal(raw, into) != nil || string(raw) == "null" {
		f.err = fmt.Errorf("%s is not a string", name)
	}
}

func (f *fieldReader) number(name string, into *float64) {
	raw, ok := f.fields[name]
	if !ok || f.err != nil {
		return
	}
	v, err := parseJSONNumber(raw)
	if err != nil {
		what := name
		if name == "t" || name == "bt" {
			what = "unreadable time " + name
		}
		f.err = fmt.Errorf("%s: %w", what, err)
		return
	}
	*into = v
}
