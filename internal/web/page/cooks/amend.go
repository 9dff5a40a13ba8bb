package cooks

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/page/form"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/visitor"
)

// planRow is a line of the form for the planned settings of the pit.
type planRow struct {
	Set, At     string // names of the fields
	Deg, Moment string // what stands in them
}

// maxPitPlan is how many planned settings the form takes; more go in by the API.
const maxPitPlan = 3

func (s reader) planRows(plan []cook.PlannedPoint) []planRow {
	rows := make([]planRow, maxPitPlan)
	for i := range rows {
		rows[i] = planRow{Set: fmt.Sprintf("plan%d-set", i), At: fmt.Sprintf("plan%d-at", i)}
		if i < len(plan) {
			rows[i].Deg, rows[i].Moment = s.Round(plan[i].SetPoint), s.Field(plan[i].At)
		}
	}
	return rows
}

// postAmend changes the serving hour, the pit's plan, or a piece's target, probe or planned wrap. What stands as it was is
// not noted as a change.
func (p *Set) postAmend(w http.ResponseWriter, r *http.Request) error {
	if err := visitor.Need(r, visitor.Manage); err != nil {
		return err
	}
	id, err := form.CookID(r.PathValue("id"))
	if err != nil {
		return err
	}
	stored, err := p.Library.Cook(r.Context(), id)
	if err != nil {
		return err
	}
	see := p.reader(r)
	a, err := p.amendment(r, see, stored)
	if err != nil {
		return err
	}
	if a.ServeBy.IsZero() && a.Pit == nil && a.Target == 0 && len(a.Probes) == 0 && a.Plan == nil && !a.DropPlan {
		frame.ReturnTo(w, r)
		return nil
	}
	a.Time, a.By = cook.Instant(p.Now()), visitor.By(r, visitor.OnPage)
	if _, err := a.Make(stored.Cook); errors.Is(err, cook.ErrNotFound) {
		return err
	} else if err != nil {
		return problem.Bad("%v", err)
	}
	if err := p.Desk.Amend(r.Context(), id, a); err != nil {
		return err
	}
	frame.ReturnTo(w, r)
	return nil
}

// amendment reads what the form changes.
func (p *Set) amendment(r *http.Request, see reader, stored *cook.Stored) (a cook.Amendment, err error) {
	if text := r.FormValue("serve"); text != "" {
		at, err := form.LocalTime(text, p.Location)
		if err != nil {
			return a, err
		}
		if see.Field(stored.ServeBy) != text {
			a.ServeBy = cook.Instant(at)
		}
	}
	if r.PostForm.Has("plan0-set") {
		if a.Pit, err = p.pitPlan(r, see, stored); err != nil {
			return a, err
		}
	}
	if a.Piece = cook.PieceID(r.FormValue("piece")); a.Piece == "" {
		return a, nil
	}
	piece, ok := stored.Piece(a.Piece)
	if !ok {
		return a, fmt.Errorf("piece %q: %w", a.Piece, cook.ErrNotFound)
	}
	return a, see.pieceChanges(r, &a, *piece)
}

func (s reader) pieceChanges(r *http.Request, a *cook.Amendment, piece cook.Piece) error {
	if text := r.FormValue("target"); text != "" && text != s.Round(piece.Target) {
		c, err := s.Parse(text)
		if err != nil {
			return problem.Bad("%v", err)
		}
		a.Target = c
	}
	if text := strings.TrimSpace(r.FormValue("probe")); text != "" && text != string(piece.ProbeIDs()[0]) {
		a.Probes = []cook.ProbeID{cook.ProbeID(text)}
	}
	if !r.PostForm.Has("wrap") {
		return nil
	}
	wrap, at := r.FormValue("wrap"), strings.TrimSpace(r.FormValue("wrapat"))
	switch had := piece.Plan; {
	case wrap == "":
		a.DropPlan = had != nil
		return nil
	case had != nil && had.Wrap == wrap && at == s.wrapField(had):
		return nil
	}
	a.Plan = &cook.WrapPlan{Wrap: wrap, AtC: form.UsualWrapAt(piece.Cut)}
	if at != "" {
		c, err := s.Parse(at)
		if err != nil {
			return problem.Bad("%v", err)
		}
		a.Plan.AtC = c
	}
	return nil
}

// wrapField is what stands in the field for the temperature of a planned wrap.
func (s reader) wrapField(plan *cook.WrapPlan) string {
	if plan == nil || plan.AtC == 0 {
		return ""
	}
	return s.Round(plan.AtC)
}

// pitPlan reads the planned settings; nil when they are as they were.
func (p *Set) pitPlan(r *http.Request, see reader, stored *cook.Stored) ([]cook.PlannedPoint, error) {
	plan := []cook.PlannedPoint{}
	same := true
	for i, row := range see.planRows(stored.Pit.Plan) {
		set, at := strings.TrimSpace(r.FormValue(row.Set)), r.FormValue(row.At)
		same = same && set == row.Deg && at == row.Moment
		if set == "" && at == "" {
			continue
		}
		c, err := see.Parse(set)
		if err != nil {
			return nil, problem.Bad("planned setting %d: %v", i+1, err)
		}
		when, err := form.LocalTime(at, p.Location)
		if err != nil {
			return nil, problem.Bad("planned setting %d: give the hour it is meant for", i+1)
		}
		plan = append(plan, cook.PlannedPoint{SetPoint: c, At: cook.Instant(when)})
	}
	if same {
		return nil, nil
	}
	if len(stored.Pit.Plan) > maxPitPlan {
		plan = append(plan, stored.Pit.Plan[maxPitPlan:]...)
	}
	slices.SortStableFunc(plan, func(a, b cook.PlannedPoint) int { return a.At.Compare(b.At) })
	return plan, nil
}
