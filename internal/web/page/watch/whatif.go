package watch

import (
	"context"
	"math"
	"strconv"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/chart"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/when"
)

// asked is a what-if and its answer.
type asked struct {
	Label  string
	Do     string // the value that logs it
	Ready  string
	Likely time.Time
	Effect string
	Chance string
	Costs  string
	Until  string // of a hold: when that time ends
	Held   string // of a hold: how likely it is ready by the serving hour and still hot
	Failed string

	forecast estimator.Forecast // with the wrap or the setpoint
	kept     [2]time.Time       // of a hold: when it begins, and until when it lasts nine times in ten
}

// raise is how much hotter the what-if sets the pit, and hottest the setpoint above which it is not offered.
const (
	raise   thermal.Celsius = 10
	hottest thermal.Celsius = 150
)

// ask answers a what-if; nil when nothing was asked.
func (p *Set) ask(ctx context.Context, see reader, c *monitor.CookView, v *monitor.PieceView, what string) *asked {
	e := cook.Event{Time: cook.Instant(p.Now()), Piece: v.Piece.ID}
	a := asked{}
	switch what {
	case "foil", "paper":
		e.Kind, e.With = cook.EventWrap, what
		a.Label, a.Do = "it is wrapped in "+what+" now", "wrap "+what
		a.Costs = "A wrap softens the bark and cannot be undone."
	case "hotter":
		e.Kind, e.Celsius, e.Piece = cook.EventSetPoint, c.Stored.SetPointAt(see.Now())+raise, ""
		if e.Celsius > hottest {
			return nil
		}
		a.Label, a.Do = "the pit is set to "+see.Mark(e.Celsius)+" now", "setpoint "+strconv.FormatFloat(float64(e.Celsius), 'f', -1, 64)
		a.Costs = "A hotter pit dries the surface more, and every piece on it feels it."
	case "hold":
		return p.askHold(see, c, v)
	default:
		return nil
	}
	f, err := p.Desk.WhatIf(ctx, c.Stored.ID, v.Piece.ID, []cook.Event{e})
	if err != nil {
		a.Failed = frame.Sentence(err.Error())
		return &a
	}
	a.Ready, a.Likely = see.Ready(f), f.Ready[3]
	a.Effect = effect(v.Forecast.Ready[3], f.Ready[3])
	a.Chance = frame.Percent(chanceBy(f, c.Stored.ServeBy))
	a.forecast = f
	return &a
}

// showBand draws the asked band into the piece's lane.
func (n *nightView) showBand(key string, a chart.Axis) {
	for i := range n.Cooks {
		for j := range n.Cooks[i].Lanes {
			l := &n.Cooks[i].Lanes[j]
			if l.Key != key || n.Asked.Failed != "" {
				continue
			}
			if from, to := n.Asked.kept[0], n.Asked.kept[1]; !to.IsZero() {
				b := a.Bar("hold", "hold", from, to)
				l.Hold = &b
				continue
			}
			w := a.Window(n.Asked.forecast.Ready)
			l.If = &w
		}
	}
}

func effect(now, then time.Time) string {
	if now.IsZero() || then.IsZero() {
		return ""
	}
	d := now.Sub(then)
	switch {
	case d > 5*time.Minute:
		return "about " + when.Span(d) + " sooner"
	case d < -5*time.Minute:
		return "about " + when.Span(-d) + " later"
	}
	return "hardly any change"
}

// chanceBy is the share of scenarios that are ready by t; not a number without t or scenarios.
func chanceBy(f estimator.Forecast, t time.Time) float64 {
	if t.IsZero() || len(f.Draws) == 0 {
		return math.NaN()
	}
	n := 0
	for _, d := range f.Draws {
		if !d.Ready.IsZero() && !d.Ready.After(t) {
			n++
		}
	}
	return float64(n) / float64(len(f.Draws))
}
