package ingest

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/cook"
)

// Mapping reads payloads of another shape.
type Mapping struct {
	Topic string // MQTT topic filter, + and # allowed
	Probe string // name of the probe; {1}, {2}… stand for what the first, second… wildcard matched
	Value string // JSON Pointer to the value; empty: the whole payload is the number
	Time  string // JSON Pointer to the time (RFC 3339, Unix seconds or milliseconds); empty: time of arrival
	// Battery is a JSON Pointer to the charge of the probe's battery in percent; empty: none. A payload may be without it.
	Battery string
	Unit    string // C (default), F, K, or ohms, volts, millivolts, raw with the probe's conversion
}

type mapping struct {
	Mapping
	quantity             string
	value, time, battery pointer
}

var mappedUnits = map[string]string{"": "celsius", "C": "celsius", "F": "fahrenheit", "K": "kelvin",
	"ohms": "ohms", "volts": "volts", "millivolts": "millivolts", "raw": "raw"}

func (m Mapping) compile() (mapping, error) {
	c := mapping{Mapping: m}
	var errs []error
	errs = append(errs, checkFilter(m.Topic))
	ok := false
	if c.quantity, ok = mappedUnits[m.Unit]; !ok {
		errs = append(errs, fmt.Errorf("unit %q: write C, F, K, ohms, volts, millivolts or raw", m.Unit))
	}
	var err error
	if c.value, err = parsePointer(m.Value); err != nil {
		errs = append(errs, fmt.Errorf("value: %w", err))
	}
	if c.time, err = parsePointer(m.Time); err != nil {
		errs = append(errs, fmt.Errorf("time: %w", err))
	}
	if c.battery, err = parsePointer(m.Battery); err != nil {
		errs = append(errs, fmt.Errorf("battery: %w", err))
	}
	if m.Value == "" && m.Time != "" {
		errs = append(errs, errors.New("time without value: a payload that is only a number has no time"))
	}
	if m.Value == "" && m.Battery != "" {
		errs = append(errs, errors.New("battery without value: a payload that is only a number has no battery"))
	}
	errs = append(errs, m.checkProbe())
	return c, errors.Join(errs...)
}

// checkProbe tries the template with plain parts.
func (m Mapping) checkProbe() error {
	parts := make([]string, strings.Count(m.Topic, "+")+strings.Count(m.Topic, "#"))
	for i := range parts {
		parts[i] = "x"
	}
	name := fillProbe(m.Probe, parts)
	if strings.ContainsAny(string(name), "{}") {
		return fmt.Errorf("probe %q: only {1} to {%d} can be filled from the wildcards of %q", m.Probe, len(parts), m.Topic)
	}
	return name.Validate()
}

func fillProbe(template string, parts []string) cook.ProbeID {
	for i, part := range parts {
		template = strings.ReplaceAll(template, "{"+strconv.Itoa(i+1)+"}", part)
	}
	return cook.ProbeID(template)
}

func (d *Decoder) decodeMapped(mp mapping, parts []string, m Message, now time.Time) (Decoded, error) {
	probe := fillProbe(mp.Probe, parts)
	if err := probe.Validate(); err != nil {
		return Decoded{}, err
	}
	if len(bytes.Trim(m.Payload, padding)) == 0 {
		return Decoded{}, errors.New("empty payload: the mapping of this topic expects a value")
	}
	if mp.Value == "" {
		v, err := parseNumber(string(m.Payload))
		if err != nil {
			return Decoded{}, err
		}
		return d.one(probe, mp.quantity, v, time.Time{}, m, now)
	}
	var doc any
	dec := json.NewDecoder(bytes.NewReader(bytes.Trim(m.Payload, padding)))
	dec.UseNumber()
	if err := dec.Decode(&doc); err != nil {
		return Decoded{}, fmt.Errorf("payload is not JSON (%w): the mapping of this topic expects JSON", err)
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return Decoded{}, errors.New("payload has something behind its JSON document: send one document")
	}
	raw, err := mp.value.find(doc)
	if err != nil {
		return Decoded{}, fmt.Errorf("value: %w", err)
	}
	v, err := parseJSONNumber(raw)
	if err != nil {
		return Decoded{}, fmt.Errorf("value at %q: %w", mp.Value, err)
	}
	device, err := mp.deviceTime(doc)
	if err != nil {
		return Decoded{}, err
	}
	out, err := d.one(probe, mp.quantity, v, device, m, now)
	if mp.Battery == "" {
		return out, err
	}
	charge, missing := mp.battery.find(doc)
	if missing != nil {
		return out, err
	}
	return out.charged(probe, percent(charge), device, m, now), err
}

