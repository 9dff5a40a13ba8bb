package main

import (
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/convert"
	"stallkeeper/internal/cook"
)

type probeCmd struct {
	Convert probeConvertCmd `cmd:"" help:"Turn ohms, volts, millivolts or a chip's word into degrees, and back."`
	Check   probeCheckCmd   `cmd:"" help:"Check a probe in ice and boiling water, by its live readings, and keep the result in the records."`
	History probeHistoryCmd `cmd:"" help:"The checks of a probe, its drift, and which of its readings are in doubt."`
	Compare probeCompareCmd `cmd:"" help:"Two probes side by side."`
}

// Help gives an example.
func (probeCmd) Help() string {
	return "Examples:\n\n    stallkeeper probe convert --kind pt100 --ohms 138.51\n    stallkeeper probe check --probe flat --altitude 300m"
}

type probeConvertCmd struct {
	Kind string `required:"" placeholder:"KIND" help:"ntc, pt100, pt1000, type-k, type-j, type-t, type-n, type-e, ds18b20, max31855, max6675 or linear."`

	Ohms       *float64 `placeholder:"N" help:"Measured resistance."`
	Volts      *float64 `placeholder:"N" help:"Measured voltage."`
	Millivolts *float64 `placeholder:"N" help:"Measured voltage."`
	Raw        string   `placeholder:"N" help:"Register of a digital chip, in hexadecimal (07D0); the count of a converter, in decimal."`
	Word       string   `placeholder:"0xN" help:"Word of a digital chip, in hexadecimal."`
	Scratchpad string   `placeholder:"HEX" help:"The nine bytes of a ds18b20, with their checksum."`
	Celsius    *float64 `placeholder:"N" help:"The other way round: what the probe gives at this temperature."`
	As         string   `placeholder:"UNIT" help:"With --celsius: ohms, volts, millivolts or raw."`

	A            float64 `placeholder:"N" help:"Steinhart-Hart: 1/T = a + b ln R + c (ln R)^3, kelvin and ohms."`
	B            float64 `placeholder:"N" help:"See --a."`
	C            float64 `placeholder:"N" help:"See --a."`
	D            float64 `placeholder:"N" help:"Four-term form with --r25: 1/T = a + b L + c L^2 + d L^3, L = ln(R/R25)."`
	Beta         float64 `placeholder:"K" help:"Beta of a thermistor, in kelvin, with --r25."`
	R25          float64 `name:"r25" placeholder:"OHMS" help:"Resistance at 25 °C."`
	Points       string  `placeholder:"LIST" help:"Two to four measured points, such as '0C=32650.9,25C=10000,100C=678.4'."`
	Table        string  `placeholder:"LIST" help:"Rows of a printed table, written like --points."`
	ColdJunction string  `placeholder:"24C" help:"Where a thermocouple's wires end (0C); a bare number is Celsius."`
	Couple       string  `placeholder:"K" help:"The couple at a max31855."`
	Relinearize  bool    `help:"Go behind the straight line of a max31855."`

	Divider        float64 `placeholder:"OHMS" help:"Fixed resistor of the divider."`
	ReferenceVolts float64 `placeholder:"V" help:"Voltage across the divider, or full scale of the converter."`
	FullScale      float64 `placeholder:"N" help:"Counts of the converter at the reference: 1023, 4095, 32767."`
	SensorHigh     bool    `help:"The sensor sits at the reference and not at ground."`
	LeadOhms       float64 `placeholder:"OHMS" help:"Resistance of both wires, taken off."`
	Gain           float64 `placeholder:"N" help:"Of the amplifier behind a thermocouple."`
	Slope          float64 `placeholder:"K" help:"linear: kelvin per unit."`
	Offset         float64 `placeholder:"N" help:"linear: Celsius at 0."`
	JSON           bool    `help:"Print JSON."`
}

// Help gives examples.
func (probeConvertCmd) Help() string {
	return `Examples:
  stallkeeper probe convert --kind pt100 --ohms 138.51
  stallkeeper probe convert --kind type-k --millivolts 4.096 --cold-junction 0C
  stallkeeper probe convert --kind ntc --points '0C=32650.9,25C=10000,100C=678.4' --ohms 678.4
  stallkeeper probe convert --kind ds18b20 --raw 07D0
  stallkeeper probe convert --kind max31855 --word 0x01501790 --relinearize
  stallkeeper probe convert --kind pt1000 --celsius 93

Exit status 1: the chip reports a fault. The same settings stand in [probe.convert] of the configuration.`
}

