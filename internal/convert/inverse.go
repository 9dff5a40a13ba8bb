package convert

import (
	"errors"
	"fmt"

	"stallkeeper/estimator/thermal"
)

// Value is the inverse of Celsius: what the probe gives at a temperature. Digital kinds round to their step; a max31855
// has its cold junction at cold_junction_c. A correction from a check is taken off first.
func (s Spec) Value(q Quantity, c thermal.Celsius) (float64, error) {
	if err := s.Validate(); err != nil {
		return 0, err
	}
	if !c.Finite() {
		return 0, fmt.Errorf("%.6g °C is no temperature", float64(c))
	}
	c -= thermal.Celsius(s.CorrectionK)
	if s.CorrectionSlope != 0 {
		c = thermal.Celsius(float64(c) / s.CorrectionSlope)
	}
	v, err := s.value(q, c)
	if err != nil {
		return 0, fmt.Errorf("%s: %w", s.Kind, err)
	}
	return v, nil
}

func (s Spec) value(q Quantity, c thermal.Celsius) (float64, error) {
	if couple, ok := s.thermocouple(); ok {
		return s.fromThermocouple(couple, q, c)
	}
	if s.resistive() {
		sensor, err := s.sensor()
		if err != nil {
			return 0, err
		}
		ohms, err := sensor.Ohms(c)
		if err != nil {
			return 0, err
		}
		return s.fromOhms(q, ohms+s.LeadOhms)
	}
	if s.Kind == "linear" {
		if q == Ohms {
			return 0, errors.New("takes volts, millivolts or raw, not ohms")
		}
		return (float64(c) - s.Offset) / s.Slope, nil
	}
	if q != Raw {
		return 0, fmt.Errorf("gives raw, its register or word, not %s", q)
	}
	switch s.Kind {
	case "max6675":
		w, err := MAX6675Encode(c)
		return float64(w), err
	case "max31855":
		cold := thermal.Celsius(s.ColdJunctionC)
		if s.Relinearize {
			shown, err := s.couple().shown(c, cold)
			if err != nil {
				return 0, err
			}
			c = shown
		}
		w, err := MAX31855Encode(c, cold)
		return float64(w), err
	}
	w, err := DS18B20Encode(c)
	return float64(w), err
}

// shown is what a chip with one slope shows at a temperature, the inverse of Relinearized.
func (tc Thermocouple) shown(c, coldJunction thermal.Celsius) (thermal.Celsius, error) {
	r, err := tc.reference()
	if err != nil {
		return 0, err
	}
	hot, err := tc.Millivolts(c)
	if err != nil {
		return 0, err
	}
	cold, err := tc.Millivolts(coldJunction)
	if err != nil {
		return 0, fmt.Errorf("cold junction: %w", err)
	}
	return coldJunction + thermal.Celsius((hot-cold)/r.slope), nil
}

func (s Spec) fromThermocouple(couple Thermocouple, q Quantity, c thermal.Celsius) (float64, error) {
	hot, err := couple.Millivolts(c)
	if err != nil {
		return 0, err
	}
	cold, err := couple.Millivolts(thermal.Celsius(s.ColdJunctionC))
	if err != nil {
		return 0, err
	}
	mv := (hot - cold) * s.gain()
	switch q {
	case Millivolts:
		return mv, nil
	case Volts:
		return mv / 1000, nil
	case Raw:
		if s.ReferenceVolts == 0 || s.FullScale == 0 {
			return 0, errors.New("raw needs reference_volts and full_scale")
		}
		return mv / 1000 / s.ReferenceVolts * s.FullScale, nil
	}
	return 0, fmt.Errorf("gives volts, millivolts or raw, not %s", q)
}

func (s Spec) fromOhms(q Quantity, ohms float64) (float64, error) {
	d := Divider{Ohms: s.DividerOhms, Reference: s.ReferenceVolts, HighSide: s.SensorHigh}
	scale := 1.0
	switch q {
	case Ohms:
		return ohms, nil
	case Volts:
	case Millivolts:
		scale = 1000
	case Raw:
		d.Reference = s.FullScale
		if d.Ohms == 0 || d.Reference == 0 {
			return 0, errors.New("raw needs divider_ohms and full_scale")
		}
	default:
		return 0, fmt.Errorf("quantity %q is not known: use ohms, volts, millivolts or raw", q)
	}
	if d.Ohms == 0 || d.Reference == 0 {
		return 0, fmt.Errorf("%s needs divider_ohms and reference_volts", q)
	}
	return d.Volts(ohms) * scale, nil
}
