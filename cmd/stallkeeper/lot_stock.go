package main

import (
	"encoding/json"
	"fmt"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/when"
)

type lotStoreCmd struct {
	lotVerb
	Portions int       `arg:"" help:"How many portions."`
	Mass     string    `placeholder:"250g" help:"Weight of one portion, with unit."`
	Piece    string    `help:"Of which piece."`
	Kept     string    `default:"frozen" help:"frozen or refrigerated (${default})."`
	Where    string    `placeholder:"PLACE" help:"Which freezer or cooler."`
	Standard string    `placeholder:"ID" help:"By which standard it is dated: usda-cold, food-code-cold, usda-frozen or usda-frozen-long (default: the stricter)."`
	Made     time.Time `placeholder:"TIME" help:"When it was cooked (default: the end of its smoking)."`
}

// Help gives an example.
func (lotStoreCmd) Help() string {
	return `Example:

    stallkeeper lot store 26-11-25-cured-brisket 8 --mass 250g --where "freezer 2" --by KM

Freezers are kept at -18 °C (0 °F) or below, coolers at 5 °C (41 °F) or below. Standards differ: the date names its own.`
}

// Run puts the portions in.
func (s lotStoreCmd) Run(c *console) error {
	by, err := s.sign()
	if err != nil {
		return err
	}
	body := struct {
		signed
		Lot      string    `json:"lot"`
		Portions int       `json:"portions"`
		MassKg   float64   `json:"mass_kg,omitempty"`
		Piece    string    `json:"piece,omitempty"`
		Kept     string    `json:"kept"`
		Where    string    `json:"where,omitempty"`
		Standard string    `json:"standard,omitempty"`
		Made     time.Time `json:"made,omitzero"`
	}{signed: by, Lot: s.Lot, Portions: s.Portions, Piece: s.Piece, Kept: s.Kept, Where: s.Where, Standard: s.Standard, Made: s.Made}
	if s.Mass != "" {
		if body.MassKg, err = cook.ParseMass(s.Mass); err != nil {
			return err
		}
	}
	var kept record.Entry
	if err := s.call(c.ctx, "POST", "/stock", body, &kept); err != nil {
		return err
	}
	var in record.Portioned
	if err := json.Unmarshal(kept.Body, &in); err != nil {
		return err
	}
	_, err = fmt.Fprintf(c.out, "entry %d: %d portions %s, to be used by %s (%s)\n", kept.Seq, in.Portions, in.Kept, dateOf(in.UseBy), in.Standard)
	return err
}

type lotTakeCmd struct {
	entering
	Portions int    `arg:"" help:"How many portions."`
	Product  string `placeholder:"PRODUCT" help:"Of which product (default: of any)."`
	Lot      string `placeholder:"LOT" help:"Of which lot (default: the oldest)."`
	Kept     string `placeholder:"frozen" help:"frozen or refrigerated (default: of both)."`
	Why      string `placeholder:"TEXT" help:"What becomes of them: served, sold."`
	Discard  bool   `help:"They are thrown away: what is past its date in the cooler goes first."`
}

// Help gives an example.
func (lotTakeCmd) Help() string {
	return `Example:

    stallkeeper lot take 3 --product "cured brisket" --why served --by KM`
}

// Run takes the portions out.
func (t lotTakeCmd) Run(c *console) error {
	by, err := t.sign()
	if err != nil {
		return err
	}
	body := struct {
		signed
		Portions int    `json:"portions"`
		Product  string `json:"product,omitempty"`
		Lot      string `json:"lot,omitempty"`
		Kept     string `json:"kept,omitempty"`
		Why      string `json:"why,omitempty"`
		Discard  bool   `json:"discard"`
	}{by, t.Portions, t.Product, t.Lot, t.Kept, t.Why, t.Discard}
	var answer struct {
		Taken []struct {
			Lot      string
			Product  string
			Entry    int64
			Portions int
			Where    string
			UseBy    time.Time `json:"use_by"`
		}
	}
	if err := t.call(c.ctx, "POST", "/stock/take", body, &answer); err != nil {
		return err
	}
	for _, l := range answer.Taken {
		fmt.Fprintf(c.out, "%d of %s, lot %s%s, %s (entry %d)\n", l.Portions, l.Product, l.Lot, inPlace(l.Where), useBy(l.UseBy), l.Entry)
	}
	return nil
}

type lotStockCmd struct {
	daemonAPI
	JSON bool `help:"Print it as JSON."`
}

// Help gives an example.
func (lotStockCmd) Help() string { return "Example:\n\n    stallkeeper lot stock" }

// Run lists the stock with its figures; a finding if something is past its date in the cooler.
func (s lotStockCmd) Run(c *console) error {
	var answer struct {
		Stock []struct {
			Lot, Product, Kept, Where, Standard string
			Left                                int
			In                                  time.Time
			UseBy                               time.Time `json:"use_by"`
			Past, Spoiled                       bool
		} `json:"stock"`
	}
	if s.JSON {
		return s.print(c, "/stock")
	}
	if err := s.call(c.ctx, "GET", "/stock", nil, &answer); err != nil {
		return err
	}
	all, spoiled, aged, undated := 0, 0, 0, 0
	for _, l := range answer.Stock {
		by, mark := useBy(l.UseBy), ""
		if l.UseBy.IsZero() {
			undated += l.Left
		} else {
			by += " (" + l.Standard + ")"
		}
		switch {
		case l.Spoiled:
			mark = "  PAST ITS DATE: throw it away"
			spoiled += l.Left
		case l.Past:
			mark = "  past its date of quality"
			aged += l.Left
		}
		all += l.Left
		fmt.Fprintf(c.out, "%4d  %-24s  %-24s  %s since %s%s, %s%s\n", l.Left, l.Product, l.Lot, l.Kept, dateOf(l.In), inPlace(l.Where), by, mark)
	}
	if len(answer.Stock) == 0 {
		_, err := fmt.Fprintln(c.out, "nothing is in stock: put portions in with stallkeeper lot store")
		return err
	}
	fmt.Fprintf(c.out, "%4d  in all: %d past their date in the cooler, %d past their date of quality, %d with no use-by given\n", all, spoiled, aged, undated)
	if spoiled > 0 {
		return errFinding
	}
	return nil
}

func inPlace(where string) string {
	if where == "" {
		return ""
	}
	return ", " + where
}

func dateOf(t time.Time) string { return when.Calendar(t, time.Local) }

func useBy(t time.Time) string {
	if t.IsZero() {
		return "no use-by given"
	}
	return "use by " + dateOf(t)
}
