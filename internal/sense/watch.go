package sense

import (
	"slices"
	"strings"
	"time"

	"stallkeeper/internal/cook"
)

// Place is where a probe is meant to measure. The zero Place is anywhere else: a cooler, a room.
type Place struct {
	Pit   bool
	Piece cook.PieceID
}

// Watch follows probes that belong together. The zero value is not ready; see New.
type Watch struct {
	where  func(cook.ProbeID) Place
	probes map[cook.ProbeID]*probe
	minute int64 // of the newest judgement
}

// New watches probes; where tells the place of each.
func New(where func(cook.ProbeID) Place) *Watch {
	return &Watch{where: where, probes: map[cook.ProbeID]*probe{}}
}

// Observe takes one reading. One that is not newer than its probe's newest tells nothing. Findings are made anew once a
// minute of reading time, and whenever a reading is bad.
func (w *Watch) Observe(r cook.Reading) {
	p := w.probes[r.Probe]
	if p == nil {
		p = newProbe(r.Probe, w.where(r.Probe))
		w.probes[r.Probe] = p
	}
	if !r.Time.After(p.newest) {
		return
	}
	p.add(r)
	minute := r.Time.Unix() / 60
	if r.Quality != cook.Good || p.has(Faulty) {
		p.judgeWires()
	}
	if minute > w.minute {
		w.minute = minute
		w.judge(minute)
	}
}

// Worked takes note that somebody had a hand on a piece, or on everything when the piece is "": for a while its probes
// may jump.
func (w *Watch) Worked(at time.Time, piece cook.PieceID) {
	for _, p := range w.probes {
		if (piece == "" || p.place.Piece == piece) && at.After(p.worked) {
			p.worked = at
		}
	}
}

// Findings gives what stands about a probe, sharing nothing that changes later.
func (w *Watch) Findings(id cook.ProbeID) []Finding {
	if p := w.probes[id]; p != nil {
		return slices.Clone(p.found)
	}
	return nil
}

// judge looks at every probe, and at pairs.
func (w *Watch) judge(minute int64) {
	list := make([]*probe, 0, len(w.probes))
	for _, p := range w.probes {
		list = append(list, p)
	}
	slices.SortFunc(list, func(a, b *probe) int { return strings.Compare(string(a.id), string(b.id)) })
	pit := pitOf(list, minute)
	for _, p := range list {
		if minute-p.newest.Unix()/60 > 3 {
			continue // silent: what stood when it last spoke stands
		}
		p.judgeWires()
		p.judgeStanding(pit, minute)
		p.judgeNoise()
		if p.place.Piece != "" {
			p.judgeHeat(minute)
			p.judgeAir(minute)
			if pit != nil {
				p.judgeDepth(pit, minute)
			}
			p.judgeSiblings(list, minute)
		}
	}
	if pit != nil {
		judgePit(pit, list, minute)
	}
}

// pitOf is the pit's probe that speaks; of several the hottest, for the others may be shaded.
func pitOf(list []*probe, minute int64) *probe {
	var pit *probe
	hottest := 0.0
	for _, p := range list {
		if c, ok := p.now(minute); ok && p.place.Pit && (pit == nil || c > hottest) {
			pit, hottest = p, c
		}
	}
	return pit
}
