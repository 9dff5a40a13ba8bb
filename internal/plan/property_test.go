package plan

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"stallkeeper/estimator"
)

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
