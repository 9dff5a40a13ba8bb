package plan

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// Plan is a request worked out.
type Plan struct {
	Request   Request
	Feasible  bool
	Because   string        // what cannot be done, or what must be begun first
	Nearest   []Alternative // when not feasible: what can be done instead, the least change first
	Soonest   time.Time     // the earliest serving hour with these choices; zero when the forecast never gets there
	PAllReady float64       // probability that all pieces are ready when the plan says so; NaN when it cannot be said
	Earlier   time.Duration // by how much earlier every piece would have to go on to make that 0.9; math.MaxInt64 when nothing does
	Pieces    []PiecePlan
	Steps     []Step // by time; steps of one piece in their order
	Cautions  []string
}

// PiecePlan is the forecast that a piece's steps rest on: durations from going on the pit (or from the last step begun).
// Negative means: not within the forecaster's horizon.
type PiecePlan struct {
	ID                       cook.PieceID
	ReadyP10, ReadyP50       time.Duration
	ReadyP90                 time.Duration // what the plan counts with
	StallFrom, StallTo       time.Duration
	BoxHold                  time.Duration
	ChillInWater, ChillInAir ChillAdvice
}

// Alternative is a plan near the one asked for that can be met.
type Alternative struct {
	Do    string
	Serve time.Time
}

// Make works a request out. It fails only on a request that Validate refuses; what cannot be met is a plan with Feasible
// false, which says what can.
func Make(f Forecaster, r Request) (Plan, error) {
	if r.Zone == nil {
		r.Zone = r.Serve.Location()
	}
	if err := r.Validate(); err != nil {
		return Plan{}, err
	}
	cools := make([]cooled, len(r.Pieces))
	for i, piece := range r.Pieces {
		cools[i].box = boxHold(f, r, piece)
		cools[i].water, cools[i].air = chilling(f, r, piece)
	}
	p := workOut(f, r, cools)
	if !p.Feasible {
		p.Nearest = nearest(f, p, cools)
	}
	return p, nil
}

// cooled is how a piece cools, which neither the pit nor the days before change.
type cooled struct {
	box        time.Duration
	water, air ChillAdvice
}

func workOut(f Forecaster, r Request, cools []cooled) Plan {
	out := Plan{Request: r, Feasible: true}
	smokes := make([]*smoke, len(r.Pieces))
	var cooking []*smoke
	for i, p := range r.Pieces {
		s := smoking(f, r, p)
		smokes[i] = &s
		if !p.offPit() {
			cooking = append(cooking, &s)
		}
	}
	out.PAllReady, out.Earlier = together(cooking)
	var late []string
	behind := time.Duration(0)
	for i, p := range r.Pieces {
		s := *smokes[i]
		box, water, air := cools[i].box, cools[i].water, cools[i].air
		steps := schedule(chain(r, p, s, box), r, p)
		served := steps[len(steps)-1].At
		behind = max(behind, served.Sub(r.Serve))
		late = append(late, trouble(r, p, s, steps)...)
		out.Pieces = append(out.Pieces, PiecePlan{ID: p.ID, ReadyP10: known(s.p10), ReadyP50: known(s.p50), ReadyP90: known(s.p90),
			StallFrom: known(s.stall), StallTo: known(s.over), BoxHold: known(box), ChillInWater: water, ChillInAir: air})
		if p.Done != "" {
			steps = steps[1:]
		}
		steps = turned(steps, r, p)
		markUntil(steps, s)
		out.Steps = append(out.Steps, append(steps, leftovers(r, served, p, water, air)...)...)
	}
	out.Steps = share(out.Steps, len(r.Pieces))
	out.Soonest = r.Serve.Add(behind)
	out.Feasible = len(late) == 0
	if out.Feasible {
		out.Because = first(out)
	} else {
		out.Because = late[0]
		for _, l := range late[1:] {
			out.Because += "; " + l
		}
	}
	if slices.ContainsFunc(smokes, func(s *smoke) bool { return s.p90 == never }) {
		out.Soonest = time.Time{}
	}
	out.Cautions = cautions(r)
	return out
}

// known turns never into the -1 of the exported figures.
func known(d time.Duration) time.Duration {
	if d == never {
		return -1
	}
	return d
}

// trouble says why a piece cannot be served in time; nothing when it can.
func trouble(r Request, p Piece, s smoke, steps []Step) []string {
	if s.p90 == never && p.Cooking != nil {
		return []string{fmt.Sprintf("%s: by the newest forecast it is not ready with nine chances in ten within %s: %s", p.ID, span(estimator.Horizon), s.because)}
	}
	if s.p90 == never {
		return []string{fmt.Sprintf("%s: no hour for putting it on makes it ready with nine chances in ten within %s at %.0f °C: %s",
			p.ID, span(estimator.Horizon), float64(r.Pit), s.because)}
	}
	served := steps[len(steps)-1].At
	if !served.After(r.Serve) {
		return nil
	}
	begin := steps[0]
	if p.Done != "" {
		begin = steps[1]
	}
	return []string{fmt.Sprintf("%s: from %q to the table it takes at least %s, and there are %s; it would have had to be by %s",
		p.ID, begin.ID.Words(), span(served.Sub(begin.At)), span(r.Serve.Sub(r.Now)), when.Day(begin.Latest, r.Zone))}
}

