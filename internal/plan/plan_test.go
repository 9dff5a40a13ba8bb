package plan

import (
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

var update = flag.Bool("update", false, "rewrite the golden files")

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

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	a, b := strings.Split(got, "\n"), strings.Split(string(want), "\n")
	for i := range max(len(a), len(b)) {
		if i >= len(a) || i >= len(b) || a[i] != b[i] {
			t.Errorf("%s differs in line %d; run with -update and look at the difference:\n%s", path, i+1, a[min(i, len(a)-1)])
			return
		}
	}
}

// overMonth is a plan over a month's end and several midnights: 7 days in the cure, Sunday at six.
func overMonth(t testing.TB) Request {
	return Request{Now: mustTime(t, "2026-04-20T09:00:00+02:00"), Serve: mustTime(t, "2026-05-03T18:00:00+02:00"),
		Zone: mustZone(t, "Europe/Berlin"), Pit: 107, Pieces: []Piece{flat("flat", 2.5, 7)}}
}

func TestMake_BackwardsByHand(t *testing.T) {
	p := mustPlan(t, overMonth(t))
	if !p.Feasible {
		t.Fatal(p.Because)
	}
	// Comfortable: 20 min slicing, 2 h hold, 1 h rest, 10 h smoke at P90, 1 h fire, 12 h rub; 12 h drying; a day of 20 hours
	// at hand ends at eight in the evening.
	for id, want := range map[StepID][2]string{
		Serve:      {"2026-05-03T18:00:00+02:00", "2026-05-03T18:00:00+02:00"},
		Slice:      {"2026-05-03T17:40:00+02:00", "2026-05-03T17:50:00+02:00"},
		Ready:      {"2026-05-03T14:40:00+02:00", "2026-05-03T17:20:00+02:00"},
		SmokeStart: {"2026-05-03T04:40:00+02:00", "2026-05-03T07:20:00+02:00"},
		FireLight:  {"2026-05-03T03:40:00+02:00", "2026-05-03T06:50:00+02:00"},
		Rub:        {"2026-05-02T15:40:00+02:00", "2026-05-03T05:50:00+02:00"},
		CureEnd:    {"2026-05-01T20:00:00+02:00", "2026-05-03T02:20:00+02:00"},
		CureStart:  {"2026-04-24T20:00:00+02:00", "2026-04-26T02:20:00+02:00"},
		CureTurn:   {"2026-04-28T08:00:00+02:00", "2026-04-29T14:20:00+02:00"},
		Chill:      {"2026-05-03T18:30:00+02:00", "2026-05-03T19:40:00+02:00"},
	} {
		s := step(t, p, id, "flat")
		if !s.At.Equal(mustTime(t, want[0])) || !s.Latest.Equal(mustTime(t, want[1])) {
			t.Errorf("%s at %s, latest %s; want %v", id, stamp(s.At, p.Request.Zone), stamp(s.Latest, p.Request.Zone), want)
		}
	}
}

func TestMake_Goldens(t *testing.T) {
	autumn := overMonth(t)
	autumn.Now, autumn.Serve = mustTime(t, "2026-10-18T09:00:00+02:00"), mustTime(t, "2026-10-31T18:00:00+01:00")
	tooLate := overMonth(t)
	tooLate.Now = mustTime(t, "2026-04-27T09:00:00+02:00")
	three := Request{Now: mustTime(t, "2026-12-20T08:00:00Z"), Serve: mustTime(t, "2026-12-31T18:00:00-06:00"), Zone: mustZone(t, "America/Chicago"),
		Pit: 107, Pieces: []Piece{flat("small", 2, 5), flat("middle", 3, 5), {ID: "large", Cut: estimator.BrisketFlat, MassKg: 5, Target: 92, Frozen: true,
			Wrap: &estimator.WrapPlan{With: estimator.Paper, AtCelsius: 70}}}}
	for name, r := range map[string]Request{"month-end": overMonth(t), "clocks-back": autumn, "too-late": tooLate, "three-pieces": three} {
		p := mustPlan(t, r)
		golden(t, name+".txt", p.Text())
		doc, err := json.MarshalIndent(p, "", " ")
		if err != nil {
			t.Fatal(err)
		}
		golden(t, name+".json", string(doc)+"\n")
	}
	golden(t, "three-pieces.ics", mustPlan(t, three).Calendar())
}

