package cooks

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/page/form"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/visitor"
)

// fireAhead is how far a browser's clock may run ahead of the daemon's.
const fireAhead = 15 * time.Minute

// startForm is the form that lights a fire, with what was typed and what is wrong with it.
type startForm struct {
	form.Form
	Ahead   map[string]string // what can be forecast before the fire is lit
	Free    []cook.ProbeID    // probes that hang in no running cook
	Confirm []takenProbe      // what the form warns of
	Held    bool              // the fire is not lit, because nobody was warned before
	inUse   map[cook.ProbeID]takenProbe
	see     reader
}

// Used reports whether anything was typed about a piece.
func (f *startForm) Used(row int) bool { return row == 0 || f.Get(f.At(row, "id")) != "" }

// Said reports whether the folded fields of a piece hold something to look at.
func (f *startForm) Said(row int) bool {
	for _, field := range []string{"target", "probe", "wrapat"} {
		at := f.At(row, field)
		if f.Get(at) != "" || f.Wrong[at] != "" || f.Cautions[at] != "" {
			return true
		}
	}
	return false
}

// used lists the rows that name a piece.
func (f *startForm) used() []int {
	var rows []int
	for i := range form.MostPieces {
		if f.Used(i) {
			rows = append(rows, i)
		}
	}
	return rows
}

// wrongRow reports whether something is wrong with a piece, a missing name apart.
func (f *startForm) wrongRow(row int) bool {
	for field, text := range f.Wrong {
		if text != "" && strings.HasPrefix(field, f.At(row, "")) && (field != f.At(row, "id") || f.Get(field) != "") {
			return true
		}
	}
	return false
}

func (p *Set) newStartForm(see reader) *startForm {
	f := &startForm{Form: form.New(see.Reader), Ahead: map[string]string{}, inUse: p.inUse(), see: see}
	snap := p.View.Snapshot()
	for _, probe := range snap.Probes {
		if probe.Cook == 0 && (probe.Role == "" || probe.Role == cook.RolePiece) && !probe.Silent && probe.Last.Quality == cook.Good && !probe.ID.IsPit() && !strings.Contains(string(probe.ID), "/") {
			f.Free = append(f.Free, probe.ID)
		}
	}
	return f
}

func (p *Set) getStart(w http.ResponseWriter, r *http.Request) error {
	see := p.reader(r)
	f := p.newStartForm(see)
	f.Typed = url.Values{"name": {"Fire of " + see.Now().Format("Mon 2 Jan")}, "started": {see.Field(see.Now())},
		"setpoint": {see.Round(110)}}
	for i := range form.MostPieces {
		f.Typed.Set(f.At(i, "cut"), form.UsualCut().Cut)
		f.Typed.Set(f.At(i, "wrap"), form.UsualCut().Wrap)
	}
	proposed := f.Free
	if id := r.FormValue("probe"); id != "" {
		proposed = []cook.ProbeID{cook.ProbeID(id)}
	}
	for i, id := range proposed {
		if i < form.MostPieces {
			f.Typed.Set(f.At(i, "id"), string(id))
		}
	}
	c := f.cook()
	f.Ahead = p.ahead(f, c)
	f.Wrong, f.Cautions = map[string]string{}, map[string]string{} // nobody has typed yet
	f.Confirm = f.taken(c)
	return p.Render(w, r, http.StatusOK, "start", frame.View{Reader: see.Reader, Title: "Light up", Here: "start", Body: f})
}

func (p *Set) postStart(w http.ResponseWriter, r *http.Request) error {
	if err := visitor.Need(r, visitor.Manage); err != nil {
		return err
	}
	see := p.reader(r)
	f := p.newStartForm(see)
	f.Typed = r.PostForm
	c := f.cook()
	taken := f.taken(c)
	if r.FormValue("check") != "" {
		fields := map[string]cook.ProbeID{}
		for _, t := range taken {
			fields[t.Field] = t.Probe
		}
		return p.GiveJSON(w, r, map[string]any{"wrong": f.Wrong, "cautions": f.Cautions, "taken": fields, "ahead": p.ahead(f, c)})
	}
	if r.FormValue("look") != "" {
		f.Ahead, f.Confirm = p.ahead(f, c), taken
		return p.Render(w, r, http.StatusOK, "start", frame.View{Reader: see.Reader, Title: "Light up", Here: "start", Body: f})
	}
	if len(f.Wrong) == 0 && len(f.unseen(taken)) > 0 {
		f.Ahead, f.Confirm, f.Held = p.ahead(f, c), taken, true
		return p.Render(w, r, http.StatusOK, "start", frame.View{Reader: see.Reader, Title: "Not lit yet", Here: "start", Body: f})
	}
	if len(f.Wrong) == 0 {
		id, err := p.Desk.StartCook(r.Context(), c)
		if err == nil {
			http.Redirect(w, r, fmt.Sprintf("/?piece=%d/%s", id, c.Pieces[0].ID), http.StatusSeeOther)
			return nil
		}
		if !errors.Is(err, cook.ErrConflict) {
			return err
		}
		f.Wrong["form"] = err.Error()
	}
	f.Confirm = taken
	return p.Render(w, r, http.StatusUnprocessableEntity, "start", frame.View{Reader: see.Reader, Title: "Light up", Here: "start", Body: f})
}

