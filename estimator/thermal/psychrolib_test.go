package thermal

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"stallkeeper/internal/testrig"
)

// Against psychrolib 1.1.1, a general-purpose reference library after the 2017 ASHRAE Handbook, Fundamentals, ch. 1. Its
// saturation line is another formula (Hyland & Wexler), good to 0.03 %; its wet bulbs stop within 0.001 K. At 160 °C dry bulb
// and a dew point of 35 °C and more its search ends at the dry bulb, so the comparison stops below that.
func TestPsychrometrics_AgreeWithReferenceLibrary(t *testing.T) {
	input := `{"dry":[2,10,20,30,40,60,80,95,107,121,135],"dew":[1,5,10,20,35,50],"pressure":[101325,84556]}`
	var tables struct {
		Saturation []struct{ T, Pascal float64 }
		Air        []struct{ P, T, D, Ratio, Wet float64 }
	}
	if err := json.Unmarshal(psychrolib(t, input), &tables); err != nil {
		t.Fatal(err)
	}
	if len(tables.Saturation) != 11 || len(tables.Air) < 100 {
		t.Fatalf("%d saturation pressures, %d states of air: too few", len(tables.Saturation), len(tables.Air))
	}
	for _, r := range tables.Saturation {
		near(t, fmt.Sprint("p_s ", r.T), SaturationPressure(Celsius(r.T)), r.Pascal, r.Pascal*4e-4)
	}
	worst := 0.0
	for _, r := range tables.Air {
		near(t, fmt.Sprint("ratio ", r), HumidityRatio(SaturationPressure(Celsius(r.D)), r.P), r.Ratio, r.Ratio*6e-4)
		wet := float64(WetBulb(Celsius(r.T), Celsius(r.D), r.P))
		near(t, fmt.Sprint("wet bulb ", r), wet, r.Wet, 0.02)
		worst = math.Max(worst, math.Abs(wet-r.Wet))
	}
	t.Logf("%d states of air, wet bulbs differ by at most %.4f K", len(tables.Air), worst)
}

// psychrolib runs the library on an input.
func psychrolib(t *testing.T, input string) []byte {
	t.Helper()
	dir := filepath.Join("testdata", "psychrolib")
	testrig.NodePackages(t, dir)
	run := exec.CommandContext(t.Context(), testrig.Program(t, "node"), "tables.mjs")
	var problem bytes.Buffer
	run.Dir, run.Stdin, run.Stderr = dir, strings.NewReader(input), &problem
	out, err := run.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, problem.String())
	}
	return out
}