// On 25 October 2026 the clocks in Berlin go back, on 29 March forward: seven days in the cure stay 168 hours.
func TestMake_DaysAreRealTimeOverAClockChange(t *testing.T) {
	for _, serve := range []string{"2026-10-31T18:00:00+01:00", "2026-04-03T18:00:00+02:00"} {
		r := overMonth(t)
		r.Serve = mustTime(t, serve)
		r.Now = r.Serve.Add(-14 * day)
		p := mustPlan(t, r)
		begin, end := step(t, p, CureStart, "flat"), step(t, p, CureEnd, "flat")
		if got := end.Latest.Sub(begin.Latest); got != 168*time.Hour {
			t.Errorf("served %s: latest cure %v", serve, got)
		}
		if got := end.At.Sub(begin.At); got < 168*time.Hour || got > 192*time.Hour {
			t.Errorf("served %s: comfortable cure %v", serve, got)
		}
		_, before := begin.Latest.In(r.Zone).Zone()
		_, after := end.Latest.In(r.Zone).Zone()
		if before == after {
			t.Errorf("served %s: the cure does not cross the change", serve)
		}
	}
}

// The same instants whatever the zone of the serving hour; shown in that zone.
func TestMake_ServingHourInAnotherZone(t *testing.T) {
	a := mustPlan(t, overMonth(t))
	r := overMonth(t)
	r.Serve, r.Zone = r.Serve.In(time.FixedZone("", -6*3600)), nil
	b := mustPlan(t, r)
	if a.Steps[len(a.Steps)-3].ID != Serve || !step(t, a, SmokeStart, "flat").Latest.Equal(step(t, b, SmokeStart, "flat").Latest) {
		t.Error("the zone moves the latest time")
	}
	if !strings.Contains(b.Text(), "Served Sun 3 May 10:00") {
		t.Errorf("not in the zone of the serving hour:\n%s", b.Text())
	}
}

func TestMake_WhatCannotBeDoneComesFirstWithTheNearest(t *testing.T) {
	r := overMonth(t)
	r.Now = mustTime(t, "2026-04-27T09:00:00+02:00")
	p := mustPlan(t, r)
	if p.Feasible || !strings.HasPrefix(p.Text(), "Served Sun 3 May 18:00: NOT POSSIBLE.") {
		t.Fatalf("feasible %v:\n%s", p.Feasible, p.Text())
	}
	for _, a := range p.Nearest {
		if a.Serve.Equal(r.Serve) {
			continue
		}
		again := r
		again.Serve = a.Serve
		if q := mustPlan(t, again); !q.Feasible {
			t.Errorf("%s: %s", a.Do, q.Because)
		}
		again.Serve = p.Soonest.Add(-time.Minute)
		if q := mustPlan(t, again); q.Feasible {
			t.Error("a minute before the soonest is feasible too")
		}
	}
	if p.Nearest[0].Do[:11] != "cure 5 days" {
		t.Errorf("nearest %v, want the shorter cure first", p.Nearest)
	}
	if step(t, p, Serve, "flat").At != p.Soonest {
		t.Error("the steps do not end at the soonest serving hour")
	}
}

func TestMake_ATargetAboveThePit(t *testing.T) {
	r := overMonth(t)
	r.Pit = 90
	p := mustPlan(t, r)
	if p.Feasible || !p.Soonest.IsZero() || !strings.Contains(p.Because, "the target is not below the pit") {
		t.Errorf("%v %q", p.Feasible, p.Because)
	}
	if len(p.Nearest) == 0 || !strings.Contains(p.Nearest[0].Do, "121 °C") {
		t.Errorf("nearest %v", p.Nearest)
	}
}

