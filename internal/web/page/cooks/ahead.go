package cooks

import (
	"fmt"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/when"
)

// ahead says what can be forecast before the fire is lit, by the form's rows ("p0", "p1") and for all together ("all"):
// from cut, weight, thickness, pit and plan alone, for pieces that go from the cooler onto a settled pit when the fire is
// lit, also at an hour still to come. Rows with something wrong say nothing.
func (p *Set) ahead(f *startForm, c cook.Cook) map[string]string {
	out := map[string]string{}
	if c.Started.IsZero() || f.Wrong["setpoint"] != "" || f.Wrong["altitude"] != "" {
		return out
	}
	var all []estimator.Forecast
	for n, i := range f.used() {
		if f.wrongRow(i) {
			continue
		}
		forecast := p.Estimator.Forecast(outlook.Cold(c, c.Pieces[n], c.Started), c.Started)
		all = append(all, forecast)
		out[fmt.Sprintf("p%d", i)] = f.see.beforehand(forecast, c)
	}
	if len(all) == len(c.Pieces) && len(all) > 1 && !c.ServeBy.IsZero() {
		out["all"] = fmt.Sprintf("All %d ready together by %s: %s.", len(all), f.see.Clock(c.ServeBy), frame.Percent(estimator.AllReadyBy(all, c.ServeBy)))
	}
	return out
}

// beforehand says when a piece would be ready, and by when it would have to go on for the serving hour.
func (s reader) beforehand(f estimator.Forecast, c cook.Cook) string {
	switch {
	case f.Ready[1].IsZero():
		return fmt.Sprintf("It will probably not reach %s at this pit: set the pit higher or the target lower.", s.Mark(f.Target))
	case f.Ready[5].IsZero() || f.Ready[3].IsZero():
		return fmt.Sprintf("Ready after %s, end open: the target lies close to what this pit can reach.", s.Clock(f.Ready[1]))
	}
	after := func(i int) string { return when.Span(f.Ready[i].Sub(c.Started).Round(5 * time.Minute)) }
	text := fmt.Sprintf("Takes %s to %s, 4 times in 5; most likely %s: ready %s.", after(1), after(5), after(3), s.Range(f.Ready[1], f.Ready[5]))
	if c.ServeBy.IsZero() {
		return text
	}
	on := c.ServeBy.Add(-f.Ready[5].Sub(c.Started)).Truncate(5 * time.Minute)
	goes := "goes on by"
	if on.Before(c.Started) {
		goes = "should have gone on by"
	}
	return text + fmt.Sprintf(" By the serving hour: %s. For 9 in 10 it %s %s.", frame.Percent(f.ReadyBy(c.ServeBy)), goes, s.Clock(on))
}
