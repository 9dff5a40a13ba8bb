package plan

import (
	"math"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
)

// On the pit since 05:00, ready after 6 to 10 h from 09:00 by the newest forecast: P90 is 19:00, so that 21:00 leaves 80 minutes.
func TestReplan_TheLiveForecastDecides(t *testing.T) {
	o := Order{Serve: mustTime(t, "2026-05-03T21:00:00+02:00"), Zone: "Europe/Berlin", Pit: 107,
		Pieces: []OrderPiece{{ID: "flat", Cut: estimator.BrisketFlatCured, MassKg: 2.5, ThicknessMM: 50, Target: 92, CureDays: 7}, {ID: "point", Cut: estimator.BrisketPacker, MassKg: 3, Target: 95}}}
	now := mustTime(t, "2026-05-03T09:00:00+02:00")
	live := even{}.Forecast(estimator.Input{MassKg: 2.5, Target: 92, SetPoint: 107}, now)
	again := o.Replan(now, 121, map[cook.PieceID]Progress{"flat": {Done: SmokeStart, At: now.Add(-4 * time.Hour), Cooking: &live}, "point": {Served: true}})
	if again.Pit != 121 || len(again.Pieces) != 1 || o.Pieces[0].Done != "" {
		t.Fatalf("replanned: %+v", again)
	}
	r, err := again.Request(now, nil)
	if err != nil {
		t.Fatal(err)
	}
	p := mustPlan(t, r)
	ready := step(t, p, Ready, "flat")
	if !p.Feasible || !ready.At.Equal(mustTime(t, "2026-05-03T19:00:00+02:00")) || ready.Slack() != 80*time.Minute || ready.Late(now) {
		t.Errorf("feasible %v, ready %+v with a slack of %v", p.Feasible, ready, ready.Slack())
	}
	for _, s := range p.Steps {
		if s.At.Before(now) {
			t.Errorf("%s at %v is over", s.ID, s.At)
		}
	}
	r.Serve = mustTime(t, "2026-05-03T19:10:00+02:00")
	p = mustPlan(t, r)
	if late := step(t, p, Ready, "flat"); p.Feasible || late.Slack() != -30*time.Minute {
		t.Errorf("feasible %v, slack %v", p.Feasible, late.Slack())
	}
}

func TestOfCook_FollowsTheLog(t *testing.T) {
	at := func(h int) time.Time { return time.Date(2026, 5, 3, h, 0, 0, 0, time.UTC) }
	c := cook.Cook{Started: at(5), Pieces: []cook.Piece{{ID: "flat"}, {ID: "point"}}, Events: []cook.Event{{Time: at(12), Kind: cook.EventPieceOff, Piece: "point"},
		{Time: at(15), Kind: cook.EventPieceOff}}} // names no piece: all of them
	done := estimator.Forecast{State: estimator.Ready, Since: at(11)}
	for _, test := range []struct {
		piece cook.PieceID
		f     *estimator.Forecast
		now   time.Time
		want  Progress
	}{
		{"flat", nil, at(10), Progress{Done: SmokeStart, At: at(5)}},
		{"flat", &done, at(13), Progress{Done: Ready, At: at(11)}},
		{"point", &done, at(13), Progress{Done: Rest, At: at(12)}},
		{"flat", &done, at(16), Progress{Done: Rest, At: at(15)}},
		{"point", &done, at(16), Progress{Done: Rest, At: at(12)}},
		{"flat", nil, at(4), Progress{}}, // the fire is laid for later
	} {
		if got := OfCook(&c, test.piece, test.f, test.now); got != test.want {
			t.Errorf("%s at %v: %+v, want %+v", test.piece, test.now, got, test.want)
		}
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
