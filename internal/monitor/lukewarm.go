package monitor

import (
	"slices"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/safety"
)

// lukewarm is a new clock of the danger zone, between the shop's temperatures.
func (m *State) lukewarm() *safety.Lukewarm {
	l := safety.NewLukewarm(m.o.Safety.Settings)
	l.Widen(m.o.Settings.DangerZone.From, m.o.Settings.DangerZone.To)
	return l
}

// warmest is the probe of a stage that counts for the danger zone: of several the worst. nil before the first reading.
func (s *stage) warmest() *clocks {
	var best *clocks
	for _, c := range s.clocks {
		if c.warm != nil && !c.at.IsZero() && (best == nil || worse(c.warm.Progress(), best.warm.Progress())) {
			best = c
		}
	}
	return best
}

// warmOf is how the danger zone of a piece of a running cook stands, for its alarm, the pages and the API: as the lot's stage has it that
// watches its probes, which knows since when the meat has been out of the cold, or else as the cook itself has it.
func (m *State) warmOf(p *piece) alarm.Warm {
	s := p.smoke
	if p.after != nil {
		s = p.after
	}
	for _, lot := range m.stages {
		if !lot.coolerStage() && lot.watch.Until.IsZero() && slices.ContainsFunc(lot.clocks, func(c *clocks) bool { return slices.Contains(p.ProbeIDs(), c.id) }) {
			s = lot
		}
	}
	c := s.warmest()
	if c == nil {
		return alarm.Warm{Within: m.lukewarm().Progress().Within}
	}
	k := c.warm.Progress()
	return alarm.Warm{Level: c.level, Inside: !k.Since.IsZero(), Used: k.Used, Unseen: k.Unseen, Within: k.Within, Cooked: p.cooked(),
		Pulled: c.chill != nil && c.chill.Pulled()}
}

// cooked reports whether every probe of the piece has met the table while it was on the fire.
func (p *piece) cooked() bool {
	met := false
	for _, c := range p.smoke.clocks {
		if c.at.IsZero() {
			continue
		}
		if c.cooking.Cooked().Outcome != safety.Met {
			return false
		}
		met = true
	}
	return met
}