// conversion is the JSON answer; a key that does not apply is left out, and celsius is null when the chip reports a fault.
type conversion struct {
	Celsius      *float64 `json:"celsius"`
	ColdJunction *float64 `json:"cold_junction_celsius,omitempty"`
	Fault        string   `json:"fault,omitempty"`
	Warnings     []string `json:"warnings,omitempty"`
}

// Run converts one value.
func (p probeConvertCmd) Run(c *console) error {
	spec, err := p.spec()
	if err != nil {
		return err
	}
	if err := spec.Validate(); err != nil {
		return err
	}
	if p.Celsius != nil {
		return p.inverse(c, spec)
	}
	degrees, err := p.forward(spec)
	answer := conversion{Warnings: spec.Warnings()}
	switch {
	case chipFault(err):
		answer.Fault = err.Error()
		return p.print(c, answer, errFinding)
	case err != nil:
		return err
	}
	v := float64(degrees)
	answer.Celsius = &v
	if p.Kind == "ds18b20" && v == 85 && p.Scratchpad == "" {
		answer.Warnings = append(answer.Warnings, "85.0 °C is also the power-up value of this chip: only the scratchpad tells them apart")
	}
	if p.Kind == "max31855" {
		w, err := parseWord(p.Raw+p.Word, 32)
		if err != nil {
			return err
		}
		_, cold, err := convert.MAX31855Word(uint32(w))
		if err != nil {
			return err
		}
		k := float64(cold)
		answer.ColdJunction = &k
	}
	return p.print(c, answer, nil)
}

func (p probeConvertCmd) print(c *console, a conversion, verdict error) error {
	if p.JSON {
		if err := json.NewEncoder(c.out).Encode(a); err != nil {
			return err
		}
		return verdict
	}
	for _, w := range a.Warnings {
		fmt.Fprintln(c.errOut, "note:", w)
	}
	if a.Fault != "" {
		fmt.Fprintln(c.errOut, "fault:", a.Fault)
		return verdict
	}
	if _, err := fmt.Fprintf(c.out, "%.4f °C (%.4f °F)\n", *a.Celsius, thermal.Celsius(*a.Celsius).Fahrenheit()); err != nil {
		return err
	}
	return verdict
}

// chipFault reports whether the chip itself says that it could not measure.
func chipFault(err error) bool {
	for _, fault := range []error{convert.ErrOpen, convert.ErrShortGround, convert.ErrShortSupply, convert.ErrPowerUp, convert.ErrLowPower, convert.ErrCRC, convert.ErrFault} {
		if errors.Is(err, fault) {
			return true
		}
	}
	return false
}

// quantity gives the one value on the command line.
func (p probeConvertCmd) quantity() (convert.Quantity, float64, error) {
	var q convert.Quantity
	var value float64
	given := 0
	for _, f := range []struct {
		q convert.Quantity
		v *float64
	}{{convert.Ohms, p.Ohms}, {convert.Volts, p.Volts}, {convert.Millivolts, p.Millivolts}} {
		if f.v != nil {
			q, value = f.q, *f.v
			given++
		}
	}
	for _, text := range []string{p.Raw, p.Word} {
		if text == "" {
			continue
		}
		given++
		v, err := p.parseRaw(text)
		if err != nil {
			return "", 0, err
		}
		q, value = convert.Raw, v
	}
	if given != 1 {
		return "", 0, errors.New("give exactly one of --ohms, --volts, --millivolts, --raw, --word, --scratchpad or --celsius")
	}
	return q, value, nil
}

func (p probeConvertCmd) parseRaw(text string) (float64, error) {
	switch p.Kind {
	case "ds18b20", "max6675":
		w, err := parseWord(text, 16)
		return float64(w), err
	case "max31855":
		w, err := parseWord(text, 32)
		return float64(w), err
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("--raw %q is not a count: write a decimal number such as 1655", text)
	}
	return v, nil
}

func parseWord(text string, bits int) (uint64, error) {
	digits := strings.TrimPrefix(strings.TrimPrefix(strings.TrimSuffix(strings.ToLower(text), "h"), "0x"), "0X")
	w, err := strconv.ParseUint(digits, 16, bits)
	if err != nil {
		return 0, fmt.Errorf("%q is not a word of %d bits: write it in hexadecimal, such as 07D0", text, bits)
	}
	return w, nil
}

