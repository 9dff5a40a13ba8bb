package record

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"stallkeeper/internal/cook"
)

// Class says how the product is kept, which decides how long its records must be.
type Class string

// The classes of 9 CFR 417.5(e)(1), from memory.
const (
	Refrigerated Class = "refrigerated" // records for 1 year at least
	Frozen       Class = "frozen"       // 2 years
	ShelfStable  Class = "shelf-stable" // 2 years; also what is preserved
)

// Opened begins a lot.
type Opened struct {
	Product string  `json:"product"`
	Code    string  `json:"code,omitempty"`  // the product's code on the label
	Class   Class   `json:"class,omitempty"` // empty: not known, and kept as long as the longest
	Pieces  []Piece `json:"pieces,omitempty"`
	Note    string  `json:"note,omitempty"`
}

// Kind is lot-opened.
func (Opened) Kind() Kind { return KindOpened }

// Validate asks for a product, and for pieces with different names.
func (o Opened) Validate() error {
	errs := []error{filled("product", o.Product), cook.CheckText("code", o.Code), checkClass(o.Class)}
	for i, p := range o.Pieces {
		if slices.ContainsFunc(o.Pieces[:i], func(q Piece) bool { return q.ID == p.ID }) {
			errs = append(errs, fmt.Errorf("pieces[%d].id %q stands twice", i, p.ID))
		}
		errs = append(errs, p.Validate())
	}
	return errors.Join(errs...)
}

// Changed replaces what Opened said; empty fields stay.
type Changed struct {
	Product string `json:"product,omitempty"`
	Code    string `json:"code,omitempty"`
	Class   Class  `json:"class,omitempty"`
	Note    string `json:"note,omitempty"`
}

// Kind is lot-changed.
func (Changed) Kind() Kind { return KindChanged }

// Validate asks for something to change.
func (c Changed) Validate() error {
	if c == (Changed{}) {
		return errors.New("nothing to change: give product, code, class or note")
	}
	return errors.Join(cook.CheckText("product", c.Product), cook.CheckText("code", c.Code), checkClass(c.Class))
}

// Closed ends the work on a lot. Checks and corrections may still follow.
type Closed struct {
	Note string `json:"note,omitempty"`
}

// Kind is lot-closed.
func (Closed) Kind() Kind { return KindClosed }

// Validate finds nothing.
func (Closed) Validate() error { return nil }

// Piece is one piece of meat of a lot.
type Piece struct {
	ID          cook.PieceID `json:"id"`
	Cut         string       `json:"cut,omitempty"`    // one of cook.Cuts
	Intact      bool         `json:"intact,omitempty"` // absent = not intact, the stricter
	ThicknessMM float64      `json:"thickness_mm,omitempty"`
	Note        string       `json:"note,omitempty"`
}

// Kind is piece.
func (Piece) Kind() Kind { return KindPiece }

// Validate asks for a name and, where a cut is named, a known one.
func (p Piece) Validate() error {
	errs := []error{checkPiece(p.ID)}
	if p.ID == "" {
		errs = append(errs, errors.New("piece has no id: give it a name"))
	}
	if p.Cut != "" && !slices.Contains(cook.Cuts(), p.Cut) {
		errs = append(errs, fmt.Errorf("cut %q is not known: use one of %s", clip(p.Cut), strings.Join(cook.Cuts(), " ")))
	}
	if !(p.ThicknessMM >= 0 && p.ThicknessMM <= 500) {
		errs = append(errs, fmt.Errorf("thickness_mm %v is not between 0 and 500", p.ThicknessMM))
	}
	return errors.Join(errs...)
}

