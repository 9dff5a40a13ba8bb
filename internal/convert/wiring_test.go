package convert

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"stallkeeper/estimator/thermal"
)

// The tables of the wiring notes are computed here: for the ratio curve of thermistor_test.go (from memory), 3.3 V and a
// dissipation of 3 mW/K (from memory, data sheets: 2 to 4).
func wiringTable(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	for _, row := range []struct {
		r25, fixed float64
		use        string
	}{{100e3, 15e3, "meat"}, {100e3, 4.7e3, "pit"}, {100e3, 10e3, "both"}, {10e3, 1.5e3, "meat"}, {10e3, 680, "pit"}, {10e3, 1e3, "both"}} {
		th := mustThermistor(t)(FourTerm(row.r25, 3.3539438e-3, 2.5646095e-4, 2.5158166e-6, 1.0503069e-7))
		d := Divider{Ohms: row.fixed, Reference: 3.3}
		for _, at := range []thermal.Celsius{4, 65, 93, 107, 135} {
			ohms, err := th.Ohms(at)
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&b, "| %gk | %gk | %s | %.0f | %.0f | %.2f |", row.r25/1e3, row.fixed/1e3, row.use, float64(at), ohms, d.Volts(ohms))
			for _, counts := range []float64{1023, 4095, 32767 * 3.3 / 4.096} {
				step, err := d.Resolution(th, at, counts)
				if err != nil {
					t.Fatal(err)
				}
				fmt.Fprintf(&b, " %.2g |", float64(step))
			}
			fmt.Fprintf(&b, " %.2f |\n", float64(d.SelfHeating(ohms, 0.003)))
		}
	}
	return b.String()
}

func TestWiringNotes_TableIsComputed(t *testing.T) {
	notes, err := os.ReadFile("../../configs/wiring.md")
	if err != nil {
		t.Fatal(err)
	}
	if table := wiringTable(t); !strings.Contains(string(notes), table) {
		t.Errorf("configs/wiring.md lacks this table:\n%s", table)
	}
}

// Best resolution where the sensor's resistance equals the fixed resistor.
func TestDivider_IsFinestAtEqualResistance(t *testing.T) {
	th := mustThermistor(t)(FourTerm(1e5, 3.3539438e-3, 2.5646095e-4, 2.5158166e-6, 1.0503069e-7))
	at := thermal.Celsius(93)
	ohms, err := th.Ohms(at)
	if err != nil {
		t.Fatal(err)
	}
	best, err := Divider{Ohms: ohms, Reference: 3.3}.Resolution(th, at, 4095)
	if err != nil {
		t.Fatal(err)
	}
	for _, factor := range []float64{0.3, 0.8, 1.25, 4} {
		for _, high := range []bool{false, true} {
			step, err := Divider{Ohms: factor * ohms, Reference: 3.3, HighSide: high}.Resolution(th, at, 4095)
			if err != nil || step <= best {
				t.Errorf("fixed resistor × %v resolves %v K, %v; equal resistances %v K", factor, step, err, best)
			}
		}
	}
}
