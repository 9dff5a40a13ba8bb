package convert

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"stallkeeper/estimator/thermal"
)

// Point is a measured or printed pair of a thermistor.
type Point struct {
	Celsius thermal.Celsius `toml:"celsius"`
	Ohms    float64         `toml:"ohms"`
}

// sorted gives the points by rising temperature, or says why they are no thermistor's.
func sorted(points []Point) ([]Point, error) {
	p := slices.Clone(points)
	slices.SortFunc(p, func(a, b Point) int {
		switch {
		case a.Celsius < b.Celsius:
			return -1
		case a.Celsius > b.Celsius:
			return 1
		}
		return 0
	})
	for i, at := range p {
		if !(at.Celsius >= thermistorMin && at.Celsius <= thermistorMax) || !(at.Ohms > 0) || math.IsInf(at.Ohms, 0) {
			return nil, fmt.Errorf("point %.6g °C = %.6g ohms: temperatures are %.0f … %.0f °C and resistances above 0",
				float64(at.Celsius), at.Ohms, float64(thermistorMin), float64(thermistorMax))
		}
		if i > 0 && !(at.Celsius-p[i-1].Celsius >= 1 && at.Ohms < p[i-1].Ohms) {
			return nil, fmt.Errorf("points %.6g °C = %.6g ohms and %.6g °C = %.6g ohms: they must be 1 °C or more apart, and the hotter one must have fewer ohms",
				float64(p[i-1].Celsius), p[i-1].Ohms, float64(at.Celsius), at.Ohms)
		}
	}
	return p, nil
}

var errNoCurve = errors.New("the points do not lie on a thermistor's curve: measure them again")

// Fit draws a curve through measured points: two give β, three Steinhart–Hart exactly, four Steinhart–Hart by least
// squares. Two points cost 1 °C at 100 °C and 2 to 3 °C at pit
// temperature (see Spec.Warnings).
func Fit(points []Point) (Thermistor, error) {
	p, err := sorted(points)
	if err != nil {
		return Thermistor{}, err
	}
	switch len(p) {
	case 2:
		beta := math.Log(p[0].Ohms/p[1].Ohms) / (1/p[0].Celsius.Kelvin() - 1/p[1].Celsius.Kelvin())
		return Beta(p[1].Ohms, p[1].Celsius, beta)
	case 3, 4:
		k := leastSquares(p)
		t, err := SteinhartHart(k[0], k[1], k[2])
		if err != nil {
			return Thermistor{}, errNoCurve
		}
		if lo, hi := t.Range(); p[0].Celsius < lo-1 || p[len(p)-1].Celsius > hi+1 {
			return Thermistor{}, errNoCurve
		}
		return t, nil
	}
	return Thermistor{}, fmt.Errorf("%d points: a fit takes 2 to 4; use a table for more", len(p))
}

// leastSquares solves for A, B, C of Steinhart–Hart by orthogonal columns (modified Gram–Schmidt), which keeps more digits
// than the normal equations. Three points are met exactly. A matrix library would make the program on the small board 2 MB
// larger for these three unknowns.
func leastSquares(p []Point) (coefficients [3]float64) {
	n := len(p)
	var q [3][]float64
	for k := range q {
		q[k] = make([]float64, n)
		for i, at := range p {
			l := math.Log(at.Ohms)
			q[k][i] = [3]float64{1, l, l * l * l}[k]
		}
	}
	rest := make([]float64, n)
	for i, at := range p {
		rest[i] = 1 / at.Celsius.Kelvin()
	}
	var r [3][3]float64
	var y [3]float64
	for k := range q {
		for m := range k {
			r[m][k] = project(q[k], q[m])
		}
		r[k][k] = math.Sqrt(dot(q[k], q[k]))
		for i := range q[k] {
			q[k][i] /= r[k][k]
		}
		y[k] = project(rest, q[k])
	}
	for k := 2; k >= 0; k-- {
		coefficients[k] = y[k]
		for m := k + 1; m < 3; m++ {
			coefficients[k] -= r[k][m] * coefficients[m]
		}
		coefficients[k] /= r[k][k]
	}
	return coefficients
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}

// project takes the part along the unit vector u out of v and gives its length.
func project(v, u []float64) float64 {
	s := dot(v, u)
	for i := range v {
		v[i] -= s * u[i]
	}
	return s
}

// Table is a printed resistance table, read between its rows as a straight line of 1/T over ln R, which is β from row to
// row. It has at least two rows, by rising temperature.
type Table []Point

// NewTable sorts and checks the rows.
func NewTable(rows []Point) (Table, error) {
	if len(rows) < 2 {
		return nil, fmt.Errorf("%d rows: a table has at least 2", len(rows))
	}
	return sorted(rows)
}

// Range gives the first and the last row's temperature. Nothing is read beyond them.
func (t Table) Range() (lo, hi thermal.Celsius) { return t[0].Celsius, t[len(t)-1].Celsius }

// Celsius is the temperature at a resistance.
func (t Table) Celsius(ohms float64) (thermal.Celsius, error) {
	first, last := t[0], t[len(t)-1]
	if !(ohms <= first.Ohms && ohms >= last.Ohms) {
		return 0, fmt.Errorf("%.6g ohms is outside %.6g … %.6g ohms (%.6g to %.6g °C), the rows of the table: check the wiring (%w?), or add rows",
			ohms, last.Ohms, first.Ohms, float64(last.Celsius), float64(first.Celsius), circuit(ohms > first.Ohms))
	}
	i := max(slices.IndexFunc(t, func(p Point) bool { return p.Ohms <= ohms }), 1)
	a, b := t[i-1], t[i]
	share := math.Log(ohms/a.Ohms) / math.Log(b.Ohms/a.Ohms)
	return thermal.FromKelvin(1 / ((1-share)/a.Celsius.Kelvin() + share/b.Celsius.Kelvin())), nil
}

// Ohms is the resistance at a temperature.
func (t Table) Ohms(c thermal.Celsius) (float64, error) {
	first, last := t[0], t[len(t)-1]
	if !(c >= first.Celsius && c <= last.Celsius) {
		return 0, fmt.Errorf("%.6g °C is outside %.6g … %.6g °C, the rows of the table", float64(c), float64(first.Celsius), float64(last.Celsius))
	}
	i := max(slices.IndexFunc(t, func(p Point) bool { return p.Celsius >= c }), 1)
	a, b := t[i-1], t[i]
	share := (1/c.Kelvin() - 1/a.Celsius.Kelvin()) / (1/b.Celsius.Kelvin() - 1/a.Celsius.Kelvin())
	return a.Ohms * math.Exp(share*math.Log(b.Ohms/a.Ohms)), nil
}
