package cooks

import (
	"fmt"
	"slices"
	"strings"

	"stallkeeper/internal/cook"
)

// takenProbe is a probe that the form names for a piece and that measures in a running cook.
type takenProbe struct {
	Field string // that names it
	Probe cook.ProbeID
	Cook  cook.ID
	Name  string // of that cook
	Text  string // what that means, and what to do
}

// inUse are the probes of pieces that are still on a fire.
func (p *Set) inUse() map[cook.ProbeID]takenProbe {
	out := map[cook.ProbeID]takenProbe{}
	snap := p.View.Snapshot()
	for i := range snap.Cooks {
		c := &snap.Cooks[i].Stored
		for _, piece := range c.Pieces {
			if !c.OffAt(piece.ID).IsZero() {
				continue
			}
			for _, id := range piece.ProbeIDs() {
				of := fmt.Sprintf("the %s of %s", piece.ID, c.Name)
				out[id] = takenProbe{Probe: id, Cook: c.ID, Name: c.Name, Text: fmt.Sprintf("Probe %s measures %s, which still runs: end that cook, or take another probe. "+
					"Lit all the same, it measures here, and that piece is watched no more.", id, of)}
			}
		}
	}
	return out
}

// taken lists the probes of the form that measure elsewhere, and warns beside the fields that name them.
func (f *startForm) taken(c cook.Cook) []takenProbe {
	var out []takenProbe
	for n, i := range f.used() {
		for _, id := range c.Pieces[n].ProbeIDs() {
			t, ok := f.inUse[id]
			if !ok {
				continue
			}
			t.Field = f.At(i, "id")
			if len(c.Pieces[n].Probes) > 0 {
				t.Field = f.At(i, "probe")
			}
			f.Cautions[t.Field] = t.Text
			out = append(out, t)
		}
	}
	return out
}

// unseen leaves those that nobody was warned of yet.
func (f *startForm) unseen(taken []takenProbe) []takenProbe {
	seen := strings.FieldsFunc(f.Get("seen"), func(r rune) bool { return r == '\n' || r == '\r' })
	return slices.DeleteFunc(slices.Clone(taken), func(t takenProbe) bool { return slices.Contains(seen, string(t.Probe)) })
}

// Seen is what the form hands back: the probes that it has warned of, one a line.
func (f *startForm) Seen() string {
	names := make([]string, 0, len(f.Confirm))
	for _, t := range f.Confirm {
		names = append(names, string(t.Probe))
	}
	return strings.Join(names, "\n")
}
