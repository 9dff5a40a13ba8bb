package monitor

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/safety"
)

// Deviation is a limit of a lot's stage that was missed, or of which it is not known that it was met. It is given out once;
// after a restart it comes again, so whoever keeps it looks whether it is kept: Lot, Stage, Piece, Verdict.Set, Verdict.Rule,
// Verdict.Outcome and From are the same then.
type Deviation struct {
	Watch   cook.StageWatch
	Verdict safety.Verdict
	From    time.Time // when it began
}

// Judged is how a lot's stage that has ended met its limits, from what was measured live.
type Judged struct {
	Watch    cook.StageWatch
	Verdicts []safety.Verdict
}

// judge shows the stage's limits to its alarms. Of a running cook the forecaster's path of the piece is given.
func (s *stage) judge(m *State, current bool, p *piece) []Effect {
	if s.at().IsZero() {
		return nil
	}
	standing := s.standing(m, p)
	out := m.alarmed(s.limit.Observe(s.at(), standing), current)
	return append(out, s.file(false)...)
}

// file gives out the deviations that have come up: what is missed at once, what is unknown when the stage ends, and a gap in the
// watch of a cooler when an hour has passed in which the missing readings might still have come.
func (s *stage) file(ended bool) []Effect {
	if s.cook != 0 {
		return nil
	}
	var out []Effect
	for _, p := range s.verdicts() {
		if ended {
			p.Verdict = s.last(p)
		}
		missed := p.Outcome == safety.Missed
		unknown := p.Outcome == safety.Unknown && (ended || !p.Open && s.coolerStage() && s.at().Sub(p.At) >= time.Hour)
		if !missed && !unknown {
			continue
		}
		from := p.Began
		if from.IsZero() {
			from = s.watch.From
		}
		key := fmt.Sprintf("%s %s %s %d %d", p.Set, p.Rule, p.Needed, p.Outcome, from.UnixMicro())
		if s.filed[key] {
			continue
		}
		s.filed[key] = true
		out = append(out, Effect{Deviation: &Deviation{Watch: s.watch, Verdict: p.Verdict, From: from}})
	}
	return out
}

// verdicts are the stage's limits as the worst of its probes shows them.
func (s *stage) verdicts() []safety.Progress {
	var out []safety.Progress
	worst := func(of func(*clocks) (safety.Progress, bool)) {
		var found *safety.Progress
		for _, c := range s.clocks {
			p, ok := of(c)
			if ok && (found == nil || worse(p, *found)) {
				found = &p
			}
		}
		if found != nil {
			out = append(out, *found)
		}
	}
	if s.watch.Stage == cook.StageSmoke {
		worst(func(c *clocks) (safety.Progress, bool) { p := c.cooking.Cooked(); p.Set = s.set; return p, true })
		if strings.HasPrefix(s.set, "fsis") {
			worst(func(c *clocks) (safety.Progress, bool) { p := c.cooking.ComeUp(); p.Set = s.set; return p, true })
		}
	}
	if s.watch.Stage == cook.StageChill || s.watch.Stage == cook.StageHold && s.cook != 0 {
		for i := range s.legs() {
			worst(func(c *clocks) (safety.Progress, bool) {
				p := c.chill.Legs()[i]
				p.Set = s.chills
				return p, p.Used > 0 || !s.anyCools(i) // a probe that was never hot says nothing beside one that was
			})
		}
	}
	if s.coolerStage() || s.watch.Stage == cook.StageHold && s.cook == 0 {
		worst(func(c *clocks) (safety.Progress, bool) { return c.keep.Progress(), true })
	}
	return out
}

// anyCools reports whether a leg of the cooling rule has begun by any probe.
func (s *stage) anyCools(leg int) bool {
	return slices.ContainsFunc(s.clocks, func(c *clocks) bool { return c.chill.Legs()[leg].Used > 0 })
}

func (s *stage) legs() []safety.Progress {
	if len(s.clocks) == 0 || s.clocks[0].chill == nil {
		return nil
	}
	return s.clocks[0].chill.Legs()
}

// worse orders how a limit stands: missed, unknown, open with more of it used, met.
func worse(p, q safety.Progress) bool {
	rank := func(p safety.Progress) int {
		switch {
		case p.Outcome == safety.Missed:
			return 0
		case p.Outcome == safety.Unknown && !p.Open:
			return 1
		case p.Open:
			return 2
		}
		return 3
	}
	if rank(p) != rank(q) {
		return rank(p) < rank(q)
	}
	if p.Rule == safety.Dwell { // what is nearest to being cooked is not the worst
		return float64(p.Used)*float64(q.Within) < float64(q.Used)*float64(p.Within)
	}
	return p.Used > q.Used
}

// final are the verdicts on a stage that has ended.
func (s *stage) final() []safety.Verdict {
	var out []safety.Verdict
	for _, p := range s.verdicts() {
		out = append(out, s.last(p))
	}
	return out
}

// last is the last word on a limit: what is still open at the end was kept, for a range; was missed, for a dwell of which nothing is
// missing; and is not known otherwise.
func (s *stage) last(p safety.Progress) safety.Verdict {
	c := s.decisive()
	switch {
	case c == nil:
		p.Outcome, p.Measured, p.Because = safety.Unknown, "no usable reading", "nothing was measured"
	case !p.Open:
	case p.Rule == safety.ColdHolding || p.Rule == safety.HotHolding:
		return s.kept(c)
	case p.Rule == safety.Dwell && !c.cooking.Gap():
		p.Outcome = safety.Missed
		fallthrough
	default:
		p.Because += "; the stage ended before it was"
	}
	return p.Verdict
}

// kept is the verdict on a range: of the probe that counts, unless it was met and another did not see the whole stage.
func (s *stage) kept(c *clocks) safety.Verdict {
	v := c.keep.Over(s.watch.From, s.watch.Until)
	for _, other := range s.clocks {
		if w := other.keep.Over(s.watch.From, s.watch.Until); v.Outcome == safety.Met && w.Outcome != safety.Met {
			return w
		}
	}
	return v
}

// infinite reports whether a limit is none.
func infinite[F ~float64](v F) bool { return math.IsInf(float64(v), 0) }
