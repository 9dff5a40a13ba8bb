package convert

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"stallkeeper/estimator/thermal"
)

// Quantity is what the probe sends.
type Quantity string

// The quantities. Raw is the count of an analog converter, or the register or word of a digital chip.
const (
	Ohms       Quantity = "ohms"
	Volts      Quantity = "volts"
	Millivolts Quantity = "millivolts"
	Raw        Quantity = "raw"
)

// Spec is one probe's conversion, as it stands in a TOML file. The zero value of a key means that it is not given.
//
// A resistive kind (ntc, pt100, pt1000) takes ohms; volts and millivolts with divider_ohms and reference_volts; raw with
// divider_ohms and full_scale (divider and converter share the reference). A thermocouple takes millivolts and volts,
// divided by gain; raw with reference_volts and full_scale. A digital kind takes raw, its register or word. linear takes
// volts, millivolts or raw as they come: celsius = slope × value + offset.
type Spec struct {
	Kind string `toml:"kind"` // ntc pt100 pt1000 type-k type-j type-t type-n type-e ds18b20 max31855 max6675 linear

	A float64 `toml:"a"` // Steinhart–Hart: 1/T = a + b·ln R + c·(ln R)³; with d: 1/T = a + b·L + c·L² + d·L³, L = ln(R/r25)
	B float64 `toml:"b"`
	C float64 `toml:"c"`
	D float64 `toml:"d"`

	R25    float64 `toml:"r25"`    // ohms at 25 °C, for beta and for the four-term form
	Beta   float64 `toml:"beta"`   // K
	Points []Point `toml:"points"` // two to four measured points, fitted
	Table  []Point `toml:"table"`  // rows of a printed table

	DividerOhms    float64 `toml:"divider_ohms"`
	ReferenceVolts float64 `toml:"reference_volts"`
	FullScale      float64 `toml:"full_scale"`  // counts at the reference: 1023, 4095, 32767 …
	SensorHigh     bool    `toml:"sensor_high"` // the sensor sits at the reference and not at ground
	LeadOhms       float64 `toml:"lead_ohms"`   // both wires together, taken off; 0.385 ohm is 1 °C of a Pt100

	Gain          float64 `toml:"gain"`            // of the amplifier before the converter
	ColdJunctionC float64 `toml:"cold_junction_c"` // where the thermocouple's wires end
	Couple        string  `toml:"couple"`          // the couple at a max31855: K (default), J, T, N or E, for relinearize
	Relinearize   bool    `toml:"relinearize"`     // go back behind the chip's straight line

	Slope  float64 `toml:"slope"`  // linear: K per unit
	Offset float64 `toml:"offset"` // linear: °C at 0

	CorrectionSlope float64 `toml:"correction_slope"` // from a check: true = correction_slope × shown + correction_k
	CorrectionK     float64 `toml:"correction_k"`
}

// Kinds are the values of kind.
func Kinds() []string {
	return []string{"ntc", "pt100", "pt1000", "type-k", "type-j", "type-t", "type-n", "type-e", "ds18b20", "max31855", "max6675", "linear"}
}

// Validate says what is missing or contradictory.
func (s Spec) Validate() error {
	if !slices.Contains(Kinds(), s.Kind) {
		return fmt.Errorf("kind %q is not known: use one of %s", s.Kind, strings.Join(Kinds(), ", "))
	}
	errs := []error{s.finite(), s.checkChain()}
	if s.resistive() {
		_, err := s.sensor()
		errs = append(errs, err)
	}
	if couple, ok := s.thermocouple(); ok {
		if _, err := couple.Millivolts(thermal.Celsius(s.ColdJunctionC)); err != nil {
			errs = append(errs, fmt.Errorf("cold_junction_c: %w", err))
		}
	}
	if s.Couple != "" || s.Relinearize {
		if s.Kind != "max31855" {
			errs = append(errs, errors.New("couple and relinearize belong to kind max31855"))
		} else if _, err := s.couple().reference(); err != nil {
			errs = append(errs, err)
		}
	}
	if s.Kind == "linear" && s.Slope == 0 {
		errs = append(errs, errors.New("kind linear needs slope, in kelvin per unit"))
	}
	return errors.Join(errs...)
}

func (s Spec) finite() error {
	for _, v := range []float64{s.A, s.B, s.C, s.D, s.R25, s.Beta, s.DividerOhms, s.ReferenceVolts, s.FullScale, s.LeadOhms, s.Gain,
		s.ColdJunctionC, s.Slope, s.Offset, s.CorrectionSlope, s.CorrectionK} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return errors.New("a number of the conversion is not finite")
		}
	}
	return nil
}

