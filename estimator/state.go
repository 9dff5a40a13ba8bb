package estimator

import (
	"math"
	"time"
)

// The rules of the state machine, in K/h and °C (common practice, no source). A stall is a lasting loss of most of the
// pace in a piece that is hot enough to lose water fast; a lid opening is too short for it, and a core that falls a
// degree or two inside a stall is still stalled.
const (
	stallFrom    = 48.0 // no stall below this core temperature
	stallPace    = 0.30 // of the steepest pace so far
	resumePace   = 0.42
	stallFastest = 4.0 // K/h: faster than this is no stall, whatever went before
	stallLeft    = 5.5 // K/h: a stall that gets faster than this is over
	paceSpan     = 50 * time.Minute
	stallRise    = 6.0 // K above its lowest: a stall that has come so far and is no longer slow is over
	coolingFall  = 4.0 // K below the highest
	warmsAgain   = 0.1 // K/h: a piece that cooled is no longer cooling
	staleAfter   = 150 * time.Minute
)

// situation is the state and what it is told from.
type situation struct {
	state    State
	since    int64   // Unix ms
	pace     float64 // K/h over the last hour; NaN when unknown
	low, top float64 // core temperatures since then
}

// judge walks through the observations and says what the piece is doing at the end.
func (h *history) judge(in *Input, at time.Time) situation {
	s := situation{state: Warming, since: h.t0, pace: math.NaN(), low: math.Inf(1), top: math.Inf(-1)}
	steepest, highest := 0.0, math.Inf(-1)
	enter := func(state State, ms int64) {
		if s.state != state {
			s.state, s.since, s.low, s.top = state, ms, math.Inf(1), math.Inf(-1)
		}
	}
	past := pastEvents(in, at)
	j := 0
	for i, o := range h.obs {
		now := h.ms(o.step)
		for j < i-1 && now-h.ms(h.obs[j+1].step) >= paceSpan.Milliseconds() {
			j++
		}
		highest = math.Max(highest, o.c)
		if span := now - h.ms(h.obs[j].step); span >= paceSpan.Milliseconds()*6/10 {
			s.pace = (o.c - h.obs[j].c) / (float64(span) / 3.6e6)
			steepest = math.Max(steepest, s.pace)
		}
		middle := (now + h.ms(h.obs[j].step)) / 2
		around := h.coats[min(o.step, len(h.coats))-1]
		slow := s.pace < stallFastest && s.pace < stallPace*steepest
		switch {
		case o.c < highest-coolingFall && s.pace < -coolingFall:
			enter(Cooling, middle)
		case around != bare:
			enter(Wrapped, wrappedSince(past, now))
		case s.state == Cooling && !(s.pace > warmsAgain):
		case s.state == Stall && s.pace >= stallFastest && o.c > s.low+stallRise:
			enter(Climbing, middle)
		case s.state == Stall && (math.IsNaN(s.pace) || s.pace < stallLeft && s.pace < resumePace*steepest):
		case o.c >= stallFrom && slow:
			enter(Stall, middle)
		case s.state == Stall:
			enter(Climbing, middle)
		case s.state == Wrapped || s.state == Cooling:
			enter(Climbing, now)
		}
		s.low, s.top = math.Min(s.low, o.c), math.Max(s.top, o.c)
	}
	for _, e := range past {
		if e.Kind == PieceOff {
			s.state, s.since = Cooling, e.Time.UnixMilli()
		}
	}
	if since, last := wrappedSince(past, at.UnixMilli()), len(h.obs)-1; s.state != Cooling && since != 0 {
		enter(Wrapped, since)
		s.low, s.top = math.Min(s.low, h.obs[last].c), math.Max(s.top, h.obs[last].c)
	}
	return s
}

// ms is the time at the end of a number of steps.
func (h *history) ms(steps int) int64 { return h.t0 + int64(float64(steps)*h.dt*1000) }

// wrappedSince is when the wrap that is on at a time was put on, from ordered events; 0 when none is on.
func wrappedSince(events []Event, ms int64) (since int64) {
	for _, e := range events {
		when := e.Time.UnixMilli()
		switch {
		case when > ms:
			return since
		case e.Kind == Wrap && since == 0:
			since = when
		case e.Kind == Unwrap:
			since = 0
		}
	}
	return since
}