// Common practice of the trade, no source: a trimmed cured flat of about 50 mm at 105 to 107 °C takes about eight hours,
// which is read as half an hour either way.
func TestMake_SmokeStageOfATrimmedCuredFlat(t *testing.T) {
	for _, pit := range []thermal.Celsius{105, 107} {
		r := overMonth(t)
		r.Pit = pit
		p, err := Make(estimator.New(estimator.DefaultPrior()), r)
		if err != nil {
			t.Fatal(err)
		}
		q := p.Pieces[0]
		if !p.Feasible || q.ReadyP10 > 8*time.Hour+30*time.Minute || q.ReadyP90 < 7*time.Hour+30*time.Minute {
			t.Errorf("at %v: feasible %v, band %v to %v, want about eight hours inside", pit, p.Feasible, q.ReadyP10, q.ReadyP90)
		}
		if got := step(t, p, Ready, "flat").At.Sub(step(t, p, SmokeStart, "flat").At); got != q.ReadyP90 {
			t.Errorf("ready after %v, want P90 %v", got, q.ReadyP90)
		}
	}
}

func TestMake_ThreePiecesForOneHour(t *testing.T) {
	r := overMonth(t)
	r.Pieces = []Piece{flat("two", 2, 0), flat("three", 3, 0), flat("five", 5, 0)}
	p := mustPlan(t, r)
	two, three, five := step(t, p, SmokeStart, "two"), step(t, p, SmokeStart, "three"), step(t, p, SmokeStart, "five")
	if !(five.At.Before(three.At) && three.At.Before(two.At)) {
		t.Errorf("starts %v %v %v, want the largest first", two.At, three.At, five.At)
	}
	for _, s := range []Step{two, three, five} {
		ready := step(t, p, Ready, string(s.Piece))
		if !ready.At.Equal(step(t, p, Ready, "two").At) {
			t.Errorf("%s is ready at %v", s.Piece, ready.At)
		}
	}
	if fire := step(t, p, FireLight, ""); fire.At.After(five.At.Add(-time.Hour)) {
		t.Errorf("the fire is lit at %v for a start at %v", fire.At, five.At)
	}
	// Three even chances of nine in ten are 0.73 when nothing binds them.
	if p.PAllReady < 0.7 || p.PAllReady > 0.9 || p.Earlier <= 0 || p.Earlier > 2*time.Hour {
		t.Errorf("all ready together with %v, or %v earlier", p.PAllReady, p.Earlier)
	}
}

// What was begun is taken from when it was begun; a running cook from its newest forecast.
func TestMake_ReplansAsTheCookRuns(t *testing.T) {
	r := overMonth(t)
	r.Now = mustTime(t, "2026-04-27T09:00:00+02:00")
	r.Pieces[0].Done, r.Pieces[0].DoneAt = CureStart, mustTime(t, "2026-04-25T20:00:00+02:00")
	p := mustPlan(t, r)
	if !p.Feasible || p.Steps[0].ID != CureTurn {
		t.Fatalf("%v %q, first %v", p.Feasible, p.Because, p.Steps[0].ID)
	}
	if end := step(t, p, CureEnd, "flat"); end.At.Sub(r.Pieces[0].DoneAt) != 168*time.Hour {
		t.Errorf("the cure ends at %v", end.At)
	}
	r.Now = mustTime(t, "2026-05-03T09:00:00+02:00")
	running := even{}.Forecast(r.cold(r.Pieces[0], r.Now), r.Now)
	r.Pieces[0].Done, r.Pieces[0].DoneAt, r.Pieces[0].Cooking = SmokeStart, mustTime(t, "2026-05-03T05:00:00+02:00"), &running
	p = mustPlan(t, r)
	if p.Feasible || !p.Soonest.Equal(mustTime(t, "2026-05-03T19:40:00+02:00")) { // 19:00 ready at P90, 30 min rest, 10 min slicing
		t.Errorf("feasible %v, soonest %v", p.Feasible, p.Soonest)
	}
	r.Now = mustTime(t, "2026-05-03T16:00:00+02:00")
	r.Pieces[0].Done, r.Pieces[0].DoneAt, r.Pieces[0].Cooking = Rest, mustTime(t, "2026-05-03T15:00:00+02:00"), nil
	p = mustPlan(t, r)
	if !p.Feasible || p.Steps[0].ID != Hold || !p.Steps[0].At.Equal(r.Now) || !math.IsNaN(p.PAllReady) {
		t.Errorf("feasible %v, first %+v, all ready %v", p.Feasible, p.Steps[0], p.PAllReady)
	}
}