func (s Spec) checkChain() error {
	var errs []error
	for _, k := range []struct {
		name  string
		value float64
	}{{"divider_ohms", s.DividerOhms}, {"reference_volts", s.ReferenceVolts}, {"full_scale", s.FullScale}, {"lead_ohms", s.LeadOhms}, {"gain", s.Gain}} {
		if k.value < 0 {
			errs = append(errs, fmt.Errorf("%s is negative", k.name))
		}
	}
	if s.CorrectionSlope < 0 || (s.CorrectionSlope != 0 && (s.CorrectionSlope < 0.8 || s.CorrectionSlope > 1.25)) {
		errs = append(errs, fmt.Errorf("correction_slope %.6g is outside 0.8 … 1.25: a probe that needs more is broken or of another kind", s.CorrectionSlope))
	}
	if math.Abs(s.CorrectionK) > 50 {
		errs = append(errs, fmt.Errorf("correction_k %.6g is more than 50 K: the probe is broken or of another kind", s.CorrectionK))
	}
	return errors.Join(errs...)
}

func (s Spec) resistive() bool { return s.Kind == "ntc" || s.Kind == "pt100" || s.Kind == "pt1000" }

func (s Spec) thermocouple() (Thermocouple, bool) {
	letter, ok := strings.CutPrefix(s.Kind, "type-")
	return Thermocouple(strings.ToUpper(letter)), ok
}

func (s Spec) couple() Thermocouple {
	if s.Couple == "" {
		return "K"
	}
	return Thermocouple(strings.ToUpper(s.Couple))
}

// sensor builds the curve of a resistive kind.
func (s Spec) sensor() (Resistive, error) {
	switch s.Kind {
	case "pt100":
		return Pt100, nil
	case "pt1000":
		return Pt1000, nil
	}
	coefficients := s.A != 0 || s.B != 0 || s.C != 0 || s.D != 0
	given := 0
	for _, ok := range []bool{coefficients, s.Beta != 0, len(s.Points) > 0, len(s.Table) > 0} {
		if ok {
			given++
		}
	}
	if given != 1 {
		return nil, errors.New("kind ntc needs exactly one of: a, b and c; beta and r25; points; table")
	}
	switch {
	case s.Beta != 0:
		return Beta(s.R25, 25, s.Beta)
	case len(s.Points) > 0:
		return Fit(s.Points)
	case len(s.Table) > 0:
		return NewTable(s.Table)
	case s.D != 0:
		return FourTerm(s.R25, s.A, s.B, s.C, s.D)
	}
	return SteinhartHart(s.A, s.B, s.C)
}

// Warnings says what the settings cost in accuracy.
func (s Spec) Warnings() []string {
	var out []string
	if s.Beta != 0 || len(s.Points) == 2 {
		out = append(out, "beta alone is off by about 1 °C at 100 °C and 2 to 3 °C at pit temperature: measure a third point and give points")
	}
	if s.Kind == "max31855" && !s.Relinearize {
		out = append(out, "the chip takes the thermocouple for a straight line, off by some degrees at pit temperature: set relinearize")
	}
	if n := len(s.Points); n > 0 {
		lo, hi := s.Points[0].Celsius, s.Points[0].Celsius
		for _, p := range s.Points {
			lo, hi = min(lo, p.Celsius), max(hi, p.Celsius)
		}
		out = append(out, fmt.Sprintf("fitted between %.4g and %.4g °C: beyond these points the curve is a guess", float64(lo), float64(hi)))
	}
	return out
}

// Celsius turns a value that the probe sent into degrees. An error says what does not fit, and what to do.
func (s Spec) Celsius(q Quantity, value float64) (thermal.Celsius, error) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return 0, fmt.Errorf("the value in %s is not finite", q)
	}
	if err := s.Validate(); err != nil {
		return 0, err
	}
	c, err := s.celsius(q, value)
	if err != nil {
		return 0, fmt.Errorf("%s: %w", s.Kind, err)
	}
	if c = s.Correct(c); !c.Finite() {
		return 0, fmt.Errorf("%s: %.6g %s becomes %.6g °C, below absolute zero: check the settings", s.Kind, value, q, float64(c))
	}
	return c, nil
}

// Correct applies the correction of a check to a temperature that the probe shows.
func (s Spec) Correct(c thermal.Celsius) thermal.Celsius {
	if s.CorrectionSlope != 0 {
		c = thermal.Celsius(s.CorrectionSlope * float64(c))
	}
	return c + thermal.Celsius(s.CorrectionK)
}

