package convert

import (
	"errors"
	"testing"
)

// By Ohm's law: with the sensor at ground an open one leaves the joint at the reference, a shorted one at 0 V; with the sensor at the
// reference it is the other way round. A Pt100 has 18.52 ohms at -200 °C and 390.48 at 850 °C (IEC 60751).
func TestOpenAndShortedAreToldApart(t *testing.T) {
	low, high := Spec{Kind: "ntc", Beta: 3950, R25: 10000, DividerOhms: 10000, ReferenceVolts: 3.3}, Spec{Kind: "ntc", Beta: 3950, R25: 10000, DividerOhms: 10000, ReferenceVolts: 3.3, SensorHigh: true}
	adc := Spec{Kind: "ntc", Beta: 3950, R25: 10000, DividerOhms: 10000, FullScale: 4095}
	pt := Spec{Kind: "pt100"}
	for _, test := range []struct {
		name  string
		spec  Spec
		q     Quantity
		value float64
		want  error
	}{
		{"at ground, 3.3 of 3.3 V", low, Volts, 3.3, ErrOpenCircuit},
		{"at ground, 0 V", low, Volts, 0, ErrShortCircuit},
		{"at the reference, 0 V", high, Volts, 0, ErrOpenCircuit},
		{"at the reference, 3.3 V", high, Volts, 3.3, ErrShortCircuit},
		{"full scale", adc, Raw, 4095, ErrOpenCircuit},
		{"a tenth of a count below it", adc, Raw, 4094.9, ErrOpenCircuit},
		{"no count", adc, Raw, 0, ErrShortCircuit},
		{"Pt100 without end", pt, Ohms, 1e6, ErrOpenCircuit},
		{"Pt100 of 1 ohm", pt, Ohms, 1, ErrShortCircuit},
	} {
		_, err := test.spec.Celsius(test.q, test.value)
		if !errors.Is(err, test.want) {
			t.Errorf("%s: %v, want %v", test.name, err, test.want)
		}
	}
	if _, err := pt.Celsius(Ohms, 138.51); err != nil {
		t.Errorf("100 °C: %v", err)
	}
}
