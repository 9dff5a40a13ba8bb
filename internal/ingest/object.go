package ingest

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// quantities are the value fields of the JSON object in the order in which they count: degrees before what needs a conversion.
var quantities = [...]string{"celsius", "fahrenheit", "ohms", "volts", "millivolts", "raw"}

func (d *Decoder) decodeObject(probe cook.ProbeID, body []byte, m Message, now time.Time) (Decoded, error) {
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(body, &fields); err != nil {
		return Decoded{}, fmt.Errorf("payload is not JSON (%w): send a number or an object such as {\"celsius\":68.2}", err)
	}
	charge := percent(fields["battery_percent"])
	for _, quantity := range quantities {
		raw, ok := fields[quantity]
		if !ok {
			continue
		}
		v, err := parseJSONNumber(raw)
		if err != nil {
			return Decoded{}, fmt.Errorf("%s: %w", quantity, err)
		}
		if err := agree(fields); err != nil {
			return Decoded{}, err
		}
		device, _, err := parseTime(fields["time"])
		if err != nil {
			return Decoded{}, err
		}
		out, err := d.one(probe, quantity, v, device, m, now)
		if err == nil {
			out.Readings[0].Seq = sequence(fields["seq"])
		}
		return out.charged(probe, charge, device, m, now), err
	}
	if charge != nil {
		device, _, err := parseTime(fields["time"])
		if err != nil {
			return Decoded{}, err
		}
		return Decoded{}.charged(probe, charge, device, m, now), nil
	}
	return Decoded{}, errors.New("no known field: send one of celsius, fahrenheit, ohms, volts, millivolts, raw, or add a mapping for this topic")
}

// roundedApart is how far one temperature in two units may be apart: both rounded to whole degrees differ by up to 0.8 K.
const roundedApart = 1

// agree refuses an object that gives the temperature twice and means two: which one is true cannot be known. A value that is
// no number says nothing.
func agree(fields map[string]json.RawMessage) error {
	c, errC := parseJSONNumber(fields["celsius"])
	f, errF := parseJSONNumber(fields["fahrenheit"])
	if errC != nil || errF != nil || math.Abs(c-float64(thermal.FromFahrenheit(f))) <= roundedApart {
		return nil
	}
	return fmt.Errorf("celsius %g and fahrenheit %g are two temperatures (%g °F is %.1f °C): send one of them", c, f, f, float64(thermal.FromFahrenheit(f)))
}

// rounded cuts what arithmetic leaves behind the millionth of a degree: 300.5 K is 27.35 °C.
func rounded(c thermal.Celsius) thermal.Celsius {
	if r := math.Round(float64(c)*1e6) / 1e6; !math.IsInf(r, 0) {
		return thermal.Celsius(r)
	}
	return c
}

// measured makes a reading of a quantity, converted to degrees where it is not in Celsius.
func (d *Decoder) measured(probe cook.ProbeID, quantity string, v float64, device time.Time, m Message, now time.Time) (cook.Reading, error) {
	c, raw := thermal.Celsius(v), ""
	switch quantity {
	case "celsius":
	case "fahrenheit":
		c, raw = thermal.FromFahrenheit(v), rawText(v, "F")
	case "kelvin":
		c, raw = thermal.FromKelvin(v), rawText(v, "K")
	default:
		if d.convert == nil {
			return cook.Reading{}, &Unconverted{probe, quantity, errors.New("it cannot become degrees: configure a conversion for this probe")}
		}
		var err error
		if c, err = d.convert(probe, quantity, v); err != nil {
			return cook.Reading{}, &Unconverted{probe, quantity, err}
		}
		raw = rawText(v, quantity)
	}
	if raw != "" {
		c = rounded(c)
	}
	c, raw = d.corrected(probe, c, raw)
	r, err := reading(probe, c, device, m, now)
	r.Raw = raw
	return r, err
}

func rawText(v float64, unit string) string { return strconv.FormatFloat(v, 'g', -1, 64) + " " + unit }

// sequence reads the device's own count. One that is not a whole number from 1 to 2^53 is no count: the reading stands without.
func sequence(raw json.RawMessage) int64 {
	raw = bytes.TrimSpace(raw)
	if n, err := strconv.ParseInt(string(raw), 10, 64); err == nil {
		return max(n, 0)
	}
	v, err := parseJSONNumber(raw)
	if err != nil || v < 1 || v > 1<<53 || v != math.Trunc(v) {
		return 0
	}
	return int64(v)
}
