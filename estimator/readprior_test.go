package estimator

import (
	"encoding/json"
	"math"
	"reflect"
	"testing"
)

func TestReadPrior_TakesWhatForecastsCanBeMadeFrom(t *testing.T) {
	for _, data := range [][]byte{shippedPrior, mustJSON(t, BasePrior())} {
		p, err := ReadPrior(data)
		if err != nil {
			t.Fatal(err)
		}
		if data := mustJSON(t, p); len(data) == 0 {
			t.Error("nothing was read")
		}
	}
	if p, err := ReadPrior(mustJSON(t, DefaultPrior())); err != nil || !reflect.DeepEqual(p, DefaultPrior()) {
		t.Errorf("the shipped prior, written and read back, is another one (%v)", err)
	}
}

func TestReadPrior_RefusesTheRest(t *testing.T) {
	for name, spoil := range map[string]func(p *Prior){
		"other coordinates":      func(p *Prior) { p.Names[3] = "phase of the moon" },
		"no way":                 func(p *Prior) { p.Ways = nil },
		"no weight":              func(p *Prior) { p.Ways[0].Weight = 0 },
		"short covariance":       func(p *Prior) { p.Ways[0].Cov = p.Ways[0].Cov[1:] },
		"ragged covariance":      func(p *Prior) { p.Ways[0].Cov[2] = p.Ways[0].Cov[2][1:] },
		"lopsided covariance":    func(p *Prior) { p.Ways[0].Cov[2][1] += 0.5 },
		"negative variance":      func(p *Prior) { p.Ways[0].Cov[4][4] = -1 },
		"no mean for other cuts": func(p *Prior) { delete(p.Ways[0].Mean, "") },
		"short mean":             func(p *Prior) { p.Ways[0].Mean["pork_loin"] = p.Ways[0].Mean["pork_loin"][1:] },
		"short fire":             func(p *Prior) { p.Ways[0].Fires["fed"] = []float64{1} },
		"no thickness":           func(p *Prior) { p.Thickness = nil },
		"thinner when heavier":   func(p *Prior) { p.Thickness["pork_loin"] = [3]float64{4, -0.3, 0.1} },
		"no misfit":              func(p *Prior) { p.Noise.Misfit = 0 },
		"no number in a mean":    func(p *Prior) { p.Ways[0].Mean["pork_loin"][2].Base = 1e9 },
		"a certain coordinate":   func(p *Prior) { clear(p.Ways[0].Cov[5]); clearColumn(p.Ways[0].Cov, 5) },
		"two coordinates as one": func(p *Prior) { asOne(p.Ways[0].Cov, 1, 2) },
		"endless variance":       func(p *Prior) { p.Ways[0].Cov[4][4] = 1e300 },
		"everybody wraps":        func(p *Prior) { p.Habits.WrapShare = 1 },
		"a wild walk":            func(p *Prior) { p.Noise.WalkH = 1e9 },
	} {
		p := DefaultPrior()
		spoil(&p)
		if _, err := ReadPrior(mustJSON(t, p)); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	for _, text := range []string{"", "{}", "[1]", "no json"} {
		if _, err := ReadPrior([]byte(text)); err == nil {
			t.Errorf("%q: no error", text)
		}
	}
}

func clearColumn(cov [][]float64, j int) {
	for i := range cov {
		cov[i][j] = 0
	}
}

// asOne makes one coordinate the same as another.
func asOne(cov [][]float64, i, like int) {
	for k := range cov {
		cov[k][i] = cov[k][like]
	}
	copy(cov[i], cov[like])
}

func TestLearn_RefusesAPriorThatIsNone(t *testing.T) {
	p := DefaultPrior()
	p.Ways[0].Cov[4][4] = math.NaN()
	if _, err := Learn(p, nil); err == nil {
		t.Error("Learn took it")
	}
	if _, err := LearnPit(p, nil); err == nil {
		t.Error("LearnPit took it")
	}
}

func mustJSON(t *testing.T, p Prior) []byte {
	t.Helper()
	data, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	return data
}
