package record

import (
	"slices"
	"strings"
	"time"

	"stallkeeper/internal/cook"
)

// Kept is a body that holds: who entered it, when, and by which entry.
type Kept[T any] struct {
	Seq     int64     `json:"seq"`
	First   int64     `json:"first,omitempty"` // the entry it corrects in the end; 0 = it corrects none
	At      time.Time `json:"at"`
	Entered time.Time `json:"entered"`
	By      string    `json:"by"`
	Auth    Auth      `json:"auth"`
	Reason  string    `json:"reason,omitempty"`
	Body    T         `json:"body"`
}

// Lot is how a lot stands, folded from its entries. What was corrected shows as corrected; Entries holds everything.
type Lot struct {
	ID           cook.LotID           `json:"id"`
	Product      string               `json:"product"`
	Code         string               `json:"code,omitempty"`
	Class        Class                `json:"class,omitempty"`
	Note         string               `json:"note,omitempty"`
	Opened       time.Time            `json:"opened"`
	OpenedBy     string               `json:"opened_by"`
	Closed       time.Time            `json:"closed,omitzero"`
	Pieces       []Piece              `json:"pieces"`
	Raw          []Kept[RawMaterial]  `json:"raw_materials"`
	Weights      []Kept[Weighed]      `json:"weights"`
	Formulations []Kept[Formulation]  `json:"formulations"`
	Stages       []StageRun           `json:"stages"`
	Monitoring   []Kept[Monitoring]   `json:"monitoring"`
	Deviations   []DeviationState     `json:"deviations"`
	Checks       []Kept[ProbeChecked] `json:"checks"`
	Verified     []Kept[Verification] `json:"verifications"`
	Reviews      []Kept[Review]       `json:"reviews"`
	Notes        []Kept[Note]         `json:"notes"`
	Plans        []Kept[Planned]      `json:"plans,omitempty"`
	Stock        []Batch              `json:"stock,omitempty"`
	Last         int64                `json:"last"` // number of the newest entry

	Entries  []Entry         `json:"-"` // all, in the order of the journal
	replaced map[int64]int64 // what was corrected, and by which entry
	first    map[int64]int64 // of an entry that corrects: the entry it corrects in the end
	acted    map[int64]int64 // corrective actions by the first number of their deviation
}

// StageRun is a stage as it ran.
type StageRun struct {
	Seq    int64          `json:"seq"` // of the entry that started it
	Stage  cook.Stage     `json:"stage"`
	Piece  cook.PieceID   `json:"piece,omitempty"` // empty: the whole lot
	Probes []cook.ProbeID `json:"probes,omitempty"`
	Cook   cook.ID        `json:"cook,omitempty"`
	From   time.Time      `json:"from"`
	Until  time.Time      `json:"until,omitzero"` // zero: it goes on
	By     string         `json:"by"`
}

// DeviationState is a deviation with the corrective action that answers it, nil while it is open.
type DeviationState struct {
	Kept[Deviation]
	Action *Kept[CorrectiveAction] `json:"action"`
}

// Open reports whether nobody has entered a corrective action yet.
func (d DeviationState) Open() bool { return d.Action == nil }

// Running reports whether the work on the lot goes on.
func (l *Lot) Running() bool { return l.Closed.IsZero() }

// Piece finds a piece by its name.
func (l *Lot) Piece(id cook.PieceID) (Piece, bool) {
	i := slices.IndexFunc(l.Pieces, func(p Piece) bool { return p.ID == id })
	if i < 0 {
		return Piece{}, false
	}
	return l.Pieces[i], true
}

// OpenDeviations are those that no corrective action answers.
func (l *Lot) OpenDeviations() []DeviationState {
	var out []DeviationState
	for _, d := range l.Deviations {
		if d.Open() {
			out = append(out, d)
		}
	}
	return out
}

// Review gives the pre-shipment review that holds: the newest, if no entry but notes came after it. Otherwise the lot is to be
// reviewed again.
func (l *Lot) Review() (Kept[Review], bool) {
	if len(l.Reviews) == 0 {
		return Kept[Review]{}, false
	}
	newest := l.Reviews[len(l.Reviews)-1]
	for _, e := range l.Entries {
		if e.Seq > newest.Seq && e.Kind != KindNote && e.Kind != KindClosed && e.Kind != KindVerification && e.Kind != KindPlanned && e.Kind != KindTaken {
			return Kept[Review]{}, false
		}
	}
	return newest, true
}

