package plan

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/testrig"
)

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
		testrig.Golden(t, name+".txt", p.Text())
		doc, err := json.MarshalIndent(p, "", " ")
		if err != nil {
			t.Fatal(err)
		}
		testrig.Golden(t, name+".json", string(doc)+"\n")
	}
	testrig.Golden(t, "three-pieces.ics", mustPlan(t, three).Calendar())
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
