package lots

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"stallkeeper/internal/brine"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/larder"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/page/form"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
)

// wayView is a lot on its way from the brine to the freezer.
type wayView struct {
	*record.Lot
	Sign     frame.Sign
	Running  []record.StageRun
	Clocks   []monitor.StageView
	Stages   []cook.Stage
	Probes   []cook.ProbeID
	Cooks    []cook.Stored // running
	Timeline []shop.Moment
	Yield    shop.Yield
	Plans    []cook.KeptPlan
	Plan     *cook.KeptPlan
	Forms    []cook.KeptFormulation
	Recipes  []recipeLine
	Stock    []larder.Lot
	Lives    []larder.Life
	Wrong    string
	Typed    url.Values
	Done     string
}

// recipeLine is a formulation of the lot in a few words.
type recipeLine struct {
	Seq  int64
	Name string
	Text string
}

// Get is what was typed.
func (v *wayView) Get(name string) string { return v.Typed.Get(name) }

func (p *Set) getWay(w http.ResponseWriter, r *http.Request) error {
	return p.way(w, r, http.StatusOK, nil, "")
}

// way shows the page; typed is a form that was not accepted, with what is wrong.
func (p *Set) way(w http.ResponseWriter, r *http.Request, status int, typed url.Values, wrong string) error {
	lot, err := p.Records.Lot(r.Context(), cook.LotID(r.PathValue("lot")))
	if err != nil {
		return err
	}
	see := p.reader(r)
	v := &wayView{Lot: lot, Sign: p.Signing(r), Stages: cook.Stages(), Lives: larder.Lives(), Wrong: wrong, Typed: typed, Done: r.URL.Query().Get("done")}
	if err := p.fillWay(r.Context(), v); err != nil {
		return err
	}
	return p.Render(w, r, status, "way", frame.View{Reader: see.Reader, Title: "The way of " + string(lot.ID), Here: "lots", Back: "/lots/" + url.PathEscape(string(lot.ID)) + "/way", Body: v})
}

func (p *Set) fillWay(ctx context.Context, v *wayView) (err error) {
	for _, run := range v.Lot.Stages {
		if run.Until.IsZero() {
			v.Running = append(v.Running, run)
		}
	}
	snap := p.View.Snapshot()
	for _, s := range snap.Stages {
		if s.Watch.Lot == v.ID {
			v.Clocks = append(v.Clocks, s)
		}
	}
	for _, probe := range snap.Probes {
		v.Probes = append(v.Probes, probe.ID)
	}
	for i := range snap.Cooks {
		v.Cooks = append(v.Cooks, snap.Cooks[i].Stored)
	}
	if v.Timeline, err = p.Timeline(ctx, v.Lot); err != nil {
		return err
	}
	if v.Yield, err = p.YieldOf(ctx, v.Lot); err != nil {
		return err
	}
	if v.Plans, err = p.Papers.Plans(ctx, cook.PlanQuery{Limit: 20}); err != nil {
		return err
	}
	if v.Plan, err = p.KeptPlanOfLot(ctx, v.Lot); err != nil {
		return err
	}
	if v.Forms, err = p.Papers.Formulations(ctx); err != nil {
		return err
	}
	for _, f := range v.Formulations {
		v.Recipes = append(v.Recipes, recipeLine{f.Seq, f.Body.Name, recipeWords(f.Body.Formula)})
	}
	for _, b := range v.Lot.Stock {
		v.Stock = append(v.Stock, larder.Lot{ID: v.ID, Product: v.Product, Batch: b})
	}
	return nil
}

// recipeWords tells what a formulation amounts to, where it is one of the brine calculation.
func recipeWords(formula json.RawMessage) string {
	var page struct {
		Answer *brine.Answer `json:"answer"` // as the page keeps it, beside its sheet
	}
	a := &brine.Answer{} // as the command line prints it
	if json.Unmarshal(formula, &page) != nil || json.Unmarshal(formula, a) != nil {
		return "" // a recipe of another shape
	}
	if page.Answer != nil {
		a = page.Answer
	}
	if a.LimitPPM == 0 {
		return ""
	}
	words := fmt.Sprintf("ingoing nitrite %.0f ppm of %.0f allowed", a.IngoingPPM, a.LimitPPM)
	if a.BrineSalt != nil {
		words += fmt.Sprintf(", brine of %.1f %% salt", *a.BrineSalt)
	}
	return words
}

