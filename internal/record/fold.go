package record

import (
	"fmt"
	"slices"
	"time"

	"stallkeeper/internal/cook"
)

// Fold gives the lot that the entries tell of. They are those of one lot, ascending by number; what is missing from them is missing
// from the lot. Corrected and withdrawn entries do not count. Bodies take effect in the order of their events, so a
// late entry stands where it belongs. It fails only on a body that cannot be read.
func Fold(entries []Entry) (*Lot, error) {
	l := &Lot{Entries: entries, replaced: map[int64]int64{}, first: map[int64]int64{}, acted: map[int64]int64{}}
	for _, e := range entries {
		l.ID, l.Last = e.Lot, e.Seq
		if e.Corrects != 0 {
			l.replaced[e.Corrects] = e.Seq
			l.first[e.Seq] = l.firstOf(e.Corrects)
		}
	}
	standing := make([]Entry, 0, len(entries))
	for _, e := range entries {
		if l.replaced[e.Seq] == 0 && e.Kind != KindWithdrawal {
			standing = append(standing, e)
		}
	}
	slices.SortStableFunc(standing, func(a, b Entry) int { return a.At.Compare(b.At) })
	var actions []Kept[CorrectiveAction]
	var taken []*Taken
	for _, e := range standing {
		body, err := e.Decode()
		if err != nil {
			return nil, err
		}
		if a, ok := body.(*CorrectiveAction); ok {
			actions = append(actions, kept(l, e, *a))
			continue
		}
		if t, ok := body.(*Taken); ok {
			taken = append(taken, t)
			continue
		}
		l.take(e, body)
	}
	for _, t := range taken {
		l.takeOut(t.From, t.Portions)
	}
	for _, a := range actions {
		l.answer(a)
	}
	l.fillEmpty()
	return l, nil
}

// firstOf follows corrections back to the entry that was corrected first.
func (l *Lot) firstOf(seq int64) int64 {
	if f, ok := l.first[seq]; ok {
		return f
	}
	return seq
}

func kept[T any](l *Lot, e Entry, body T) Kept[T] {
	return Kept[T]{Seq: e.Seq, First: l.first[e.Seq], At: e.At, Entered: e.Entered, By: e.By, Auth: e.Auth, Reason: e.Reason, Body: body}
}

// take lets one body take effect.
func (l *Lot) take(e Entry, body Body) {
	switch b := body.(type) {
	case *Opened:
		l.open(e, *b)
	case *Changed:
		l.change(*b)
	case *Closed:
		l.Closed = e.At
	case *Piece:
		l.Pieces = append(l.Pieces, *b)
	case *RawMaterial:
		l.Raw = append(l.Raw, kept(l, e, *b))
	case *Weighed:
		l.Weights = append(l.Weights, kept(l, e, *b))
	case *Formulation:
		l.Formulations = append(l.Formulations, kept(l, e, *b))
	case *StageStarted:
		l.Stages = append(l.Stages, StageRun{Seq: e.Seq, Stage: b.Stage, Piece: b.Piece, Probes: b.Probes, Cook: b.Cook, From: e.At, By: e.By})
	case *StageEnded:
		l.end(b.Stage, b.Piece, e.At)
	case *Monitoring:
		l.Monitoring = append(l.Monitoring, kept(l, e, *b))
	case *Deviation:
		l.Deviations = append(l.Deviations, DeviationState{Kept: kept(l, e, *b)})
	case *ProbeChecked:
		l.Checks = append(l.Checks, kept(l, e, *b))
	case *Verification:
		l.Verified = append(l.Verified, kept(l, e, *b))
	case *Review:
		l.Reviews = append(l.Reviews, kept(l, e, *b))
	case *Planned:
		l.Plans = append(l.Plans, kept(l, e, *b))
	case *Portioned:
		l.Stock = append(l.Stock, Batch{kept(l, e, *b), b.Portions})
	case *Note:
		l.Notes = append(l.Notes, kept(l, e, *b))
	}
}

// open and change fill in what a lot is; a change that was entered with an earlier time than the opening still counts.
func (l *Lot) open(e Entry, o Opened) {
	l.Opened, l.OpenedBy = e.At, e.By
	l.Pieces = append(slices.Clone(o.Pieces), l.Pieces...)
	l.Product, l.Code, l.Class, l.Note = orElse(l.Product, o.Product), orElse(l.Code, o.Code), orElse(l.Class, o.Class), orElse(l.Note, o.Note)
}

func (l *Lot) change(c Changed) {
	l.Product, l.Code, l.Class, l.Note = orElse(c.Product, l.Product), orElse(c.Code, l.Code), orElse(c.Class, l.Class), orElse(c.Note, l.Note)
}

func orElse[T ~string](first, second T) T {
	if first != "" {
		return first
	}
	return second
}

// running finds the newest run of a stage that has not ended.
func (l *Lot) running(stage cook.Stage, piece cook.PieceID) *StageRun {
	for i := len(l.Stages) - 1; i >= 0; i-- {
		if s := &l.Stages[i]; s.Stage == stage && s.Piece == piece && s.Until.IsZero() {
			return s
		}
	}
	return nil
}

func (l *Lot) end(stage cook.Stage, piece cook.PieceID, at time.Time) {
	if s := l.running(stage, piece); s != nil {
		s.Until = at
	}
}

// answer gives a corrective action to its deviation, whose number may be that of a corrected entry.
func (l *Lot) answer(a Kept[CorrectiveAction]) {
	root := l.firstOf(a.Body.Deviation)
	for i := range l.Deviations {
		if d := &l.Deviations[i]; l.firstOf(d.Seq) == root {
			d.Action = &a
			l.acted[root] = a.Seq
		}
	}
}

// fillEmpty makes lists that are empty show as empty in JSON.
func (l *Lot) fillEmpty() {
	l.Pieces, l.Raw, l.Weights, l.Formulations = list(l.Pieces), list(l.Raw), list(l.Weights), list(l.Formulations)
	l.Stages, l.Monitoring, l.Deviations, l.Checks = list(l.Stages), list(l.Monitoring), list(l.Deviations), list(l.Checks)
	l.Verified, l.Reviews, l.Notes = list(l.Verified), list(l.Reviews), list(l.Notes)
}

func list[T any](in []T) []T {
	if in == nil {
		return []T{}
	}
	return in
}

// Find gives an entry of the lot by its number.
func (l *Lot) Find(seq int64) (Entry, error) {
	for _, e := range l.Entries {
		if e.Seq == seq {
			return e, nil
		}
	}
	return Entry{}, fmt.Errorf("entry %d is not of this lot: %w", seq, cook.ErrNotFound)
}
