package monitor

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

// enroll lets the probes of stages be waited for, and their coolers have the limits of what they are used for.
func (m *State) enroll() []Effect {
	var changes []alarm.Change
	used := map[cook.ProbeID]bool{}
	for _, s := range m.stages {
		if !s.watch.Until.IsZero() {
			continue
		}
		for _, c := range s.clocks {
			used[c.id] = true
			p := m.probe(c.id, m.o.Roles[c.id])
			if p.watch == nil {
				p.watch = alarm.NewProbe(c.id, 0, "", m.o.Settings, m.words)
				m.adopt(p.watch.Conditions())
			}
			if !p.staged {
				p.staged, p.quiet = true, m.uptime
			}
			if s.coolerStage() && p.cooler == nil {
				p.cooler = alarm.NewCooler(c.id, m.o.Settings, m.words)
				m.adopt(p.cooler.Conditions())
			}
		}
	}
	for _, p := range m.byName() {
		if p.staged && !used[p.id] {
			p.staged = false
			if p.role == "" && p.fire == nil {
				changes = append(changes, cover(p.watch.Conditions(), m.now)...)
				p.watch = nil
			}
		}
		if p.cooler != nil {
			p.cooler.Guard(m.guard(p.id))
			if p.role != cook.RoleCooler && !m.cools(p.id) {
				changes = append(changes, cover(p.cooler.Conditions(), m.now)...)
				p.cooler = nil
			}
		}
	}
	return m.alarmed(changes, false)
}

func cover(conditions []*alarm.Condition, now time.Time) []alarm.Change {
	var out []alarm.Change
	for _, c := range conditions {
		if change, ok := c.Cover(now, "the stage has ended"); ok {
			out = append(out, change)
		}
	}
	return out
}

func (s *stage) coolerStage() bool {
	return s.watch.Stage != cook.StageSmoke && s.watch.Stage != cook.StageHold && s.watch.Stage != cook.StageChill
}

func (m *State) cools(id cook.ProbeID) bool {
	return slices.ContainsFunc(m.stages, func(s *stage) bool { return s.coolerStage() && s.watch.Until.IsZero() && s.of(id) != nil })
}

// guard joins the limits of the stages that a cooler is used for: those that have come to their temperature, or else those that still
// have time to; nil when there is none.
func (m *State) guard(id cook.ProbeID) *alarm.Guard {
	if g := m.guardOf(id, true); g != nil {
		return g
	}
	return m.guardOf(id, false)
}

func (m *State) guardOf(id cook.ProbeID, settled bool) *alarm.Guard {
	var g *alarm.Guard
	var uses []string
	for _, s := range m.stages {
		c := s.of(id)
		if !s.coolerStage() || c == nil || c.keep.Settled() != settled || !s.watch.Until.IsZero() {
			continue
		}
		rule := m.stageRule(s.watch.Stage)
		if !settled {
			rule.OnDelay = max(rule.OnDelay, c.keep.Settle)
		}
		if g == nil {
			g = &alarm.Guard{Min: c.keep.Low, Max: c.keep.High, Rule: rule}
		}
		if c.keep.High < g.Max {
			g.Max, g.Rule = c.keep.High, rule
		}
		g.Min = max(g.Min, c.keep.Low)
		uses = append(uses, fmt.Sprintf("the %s of %s", s.watch.Stage, s.watch.Lot))
	}
	if g != nil {
		g.For = strings.Join(uses, ", ")
	}
	return g
}

func (m *State) stageRule(s cook.Stage) alarm.Rule {
	switch s {
	case cook.StageCure, cook.StageDry:
		return m.o.Settings.Cure
	case cook.StageFreeze:
		return m.o.Settings.Freezer
	}
	return m.o.Settings.ColdStore
}
