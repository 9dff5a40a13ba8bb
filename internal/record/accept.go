package record

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"stallkeeper/internal/cook"
)

// Accepts reports why an entry, made and checked by itself, does not fit the lot as it stands: nil if it does. Errors wrap
// cook.ErrConflict, or cook.ErrNotFound where something that it names is not there. A lot without entries takes its opening only; the shop's
// own entries (Lot "") are folded and asked the same way.
func (l *Lot) Accepts(e Entry) error {
	body, err := e.Decode()
	if err != nil {
		return err
	}
	if e.Corrects != 0 || e.Kind == KindWithdrawal {
		if err := l.acceptsCorrection(e); err != nil {
			return err
		}
		if err := l.staysInOrder(e, body); err != nil {
			return err
		}
	}
	if e.Lot == "" {
		return l.acceptsOf(e, body)
	}
	if opening := e.Kind == KindOpened && e.Corrects == 0; opening != l.Opened.IsZero() {
		if opening {
			return conflict("lot %s is open already: choose another name", e.Lot)
		}
		return fmt.Errorf("lot %s: %w: open it first", e.Lot, cook.ErrNotFound)
	}
	if !l.Running() && slices.Contains([]Kind{KindPiece, KindStageStarted, KindStageEnded, KindClosed}, e.Kind) && e.Corrects == 0 {
		return conflict("lot %s is closed: withdraw its closing first", e.Lot)
	}
	return l.acceptsOf(e, body)
}

func conflict(format string, a ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{cook.ErrConflict}, a...)...)
}

// acceptsCorrection asks for an entry of the same lot and kind that stands.
func (l *Lot) acceptsCorrection(e Entry) error {
	if e.Corrects == 0 {
		return conflict("a withdrawal names the entry that never happened: give corrects")
	}
	old, err := l.Find(e.Corrects)
	if err != nil {
		return err
	}
	switch by := l.replaced[old.Seq]; {
	case by != 0:
		return conflict("entry %d was corrected by entry %d already: correct that one", old.Seq, by)
	case old.Kind == KindWithdrawal || old.Kind == KindKey:
		return conflict("entry %d is a %s, which is never corrected", old.Seq, old.Kind)
	case e.Kind == KindWithdrawal && old.Kind == KindOpened && len(l.Entries) > 1:
		return conflict("entry %d opened the lot, and others followed: close the lot with a note instead", old.Seq)
	case e.Kind != KindWithdrawal && e.Kind != old.Kind:
		return conflict("entry %d is a %s and cannot be corrected by a %s: withdraw it and enter the other", old.Seq, old.Kind, e.Kind)
	case old.Auth == AuthDaemon && e.Auth != AuthDaemon && (old.Kind == KindDeviation || old.Kind == KindMonitoring):
		return conflict("entry %d was judged from measurements and stands: answer a deviation with a corrective action, or enter a note", old.Seq)
	case (old.Kind == KindReview || old.Kind == KindVerification) && !samePerson(old.By, e.By):
		return conflict("entry %d is the word of %s: only they can correct it", old.Seq, old.By)
	}
	return nil
}

// staysInOrder asks that a corrected start or end of a stage does not put the end before the start.
func (l *Lot) staysInOrder(e Entry, body Body) error {
	var stage cook.Stage
	var piece cook.PieceID
	switch b := body.(type) {
	case *StageStarted:
		stage, piece = b.Stage, b.Piece
	case *StageEnded:
		stage, piece = b.Stage, b.Piece
	default:
		return nil
	}
	after, err := Fold(append(slices.Clone(l.Entries), e))
	if err != nil {
		return err
	}
	if l.running(stage, piece) == nil && after.running(stage, piece) != nil {
		return conflict("stage %s would end before it starts: correct the time", stage)
	}
	return nil
}

