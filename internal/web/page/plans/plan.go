package plans

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/brine"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/plan"
	"stallkeeper/internal/web/page/form"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
	"stallkeeper/internal/when"
)

// planForm is the form that plans backwards, with what was typed and what is wrong with it.
type planForm struct {
	form.Form
	Kept  []cook.KeptPlan
	Steps []plan.StepID // that may have been begun
}

func (p *Set) newPlanForm(r *http.Request, see frame.Reader) (*planForm, error) {
	f := &planForm{Form: form.New(see)}
	for _, id := range plan.Steps() {
		if id != plan.Serve && id != plan.Chill && id != plan.Freeze && id != plan.FireLight && id != plan.Ready {
			f.Steps = append(f.Steps, id)
		}
	}
	var err error
	f.Kept, err = p.Papers.Plans(r.Context(), cook.PlanQuery{Limit: 20})
	return f, err
}

// Used reports whether anything was typed about a piece.
func (f *planForm) Used(row int) bool { return row == 0 || f.Get(f.At(row, "mass")) != "" }

func (p *Set) getPlanForm(w http.ResponseWriter, r *http.Request) error {
	see := p.Reader(r)
	f, err := p.newPlanForm(r, see)
	if err != nil {
		return err
	}
	f.Typed = url.Values{"pit": {see.Round(107)}, "p0-cut": {"brisket_flat_cured"}, "p0-mass": {"2.5 kg"}, "p0-thick": {"50 mm"}, "p0-target": {see.Round(92)}}
	if text := r.URL.Query().Get("from"); text != "" {
		if err := p.fillFrom(r, f, text); err != nil {
			return err
		}
	}
	if lot := r.URL.Query().Get("lot"); lot != "" {
		f.Typed.Set("lot", lot)
	}
	return p.Render(w, r, http.StatusOK, "plan", frame.View{Reader: see, Title: "Plan", Here: "plan", Body: f})
}

// fillFrom fills the form with the order of a kept plan.
func (p *Set) fillFrom(r *http.Request, f *planForm, text string) error {
	id, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return fmt.Errorf("plan %q: %w", text, cook.ErrNotFound)
	}
	kept, err := p.Papers.Plan(r.Context(), id)
	if err != nil {
		return err
	}
	o, err := shop.OrderOf(kept)
	if err != nil {
		return err
	}
	f.fill(o)
	return nil
}

func (f *planForm) fill(o plan.Order) {
	v := url.Values{"name": {o.Name}, "serve": {f.See.Field(o.Serve)}, "pit": {f.See.Round(o.Pit)}, "fire": {o.Fire}, "lot": {string(o.Lot)}}
	number := func(key string, x float64, unit string) {
		if x != 0 {
			v.Set(key, strconv.FormatFloat(x, 'f', -1, 64)+unit)
		}
	}
	number("altitude", o.AltitudeM, "")
	number("cure", o.CureDays, "")
	number("brine", o.BrineSalt, "")
	number("cook", float64(o.Cook), "")
	for i, q := range o.Pieces[:min(form.MostPieces, len(o.Pieces))] {
		v.Set(f.At(i, "id"), string(q.ID))
		v.Set(f.At(i, "cut"), string(q.Cut))
		number(f.At(i, "mass"), q.MassKg, " kg")
		number(f.At(i, "thick"), q.ThicknessMM, " mm")
		v.Set(f.At(i, "target"), f.See.Round(q.Target))
		number(f.At(i, "cure"), q.CureDays, "")
		v.Set(f.At(i, "wrap"), q.Wrap)
		if q.Uncured {
			v.Set(f.At(i, "uncured"), "1")
		}
		if q.Frozen {
			v.Set(f.At(i, "frozen"), "1")
		}
		v.Set(f.At(i, "done"), string(q.Done))
		if !q.DoneAt.IsZero() {
			v.Set(f.At(i, "doneat"), f.See.Field(q.DoneAt))
		}
	}
	f.Typed = v
}

// postPlan works the plan out and keeps it.
func (p *Set) postPlan(w http.ResponseWriter, r *http.Request) error {
	if err := visitor.Need(r, visitor.Work); err != nil {
		return err
	}
	see := p.Reader(r)
	f, err := p.newPlanForm(r, see)
	if err != nil {
		return err
	}
	f.Typed = r.PostForm
	order := f.order()
	if len(f.Wrong) == 0 {
		kept, _, err := p.KeepPlan(r.Context(), order, visitor.By(r, ""))
		var request *problem.Error
		switch {
		case err == nil:
			http.Redirect(w, r, fmt.Sprintf("/plan/%d", kept.ID), http.StatusSeeOther)
			return nil
		case !errors.As(err, &request):
			return err
		}
		f.Wrong["form"] = frame.Sentence(strings.ReplaceAll(err.Error(), "\n", "; "))
	}
	return p.Render(w, r, http.StatusUnprocessableEntity, "plan", frame.View{Reader: see, Title: "Plan", Here: "plan", Body: f})
}

// order reads the form. Everything wrong is noted beside its field.
func (f *planForm) order() plan.Order {
	o := plan.Order{Name: strings.TrimSpace(f.Get("name")), Fire: strings.TrimSpace(f.Get("fire")), Lot: cook.LotID(strings.TrimSpace(f.Get("lot")))}
	if name := f.See.Zone().String(); name != "Local" && name != "UTC" {
		o.Zone = name
	}
	var err error
	if o.Serve, err = form.LocalTime(f.Get("serve"), f.See.Zone()); err != nil {
		f.Note("serve", err)
	}
	if o.Pit, err = f.See.Parse(f.Get("pit")); err != nil {
		f.Note("pit", err)
	}
	if text := strings.TrimSpace(f.Get("altitude")); text != "" {
		if o.AltitudeM, err = form.Altitude(text); err != nil {
			f.Note("altitude", err)
		}
	}
	o.CureDays = f.number("cure", "d")
	if text := form.WithUnit(f.Get("brine"), "%"); text != "" {
		share, err := brine.ParsePercent(text)
		f.Note("brine", err)
		o.BrineSalt = 100 * share
	}
	o.Cook = cook.ID(f.number("cook", ""))
	for i := range form.MostPieces {
		if f.Used(i) {
			o.Pieces = append(o.Pieces, f.orderPiece(i))
		}
	}
	return o
}

