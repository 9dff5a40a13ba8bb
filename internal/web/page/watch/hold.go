package watch

import (
	"fmt"
	"math"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/outlook"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/when"
)

// Of a hold: the temperature it must keep and the room its box stands in. 60 °C (140 °F) lies above the 57 °C (135 °F)
// that the FDA Food Code 3-501.16 asks of hot food; the room is a choice of this project.
const (
	holdAt   thermal.Celsius = 60
	holdRoom thermal.Celsius = 20
)

// holdCosts stands under every answer about a hold.
const holdCosts = "Reckoned for a wrapped piece in a closed, warmed box without a heater, in a room of %s. Keep a probe in it: only what was measured counts, and below %s it is served, reheated or chilled at once. Your local code decides."

// askHold forecasts how long the piece stays hot when it goes wrapped into an insulated box once it is ready.
func (p *Set) askHold(see reader, c *monitor.CookView, v *monitor.PieceView) *asked {
	f := v.Forecast
	begin, from := f.Ready[3], v.Piece.Target
	a := &asked{Label: "it is held in an insulated box once it is ready", Costs: fmt.Sprintf(holdCosts, see.Mark(holdRoom), see.Mark(57))}
	if f.State == estimator.Ready {
		begin, from = see.Now(), f.Core
		a.Label, a.Do = "it is held in an insulated box now", "piece-off"
	}
	switch {
	case begin.IsZero():
		a.Failed = "As things are it is not ready soon enough to be held."
		return a
	case !(from > holdAt):
		a.Failed = fmt.Sprintf("At %s there is nothing to hold: hot food is held above %s.", see.Mark(from), see.Mark(holdAt))
		return a
	}
	keeps := p.Estimator.CoolTime(estimator.Chill{Piece: outlook.FromCook(c.Stored.Cook, v.Piece), From: from, Where: estimator.InsulatedBox, Ambient: holdRoom}, holdAt)
	if keeps[1] < 0 {
		a.Ready = fmt.Sprintf("it stays above %s for more than %s", see.Mark(holdAt), when.Span(estimator.Horizon))
		return a
	}
	a.kept = [2]time.Time{begin, begin.Add(keeps[1])}
	a.Ready = fmt.Sprintf("it stays above %s for %s or longer, 9 times in 10", see.Mark(holdAt), when.Span(keeps[1]))
	a.Until = see.Clock(a.kept[1])
	if serve := c.Stored.ServeBy; !serve.IsZero() {
		a.Held = frame.Percent(servedHot(f, keeps, serve))
	}
	return a
}

// servedHot is the probability that a piece is ready by the serving hour and still hot then, NaN when it cannot be said: over the scenarios of its
// ready time, the chance that a hold lasts from there to the hour.
func servedHot(f estimator.Forecast, keeps [7]time.Duration, serve time.Time) float64 {
	if f.State == estimator.Ready {
		return lasts(keeps, serve.Sub(f.At))
	}
	if len(f.Draws) == 0 {
		return math.NaN()
	}
	var p float64
	for _, d := range f.Draws {
		if !d.Ready.IsZero() && !d.Ready.After(serve) {
			p += lasts(keeps, serve.Sub(d.Ready))
		}
	}
	return p / float64(len(f.Draws))
}

// lasts is the probability that a hold is longer than d, drawn straight between the quantiles of its length. Beyond the
// outer ones it stays at their level: nothing is known there.
func lasts(keeps [7]time.Duration, d time.Duration) float64 {
	for i, q := range keeps {
		if q >= 0 && d > q {
			continue
		}
		if i == 0 || q < 0 || q == keeps[i-1] {
			return 1 - estimator.Levels[i]
		}
		share := float64(d-keeps[i-1]) / float64(q-keeps[i-1])
		return 1 - (estimator.Levels[i-1] + share*(estimator.Levels[i]-estimator.Levels[i-1]))
	}
	return 1 - estimator.Levels[len(keeps)-1]
}
