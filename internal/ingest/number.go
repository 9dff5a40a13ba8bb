package ingest

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// decimal is what cheap devices print: a sign, digits, a point, an exponent. No hexadecimal, no words, no underscores.
var decimal = regexp.MustCompile(`^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?$`)

// padding stands around numbers from devices that print a line or send a C string whole.
const padding = " \t\r\n\x00"

func parseNumber(s string) (float64, error) {
	s = strings.Trim(s, padding)
	switch strings.ToLower(strings.TrimLeft(s, "+-")) {
	case "nan", "inf", "infinity":
		return 0, fmt.Errorf("value %s is not finite: the device has no measurement", s)
	}
	if !decimal.MatchString(s) {
		return 0, fmt.Errorf("value %s is not a number: send it like 68.2", clip(s))
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, fmt.Errorf("value %s is not finite: check what the device sends", clip(s))
	}
	return v, nil
}

// parseJSONNumber reads a JSON number, or a number that the device wrote as a JSON string.
func parseJSONNumber(raw json.RawMessage) (float64, error) {
	if raw = bytes.TrimSpace(raw); string(raw) == "null" {
		return 0, errors.New("value is null: the device has no measurement")
	}
	if len(raw) > 0 && raw[0] == '"' {
		var s string
		if err := json.Unmarshal(raw, &s); err != nil {
			return 0, fmt.Errorf("value %s is not a number: send it like 68.2", clip(string(raw)))
		}
		return parseNumber(s)
	}
	return parseNumber(string(raw))
}

// millisecondsFrom separates Unix milliseconds from Unix seconds: 1e11 s is the year 5138, 1e11 ms is 1973.
const millisecondsFrom = 1e11

// The seconds since 1970 that RFC 3339 can write: 0001-01-01T00:00:00Z to 9999-12-31T23:59:59Z.
const (
	earliestUnix = -62135596800
	latestUnix   = 253402300799
)

// zoneless is what many devices send for a time: local or not, nobody can know.
var zoneless = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]+)?)?$`)

// parseTime reads a JSON time. A null is a device without a clock: no time and no error.
func parseTime(raw json.RawMessage) (t time.Time, given bool, err error) {
	raw = bytes.TrimSpace(raw)
	if len(raw) == 0 || string(raw) == "null" {
		return time.Time{}, false, nil
	}
	said := string(raw)
	unreadable := func(why string) error {
		return fmt.Errorf("unreadable time %s%s: send RFC 3339 such as \"2026-03-01T22:15:00Z\" or Unix seconds", clip(said), why)
	}
	if raw[0] != '"' {
		v, err := parseNumber(string(raw))
		if err != nil {
			return time.Time{}, false, unreadable("")
		}
		if math.Abs(v) >= millisecondsFrom {
			v /= 1000
		}
		t, err := unixTime(v)
		if err != nil {
			return time.Time{}, false, unreadable("")
		}
		return t, true, nil
	}
	var s string
	if err := json.Unmarshal(raw, &s); err != nil {
		return time.Time{}, false, unreadable("")
	}
	said = s
	// RFC 3339 section 5.6 allows t and z in lower case.
	t, err = time.Parse(time.RFC3339Nano, strings.ToUpper(strings.Trim(s, padding)))
	if err != nil && zoneless.MatchString(strings.Trim(s, padding)) {
		return time.Time{}, false, unreadable(", which names no time zone")
	}
	if err != nil {
		return time.Time{}, false, unreadable("")
	}
	return t.UTC(), true, nil
}

// unixTime converts seconds since 1970 to a time in whole microseconds.
func unixTime(seconds float64) (time.Time, error) {
	if seconds < earliestUnix || seconds > latestUnix {
		return time.Time{}, fmt.Errorf("time %g s is outside the years that can be written", seconds)
	}
	whole, part := math.Modf(seconds)
	return time.Unix(int64(whole), 0).UTC().Add(time.Duration(math.Round(part*1e6)) * time.Microsecond), nil
}

// clip quotes a piece of a payload for a reason, short enough to read.
func clip(s string) string {
	const longest = 40
	if len(s) > longest {
		return strconv.Quote(s[:longest]) + "…"
	}
	return strconv.Quote(s)
}
