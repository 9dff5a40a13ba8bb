package estimator

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
)

// numbers reads any bytes as float64 until there are none left, then zeros.
type numbers struct{ data []byte }

func (n *numbers) next() float64 {
	if len(n.data) < 8 {
		n.data = nil
		return 0
	}
	x := math.Float64frombits(binary.LittleEndian.Uint64(n.data))
	n.data = n.data[8:]
	return x
}

// small is a whole number from 0 to below.
func (n *numbers) small(below int) int {
	if len(n.data) == 0 {
		return 0
	}
	x := int(n.data[0]) % below
	n.data = n.data[1:]
	return x
}

// spoiled changes some numbers of a prior to any others.
func (n *numbers) spoiled(p Prior) Prior {
	p = p.clone()
	w := &p.Ways[0]
	for range n.small(4) {
		kind, i, j, x := n.small(8), n.small(dims), n.small(dims), n.next()
		switch kind {
		case 0:
			w.Cov[i][i] = x
		case 1:
			w.Cov[i][j], w.Cov[j][i] = x, x
		case 2:
			w.Mean["brisket_flat"] = append([]Row(nil), w.Mean["brisket_flat"]...)
			w.Mean["brisket_flat"][i] = Row{x, n.next(), n.next(), n.next()}
		case 3:
			p.Thickness = map[string][3]float64{"": {x, n.next(), n.next()}}
		case 4:
			p.Noise = Noise{x, n.next(), n.next(), n.next(), n.next(), n.next(), n.next(), n.next(), n.next()}
		case 5:
			p.Habits = Habits{x, n.next(), n.next(), n.next(), n.next(), n.next(), n.next(), []float64{n.next()}}
		case 6:
			w.Weight = x
		case 7:
			w.Fires = map[string][]float64{"fed": {x}}
		}
	}
	return p
}

// cook is a finished cook of any numbers: a plausible curve, or whatever the bytes say.
func (n *numbers) cook(t *testing.T) Finished {
	in := Input{Cut: BrisketFlat, Target: 92.5, Started: lit, MassKg: n.next(), ThicknessMM: n.next(), SetPoint: thermal.Celsius(n.next()), AltitudeM: n.next()}
	if n.small(2) == 0 {
		in.Core, in.Pit = curve(t, 10*time.Minute, "0:5 120:46 240:64 420:69 600:80 700:93"), curve(t, 10*time.Minute, "0:106 700:108")
	}
	for range n.small(16) {
		s := Sample{lit.Add(time.Duration(n.small(250)) * 4 * time.Minute), thermal.Celsius(n.next())}
		in.Core = append(in.Core, s)
		if n.small(2) == 0 {
			in.Pit = append(in.Pit, s)
		}
		if n.small(4) == 0 {
			in.Events = append(in.Events, Event{Time: s.Time, Kind: Wrap, With: Paper}, Event{Time: s.Time, Kind: SetPoint, Celsius: s.Celsius})
		}
	}
	return Finished{Input: in}
}

// checkPrior fails unless a prior that passes Check makes sane forecasts.
func checkPrior(t *testing.T, p Prior) {
	t.Helper()
	for _, minute := range []float64{0, 45, 300} {
		f := New(p).Forecast(brisket(t, 5*time.Minute), minutes(minute))
		checkSane(t, &f)
	}
}

// FuzzLearn spoils a prior and cooks with any numbers. A prior that Check refuses is an error; from one that it takes, what is
// learned is an error or passes Check again, and makes sane forecasts.
func FuzzLearn(f *testing.F) {
	f.Add([]byte{}, true)
	f.Add([]byte{1, 0, 3, 3, 0, 0, 0, 0, 0, 0, 0xf0, 0x7f, 9, 9, 9}, false) // an infinite variance
	one := binary.LittleEndian.AppendUint64([]byte{1, 1, 0, 1}, math.Float64bits(0.2))
	f.Add(append(one, make([]byte, 90)...), true)
	f.Add(append([]byte{0}, binary.LittleEndian.AppendUint64(make([]byte, 64), math.Float64bits(1e300))...), false)
	f.Fuzz(learnAnything)
}

func learnAnything(t *testing.T, data []byte, pit bool) {
	n := &numbers{data}
	from := n.spoiled(DefaultPrior())
	cooks := []Finished{n.cook(t), n.cook(t)}
	learn := Learn
	if pit {
		learn = LearnPit
	}
	got, err := learn(from, cooks)
	if wrong := from.Check(); wrong != nil && err == nil {
		t.Fatalf("%v, and yet it was learned from", wrong)
	}
	if err != nil {
		return
	}
	if err := got.Check(); err != nil {
		t.Fatal(err)
	}
	checkPrior(t, got)
}

// FuzzReadPrior reads any text. What is taken passes Check, comes back the same from JSON and makes sane forecasts.
func FuzzReadPrior(f *testing.F) {
	f.Add(shippedPrior)
	f.Add([]byte(`{"Names":[]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := ReadPrior(data)
		if err != nil {
			return
		}
		kept, err := json.Marshal(p)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := ReadPrior(kept); err != nil {
			t.Fatalf("taken once, refused the second time: %v", err)
		}
		checkPrior(t, p)
	})
}