func TestValidate_SaysWhatToEnter(t *testing.T) {
	for _, test := range []struct {
		break_ func(*Request)
		want   string
	}{
		{func(r *Request) { r.Serve = r.Now.Add(-time.Hour) }, "enter an hour to come"},
		{func(r *Request) { r.Serve = r.Now.Add(3 * 365 * day) }, "check the year"},
		{func(r *Request) { r.Pieces[0].MassKg = 0 }, "weigh it"},
		{func(r *Request) { r.Pieces[0].MassKg = -1 }, "not between 0 and 100"},
		{func(r *Request) { r.Pieces[0].Cut = "steak" }, "use one of brisket_packer"},
		{func(r *Request) { r.Pieces[0].Target = thermal.Celsius(math.NaN()) }, "target_c"},
		{func(r *Request) { r.Pieces[0].Cure = -day }, "not between 1 and 120 days"},
		{func(r *Request) { r.Pieces = append(r.Pieces, r.Pieces[0]) }, "an id of its own"},
		{func(r *Request) { r.Pieces = nil }, "enter at least one"},
		{func(r *Request) { r.Pit = 1000 }, "such as 107C"},
		{func(r *Request) { r.Pieces[0].Done = "nap" }, "use one of buy"},
		{func(r *Request) { r.Pieces[0].Done, r.Pieces[0].DoneAt = Trim, r.Now.Add(hour) }, "was not begun yet"},
	} {
		r := overMonth(t)
		test.break_(&r)
		if _, err := Make(even{}, r); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("error %v, want it to say %q", err, test.want)
		}
	}
}

func drawRequest(t *rapid.T, zone *time.Location) Request {
	r := Request{Now: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(rapid.IntRange(0, 365*24*60).Draw(t, "now")) * time.Minute), Zone: zone, Pit: 107}
	r.Serve = r.Now.Add(time.Duration(rapid.IntRange(1, 60*24*30).Draw(t, "minutes")) * time.Minute)
	for i := range rapid.IntRange(1, 3).Draw(t, "pieces") {
		p := flat(string(rune('a'+i)), rapid.Float64Range(0.5, 8).Draw(t, "kg"), rapid.IntRange(0, 20).Draw(t, "cure"))
		p.Frozen = rapid.Bool().Draw(t, "frozen")
		r.Pieces = append(r.Pieces, p)
	}
	return r
}

func TestMake_StepsNeverOverlapWrongly(t *testing.T) {
	zone := mustZone(t, "Europe/Berlin")
	order := Steps()
	rapid.Check(t, func(t *rapid.T) {
		r := drawRequest(t, zone)
		p, err := Make(even{}, r)
		if err != nil {
			t.Fatal(err)
		}
		for _, piece := range r.Pieces {
			var last *Step
			for _, id := range order {
				k := slices.IndexFunc(p.Steps, func(s Step) bool { return s.ID == id && s.Piece == piece.ID })
				if k < 0 {
					continue
				}
				s := &p.Steps[k]
				if s.At.Before(r.Now) {
					t.Fatalf("%s of %s at %v lies before now", id, piece.ID, s.At)
				}
				if last != nil && (s.At.Before(last.At) || s.Latest.Before(last.Latest)) {
					t.Fatalf("%s of %s (%v, %v) comes before %s (%v, %v)", id, piece.ID, s.At, s.Latest, last.ID, last.At, last.Latest)
				}
				if p.Feasible && s.Slack() < 0 {
					t.Fatalf("feasible, but %s of %s has slack %v", id, piece.ID, s.Slack())
				}
				last = s
			}
			if piece.Cure > 0 && step(t, p, CureEnd, string(piece.ID)).At.Sub(step(t, p, CureStart, string(piece.ID)).At) < piece.Cure {
				t.Fatalf("the cure of %s is too short", piece.ID)
			}
		}
		late := slices.ContainsFunc(p.Steps, func(s Step) bool { return s.Latest.Before(r.Now) })
		if late == p.Feasible {
			t.Fatalf("feasible %v, a step too late: %v", p.Feasible, late)
		}
	})
}

