package plan

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/brine"
	"stallkeeper/internal/cook"
)

// Order is a request as it is written and kept: what is left out is chosen here, with its reason in the plan.
type Order struct {
	Name      string          `json:"name,omitempty"`
	Now       time.Time       `json:"now,omitzero"` // absent: the clock's
	Serve     time.Time       `json:"serve"`
	Zone      string          `json:"zone,omitempty"` // such as Europe/Berlin; absent: the offset of serve
	Pit       thermal.Celsius `json:"pit_c"`
	Fire      string          `json:"fire,omitempty"`
	AltitudeM float64         `json:"altitude_m,omitempty"`
	CureDays  float64         `json:"cure_days,omitempty"`          // of the cured pieces; absent: the longer of practice and thickness
	BrineSalt float64         `json:"brine_salt_percent,omitempty"` // a weaker brine takes longer
	Pieces    []OrderPiece    `json:"pieces"`
	Lot       cook.LotID      `json:"lot,omitempty"`
	Cook      cook.ID         `json:"cook,omitempty"` // the cook that smokes it; 0 = not begun
}

// OrderPiece is a piece as it is written.
type OrderPiece struct {
	ID          cook.PieceID    `json:"id,omitempty"` // absent: the name of the cut, numbered
	Cut         estimator.Cut   `json:"cut"`
	MassKg      float64         `json:"mass_kg"`
	ThicknessMM float64         `json:"thickness_mm,omitempty"`
	Target      thermal.Celsius `json:"target_c"`
	CureDays    float64         `json:"cure_days,omitempty"` // its own
	Uncured     bool            `json:"uncured,omitempty"`   // no cure, whatever the others have
	Wrap        string          `json:"wrap,omitempty"`      // foil or paper
	WrapAt      thermal.Celsius `json:"wrap_at_c,omitempty"` // absent: 70
	Frozen      bool            `json:"frozen,omitempty"`
	Done        StepID          `json:"done,omitempty"` // the last step that was begun …
	DoneAt      time.Time       `json:"done_at,omitzero"`
	// Cooking is the newest forecast of a piece on the pit. It is not written down: whoever plans anew puts it in.
	Cooking *estimator.Forecast `json:"-"`
}

// maxPieces is how many pieces one plan takes. Choice of this project.
const maxPieces = 24

// Request turns the order into what Make takes. The time is used where the order has none; the zone where it names none
// and its serving hour is in UTC.
func (o Order) Request(now time.Time, local *time.Location) (Request, error) {
	r := Request{Now: o.Now, Serve: o.Serve, Pit: o.Pit, Fire: o.Fire, AltitudeM: o.AltitudeM}
	if r.Now.IsZero() {
		r.Now = now
	}
	var err error
	if r.Zone, err = o.zone(local); err != nil {
		return r, err
	}
	if err := errors.Join(cook.CheckText("name", o.Name), cook.CheckText("fire", o.Fire)); err != nil {
		return r, err
	}
	if o.CureDays != 0 {
		if err := checkDays(o.CureDays); err != nil {
			return r, err
		}
	}
	if len(o.Pieces) > maxPieces {
		return r, fmt.Errorf("%d pieces are more than one plan takes: enter at most %d", len(o.Pieces), maxPieces)
	}
	pieces := o.Named()
	anyCured := slices.ContainsFunc(pieces, OrderPiece.curedCut)
	for i := range pieces {
		piece, err := pieces[i].piece(o.CureDays, anyCured, o.BrineSalt)
		if err != nil {
			return r, fmt.Errorf("piece %q: %w", pieces[i].ID, err)
		}
		r.Pieces = append(r.Pieces, piece)
	}
	return r, nil
}

func (o Order) zone(local *time.Location) (*time.Location, error) {
	if o.Zone == "" {
		if local != nil && o.Serve.Location() == time.UTC {
			return local, nil
		}
		_, offset := o.Serve.Zone()
		return time.FixedZone("", offset), nil // never the machine's own zone
	}
	zone, err := time.LoadLocation(o.Zone)
	if err != nil || o.Zone == "Local" {
		return nil, fmt.Errorf("zone %q is not known: use a name such as Europe/Berlin or America/Chicago", clip(o.Zone))
	}
	return zone, nil
}