func (p probeConvertCmd) forward(spec convert.Spec) (thermal.Celsius, error) {
	if p.Scratchpad != "" {
		if p.Kind != "ds18b20" {
			return 0, errors.New("--scratchpad belongs to --kind ds18b20")
		}
		b, err := hex.DecodeString(strings.NewReplacer(" ", "", ":", "").Replace(p.Scratchpad))
		if err != nil || len(b) != 9 {
			return 0, fmt.Errorf("--scratchpad %q is not nine bytes: write them like \"98 01 4B 46 7F FF 08 10 22\"", p.Scratchpad)
		}
		return convert.DS18B20Scratchpad([9]byte(b))
	}
	q, v, err := p.quantity()
	if err != nil {
		return 0, err
	}
	return spec.Celsius(q, v)
}

func (p probeConvertCmd) inverse(c *console, spec convert.Spec) error {
	if p.Ohms != nil || p.Volts != nil || p.Millivolts != nil || p.Raw+p.Word+p.Scratchpad != "" {
		return errors.New("--celsius asks for the inverse: leave the measured value out")
	}
	q := convert.Quantity(p.As)
	if q == "" {
		switch {
		case strings.HasPrefix(p.Kind, "type-"):
			q = convert.Millivolts
		case p.Kind == "ntc" || strings.HasPrefix(p.Kind, "pt"):
			q = convert.Ohms
		case p.Kind == "linear":
			q = convert.Volts
		default:
			q = convert.Raw
		}
	}
	v, err := spec.Value(q, thermal.Celsius(*p.Celsius))
	if err != nil {
		return err
	}
	if p.JSON {
		return json.NewEncoder(c.out).Encode(map[convert.Quantity]float64{q: v})
	}
	for _, w := range spec.Warnings() {
		fmt.Fprintln(c.errOut, "note:", w)
	}
	digital := q == convert.Raw && (p.Kind == "ds18b20" || strings.HasPrefix(p.Kind, "max"))
	if digital {
		digits := 4
		if p.Kind == "max31855" {
			digits = 8
		}
		_, err = fmt.Fprintf(c.out, "%0*Xh\n", digits, uint64(v))
		return err
	}
	_, err = fmt.Fprintf(c.out, "%.6g %s\n", v, q)
	return err
}

func (p probeConvertCmd) spec() (convert.Spec, error) {
	s := convert.Spec{Kind: p.Kind, A: p.A, B: p.B, C: p.C, D: p.D, Beta: p.Beta, R25: p.R25, Couple: p.Couple, Relinearize: p.Relinearize,
		DividerOhms: p.Divider, ReferenceVolts: p.ReferenceVolts, FullScale: p.FullScale, SensorHigh: p.SensorHigh, LeadOhms: p.LeadOhms,
		Gain: p.Gain, Slope: p.Slope, Offset: p.Offset}
	var err error
	if s.Points, err = parsePoints("--points", p.Points); err != nil {
		return s, err
	}
	if s.Table, err = parsePoints("--table", p.Table); err != nil {
		return s, err
	}
	if p.ColdJunction != "" {
		text := p.ColdJunction
		if _, err := strconv.ParseFloat(text, 64); err == nil {
			text += "C"
		}
		cold, err := cook.ParseTemperature(text)
		if err != nil {
			return s, fmt.Errorf("--cold-junction: %w", err)
		}
		s.ColdJunctionC = float64(cold)
	}
	return s, nil
}

// parsePoints reads "0C=32650.9,25C=10000".
func parsePoints(flag, text string) ([]convert.Point, error) {
	if text == "" {
		return nil, nil
	}
	var out []convert.Point
	for part := range strings.SplitSeq(text, ",") {
		left, right, ok := strings.Cut(strings.TrimSpace(part), "=")
		ohms, err := strconv.ParseFloat(strings.TrimSpace(right), 64)
		if !ok || err != nil {
			return nil, fmt.Errorf("%s: %q is not a temperature and ohms: write 25C=10000", flag, part)
		}
		at, err := cook.ParseTemperature(left)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", flag, err)
		}
		out = append(out, convert.Point{Celsius: at, Ohms: ohms})
	}
	return out, nil
}