func TestMake_MoreCureDaysNeverStartLater(t *testing.T) {
	zone := mustZone(t, "Europe/Berlin")
	rapid.Check(t, func(t *rapid.T) {
		r := drawRequest(t, zone)
		r.Pieces = r.Pieces[:1]
		r.Pieces[0].Cure = time.Duration(rapid.IntRange(1, 20).Draw(t, "days")) * day
		a, errA := Make(even{}, r)
		r.Pieces = slices.Clone(r.Pieces)
		r.Pieces[0].Cure += time.Duration(rapid.IntRange(1, 10).Draw(t, "more")) * day
		b, errB := Make(even{}, r)
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		for _, id := range []StepID{Buy, Trim, BrineMake, CureStart} {
			x, y := step(t, a, id, "a"), step(t, b, id, "a")
			if y.Latest.After(x.Latest) || y.At.After(x.At) {
				t.Fatalf("%s: %v/%v, with more days %v/%v", id, x.At, x.Latest, y.At, y.Latest)
			}
		}
	})
}

// USDA cold storage chart: raw roasts keep 3 to 5 days in the cooler, raw poultry 1 to 2; the comfortable times stay within.
func TestMake_FreshMeatDoesNotWaitTooLong(t *testing.T) {
	zone := mustZone(t, "Europe/Berlin")
	rapid.Check(t, func(t *rapid.T) {
		r := drawRequest(t, zone)
		r.Serve = r.Serve.Add(40 * day)
		for i := range r.Pieces {
			p := &r.Pieces[i]
			p.Frozen = false
			if p.Cure == 0 && rapid.Bool().Draw(t, "poultry") {
				p.Cut = estimator.TurkeyBreast
			}
		}
		p, err := Make(even{}, r)
		if err != nil {
			t.Fatal(err)
		}
		for _, piece := range r.Pieces {
			until, most := SmokeStart, 72*time.Hour
			if piece.Cure > 0 {
				until = CureStart
			} else if piece.Cut == estimator.TurkeyBreast {
				most = 48 * time.Hour
			}
			if raw := step(t, p, until, string(piece.ID)).At.Sub(step(t, p, Buy, string(piece.ID)).At); raw > most {
				t.Fatalf("%s lies raw for %v", piece.ID, raw)
			}
		}
	})
}

// What is said about chilling and storing stays within the limits it names, and a phone can show every line.
func TestText_LimitsAndWidth(t *testing.T) {
	r := overMonth(t)
	r.Pieces[0].CureBasis, r.Pieces[0].CureRules = "satisfies practice", []string{"practice: 5 to 14 days (common practice, no source)"}
	p := mustPlan(t, r)
	serve, chill, freeze := step(t, p, Serve, "flat"), step(t, p, Chill, "flat"), step(t, p, Freeze, "flat")
	if chill.Latest.Sub(serve.At) > 2*time.Hour || chill.Until.Sub(chill.At) > 6*time.Hour || freeze.Latest.Sub(serve.At) > 72*time.Hour {
		t.Errorf("chill %v to %v, freeze by %v, served %v", chill.Latest, chill.Until, freeze.Latest, serve.At)
	}
	for _, q := range p.Pieces {
		if c := q.ChillInWater; !c.Meets || c.Half > 2*time.Hour || c.Cold > 6*time.Hour {
			t.Errorf("iced water: %+v", c)
		}
	}
	for line := range strings.SplitSeq(p.Text(), "\n") {
		if n := len([]rune(line)); n > width {
			t.Errorf("%d characters: %q", n, line)
		}
	}
	for _, want := range []string{"USDA chart; the\n    Food Code allows 7 days", "Curing salt is poisonous", "practice: 5 to 14 d"} {
		if !strings.Contains(p.Text(), want) {
			t.Errorf("the text does not say %q", want)
		}
	}
}
