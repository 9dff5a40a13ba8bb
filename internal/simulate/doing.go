package simulate

import (
	"cmp"
	"slices"
	"time"
)

// How long the lid stands open for a reason, s (choices of this project).
const (
	lidLook  = 60
	lidWork  = 100
	lidFuel  = 45
	spritzKg = 0.08 // kg of water per m² and spritz
	readyFor = 5 * time.Minute
	offAfter = 8 * time.Minute // from ready until somebody has come
)

// intend puts on the script what the plans ask for now that the probes show what they show.
func (r *Run) intend() {
	for _, p := range r.pieces {
		i := slices.IndexFunc(r.sensors, func(s *sensor) bool { return s.Sees == SeesPiece && s.Piece == p.ID })
		if i < 0 || p.off {
			continue
		}
		s := r.sensors[i]
		if p.Plan != nil && !p.planned && s.clean() >= p.Plan.AtCelsius {
			p.planned = true
			r.put(Act{After: r.now + p.WrapLate, Kind: Wrap, Piece: p.ID, With: p.Plan.With})
		}
		if s.clean() < p.Target {
			s.ready = 0
			continue
		}
		s.ready++
		if !p.ready && time.Duration(s.ready)*r.scenario.Interval >= readyFor {
			p.ready, p.readyAt = true, r.now
		}
		if p.ready && p.TakeOff && !p.leaving {
			p.leaving = true
			r.put(Act{After: r.now + offAfter, Kind: PieceOff, Piece: p.ID})
		}
	}
}

func (r *Run) put(a Act) {
	i, _ := slices.BinarySearchFunc(r.script, a.After, func(b Act, after time.Duration) int { return cmp.Compare(b.After, after) })
	r.script = slices.Insert(r.script, i, a)
}

// perform does what is due.
func (r *Run) perform() {
	for len(r.faults) > 0 && r.faults[0].After <= r.now {
		r.pit.fade(r.faults[0])
		r.faults = r.faults[1:]
	}
	for len(r.script) > 0 && r.script[0].After <= r.now {
		a := r.script[0]
		r.script = r.script[1:]
		r.act(a)
		if !a.Unlogged {
			at := r.scenario.Started.Add(a.After).Truncate(time.Second)
			r.moment.Events = append(r.moment.Events, Event{Time: at, Kind: a.Kind, Piece: a.Piece, With: a.With, Celsius: a.Celsius})
		}
	}
}

func (r *Run) act(a Act) {
	open := 0.0
	switch a.Kind {
	case Lid:
		open = lidLook
	case Fuel:
		open = lidFuel
		r.pit.feed()
	case SetPoint:
		r.pit.setpoint = float64(a.Celsius)
	case Wrap:
		open = lidWork
		r.piece(a.Piece).body.wrap = a.With
	case Unwrap:
		open = lidWork
		r.piece(a.Piece).body.unwrap()
	case Spritz:
		open = lidLook
		for _, p := range r.pieces {
			if a.Piece == "" || a.Piece == p.ID {
				p.body.spritz(spritzKg)
			}
		}
	case ProbeMoved:
		for _, s := range r.sensors {
			if s.Sees == SeesPiece && s.Piece == a.Piece {
				s.Depth = a.Depth
			}
		}
	case PieceOff:
		open = lidLook
		r.piece(a.Piece).off = true
	}
	r.pit.lid = max(r.pit.lid, open)
}

// unwrap opens the wrap: the juice in it runs off.
func (b *body) unwrap() {
	b.wrap = ""
	for i := range b.faces {
		f := &b.faces[i]
		if f.film > filmFull {
			b.dripped += (f.film - filmFull) * f.area
			f.film = filmFull
		}
	}
}

// spritz wets the sides and the top.
func (b *body) spritz(kg float64) {
	if b.wrap != "" {
		return
	}
	for i := range b.faces {
		if f := &b.faces[i]; !f.below {
			f.film = min(f.film+kg, filmFull)
		}
	}
}
