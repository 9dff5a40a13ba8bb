package watch

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/when"
)

// clockLine is the clock of a limit as people see it.
type clockLine struct {
	Name    string
	Class   string // the state, and "thumb" when no authority stands behind the limit
	State   string // in words
	Figures string // what was measured, of what is allowed or asked
	Share   string // the width of the drawn part, an SVG length; "" when there is nothing to draw
	Because string
	Ahead   string // what is forecast, and said to be
	Needed  string
	Source  string
}

// clocks are the limits of what is watched: those in play first, and those that only wait.
type clocks struct {
	Live, Waiting []clockLine
}

// clocksOf gathers the clocks of a piece of a running cook, worst first.
func (s reader) clocksOf(snap *monitor.Snapshot, id cook.ID, piece cook.PieceID) clocks {
	var all []monitor.Clock
	var out clocks
	at := map[int]time.Time{}
	for _, v := range snap.Stages {
		if v.Cook == id && v.Watch.Piece == piece {
			for _, c := range v.Clocks {
				at[len(all)] = v.At
				all = append(all, c)
			}
		}
	}
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(urgency(all[a]), urgency(all[b])) })
	for _, i := range order {
		line := s.clock(all[i], at[i])
		if all[i].State == monitor.ClockWaiting {
			out.Waiting = append(out.Waiting, line)
			continue
		}
		out.Live = append(out.Live, line)
	}
	return out
}

func urgency(c monitor.Clock) int {
	switch c.State {
	case monitor.ClockMissed:
		if c.Thumb {
			return 3
		}
		return 0
	case monitor.ClockUnknown:
		return 1
	case monitor.ClockRunning:
		if c.AtRisk {
			return 2
		}
		return 3
	case monitor.ClockMet:
		return 4
	}
	return 5
}

// fresh is how old the newest reading may be for a clock to run on with the page. Choice of this project.
const fresh = 10 * time.Minute

// clock puts a clock into words. While a limit runs and readings arrive, what is used grows with the page's time; time at heat grows only
// by what was measured.
func (s reader) clock(c monitor.Clock, at time.Time) clockLine {
	l := clockLine{Name: s.clockName(c.Name), Class: string(c.State), Because: frame.Sentence(c.Because), Needed: c.Needed, Source: c.Source}
	used, since := c.Used, time.Duration(0)
	if c.State == monitor.ClockRunning && c.Name != monitor.ClockCooked && !at.IsZero() && s.Now().After(at) {
		if since = s.Now().Sub(at); since <= fresh {
			used, since = used+since, 0
		}
	}
	switch c.State {
	case monitor.ClockWaiting:
		l.State = "not running"
	case monitor.ClockRunning:
		l.State = "running"
		if !c.Due.IsZero() && c.Name != monitor.ClockCooked {
			l.State = "runs out " + s.Clock(c.Due) + " if nothing changes"
		}
	case monitor.ClockMet:
		l.State = "met"
	case monitor.ClockMissed:
		l.State = "missed"
		if c.Thumb {
			l.State = "longer than usual"
		}
	case monitor.ClockUnknown:
		l.State = "not known: readings are missing"
	}
	if c.Thumb {
		l.Class += " thumb"
		l.Name += " (rule of thumb)"
	}
	if c.State != monitor.ClockWaiting || used > 0 {
		l.Figures = when.Span(used)
		if c.Within > 0 {
			l.Figures += " of " + when.Span(c.Within)
			l.Share = fmt.Sprintf("%.1f%%", 100*min(max((used+since).Seconds()/c.Within.Seconds(), 0), 1))
		}
	}
	if c.Unseen > 0 {
		l.Figures += fmt.Sprintf(", and %s without readings", when.Span(c.Unseen))
	}
	if since > 0 {
		l.Because += fmt.Sprintf(" Nothing was measured in the last %s: count that time too.", when.Span(since))
	}
	switch {
	case c.AtRisk && !c.Forecast.IsZero():
		l.Ahead = fmt.Sprintf("Forecast: not before %s, which is too late.", s.Clock(c.Forecast))
	case c.AtRisk:
		l.Ahead = "Forecast: probably too late."
	case !c.Forecast.IsZero() && c.State == monitor.ClockRunning:
		l.Ahead = fmt.Sprintf("Forecast: over by %s.", s.Clock(c.Forecast))
	}
	return l
}

func (s reader) clockName(n monitor.ClockName) string {
	switch n {
	case monitor.ClockDangerZone:
		return fmt.Sprintf("Between %s and %s", s.Mark(5), s.Mark(57))
	case monitor.ClockComeUp:
		return "Coming up to cooking heat"
	case monitor.ClockCooked:
		return "Time at cooking heat"
	case monitor.ClockHold:
		return "Hot holding, time too cool"
	case monitor.ClockCooling1:
		return "Cooling, first leg"
	case monitor.ClockCooling2:
		return "Cooling, second leg"
	case monitor.ClockCold:
		return "Outside the cooler's limits"
	}
	return string(n)
}
