package plans

import (
	"errors"
	"net/http"
	"net/url"
	"strings"

	"stallkeeper/internal/brine"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/page/form"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
)

// brineField is a figure of the form: a bare number has its unit.
type brineField struct {
	Name, Label, Hint, Unit string
	to                      func(*brine.Sheet) *string
}

var brineWeights = []brineField{
	{"meat", "Meat", "green weight, kg or like 6 lb", "kg", func(s *brine.Sheet) *string { return &s.Meat }},
	{"water", "Water", "kg, or like 1 gal; leave out for a dry cure", "kg", func(s *brine.Sheet) *string { return &s.Water }},
	{"ice", "Ice", "kg; it is water once melted", "kg", func(s *brine.Sheet) *string { return &s.Ice }},
	{"salt", "Salt", "g, besides that in the curing salt", "g", func(s *brine.Sheet) *string { return &s.Salt }},
	{"sugar", "Sugar", "g", "g", func(s *brine.Sheet) *string { return &s.Sugar }},
	{"accelerator", "Ascorbate or erythorbate", "g, if used", "g", func(s *brine.Sheet) *string { return &s.Accelerator }},
}

var brineCure = []brineField{
	{"cure_nitrite", "Nitrite in the curing salt", "%, as printed on its packet", "%", func(s *brine.Sheet) *string { return &s.CureNitrite }},
	{"want_ppm", "Wanted ingoing nitrite", "ppm; works out the curing salt", "", func(s *brine.Sheet) *string { return &s.WantPPM }},
	{"cure", "Curing salt", "g; counts when no nitrite is wanted above", "g", func(s *brine.Sheet) *string { return &s.Cure }},
	{"scale_resolution", "Smallest step of the scale", "g, such as 0.1; checks that it can weigh the dose", "g", func(s *brine.Sheet) *string { return &s.ScaleResolution }},
	{"pickup", "Pick-up", "%, for pumped and short immersion", "%", func(s *brine.Sheet) *string { return &s.PickUp }},
}

var brineMore = []brineField{
	{"for", "Scale it to this much meat", "kg", "kg", func(s *brine.Sheet) *string { return &s.For }},
	{"thickness", "Thickness", "mm or like 2 in, at the thickest place: for the cure time", "mm", func(s *brine.Sheet) *string { return &s.Thickness }},
	{"cool_from", "The hot brine has", "for the ice that cools it", "°", func(s *brine.Sheet) *string { return &s.CoolFrom }},
	{"cool_to", "It should have", "4 °C (39 °F) or below before meat goes in", "°", func(s *brine.Sheet) *string { return &s.CoolTo }},
}

// choice is an option of a select.
type choice struct{ Value, Label string }

var brineMethods = []choice{
	{"immersion-equilibrium", "immersed to balance, for days"}, {"immersion-pickup", "immersed shortly, by weight gained"},
	{"pumped", "pumped"}, {"dry", "dry rub, or mixed into ground meat"},
}

var brineProducts = []choice{{"whole-muscle", "whole muscle, such as brisket"}, {"bacon", "bacon"}, {"comminuted", "ground"}}

// brineView is the brine page.
type brineView struct {
	Typed               url.Values
	Wrong               string
	Answer              *brine.Answer
	Stored              []cook.KeptFormulation
	Name                string // the kept formulation that is shown
	Caution             string
	Weights, Cure, More []brineField
	Methods, Products   []choice
	Lots                []cook.LotID // open lots that it may go into
	SheetJSON           string       // for putting it into a lot
	Kept                bool
}

// Get is what stands in a field.
func (v *brineView) Get(name string) string { return v.Typed.Get(name) }

