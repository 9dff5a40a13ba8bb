package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

type lotPieceCmd struct {
	lotVerb
	Piece     string `arg:"" help:"Name of the piece."`
	Cut       string `help:"Its cut."`
	Intact    bool   `help:"Whole muscle, neither injected nor needled."`
	Thickness string `placeholder:"52mm" help:"Thickness, with unit."`
}

// Help gives an example.
func (lotPieceCmd) Help() string {
	return "Example:\n\n    stallkeeper lot piece 26-11-25-cured-brisket point --cut brisket_packer --by KM"
}

// Run adds the piece.
func (p lotPieceCmd) Run(c *console) error {
	body := record.Piece{ID: cook.PieceID(p.Piece), Cut: p.Cut, Intact: p.Intact}
	if p.Thickness != "" {
		var err error
		if body.ThicknessMM, err = cook.ParseLength(p.Thickness); err != nil {
			return err
		}
	}
	return p.enter(c, body)
}

type lotRawCmd struct {
	lotVerb
	Name      string    `arg:"" help:"What it is."`
	Reference string    `required:"" help:"The supplier's lot, or the number of the delivery."`
	Supplier  string    `help:"From whom."`
	Mass      string    `placeholder:"3.4kg" help:"How much, with unit."`
	Price     string    `placeholder:"48EUR" help:"What was paid for all of it, with the currency's code."`
	Received  time.Time `placeholder:"TIME" help:"When it came."`
	UseBy     time.Time `placeholder:"TIME" help:"Use by."`
}

// Help gives an example.
func (lotRawCmd) Help() string {
	return `Example:

    stallkeeper lot raw 26-11-25-cured-brisket "beef brisket" --reference L4711 --supplier "the abattoir" --mass 3.4kg --by KM`
}

// Run notes the raw material.
func (r lotRawCmd) Run(c *console) error {
	body := record.RawMaterial{Name: r.Name, Reference: r.Reference, Supplier: r.Supplier, Received: r.Received, UseBy: r.UseBy}
	if r.Mass != "" {
		var err error
		if body.MassKg, err = cook.ParseMass(r.Mass); err != nil {
			return err
		}
	}
	if r.Price != "" {
		var err error
		if body.Price, body.Currency, err = parsePrice(r.Price); err != nil {
			return err
		}
	}
	return r.enter(c, body)
}

type lotWeighCmd struct {
	lotVerb
	When  string `arg:"" enum:"raw,trimmed,fat,rendered,cured,smoked,chilled,sliced,served" help:"At which step: raw, trimmed, fat (trimmed off), rendered, cured, smoked, chilled, sliced or served."`
	Mass  string `arg:"" help:"Weight, with unit: 3.4kg."`
	Piece string `help:"Of which piece (default: the whole lot)."`
	With  string `help:"Which scale."`
}

// Help gives an example.
func (lotWeighCmd) Help() string {
	return `Example:

    stallkeeper lot weigh 26-11-25-cured-brisket raw 3.4kg --piece flat --with "floor scale" --by KM`
}

// Run notes the weight.
func (w lotWeighCmd) Run(c *console) error {
	kg, err := cook.ParseMass(w.Mass)
	if err != nil {
		return err
	}
	body := record.Weighed{Piece: cook.PieceID(w.Piece), When: record.When(w.When), MassKg: kg, Instrument: w.With}
	return w.enter(c, body)
}

type lotFormulationCmd struct {
	lotVerb
	Name string `arg:"" help:"What it is called."`
	From string `required:"" placeholder:"FILE" help:"JSON of the calculation; - reads standard input."`
}

// Help gives an example.
func (lotFormulationCmd) Help() string {
	return `Example:

    stallkeeper lot formulation 26-11-25-cured-brisket "brine" --from brine.json --by KM

"stallkeeper brine … --json" prints such JSON.`
}

// Run keeps the recipe.
func (f lotFormulationCmd) Run(c *console) error {
	data, err := readFileOrStdin(f.From)
	if err != nil {
		return err
	}
	if !json.Valid(data) {
		return fmt.Errorf("%s is no JSON: give what stallkeeper brine --json printed", f.From)
	}
	return f.enter(c, record.Formulation{Name: f.Name, Formula: data})
}

// readFileOrStdin reads a file; "-" is standard input.
func readFileOrStdin(path string) ([]byte, error) {
	if path == "-" {
		return io.ReadAll(os.Stdin)
	}
	return os.ReadFile(path)
}

type lotNoteCmd struct {
	lotVerb
	Text string `arg:"" help:"The note."`
}

// Help gives an example.
func (lotNoteCmd) Help() string {
	return `Example:

    stallkeeper lot note 26-11-25-cured-brisket "turned in the brine" --by KM`
}

// Run keeps the note.
func (n lotNoteCmd) Run(c *console) error {
	return n.enter(c, record.Note{Text: n.Text})
}

type lotChangeCmd struct {
	lotVerb
	Product string `help:"New product."`
	Code    string `help:"New code."`
	Class   string `enum:",refrigerated,frozen,shelf-stable" default:"" help:"New class: refrigerated, frozen or shelf-stable."`
	Note    string `help:"New note."`
}

// Help gives an example.
func (lotChangeCmd) Help() string {
	return "Example:\n\n    stallkeeper lot change 26-11-25-cured-brisket --class frozen --by KM"
}

// Run changes the lot.
func (l lotChangeCmd) Run(c *console) error {
	body := record.Changed{Product: l.Product, Code: l.Code, Class: record.Class(l.Class), Note: l.Note}
	return l.enter(c, body)
}

type lotCloseCmd struct {
	lotVerb
	Note string `help:"Free text."`
}

// Help gives an example.
func (lotCloseCmd) Help() string {
	return "Example:\n\n    stallkeeper lot close 26-11-25-cured-brisket --by KM"
}

// Run closes the lot.
func (l lotCloseCmd) Run(c *console) error {
	return l.enter(c, record.Closed{Note: l.Note})
}

// parsePrice reads "48EUR" or "48.50 USD".
func parsePrice(text string) (sum float64, currency string, err error) {
	text = strings.TrimSpace(text)
	if n := len(text); n > 3 {
		sum, err = strconv.ParseFloat(strings.TrimSpace(text[:n-3]), 64)
		currency = strings.ToUpper(text[n-3:])
	}
	body := record.RawMaterial{Name: "price", Reference: "price", Price: sum, Currency: currency}
	if err != nil || sum == 0 || body.Validate() != nil {
		return 0, "", fmt.Errorf("price %q: write the sum with the currency's code, such as 48EUR", text)
	}
	return sum, currency, nil
}