// number reads a number with an optional unit; nothing is 0.
func (f *planForm) number(field, unit string) float64 {
	text := strings.TrimSpace(form.Plain(f.Get(field)))
	if unit != "" {
		text = strings.TrimSpace(strings.TrimSuffix(strings.TrimSuffix(text, "days"), unit))
	}
	if text == "" {
		return 0
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v >= 0 && v < 1e6) {
		f.Wrong[field] = "Write a number, such as 10, or leave it empty."
	}
	return v
}

func (f *planForm) orderPiece(i int) plan.OrderPiece {
	get := func(field string) string { return strings.TrimSpace(f.Get(f.At(i, field))) }
	q := plan.OrderPiece{ID: cook.PieceID(get("id")), Cut: estimator.Cut(get("cut")), Wrap: get("wrap"), Uncured: get("uncured") != "", Frozen: get("frozen") != "", Done: plan.StepID(get("done"))}
	def, ok := form.CutOf(string(q.Cut))
	if !ok {
		f.Wrong[f.At(i, "cut")] = "Choose a cut."
	}
	q.Target = def.Target
	var err error
	if text := get("target"); text != "" {
		if q.Target, err = f.See.Parse(text); err != nil {
			f.Note(f.At(i, "target"), err)
		}
	}
	if q.MassKg, err = form.Measure(get("mass"), "kg", cook.ParseMass); err != nil {
		f.Note(f.At(i, "mass"), err)
	} else if q.MassKg == 0 {
		f.Wrong[f.At(i, "mass")] = "Weigh the piece and enter its weight, such as 2.5 kg or 6 lb."
	}
	if q.ThicknessMM, err = form.Measure(get("thick"), "mm", cook.ParseLength); err != nil {
		f.Note(f.At(i, "thick"), err)
	}
	q.CureDays = f.number(f.At(i, "cure"), "d")
	if text := get("doneat"); text != "" && q.Done != "" {
		if q.DoneAt, err = form.LocalTime(text, f.See.Zone()); err != nil {
			f.Note(f.At(i, "doneat"), err)
		}
	}
	return q
}

// plannedView is one plan as a page.
type plannedView struct {
	Kept  cook.KeptPlan
	Plan  plan.Plan
	Now   bool // as it stands now, not as it was made
	Days  []planDay
	Late  []plan.Step
	Live  bool // it can be looked at as it stands now
	Many  bool
	Joint string
}

// planDay is the steps of one day.
type planDay struct {
	Day   string
	Steps []planStep
}

type planStep struct {
	plan.Step
	IsLate bool   // by now
	Behind bool   // of the serving hour, though not by now
	Slack  string // "" = none
}

func (p *Set) getPlanned(w http.ResponseWriter, r *http.Request) error {
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil {
		return fmt.Errorf("plan %q: %w", r.PathValue("id"), cook.ErrNotFound)
	}
	kept, err := p.Papers.Plan(r.Context(), id)
	if err != nil {
		return err
	}
	see := p.Reader(r)
	order, made, err := p.Remake(kept)
	if err != nil {
		return err
	}
	v := plannedView{Kept: kept, Plan: made, Live: kept.Serve.After(p.Now())}
	if r.URL.Query().Get("now") != "" {
		if lot := r.URL.Query().Get("lot"); lot != "" {
			order.Lot = cook.LotID(lot)
		}
		if v.Plan, err = p.PlanNow(r.Context(), order); err != nil {
			return err
		}
		v.Now = true
	}
	v.lay()
	title := kept.Name
	if title == "" {
		title = "Plan for " + see.Clock(kept.Serve)
	}
	return p.Render(w, r, http.StatusOK, "planned", frame.View{Reader: see, Title: title, Here: "plan", Body: v})
}

// lay puts the steps under their days.
func (v *plannedView) lay() {
	zone := v.Plan.Request.Zone
	v.Many = len(v.Plan.Pieces) > 1
	if v.Many {
		v.Joint = v.Plan.AllReady()
	}
	for _, s := range v.Plan.Steps {
		day := when.Calendar(s.At, zone)
		if len(v.Days) == 0 || v.Days[len(v.Days)-1].Day != day {
			v.Days = append(v.Days, planDay{Day: day})
		}
		step := planStep{Step: s, IsLate: s.Late(v.Plan.Request.Now), Behind: s.Slack() < 0}
		if s.Slack() >= time.Minute {
			step.Slack = when.Span(s.Slack())
		}
		d := &v.Days[len(v.Days)-1]
		d.Steps = append(d.Steps, step)
		if step.IsLate {
			v.Late = append(v.Late, s)
		}
	}
}

// At is a time in the plan's zone.
func (v plannedView) At(t time.Time) string { return when.Clock(t, v.Plan.Request.Zone) }

// On is a time with its day in the plan's zone.
func (v plannedView) On(t time.Time) string {
	return when.Day(t, v.Plan.Request.Zone)
}

// Rules are the cure rules of all pieces.
func (v plannedView) Rules() []string {
	var out []string
	for _, q := range v.Plan.Request.Pieces {
		for _, rule := range q.CureRules {
			out = append(out, frame.CutName(string(q.ID))+", "+rule)
		}
	}
	return out
}