// RawMaterial is something that went in: meat, salt, cure, rub. Reference is what traces it back: the supplier's lot or the number of the delivery.
type RawMaterial struct {
	Name      string    `json:"name"`
	Supplier  string    `json:"supplier,omitempty"`
	Reference string    `json:"reference"`
	Received  time.Time `json:"received,omitzero"`
	UseBy     time.Time `json:"use_by,omitzero"`
	MassKg    float64   `json:"mass_kg,omitempty"`  // 0 = not weighed
	Price     float64   `json:"price,omitempty"`    // paid for all of it; 0 = not given
	Currency  string    `json:"currency,omitempty"` // such as EUR; needed with a price
	Note      string    `json:"note,omitempty"`
}

// Kind is raw-material.
func (RawMaterial) Kind() Kind { return KindRawMaterial }

// Validate asks for name and reference.
func (r RawMaterial) Validate() error {
	return errors.Join(filled("name", r.Name), filled("reference", r.Reference), cook.CheckText("supplier", r.Supplier), checkMass(r.MassKg, true),
		cook.CheckTime("received", r.Received), cook.CheckTime("use_by", r.UseBy), r.checkPrice())
}

func (r RawMaterial) happenedBy(entered time.Time) error {
	return cook.CheckHappened("received", r.Received, entered)
}

