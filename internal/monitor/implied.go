package monitor

import (
	"slices"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

// implied is the stage that a running cook implies for a piece.
func implied(p cook.Piece, stage cook.Stage, from time.Time) cook.StageWatch {
	return cook.StageWatch{Stage: stage, Piece: p.ID, Cut: p.Cut, Intact: p.Intact, Probes: p.ProbeIDs(), From: from, MassKg: p.MassKg, ThicknessMM: p.ThicknessMM}
}

// clock gives readings of one moment to the stage that the piece is in.
func (f *fire) clock(m *State, p *piece, readings []cook.Reading) []alarm.Change {
	s := p.smoke
	if p.after != nil {
		s = p.after
	}
	counts := false
	for _, r := range readings {
		if c := s.of(r.Probe); c != nil {
			took, _ := c.add(r)
			counts = counts || took
		}
	}
	switch {
	case !counts || !s.due(s.at()):
		return nil
	}
	out := p.watch.Lukewarm(s.at(), m.warmOf(p))
	if m.inLot(p.Piece) {
		return append(out, s.limit.End(s.at(), "the stage of its lot tells it")...)
	}
	return append(out, s.limit.Observe(s.at(), s.standing(m, p))...)
}

// takenOff ends the smoke of a piece and begins to watch how it is held or chilled, or takes that back.
func (f *fire) takenOff(m *State, p *piece) []alarm.Change {
	if !p.off {
		p.after = nil
		return p.cools.End(f.frontier, string(p.ID)+" is on the fire again")
	}
	p.after = m.newStage(implied(p.Piece, cook.StageHold, f.offAt(p.ID)), f.stored.ID)
	p.after.limit = p.cools
	for _, c := range p.after.clocks {
		if on := p.smoke.of(c.id); on != nil && on.warm != nil {
			c.warm = on.warm // the danger zone goes on wherever the piece lies now
		}
	}
	return p.smoke.limit.End(f.frontier, string(p.ID)+" was taken off")
}

// offAt is when the piece came off.
func (f *fire) offAt(id cook.PieceID) time.Time {
	if at := cook.OffAt(f.stored.Events[:f.worked], id); !at.IsZero() {
		return at
	}
	return f.frontier
}

// inLot reports whether a hot stage of a lot watches the piece's probes, so that the cook's own says nothing.
func (m *State) inLot(p cook.Piece) bool {
	return slices.ContainsFunc(m.stages, func(s *stage) bool {
		return !s.coolerStage() && s.watch.Until.IsZero() && slices.ContainsFunc(p.ProbeIDs(), func(id cook.ProbeID) bool { return s.of(id) != nil })
	})
}

// viewStages shows the stages of lots, then what running cooks imply and no lot says.
func (m *State) viewStages() []StageView {
	var out []StageView
	for _, s := range m.stages {
		if s.watch.Until.IsZero() {
			out = append(out, s.view(m, m.pieceOn(s)))
		}
	}
	for _, f := range m.fires {
		for _, p := range f.pieces {
			switch {
			case m.inLot(p.Piece):
			case p.after != nil:
				out = append(out, p.after.view(m, p))
			default:
				out = append(out, p.smoke.view(m, p))
			}
		}
	}
	return out
}

// pieceOn is the piece of a running cook that a lot's smoke stage watches, for its forecast; nil when there is none.
func (m *State) pieceOn(s *stage) *piece {
	if s.watch.Stage != cook.StageSmoke {
		return nil
	}
	for _, f := range m.fires {
		for _, p := range f.pieces {
			if !p.off && slices.ContainsFunc(p.ProbeIDs(), func(id cook.ProbeID) bool { return s.of(id) != nil }) {
				return p
			}
		}
	}
	return nil
}
