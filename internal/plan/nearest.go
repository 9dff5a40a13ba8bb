package plan

import (
	"fmt"
	"math"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/when"
)

// shortestCure is the least that practice gives a trimmed flat. Common practice, no source.
const shortestCure = 5 * day

// hotter is the setpoint tried when the pit is cooler. Common practice, no source.
const hotter = thermal.Celsius(121)

// nearest looks for plans that can be met, the least change first.
func nearest(f Forecaster, p Plan, cools []cooled) []Alternative {
	r := p.Request
	var out []Alternative
	try := func(do string, change func(*Request) bool) bool {
		q := r
		q.Pieces = append([]Piece{}, r.Pieces...)
		if !change(&q) || !workOut(f, q, cools).Feasible {
			return false
		}
		out = append(out, Alternative{Do: do, Serve: r.Serve})
		return true
	}
	if n := shorter(p); n > 0 {
		try(fmt.Sprintf("cure %s instead (five days are the least for a trimmed flat by common practice; no source)", days(n)), cureAtMost(n))
	}
	foil := "wrap in foil at 70 °C"
	raise := fmt.Sprintf("run the pit at %.0f °C (%.0f °F)", float64(hotter), hotter.Fahrenheit())
	quick := try(foil, wrapAll)
	if !quick {
		quick = try(raise, raisePit)
	}
	if !quick {
		try(foil+" and "+raise, func(q *Request) bool { return wrapAll(q) && raisePit(q) })
	}
	if len(out) == 0 {
		try("cure 5 days, "+foil+" and "+raise, func(q *Request) bool { return cureAtMost(shortestCure)(q) && wrapAll(q) && raisePit(q) })
	}
	if len(out) == 0 {
		try("leave the cure out and smoke it uncured", func(q *Request) bool { return uncure(q) })
	}
	if len(out) == 0 {
		try("leave the cure out, "+foil+" and "+raise, func(q *Request) bool { return uncure(q) && wrapAll(q) && raisePit(q) })
	}
	if !p.Soonest.IsZero() {
		at := p.Soonest.Truncate(15 * minute)
		if at.Before(p.Soonest) {
			at = at.Add(15 * minute)
		}
		later := Alternative{Do: fmt.Sprintf("serve at %s, the soonest as asked for", when.Day(at, r.Zone)), Serve: at}
		out = append(out, later)
	}
	return out
}

// shorter is the longest cure, in whole days, that would be in time; 0 when it is less than practice allows.
func shorter(p Plan) time.Duration {
	if p.Soonest.IsZero() {
		return 0
	}
	longest := time.Duration(0)
	for _, piece := range p.Request.Pieces {
		longest = max(longest, piece.Cure)
	}
	over := time.Duration(math.Ceil(p.Soonest.Sub(p.Request.Serve).Hours()/24)) * day
	n := (longest - over).Truncate(day)
	if n < shortestCure {
		return 0
	}
	return n
}

func cureAtMost(n time.Duration) func(*Request) bool {
	return func(q *Request) (changed bool) {
		for i := range q.Pieces {
			if q.Pieces[i].Cure > n {
				q.Pieces[i].Cure, changed = n, true
			}
		}
		return changed
	}
}

func uncure(q *Request) (changed bool) {
	for i := range q.Pieces {
		if p := &q.Pieces[i]; p.Cure > 0 && p.Done == "" {
			p.Cure, changed = 0, true
			if p.Cut == estimator.BrisketFlatCured {
				p.Cut = estimator.BrisketFlat
			}
		}
	}
	return changed
}

func wrapAll(q *Request) (changed bool) {
	for i := range q.Pieces {
		if p := &q.Pieces[i]; p.Wrap == nil && p.Cooking == nil && p.Target > wrapAt {
			p.Wrap, changed = &estimator.WrapPlan{With: estimator.Foil, AtCelsius: wrapAt}, true
		}
	}
	return changed
}

func raisePit(q *Request) bool {
	if q.Pit >= hotter {
		return false
	}
	q.Pit = hotter
	return true
}