// FromChip converts the temperature that a converter chip shows: behind the chip's straight line where relinearize says so,
// which needs its cold junction, and corrected.
func (s Spec) FromChip(shown thermal.Celsius, coldJunction *float64) (thermal.Celsius, error) {
	if s.Relinearize {
		if coldJunction == nil {
			return 0, fmt.Errorf("%s: relinearize needs the chip's cold junction, and the driver gives none: leave it out", s.Kind)
		}
		var err error
		if shown, err = s.couple().Relinearized(shown, thermal.Celsius(*coldJunction)); err != nil {
			return 0, fmt.Errorf("%s: %w", s.Kind, err)
		}
	}
	return s.Correct(shown), nil
}

func (s Spec) celsius(q Quantity, value float64) (thermal.Celsius, error) {
	if couple, ok := s.thermocouple(); ok {
		mv, err := s.toMillivolts(q, value)
		if err != nil {
			return 0, err
		}
		return couple.Celsius(mv, thermal.Celsius(s.ColdJunctionC))
	}
	if s.resistive() {
		sensor, err := s.sensor()
		if err != nil {
			return 0, err
		}
		ohms, err := s.toOhms(q, value)
		if err != nil {
			return 0, err
		}
		return sensor.Celsius(ohms)
	}
	if s.Kind == "linear" {
		if q == Ohms {
			return 0, errors.New("takes volts, millivolts or raw, not ohms")
		}
		return thermal.Celsius(s.Slope*value + s.Offset), nil
	}
	return s.digital(q, value)
}

func (s Spec) digital(q Quantity, value float64) (thermal.Celsius, error) {
	if q != Raw {
		return 0, fmt.Errorf("takes raw, its register or word, not %s", q)
	}
	switch s.Kind {
	case "max6675":
		w, err := whole(value, 0, math.MaxUint16)
		if err != nil {
			return 0, err
		}
		return MAX6675Word(uint16(w))
	case "max31855":
		w, err := whole(value, math.MinInt32, math.MaxUint32)
		if err != nil {
			return 0, err
		}
		shown, cold, err := MAX31855Word(uint32(w))
		if err != nil || !s.Relinearize {
			return shown, err
		}
		return s.couple().Relinearized(shown, cold)
	}
	w, err := whole(value, math.MinInt16, math.MaxUint16)
	if err != nil {
		return 0, err
	}
	return DS18B20Register(uint16(w))
}

// whole takes a number that must be an integer; negative numbers are a word read as signed.
func whole(v, lo, hi float64) (int64, error) {
	if v != math.Trunc(v) || v < lo || v > hi {
		return 0, fmt.Errorf("raw %.10g is not a whole number between %.0f and %.0f", v, lo, hi)
	}
	return int64(v), nil
}

// aboveFull is how far beyond the divider's end a measured value may lie, by the converter's error, before the settings must be wrong.
// Choice of this project.
const aboveFull = 1.05

func (s Spec) toOhms(q Quantity, value float64) (float64, error) {
	d, unit, full := Divider{Ohms: s.DividerOhms, Reference: s.ReferenceVolts, HighSide: s.SensorHigh}, "V", "reference_volts"
	switch q {
	case Ohms:
		return value - s.LeadOhms, nil
	case Millivolts:
		value /= 1000
	case Raw:
		d.Reference, unit, full = s.FullScale, "counts", "full_scale"
		if d.Ohms == 0 || d.Reference == 0 {
			return 0, errors.New("raw needs divider_ohms and full_scale")
		}
	case Volts:
	default:
		return 0, fmt.Errorf("quantity %q is not known: use ohms, volts, millivolts or raw", q)
	}
	if d.Ohms == 0 || d.Reference == 0 {
		return 0, fmt.Errorf("%s needs divider_ohms and reference_volts", q)
	}
	if value > aboveFull*d.Reference {
		return 0, fmt.Errorf("%.6g %s is more than there can be with %s = %.6g: correct %s", value, unit, full, d.Reference, full)
	}
	ohms, err := d.sensor(value, unit)
	return ohms - s.LeadOhms, err
}

func (s Spec) gain() float64 {
	if s.Gain == 0 {
		return 1
	}
	return s.Gain
}

func (s Spec) toMillivolts(q Quantity, value float64) (float64, error) {
	switch q {
	case Millivolts:
		return value / s.gain(), nil
	case Volts:
		return 1000 * value / s.gain(), nil
	case Raw:
		if s.ReferenceVolts == 0 || s.FullScale == 0 {
			return 0, errors.New("raw needs reference_volts and full_scale")
		}
		return 1000 * value / s.FullScale * s.ReferenceVolts / s.gain(), nil
	}
	return 0, fmt.Errorf("takes volts, millivolts or raw, not %s", q)
}
