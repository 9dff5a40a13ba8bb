package record

import (
	"errors"
	"fmt"
	"time"

	"stallkeeper/internal/cook"
)

// Kept-in words of Portioned. Frozen at -18 °C (0 °F) or below, refrigerated at 5 °C (41 °F) or below.
const (
	InFreezer = "frozen"
	InCooler  = "refrigerated"
)

// Portioned puts portions into stock. How long they keep goes by a standard, which is named because standards differ.
type Portioned struct {
	Piece    cook.PieceID `json:"piece,omitempty"`
	Portions int          `json:"portions"`
	MassKg   float64      `json:"mass_kg,omitempty"` // of one portion; 0 = not weighed
	Kept     string       `json:"kept"`              // frozen or refrigerated
	Where    string       `json:"where,omitempty"`
	UseBy    time.Time    `json:"use_by,omitzero"`
	Standard string       `json:"standard,omitempty"` // by which use_by was reckoned
}

// Kind is portioned.
func (Portioned) Kind() Kind { return KindPortioned }

// maxPortions is how many portions one entry takes. Choice of this project.
const maxPortions = 10000

// Validate asks for a number of portions, how they are kept, and the standard of a use-by date.
func (p Portioned) Validate() error {
	errs := []error{checkPiece(p.Piece), checkMass(p.MassKg, true), cook.CheckText("where", p.Where), cook.CheckText("standard", p.Standard), cook.CheckTime("use_by", p.UseBy),
		oneOf("kept", p.Kept, InFreezer, InCooler), checkPortions(p.Portions)}
	if !p.UseBy.IsZero() && p.Standard == "" {
		errs = append(errs, errors.New("standard is missing: say by which standard use_by was reckoned, because they differ"))
	}
	return errors.Join(errs...)
}

func checkPortions(n int) error {
	if n < 1 || n > maxPortions {
		return fmt.Errorf("portions %d is not between 1 and %d", n, maxPortions)
	}
	return nil
}

// Taken takes portions out of stock.
type Taken struct {
	From     int64  `json:"from"` // number of the entry that put them in
	Portions int    `json:"portions"`
	Why      string `json:"why,omitempty"` // served, sold, thrown away
}

// Kind is portions-taken.
func (Taken) Kind() Kind { return KindTaken }

// Validate asks for the entry and a number.
func (t Taken) Validate() error {
	errs := []error{checkPortions(t.Portions), cook.CheckText("why", t.Why)}
	if t.From < 1 {
		errs = append(errs, errors.New("from is missing: give the number of the entry that put the portions in"))
	}
	return errors.Join(errs...)
}

// Planned says which kept plan the lot follows.
type Planned struct {
	Plan int64  `json:"plan"`
	Note string `json:"note,omitempty"`
}

// Kind is planned.
func (Planned) Kind() Kind { return KindPlanned }

// Validate asks for a plan.
func (p Planned) Validate() error {
	if p.Plan < 1 {
		return fmt.Errorf("plan %d is not the number of a plan", p.Plan)
	}
	return nil
}

// Batch is what one entry put into stock, and how much of it is left.
type Batch struct {
	Kept[Portioned]
	Left int `json:"left"`
}

// takeOut lets what was taken count against its batch.
func (l *Lot) takeOut(from int64, portions int) {
	if b := l.batch(from); b != nil {
		b.Left -= portions
	}
}

// batch finds a batch by the number of its entry, or of one that it corrects.
func (l *Lot) batch(seq int64) *Batch {
	root := l.firstOf(seq)
	for i := range l.Stock {
		if l.firstOf(l.Stock[i].Seq) == root {
			return &l.Stock[i]
		}
	}
	return nil
}

// acceptsStock asks that no more is taken than there is.
func (l *Lot) acceptsStock(e Entry, t Taken) error {
	b := l.batch(t.From)
	if b == nil {
		return fmt.Errorf("entry %d: %w: it put no portions into the stock of this lot", t.From, cook.ErrNotFound)
	}
	left := b.Left
	if e.Corrects != 0 {
		if old, err := l.Find(e.Corrects); err == nil {
			if body, err := old.Decode(); err == nil {
				if was, ok := body.(*Taken); ok && l.firstOf(was.From) == l.firstOf(t.From) {
					left += was.Portions
				}
			}
		}
	}
	if t.Portions > left {
		return conflict("%d portions are left of entry %d, not %d: count again, or correct what was put in", left, b.Seq, t.Portions)
	}
	return nil
}