// first says what must be begun first.
func first(p Plan) string {
	i := 0
	for k := range p.Steps {
		if p.Steps[k].Latest.Before(p.Steps[i].Latest) {
			i = k
		}
	}
	s := p.Steps[i]
	what := strconv.Quote(s.ID.Words())
	if len(p.Request.Pieces) > 1 && s.Piece != "" {
		what += " of " + string(s.Piece)
	}
	return fmt.Sprintf("first comes %s, at the latest %s (%s from now)", what, when.Day(s.Latest, p.Request.Zone), span(s.Latest.Sub(p.Request.Now)))
}

// turned puts the turning midway between the start and the end of the cure.
func turned(steps []Step, r Request, p Piece) []Step {
	i := slices.IndexFunc(steps, func(s Step) bool { return s.ID == CureStart })
	end := slices.IndexFunc(steps, func(s Step) bool { return s.ID == CureEnd })
	if end < 0 || i < 0 && p.Done != CureStart {
		return steps
	}
	begin := Step{At: p.DoneAt, Latest: p.DoneAt}
	if i >= 0 {
		begin = steps[i]
	}
	middle := func(a, b time.Time) time.Time { return a.Add(b.Sub(a) / 2) }
	c := cure(p)[3]
	at := daytime(middle(begin.At, steps[end].At), r.Zone)
	if at.Before(begin.At) {
		at = middle(begin.At, steps[end].At)
	}
	turn := Step{ID: CureTurn, Piece: p.ID, At: later(at, r.Now), Latest: middle(begin.Latest, steps[end].Latest), Do: c.do, IfLate: c.late, Basis: c.basis}
	if turn.At.After(turn.Latest) && !steps[end].At.After(steps[end].Latest) {
		turn.Latest = turn.At
	}
	return slices.Insert(steps, i+1, turn)
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// markUntil says of lasting steps when they are over.
func markUntil(steps []Step, s smoke) {
	for i := range steps[:len(steps)-1] {
		switch steps[i].ID {
		case Stall:
			steps[i].Until = steps[i].At.Add(s.over - s.stall)
		case Thaw, BrineCool, CureStart, Dry, Rub, Rest, Hold, Slice:
			k := i + 1
			if steps[i].ID == CureStart {
				k++ // the turning lies within
			}
			steps[i].Until = steps[k].At
		case SmokeStart:
			if k := slices.IndexFunc(steps, func(s Step) bool { return s.ID == Ready }); k > 0 {
				steps[i].Until = steps[k].At
			}
		}
	}
}

// leftovers are the steps after the table.
func leftovers(r Request, served time.Time, p Piece, water, air ChillAdvice) []Step {
	cut := served.Add(-slicing(len(r.Pieces)))
	begin := served.Add(30 * minute)
	cold := begin.Add(chillWhole)
	chill := Step{ID: Chill, Piece: p.ID, At: begin, Latest: cut.Add(2 * hour), Until: cold,
		Do:     fmt.Sprintf("Chill what is left: 57 to 21 °C (135 to 70 °F) in 2 h, to 5 °C (41 °F) in 6 h in all. %s; or %s. Measure the warmest place.", capital(water.words()), air.words()),
		IfLate: "Sliced or out of the hold for more than 2 h (1 h above 32 °C, 90 °F), throw it away.",
		Basis:  "Food Code 3-501.14; 2 h: USDA Danger Zone; the cooling: the forecaster, nine chances in ten"}
	freeze := Step{ID: Freeze, Piece: p.ID, At: nextDaytime(cold, r.Zone), Latest: served.Add(3 * day),
		Do:     "Freeze it in portions, labelled with lot and date. In the cooler cooked leftovers keep 3 to 4 days by the USDA chart; the Food Code allows 7 days at 5 °C (41 °F), the day of cooking counted. The plan takes the shorter.",
		IfLate: "After 3 to 4 days (USDA), or 7 (Food Code), it may not be eaten: throw it away. Frozen at -18 °C (0 °F) it stays safe; its quality lasts 2 to 6 months.",
		Basis:  "USDA cold storage chart; Food Code 3-501.17 (7 days from memory)"}
	return []Step{chill, freeze}
}

// share makes one step of what all pieces have in common, and orders everything by time.
func share(steps []Step, pieces int) []Step {
	var out []Step
	common := map[StepID]int{}
	for _, s := range steps {
		if pieces == 1 || s.ID != FireLight && s.ID != Serve {
			out = append(out, s)
			continue
		}
		i, known := common[s.ID]
		if !known {
			s.Piece = ""
			common[s.ID] = len(out)
			out = append(out, s)
			continue
		}
		if s.ID == Serve {
			out[i].At = later(out[i].At, s.At)
			continue
		}
		if s.At.Before(out[i].At) {
			out[i].At = s.At
		}
		if s.Latest.Before(out[i].Latest) {
			out[i].Latest = s.Latest
		}
	}
	order := Steps()
	slices.SortStableFunc(out, func(a, b Step) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(slices.Index(order, a.ID), slices.Index(order, b.ID)))
	})
	return out
}