func (r RawMaterial) checkPrice() error {
	switch {
	case r.Price == 0 && r.Currency == "":
		return nil
	case !(r.Price > 0 && r.Price < 1e9):
		return fmt.Errorf("price %v is not a sum above 0: enter what was paid for all of it, or leave it out", r.Price)
	case len(r.Currency) != 3 || strings.Trim(r.Currency, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") != "":
		return fmt.Errorf("currency %q is not a code of three capitals, such as EUR or USD", clip(r.Currency))
	}
	return nil
}

// price is the price in words; empty without one.
func (r RawMaterial) price() string {
	if r.Price == 0 {
		return ""
	}
	return fmt.Sprintf("%.2f %s", r.Price, r.Currency)
}

// When says at which step something was weighed.
type When string

// The steps of weighing.
const (
	WhenRaw      When = "raw"
	WhenTrimmed  When = "trimmed"
	WhenFat      When = "fat"      // trimmed off, to be rendered
	WhenRendered When = "rendered" // fat rendered from it
	WhenCured    When = "cured"    // drained, after the brine
	WhenSmoked   When = "smoked"
	WhenChilled  When = "chilled"
	WhenSliced   When = "sliced"
	WhenServed   When = "served"
)

// Whens lists the steps of weighing in the order of the work.
func Whens() []When {
	return []When{WhenRaw, WhenTrimmed, WhenFat, WhenRendered, WhenCured, WhenSmoked, WhenChilled, WhenSliced, WhenServed}
}

// Weighed is a weight of a piece, or of the lot when Piece is empty.
type Weighed struct {
	Piece      cook.PieceID `json:"piece,omitempty"`
	When       When         `json:"when"`
	MassKg     float64      `json:"mass_kg"`
	Instrument string       `json:"instrument,omitempty"` // which scale
}

// Kind is weighed.
func (Weighed) Kind() Kind { return KindWeighed }

// Validate asks for a step and a weight above zero.
func (w Weighed) Validate() error {
	errs := []error{checkPiece(w.Piece), checkMass(w.MassKg, false), cook.CheckText("instrument", w.Instrument)}
	if !slices.Contains(Whens(), w.When) {
		errs = append(errs, fmt.Errorf("when %q is not known: use one of %s", clip(string(w.When)), join(Whens())))
	}
	return errors.Join(errs...)
}

// Formulation is a recipe as it was worked out, such as the JSON of the brine calculation.
type Formulation struct {
	Name    string `json:"name"`
	Formula raw    `json:"formula"`
	Note    string `json:"note,omitempty"`
}

// Kind is formulation.
func (Formulation) Kind() Kind { return KindFormulation }

// Validate asks for a name and a JSON object.
func (f Formulation) Validate() error {
	errs := []error{filled("name", f.Name)}
	if text, err := Canonical(f.Formula); err != nil || !bytes.HasPrefix(text, []byte("{")) {
		errs = append(errs, errors.New("formula is not a JSON object: give what the calculation printed"))
	}
	return errors.Join(errs...)
}

// StageStarted begins a stage of a piece, or of the lot when Piece is empty, watched by the probes.
type StageStarted struct {
	Stage  cook.Stage     `json:"stage"`
	Piece  cook.PieceID   `json:"piece,omitempty"`
	Probes []cook.ProbeID `json:"probes,omitempty"`
	Cook   cook.ID        `json:"cook,omitempty"` // the cook that this smoking is, 0 = none
	Note   string         `json:"note,omitempty"`
}

// Kind is stage-started.
func (StageStarted) Kind() Kind { return KindStageStarted }

// Validate asks for a known stage and valid names.
func (s StageStarted) Validate() error {
	errs := []error{checkStage(s.Stage, true), checkPiece(s.Piece)}
	for _, p := range s.Probes {
		errs = append(errs, p.Validate())
	}
	if s.Cook < 0 {
		errs = append(errs, fmt.Errorf("cook %d is negative", s.Cook))
	}
	return errors.Join(errs...)
}

// StageEnded ends the stage that runs for the piece, or for the lot when Piece is empty.
type StageEnded struct {
	Stage cook.Stage   `json:"stage"`
	Piece cook.PieceID `json:"piece,omitempty"`
	Note  string       `json:"note,omitempty"`
}

// Kind is stage-ended.
func (StageEnded) Kind() Kind { return KindStageEnded }

// Validate asks for a known stage.
func (s StageEnded) Validate() error {
	return errors.Join(checkStage(s.Stage, true), checkPiece(s.Piece))
}

// Note is anything else worth keeping.
type Note struct {
	Text string `json:"text"`
}

// Kind is note.
func (Note) Kind() Kind { return KindNote }

// Validate asks for a text.
func (n Note) Validate() error {
	if strings.TrimSpace(n.Text) == "" {
		return errors.New("text is missing: say something")
	}
	return nil
}

// Withdrawal says that the entry it corrects never happened. The reason stands in the entry.
type Withdrawal struct{}

// Kind is withdrawal.
func (Withdrawal) Kind() Kind { return KindWithdrawal }

// Validate finds nothing.
func (Withdrawal) Validate() error { return nil }

func filled(what, s string) error {
	if strings.TrimSpace(s) == "" {
		return fmt.Errorf("%s is missing: fill it in", what)
	}
	return cook.CheckText(what, s)
}

func join[T ~string](names []T) string {
	out := make([]string, 0, len(names))
	for _, n := range names {
		out = append(out, string(n))
	}
	return strings.Join(out, " ")
}

func oneOf[T ~string](what string, given T, from ...T) error {
	if !slices.Contains(from, given) {
		return fmt.Errorf("%s %q is not known: use one of %s", what, clip(string(given)), join(from))
	}
	return nil
}

func checkClass(c Class) error {
	if c == "" {
		return nil
	}
	return oneOf("class", c, Refrigerated, Frozen, ShelfStable)
}

func checkStage(s cook.Stage, needed bool) error {
	if s == "" && !needed {
		return nil
	}
	return oneOf("stage", s, cook.Stages()...)
}

func checkPiece(id cook.PieceID) error {
	if id == "" {
		return nil
	}
	if err := cook.ProbeID(id).Validate(); err != nil || strings.Contains(string(id), "/") {
		return fmt.Errorf("piece %q: use letters, digits, - and _", clip(string(id)))
	}
	return nil
}

// maxMass is the largest weight that is believed, in kilograms.
const maxMass = 5000

func checkMass(kg float64, mayLack bool) error {
	if kg == 0 && mayLack {
		return nil
	}
	if !(kg > 0 && kg <= maxMass) {
		return fmt.Errorf("mass_kg %v is not above 0 and at most %d", kg, maxMass)
	}
	return nil
}