// cook reads the form. Everything wrong is noted beside its field.
func (f *startForm) cook() cook.Cook {
	c := cook.Cook{Name: strings.TrimSpace(f.Get("name")), Pit: cook.Pit{Fire: strings.TrimSpace(f.Get("fire"))}}
	if c.Name == "" {
		f.Wrong["name"] = "Give the cook a name."
	} else {
		f.Note("name", cook.CheckText("the name", c.Name))
	}
	var err error
	if c.Started, err = form.LocalTime(f.Get("started"), f.see.Zone()); err != nil {
		f.Note("started", err)
	} else if c.Started.After(f.see.Now().Add(fireAhead)) {
		f.Wrong["started"] = "That is still to come: the forecast below is for that hour; light up when it is lit."
	}
	if text := f.Get("serve"); text != "" {
		if c.ServeBy, err = form.LocalTime(text, f.see.Zone()); err != nil {
			f.Note("serve", err)
		} else if !c.ServeBy.After(c.Started) {
			f.Wrong["serve"] = "The serving hour must come after the fire is lit."
		}
	}
	if c.Pit.SetPoint, err = f.see.Parse(f.Get("setpoint")); err != nil {
		f.Note("setpoint", err)
	} else if c.Pit.SetPoint < 40 || c.Pit.SetPoint > 300 {
		f.Wrong["setpoint"] = fmt.Sprintf("A pit is set between %s and %s.", f.see.Mark(40), f.see.Mark(300))
	}
	if text := strings.TrimSpace(f.Get("altitude")); text != "" {
		if c.AltitudeM, err = form.Altitude(text); err != nil {
			f.Note("altitude", err)
		}
	}
	for _, i := range f.used() {
		c.Pieces = append(c.Pieces, f.piece(i))
	}
	c.Started, c.ServeBy = cook.Instant(c.Started), cook.Instant(c.ServeBy)
	if err := c.Validate(); err != nil && len(f.Wrong) == 0 {
		f.Wrong["form"] = frame.Sentence(err.Error())
	}
	return c
}

func (f *startForm) piece(i int) cook.Piece {
	get := func(field string) string { return strings.TrimSpace(f.Get(f.At(i, field))) }
	p := cook.Piece{ID: cook.PieceID(get("id")), Cut: get("cut"), Intact: get("intact") != ""}
	f.Note(f.At(i, "id"), cook.ProbeID(p.ID).Validate())
	def, ok := form.CutOf(p.Cut)
	if !ok {
		f.Wrong[f.At(i, "cut")] = "Choose a cut."
	}
	p.Target = def.Target
	var err error
	if text := get("target"); text != "" {
		if p.Target, err = f.see.Parse(text); err != nil {
			f.Note(f.At(i, "target"), err)
		} else if p.Target <= 0 || p.Target > 150 {
			f.Wrong[f.At(i, "target")] = fmt.Sprintf("A target lies above %s and not above %s.", f.see.Mark(0), f.see.Mark(150))
		}
	}
	if least := def.LeastFor(p.Intact); ok && p.Target < least {
		f.Cautions[f.At(i, "target")] = fmt.Sprintf("Below %s, which the FDA Food Code asks of this; a lower target needs time at temperature. Your local code decides.", f.see.Mark(least))
	}
	if p.MassKg, err = form.Measure(get("mass"), "kg", cook.ParseMass); err != nil || p.MassKg > 100 {
		f.Note(f.At(i, "mass"), errors.Join(err, over(p.MassKg, 100, "a piece weighs at most 100 kg")))
	}
	if p.ThicknessMM, err = form.Measure(get("thick"), "mm", cook.ParseLength); err != nil || p.ThicknessMM > 500 {
		f.Note(f.At(i, "thick"), errors.Join(err, over(p.ThicknessMM, 500, "a piece is at most 500 mm thick")))
	}
	if text := get("probe"); text != "" && text != string(p.ID) {
		p.Probes = []cook.ProbeID{cook.ProbeID(text)}
		f.Note(f.At(i, "probe"), p.Probes[0].Validate())
	}
	if wrap := get("wrap"); wrap != "" {
		p.Plan = &cook.WrapPlan{Wrap: wrap, AtC: form.UsualWrapAt(p.Cut)}
		if text := get("wrapat"); text != "" {
			if p.Plan.AtC, err = f.see.Parse(text); err != nil {
				f.Note(f.At(i, "wrapat"), err)
			}
		}
	}
	return p
}

func over(v, limit float64, text string) error {
	if v > limit {
		return errors.New(text)
	}
	return nil
}
