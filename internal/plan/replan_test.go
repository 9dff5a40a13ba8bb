package plan

import (
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
	c := cook.Cook{Started: at(5), Pieces: []cook.Piece{{ID: "flat"}, {ID: "point"}}, Events: []cook.Event{{Time: at(12), Kind: cook.EventPieceOff, Piece: "point"}}}
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
		{"flat", nil, at(4), Progress{}}, // the fire is laid for later
	} {
		if got := OfCook(&c, test.piece, test.f, test.now); got != test.want {
			t.Errorf("%s at %v: %+v, want %+v", test.piece, test.now, got, test.want)
		}
	}
}