func (l *Lot) acceptsOf(e Entry, body Body) error {
	if err := l.knowsPiece(body); err != nil {
		return err
	}
	switch b := body.(type) {
	case *Piece:
		return l.acceptsPiece(e, *b)
	case *StageStarted:
		if s := l.running(b.Stage, b.Piece); s != nil && s.Seq != e.Corrects {
			return conflict("stage %s has run since %s: end it first", b.Stage, s.From.Format(time.RFC3339))
		}
	case *StageEnded:
		return l.acceptsEnd(e, *b)
	case *CorrectiveAction:
		return l.acceptsAction(e, *b)
	case *Taken:
		return l.acceptsStock(e, *b)
	case *Verification, *Review:
		return l.acceptsSecondPerson(e, body)
	}
	return nil
}

// knowsPiece asks that a piece which a body names is one of the lot's.
func (l *Lot) knowsPiece(body Body) error {
	var id cook.PieceID
	switch b := body.(type) {
	case *Weighed:
		id = b.Piece
	case *StageStarted:
		id = b.Piece
	case *Portioned:
		id = b.Piece
	case *StageEnded:
		id = b.Piece
	case *Monitoring:
		id = b.Piece
	case *Deviation:
		id = b.Piece
	}
	if id == "" {
		return nil
	}
	if _, ok := l.Piece(id); ok {
		return nil
	}
	names := make([]cook.PieceID, 0, len(l.Pieces))
	for _, p := range l.Pieces {
		names = append(names, p.ID)
	}
	if len(names) == 0 {
		return fmt.Errorf("piece %q: %w: the lot has no pieces yet, add it first", id, cook.ErrNotFound)
	}
	return fmt.Errorf("piece %q: %w: the lot has %s", id, cook.ErrNotFound, join(names))
}

func (l *Lot) acceptsPiece(e Entry, p Piece) error {
	if e.Corrects != 0 {
		return nil
	}
	if _, twice := l.Piece(p.ID); twice {
		return conflict("piece %s is in the lot already: choose another name", p.ID)
	}
	return nil
}

func (l *Lot) acceptsEnd(e Entry, b StageEnded) error {
	if e.Corrects != 0 {
		return nil
	}
	s := l.running(b.Stage, b.Piece)
	if s == nil {
		return conflict("stage %s does not run: start it first, or name the piece whose stage it is", b.Stage)
	}
	if e.At.Before(s.From) {
		return conflict("stage %s began at %s, after the end given: correct the time", b.Stage, s.From.Format(time.RFC3339))
	}
	return nil
}

func (l *Lot) acceptsAction(e Entry, a CorrectiveAction) error {
	if e.Auth == AuthDaemon {
		return conflict("a corrective action is entered by a person")
	}
	root := l.firstOf(a.Deviation)
	known := slices.ContainsFunc(l.Deviations, func(d DeviationState) bool { return l.firstOf(d.Seq) == root })
	if !known {
		return fmt.Errorf("deviation %d: %w: give the number of a deviation of this lot", a.Deviation, cook.ErrNotFound)
	}
	if by := l.acted[root]; by != 0 && by != e.Corrects {
		return conflict("deviation %d has its corrective action, entry %d: correct that one", a.Deviation, by)
	}
	return nil
}

// acceptsSecondPerson asks that nobody looks over their own records, and that a lot does not leave with an open deviation.
func (l *Lot) acceptsSecondPerson(e Entry, body Body) error {
	if e.Auth == AuthDaemon {
		return conflict("a %s is made by a person", e.Kind)
	}
	makers := l.Makers()
	if v, ok := body.(*Verification); ok && len(v.Checks) > 0 {
		makers = nil
		for _, seq := range v.Checks {
			one, err := l.Find(seq)
			if err != nil {
				return err
			}
			makers = append(makers, one.By)
		}
	}
	if containsPerson(makers, e.By) {
		return conflict("%s made records of this lot: a %s is for somebody else (%s made them)", e.By, e.Kind.KindName(), strings.Join(makers, ", "))
	}
	if r, ok := body.(*Review); ok && r.Ship {
		if open := l.OpenDeviations(); len(open) > 0 {
			return conflict("deviation %d has no corrective action yet: enter it first", open[0].Seq)
		}
	}
	return nil
}