func (mp mapping) deviceTime(doc any) (time.Time, error) {
	if mp.Time == "" {
		return time.Time{}, nil
	}
	raw, err := mp.time.find(doc)
	if err != nil {
		return time.Time{}, fmt.Errorf("unreadable time: %w", err)
	}
	t, _, err := parseTime(raw)
	return t, err
}

// pointer is a parsed JSON Pointer (RFC 6901).
type pointer []string

var unescape = strings.NewReplacer("~1", "/", "~0", "~")

func parsePointer(s string) (pointer, error) {
	if s == "" {
		return nil, nil
	}
	if s[0] != '/' {
		return nil, fmt.Errorf("JSON Pointer %q does not begin with /: write it like /payload/temperature", s)
	}
	tokens := strings.Split(s[1:], "/")
	for i, t := range tokens {
		if strings.Contains(strings.NewReplacer("~0", "", "~1", "").Replace(t), "~") {
			return nil, fmt.Errorf("JSON Pointer %q has a ~ without 0 or 1: write ~0 for ~ and ~1 for /", s)
		}
		tokens[i] = unescape.Replace(t)
	}
	return tokens, nil
}

// find gives the value at the pointer as JSON.
func (p pointer) find(doc any) (json.RawMessage, error) {
	for i, token := range p {
		next, ok := child(doc, token)
		if !ok {
			return nil, fmt.Errorf("nothing at /%s in the payload: check the mapping's JSON Pointer", strings.Join(p[:i+1], "/"))
		}
		doc = next
	}
	return json.Marshal(doc)
}

// child follows one token; array indices are digits without a leading zero (RFC 6901 section 4).
func child(doc any, token string) (any, bool) {
	switch v := doc.(type) {
	case map[string]any:
		next, ok := v[token]
		return next, ok
	case []any:
		i, err := strconv.Atoi(token)
		if err != nil || strconv.Itoa(i) != token || i < 0 || i >= len(v) {
			return nil, false
		}
		return v[i], true
	}
	return nil, false
}

func checkFilter(filter string) error {
	if filter == "" || strings.HasPrefix(filter, "$") || strings.ContainsRune(filter, 0) {
		return fmt.Errorf("topic %q: name a topic that does not begin with $", filter)
	}
	levels := strings.Split(filter, "/")
	for i, level := range levels {
		if (strings.Contains(level, "#") && (level != "#" || i != len(levels)-1)) || (strings.Contains(level, "+") && level != "+") {
			return fmt.Errorf("topic %q: + and # stand alone in a level, # in the last one", filter)
		}
	}
	return nil
}

// matchTopic matches an MQTT topic filter (MQTT 3.1.1 section 4.7) and gives what each wildcard stood for.
func matchTopic(filter, topic string) ([]string, bool) {
	if strings.HasPrefix(topic, "$") {
		return nil, false
	}
	var parts []string
	want, have := strings.Split(filter, "/"), strings.Split(topic, "/")
	for i, level := range want {
		if level == "#" {
			return append(parts, strings.Join(have[min(i, len(have)):], "/")), true
		}
		if i >= len(have) || (level != "+" && level != have[i]) {
			return nil, false
		}
		if level == "+" {
			parts = append(parts, have[i])
		}
	}
	return parts, len(want) == len(have)
}