// enterWay signs and enters what a form of the page says, and leads back to it.
func (p *Set) enterWay(w http.ResponseWriter, r *http.Request, enter func(who record.Maker) error) error {
	who, err := p.Signed(r)
	if err == nil {
		err = enter(who)
	}
	if err == nil {
		http.Redirect(w, r, "/lots/"+url.PathEscape(r.PathValue("lot"))+"/way?done=1", http.StatusSeeOther)
		return nil
	}
	said, err := frame.Refused(r, err)
	if err != nil {
		return err
	}
	return p.way(w, r, said.Status, r.PostForm, said.Detail)
}

func (p *Set) postWayStage(w http.ResponseWriter, r *http.Request) error {
	return p.enterWay(w, r, func(who record.Maker) error {
		m := shop.StageMove{To: cook.Stage(r.FormValue("to")), Piece: cook.PieceID(r.FormValue("piece")), Note: strings.TrimSpace(r.FormValue("note"))}
		if !r.PostForm.Has("to") { // empty is an answer, and ends the stage
			return problem.Bad("say to which stage it goes, with an empty one to end the stage at hand")
		}
		var err error
		if m.At, err = form.Time(r, p.Location); err != nil {
			return err
		}
		for _, name := range strings.FieldsFunc(r.FormValue("probes"), func(c rune) bool { return c == ' ' || c == ',' }) {
			m.Probes = append(m.Probes, cook.ProbeID(name))
		}
		if text := r.FormValue("cook"); text != "" {
			if m.Cook, err = form.CookID(text); err != nil {
				return err
			}
		}
		_, _, err = p.MoveStage(r.Context(), cook.LotID(r.PathValue("lot")), m, who)
		return err
	})
}

func (p *Set) postWayPlan(w http.ResponseWriter, r *http.Request) error {
	return p.enterWay(w, r, func(who record.Maker) error {
		id, err := strconv.ParseInt(r.FormValue("plan"), 10, 64)
		if err != nil {
			return problem.Bad("choose a plan that is kept")
		}
		if _, err := p.Papers.Plan(r.Context(), id); err != nil {
			return err
		}
		return p.enterBody(r, who, record.Planned{Plan: id})
	})
}

func (p *Set) enterBody(r *http.Request, who record.Maker, body record.Body) error {
	_, err := p.Records.Append(r.Context(), record.Draft{Lot: cook.LotID(r.PathValue("lot")), Maker: who, Body: body})
	return shop.RecordError(err)
}

func (p *Set) postWayFormulation(w http.ResponseWriter, r *http.Request) error {
	return p.enterWay(w, r, func(who record.Maker) error {
		kept, err := p.Papers.Formulation(r.Context(), r.FormValue("formulation"))
		if err != nil {
			return err
		}
		sheet, err := shop.SheetOf(kept)
		if err != nil {
			return err
		}
		if text := r.FormValue("for"); text != "" {
			sheet.For = form.WithUnit(text, "kg")
		}
		answer, err := sheet.Work()
		if err != nil {
			return problem.Bad("%s", problem.ClipTo(err.Error(), 500))
		}
		text, err := formula(sheet, answer)
		if err != nil {
			return err
		}
		return p.enterBody(r, who, record.Formulation{Name: kept.Name, Formula: text})
	})
}

func (p *Set) postWayStock(w http.ResponseWriter, r *http.Request) error {
	return p.enterWay(w, r, func(who record.Maker) error {
		in := shop.StockIn{Lot: cook.LotID(r.PathValue("lot")), Piece: cook.PieceID(r.FormValue("piece")), Where: strings.TrimSpace(r.FormValue("where"))}
		life, err := larder.Find(r.FormValue("standard"), "")
		if err != nil {
			return problem.Bad("%s", problem.ClipTo(err.Error(), 300))
		}
		in.Standard, in.Kept = life.ID, life.Kept
		if in.Portions, err = strconv.Atoi(strings.TrimSpace(r.FormValue("portions"))); err != nil {
			return problem.Bad("portions %s is not a number: enter how many, such as 8", problem.Clip(r.FormValue("portions")))
		}
		if in.MassKg, err = form.Measure(strings.TrimSpace(r.FormValue("mass")), "g", cook.ParseMass); err != nil {
			return problem.Bad("%s", problem.ClipTo(err.Error(), 300))
		}
		_, err = p.PutIn(r.Context(), in, who)
		return err
	})
}

// formula is what goes into a lot: the sheet and what it comes to.
func formula(sheet brine.Sheet, answer brine.Answer) (json.RawMessage, error) {
	return json.Marshal(struct {
		Sheet  brine.Sheet  `json:"sheet"`
		Answer brine.Answer `json:"answer"`
	}{sheet, answer})
}