// Replaced gives the number of the entry that corrects or withdraws the numbered one; 0 if it holds.
func (l *Lot) Replaced(seq int64) int64 { return l.replaced[seq] }

// Makers are those who made the lot's records: everybody but the daemon, reviewers and verifiers.
func (l *Lot) Makers() []string {
	var out []string
	for _, e := range l.Entries {
		if e.Auth != AuthDaemon && e.Kind != KindReview && e.Kind != KindVerification && !containsPerson(out, e.By) {
			out = append(out, e.By)
		}
	}
	return out
}

func containsPerson(people []string, who string) bool {
	return slices.ContainsFunc(people, func(p string) bool { return samePerson(p, who) })
}

func samePerson(a, b string) bool {
	return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b))
}

// Watches are the lot's stages for those who watch the probes. A stage of the whole lot counts as intact when every piece is.
func (l *Lot) Watches() []cook.StageWatch {
	out := make([]cook.StageWatch, 0, len(l.Stages))
	for _, s := range l.Stages {
		w := cook.StageWatch{Lot: l.ID, Stage: s.Stage, Piece: s.Piece, Probes: s.Probes, From: s.From, Until: s.Until}
		if p, ok := l.Piece(s.Piece); ok {
			w.Intact, w.Cut, w.ThicknessMM, w.MassKg = p.Intact, p.Cut, p.ThicknessMM, l.weight(p.ID)
		} else if s.Piece == "" {
			w.Intact = len(l.Pieces) > 0 && !slices.ContainsFunc(l.Pieces, func(p Piece) bool { return !p.Intact })
			if len(l.Pieces) > 0 && !slices.ContainsFunc(l.Pieces, func(p Piece) bool { return p.Cut != l.Pieces[0].Cut }) {
				w.Cut = l.Pieces[0].Cut
			}
		}
		if hot(s.Stage) {
			w.Out = l.outOfCold(s)
		}
		out = append(out, w)
	}
	return out
}

// weight is what a piece weighed last before it was sliced, kg; 0 when nobody weighed it by itself.
func (l *Lot) weight(piece cook.PieceID) float64 {
	kg, at := 0.0, time.Time{}
	for _, w := range l.Weights {
		whole := w.Body.When != WhenSliced && w.Body.When != WhenServed && w.Body.When != WhenFat && w.Body.When != WhenRendered
		if w.Body.Piece == piece && whole && !w.At.Before(at) {
			kg, at = w.Body.MassKg, w.At
		}
	}
	return kg
}

func hot(s cook.Stage) bool {
	return s == cook.StageSmoke || s == cook.StageHold || s == cook.StageChill
}

// outOfCold is since when the meat of a hot stage has been out of the cooler: since the last stage in one before it ended, or since
// the first hot one began.
func (l *Lot) outOfCold(s StageRun) time.Time {
	out := s.From
	before := slices.Clone(l.Stages)
	slices.SortStableFunc(before, func(a, b StageRun) int { return b.From.Compare(a.From) })
	for _, r := range before {
		switch {
		case r.From.After(s.From), r.Piece != "" && s.Piece != "" && r.Piece != s.Piece:
		case hot(r.Stage):
			out = r.From
		case r.Until.IsZero() || r.Until.After(out): // entered out of order: the beginning is what is known
			return out
		default:
			return r.Until
		}
	}
	return out
}

// Retention settings of 9 CFR 417.5(e)(1), from memory: the shortest times that records are kept.
const (
	retainRefrigerated = 1 // years
	retainOther        = 2
)

// KeepUntil is the first moment at which the retention of the lot's records has ended: by its class, or the given years if they are
// more, counted from its newest entry. Zero while the lot is not closed. A lot of unknown class counts as the longest.
func (l *Lot) KeepUntil(years int) time.Time {
	if l.Running() {
		return time.Time{}
	}
	least := retainOther
	if l.Class == Refrigerated {
		least = retainRefrigerated
	}
	newest := l.Closed
	for _, e := range l.Entries {
		if e.Entered.After(newest) {
			newest = e.Entered
		}
	}
	return newest.AddDate(max(least, years), 0, 0)
}