func clip(s string) string { return s[:min(len(s), 60)] }

func checkDays(v float64) error {
	if !(v >= 1 && v <= 120) {
		return fmt.Errorf("a cure of %v days: enter a number of days from 1 to 120, such as 10, or leave it out", v)
	}
	return nil
}

func (p OrderPiece) curedCut() bool { return p.Cut == estimator.BrisketFlatCured && !p.Uncured }

// nameThem gives pieces without an id the name of their cut, numbered where it would stand twice.
func nameThem(pieces []OrderPiece) {
	taken := map[cook.PieceID]bool{}
	for _, p := range pieces {
		taken[p.ID] = true
	}
	for i := range pieces {
		p := &pieces[i]
		if p.ID != "" {
			continue
		}
		p.ID = cook.PieceID(p.Cut)
		for n := 2; taken[p.ID]; n++ {
			p.ID = cook.PieceID(fmt.Sprintf("%s-%d", p.Cut, n))
		}
		taken[p.ID] = true
	}
}

// Named are the order's pieces, each with its id.
func (o Order) Named() []OrderPiece {
	pieces := slices.Clone(o.Pieces)
	nameThem(pieces)
	return pieces
}

func (p OrderPiece) piece(asked float64, anyCured bool, saltPercent float64) (Piece, error) {
	out := Piece{ID: p.ID, Cut: p.Cut, MassKg: p.MassKg, ThicknessMM: p.ThicknessMM, Target: p.Target, Frozen: p.Frozen, Done: p.Done, DoneAt: p.DoneAt, Cooking: p.Cooking}
	if !slices.Contains(cook.Cuts(), string(p.Cut)) {
		return out, fmt.Errorf("cut %q is not known: use one of %v", clip(string(p.Cut)), cook.Cuts())
	}
	if p.Wrap != "" {
		if p.Wrap != string(estimator.Foil) && p.Wrap != string(estimator.Paper) {
			return out, fmt.Errorf("wrap %q is not known: write foil or paper, or leave it out", clip(p.Wrap))
		}
		at := p.WrapAt
		if at == 0 {
			at = wrapAt
		}
		out.Wrap = &estimator.WrapPlan{With: estimator.Wrapping(p.Wrap), AtCelsius: at}
	}
	if p.CureDays != 0 {
		if err := checkDays(p.CureDays); err != nil {
			return out, err
		}
	}
	return out, p.setCure(&out, asked, anyCured, saltPercent)
}

// setCure decides how long the piece cures: its own days; else those asked for, which go to the pieces of the cured cut, or
// to all where there is none; else, for the cured cut, what practice and thickness say.
func (p OrderPiece) setCure(out *Piece, asked float64, anyCured bool, saltPercent float64) error {
	days := p.CureDays
	if days == 0 && (p.curedCut() || !anyCured) {
		days = asked
	}
	if p.Uncured || days == 0 && !p.curedCut() {
		return nil
	}
	known, err := brine.EstimateCure(brine.CurePiece{ThicknessMM: p.ThicknessMM, MassKg: p.MassKg, BrineSalt: saltPercent,
		Flat: p.Cut == estimator.BrisketFlatCured || p.Cut == estimator.BrisketFlat})
	if err != nil {
		return err
	}
	if days == 0 {
		days = known.Default
	}
	if days == 0 {
		return errors.New("the cure time cannot be told without the thickness: add the thickness, such as 50mm, or the days of the cure")
	}
	for _, rule := range known.Rules {
		line := fmt.Sprintf("%s: %s (%s)", rule.Name, rule.Span(), rule.Basis)
		if rule.Applies != "" {
			line += "; made for " + rule.Applies
		}
		out.CureRules = append(out.CureRules, line)
	}
	out.CureBasis = known.Judge(days)
	if known.TooShort(days) {
		out.CureBasis = "is shorter than every rule, so that the middle may stay uncured; " + out.CureBasis
	}
	out.Cure = time.Duration(math.Round(days*24*60)) * time.Minute
	return nil
}