// UsualBrine is what the form shows first: within every limit, and protecting.
func UsualBrine() url.Values {
	return url.Values{"meat": {"3 kg"}, "water": {"4 kg"}, "ice": {"2 kg"}, "salt": {"400 g"}, "sugar": {"200 g"}, "cure_nitrite": {"6.25 %"},
		"want_ppm": {"120"}, "method": {"immersion-equilibrium"}, "product": {"whole-muscle"}, "flat": {"1"}, "thickness": {"50 mm"}}
}

func (p *Set) getBrine(w http.ResponseWriter, r *http.Request) error {
	see := p.Reader(r)
	v := &brineView{Typed: r.URL.Query(), Caution: brine.Caution, Weights: brineWeights, Cure: brineCure, More: brineMore, Methods: brineMethods, Products: brineProducts}
	var err error
	if v.Stored, err = p.Papers.Formulations(r.Context()); err != nil {
		return err
	}
	status := http.StatusOK
	if name := v.Typed.Get("load"); name != "" {
		kept, err := p.Papers.Formulation(r.Context(), name)
		if err != nil {
			return err
		}
		sheet, err := shop.SheetOf(kept)
		if err != nil {
			return err
		}
		if scaled := v.Typed.Get("for"); scaled != "" {
			sheet.For = form.WithUnit(scaled, "kg")
		}
		v.Name, v.Typed = name, typedSheet(sheet)
	} else if len(v.Typed) == 0 {
		v.Typed = UsualBrine()
	}
	asked := sheetOf(see, v.Typed)
	answer, err := asked.Work()
	if err != nil {
		v.Wrong, status = err.Error(), http.StatusUnprocessableEntity
	} else {
		v.Answer = &answer
	}
	return p.Render(w, r, status, "brine", frame.View{Reader: see, Title: "Brine", Here: "brine", Body: v})
}

// sheetOf reads the form.
func sheetOf(s frame.Reader, typed url.Values) brine.Sheet {
	out := brine.Sheet{Method: typed.Get("method"), Product: typed.Get("product"), Spices: strings.TrimSpace(typed.Get("spices")), Flat: typed.Get("flat") != ""}
	for _, f := range allBrineFields() {
		unit := f.Unit
		if unit == "°" {
			unit = strings.TrimPrefix(s.Unit(), "°")
		}
		*f.to(&out) = form.WithUnit(typed.Get(f.Name), unit)
	}
	return out
}

func allBrineFields() []brineField {
	return append(append(append([]brineField{}, brineWeights...), brineCure...), brineMore...)
}

// typedSheet fills the form from a kept sheet.
func typedSheet(sheet brine.Sheet) url.Values {
	out := url.Values{"method": {sheet.Method}, "product": {sheet.Product}, "spices": {sheet.Spices}}
	if sheet.Flat {
		out.Set("flat", "1")
	}
	for _, f := range allBrineFields() {
		out.Set(f.Name, *f.to(&sheet))
	}
	return out
}

// postBrineKeep keeps the formulation under a name.
func (p *Set) postBrineKeep(w http.ResponseWriter, r *http.Request) error {
	if err := visitor.Need(r, visitor.Work); err != nil {
		return err
	}
	name := strings.TrimSpace(r.PostForm.Get("name"))
	see := p.Reader(r)
	if _, _, err := p.KeepFormulation(r.Context(), name, sheetOf(see, r.PostForm), visitor.By(r, "")); err != nil {
		return err
	}
	http.Redirect(w, r, "/brine?load="+url.QueryEscape(name), http.StatusSeeOther)
	return nil
}

func (p *Set) postBrineDrop(w http.ResponseWriter, r *http.Request) error {
	if err := visitor.Need(r, visitor.Work); err != nil {
		return err
	}
	err := p.Papers.DropFormulation(r.Context(), cook.KeptFormulation{Name: r.FormValue("name"), Made: cook.Instant(p.Now()), By: visitor.By(r, visitor.OnPage)})
	if err != nil && !errors.Is(err, cook.ErrNotFound) {
		return err
	}
	http.Redirect(w, r, "/brine", http.StatusSeeOther)
	return nil
}
