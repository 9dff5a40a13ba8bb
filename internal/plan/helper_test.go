package plan

import (
	"math"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// even is a forecaster with round numbers, so that the plans in the golden files can be checked by hand: a piece of
// 2.5 kg is ready after 6 to 10 h, half of them by 8; other masses take as much longer as their square root; foil saves
// two hours in five. The core warms by 22 °C an hour to the stall at 70 °C, which ends after five hours.
type even struct{}

func (even) Forecast(in estimator.Input, at time.Time) estimator.Forecast {
	scale := math.Sqrt(in.MassKg / 2.5)
	if in.Plan != nil {
		scale *= 0.6
	}
	if in.SetPoint > 115 {
		scale *= 0.8
	}
	hours := func(h float64) time.Time { return at.Add(time.Duration(h * scale * float64(time.Hour))) }
	f := estimator.Forecast{At: at, Target: in.Target, State: estimator.Warming, Because: "it has just begun to warm"}
	if in.Target >= in.SetPoint {
		f.PNever, f.Because = 1, "the target is not below the pit"
		return f
	}
	for i, h := range []float64{5.75, 6, 6.75, 8, 9.25, 10, 10.25} {
		f.Ready[i] = hours(h)
	}
	for k := range 200 {
		f.Draws = append(f.Draws, estimator.Draw{Ready: hours(5.5 + 5*math.Mod(float64(k)*math.Sqrt(in.MassKg+0.3), 1))})
	}
	f.StallEnd = hours(5)
	for h := 0.0; h <= 8; h += 0.25 {
		core := min(4+22*h, max(67+h, 72+7*(h-5)))
		f.Path = append(f.Path, estimator.PathPoint{Time: hours(h), P50: thermal.Celsius(core)})
	}
	return f
}

func (even) CoolTime(c estimator.Chill, to thermal.Celsius) (after [7]time.Duration) {
	thick := c.SlicedMM
	if thick == 0 {
		thick = 50
	}
	h := thick / 25 * map[estimator.Surroundings]float64{estimator.InsulatedBox: 4, estimator.CoolerAir: 2, estimator.IceWater: 0.5}[c.Where]
	if to > chillHalf-0.1 {
		h /= 2
	}
	for i := range after {
		after[i] = time.Duration(h * (0.7 + 0.1*float64(i)) * float64(time.Hour))
	}
	return after
}

func mustZone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

func mustTime(t testing.TB, s string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

func mustPlan(t testing.TB, r Request) Plan {
	t.Helper()
	p, err := Make(even{}, r)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// flat is a trimmed cured flat of 50 mm.
func flat(id string, kg float64, cureDays int) Piece {
	return Piece{ID: cook.PieceID(id), Cut: estimator.BrisketFlatCured, MassKg: kg, ThicknessMM: 50, Target: 92, Cure: time.Duration(cureDays) * day}
}

func step(t fataler, p Plan, id StepID, piece string) Step {
	t.Helper()
	for _, s := range p.Steps {
		if s.ID == id && string(s.Piece) == piece {
			return s
		}
	}
	t.Fatalf("no step %s of %q", id, piece)
	return Step{}
}

// fataler is what step needs of a test or of a property.
type fataler interface {
	Helper()
	Fatalf(format string, args ...any)
}

// overMonth is a plan over a month's end and several midnights: 7 days in the cure, Sunday at six.
func overMonth(t testing.TB) Request {
	return Request{Now: mustTime(t, "2026-04-20T09:00:00+02:00"), Serve: mustTime(t, "2026-05-03T18:00:00+02:00"),
		Zone: mustZone(t, "Europe/Berlin"), Pit: 107, Pieces: []Piece{flat("flat", 2.5, 7)}}
}
