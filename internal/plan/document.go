package plan

import (
	"encoding/json"
	"math"
	"time"

	"stallkeeper/internal/cook"
)

// MarshalJSON writes the documented shape: times as RFC 3339 in the plan's zone, durations in hours or minutes as their
// names say, null for what is not known. A step of all pieces together has piece null.
func (p Plan) MarshalJSON() ([]byte, error) {
	r := p.Request
	doc := document{Feasible: p.Feasible, Because: p.Because, Now: stamp(r.Now, r.Zone), Serve: stamp(r.Serve, r.Zone), Zone: zoneName(r.Serve, r.Zone),
		Nearest: []nearDoc{}, Pieces: []pieceDoc{}, Steps: []stepDoc{}, Cautions: p.Cautions}
	if !p.Soonest.IsZero() {
		s := stamp(p.Soonest, r.Zone)
		doc.Soonest = &s
	}
	if !math.IsNaN(p.PAllReady) {
		doc.PAllReady = &p.PAllReady
		if p.Earlier != never {
			minutes := int(p.Earlier / time.Minute)
			doc.Earlier = &minutes
		}
	}
	for _, a := range p.Nearest {
		doc.Nearest = append(doc.Nearest, nearDoc{Do: a.Do, Serve: stamp(a.Serve, r.Zone)})
	}
	for i, q := range p.Pieces {
		doc.Pieces = append(doc.Pieces, q.document(r.Pieces[i]))
	}
	for _, s := range p.Steps {
		doc.Steps = append(doc.Steps, s.document(r.Now, r.Zone))
	}
	return json.Marshal(doc)
}

type document struct {
	Feasible  bool       `json:"feasible"`
	Because   string     `json:"because"`
	Nearest   []nearDoc  `json:"nearest"`
	Now       string     `json:"now"`
	Serve     string     `json:"serve"`
	Zone      string     `json:"zone"`
	Soonest   *string    `json:"soonest_serve"`
	PAllReady *float64   `json:"p_all_ready"`
	Earlier   *int       `json:"earlier_for_p90_minutes"` // every piece on by so much earlier makes p_all_ready 0.9
	Pieces    []pieceDoc `json:"pieces"`
	Steps     []stepDoc  `json:"steps"`
	Cautions  []string   `json:"cautions"`
}

type nearDoc struct {
	Do    string `json:"do"`
	Serve string `json:"serve"`
}

type pieceDoc struct {
	ID        cook.PieceID `json:"id"`
	Cut       string       `json:"cut"`
	MassKg    float64      `json:"mass_kg"`
	Thickness float64      `json:"thickness_mm,omitempty"`
	TargetC   float64      `json:"target_c"`
	CureDays  float64      `json:"cure_days"`
	CureBasis string       `json:"cure_basis,omitempty"`
	CureRules []string     `json:"cure_rules,omitempty"`
	Smoke     smokeDoc     `json:"smoke_hours"`
	BoxHold   *float64     `json:"box_hold_hours"`
}

// smokeDoc is the band of the smoke stage, hours from going on the pit, or from the last step begun.
type smokeDoc struct {
	P10       *float64 `json:"p10"`
	P50       *float64 `json:"p50"`
	P90       *float64 `json:"p90"`
	StallFrom *float64 `json:"stall_from"`
	StallTo   *float64 `json:"stall_to"`
}

type stepDoc struct {
	ID           StepID        `json:"id"`
	Piece        *cook.PieceID `json:"piece"`
	At           string        `json:"at"`
	Latest       string        `json:"latest"`
	Until        string        `json:"until,omitempty"`
	SlackMinutes int           `json:"slack_minutes"`
	Late         bool          `json:"late,omitempty"` // it should have been begun by now
	Do           string        `json:"do"`
	IfLate       string        `json:"if_late,omitempty"`
	Basis        string        `json:"basis,omitempty"`
}

func (q PiecePlan) document(p Piece) pieceDoc {
	return pieceDoc{ID: p.ID, Cut: string(p.Cut), MassKg: p.MassKg, Thickness: p.ThicknessMM, TargetC: float64(p.Target),
		CureDays: p.Cure.Hours() / 24, CureBasis: p.CureBasis, CureRules: p.CureRules, BoxHold: inHours(q.BoxHold),
		Smoke: smokeDoc{P10: inHours(q.ReadyP10), P50: inHours(q.ReadyP50), P90: inHours(q.ReadyP90),
			StallFrom: inHours(q.StallFrom), StallTo: inHours(q.StallTo)}}
}

func (s Step) document(now time.Time, zone *time.Location) stepDoc {
	d := stepDoc{ID: s.ID, At: stamp(s.At, zone), Latest: stamp(s.Latest, zone), SlackMinutes: int(s.Slack() / time.Minute),
		Late: s.Late(now), Do: s.Do, IfLate: s.IfLate, Basis: s.Basis}
	if s.Piece != "" {
		d.Piece = &s.Piece
	}
	if s.Until.After(s.At) {
		d.Until = stamp(s.Until, zone)
	}
	return d
}

func stamp(t time.Time, zone *time.Location) string { return t.In(zone).Format(time.RFC3339) }

// inHours gives hours to two digits, nil for the -1 of what is not known.
func inHours(d time.Duration) *float64 {
	if d < 0 {
		return nil
	}
	h := math.Round(d.Hours()*100) / 100
	return &h
}
