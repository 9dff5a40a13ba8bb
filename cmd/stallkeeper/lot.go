package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

type lotCmd struct {
	Open        lotOpenCmd        `cmd:"" help:"Open a lot."`
	List        lotListCmd        `cmd:"" help:"List lots, newest first."`
	Show        lotShowCmd        `cmd:"" help:"Show a lot as it stands."`
	Piece       lotPieceCmd       `cmd:"" help:"Add a piece."`
	Raw         lotRawCmd         `cmd:"" help:"Note a raw material with what traces it back."`
	Weigh       lotWeighCmd       `cmd:"" help:"Note a weight."`
	Formulation lotFormulationCmd `cmd:"" help:"Keep a recipe as the brine calculation printed it."`
	Stage       lotStageCmd       `cmd:"" help:"Start or end a stage."`
	Move        lotMoveCmd        `cmd:"" help:"End the stage that runs and start the next, in one step."`
	Timeline    lotTimelineCmd    `cmd:"" help:"Show the whole way of a lot, from its opening to the freezer."`
	Plan        lotPlanCmd        `cmd:"" help:"Say which kept plan the lot follows (stallkeeper plan --lot shows what is left)."`
	Yield       lotYieldCmd       `cmd:"" help:"Show what became of the meat, and what a kilogram cost."`
	Store       lotStoreCmd       `cmd:"" help:"Put portions into the freezer or the cooler, with the date to use them by."`
	Take        lotTakeCmd        `cmd:"" help:"Take portions out, the oldest first."`
	Stock       lotStockCmd       `cmd:"" help:"List the portions in stock, first in first out."`
	Note        lotNoteCmd        `cmd:"" help:"Keep a note."`
	Change      lotChangeCmd      `cmd:"" help:"Change product, code or class."`
	Close       lotCloseCmd       `cmd:"" help:"End the work on a lot."`
}

// Help gives an example.
func (lotCmd) Help() string {
	return `Example: stallkeeper lot open "cured brisket" --piece flat:brisket_flat_cured --by KM, then stallkeeper lot weigh 26-11-25-cured-brisket raw 3.4kg --piece flat --by KM

Everything is an entry in a journal that only grows: "stallkeeper records correct" corrects, nothing is removed.`
}

// signing is who makes an entry, and of when it is.
type signing struct {
	By  string        `placeholder:"KM" help:"Your initials; not needed with a login."`
	PIN string        `name:"pin" env:"STALLKEEPER_PIN" placeholder:"PIN" help:"Your PIN, where people are set up; better given as STALLKEEPER_PIN."`
	At  time.Time     `placeholder:"TIME" help:"When it happened (RFC 3339; default: now)."`
	Ago time.Duration `placeholder:"20m" help:"How long ago it happened."`
}

// when gives the time of the event; zero is the daemon's now.
func (s signing) when() (time.Time, error) {
	if s.Ago < 0 {
		return time.Time{}, fmt.Errorf("--ago %v is negative: enter what has happened", s.Ago)
	}
	if s.At.IsZero() && s.Ago > 0 {
		return time.Now().Add(-s.Ago).UTC(), nil
	}
	return s.At, nil
}

// sentRecord is an entry as it is sent to the daemon.
type sentRecord struct {
	Lot      cook.LotID  `json:"lot,omitempty"`
	Kind     record.Kind `json:"kind"`
	At       time.Time   `json:"at,omitzero"`
	By       string      `json:"by,omitempty"`
	PIN      string      `json:"pin,omitempty"`
	Body     any         `json:"body"`
	Corrects int64       `json:"corrects,omitempty"`
	Reason   string      `json:"reason,omitempty"`
}

// enter makes an entry and says which.
func (a daemonAPI) enter(c *console, s signing, out sentRecord) error {
	at, err := s.when()
	if err != nil {
		return err
	}
	out.At, out.By, out.PIN = at, s.By, s.PIN
	var kept record.Entry
	if err := a.call(c.ctx, "POST", "/records", out, &kept); err != nil {
		return err
	}
	late := ""
	if d := kept.Late(); d > 0 {
		late = fmt.Sprintf(", entered %v later", d.Round(time.Minute))
	}
	_, err = fmt.Fprintf(c.out, "entry %d: %s of %s by %s%s\n", kept.Seq, kept.Kind, kept.At.Local().Format("2006-01-02 15:04"), kept.By, late)
	return err
}

type lotOpenCmd struct {
	daemonAPI
	signing
	Product string   `arg:"" help:"What it is to become."`
	ID      string   `placeholder:"NAME" help:"Name of the lot (default: the day and the product)."`
	Code    string   `help:"The product's code."`
	Class   string   `enum:",refrigerated,frozen,shelf-stable" default:"" help:"How it is kept: refrigerated, frozen or shelf-stable."`
	Piece   []string `placeholder:"NAME:CUT" help:"A piece, with its cut. Repeatable."`
	Intact  bool     `help:"The pieces are whole muscle, neither injected nor needled. Without it the stricter limits hold."`
	JSON    bool     `help:"Print the answer as JSON."`
}

// Help gives an example.
func (lotOpenCmd) Help() string {
	return `Example: stallkeeper lot open "cured brisket" --class refrigerated --piece flat:brisket_flat_cured --intact --by KM`
}

// Run opens the lot.
func (o lotOpenCmd) Run(c *console) error {
	at, err := o.when()
	if err != nil {
		return err
	}
	in := struct {
		ID  cook.LotID `json:"id,omitempty"`
		At  time.Time  `json:"at,omitzero"`
		By  string     `json:"by,omitempty"`
		PIN string     `json:"pin,omitempty"`
		record.Opened
	}{cook.LotID(o.ID), at, o.By, o.PIN, record.Opened{Product: o.Product, Code: o.Code, Class: record.Class(o.Class)}}
	for _, p := range o.Piece {
		name, cut, _ := strings.Cut(p, ":")
		in.Pieces = append(in.Pieces, record.Piece{ID: cook.PieceID(name), Cut: cut, Intact: o.Intact})
	}
	var lot record.Lot
	if err := o.call(c.ctx, "POST", "/lots", in, &lot); err != nil {
		return err
	}
	return show(c, o.JSON, lot, fmt.Sprintf("lot %s opened: %s", lot.ID, lot.Product))
}

type lotListCmd struct {
	daemonAPI
	Running bool `help:"Only those that are not closed."`
	Limit   int  `default:"50" help:"How many (${default})."`
	JSON    bool `help:"Print the answer as JSON."`
}

// Help gives an example.
func (lotListCmd) Help() string { return "Example: stallkeeper lot list --running" }

// Run lists the lots.
func (l lotListCmd) Run(c *console) error {
	var answer struct {
		Lots []shownLot `json:"lots"`
	}
	path := fmt.Sprintf("/lots?limit=%d&running=%t", l.Limit, l.Running)
	if l.JSON {
		return l.print(c, path)
	}
	if err := l.call(c.ctx, "GET", path, nil, &answer); err != nil {
		return err
	}
	for _, s := range answer.Lots {
		fmt.Fprintf(c.out, "%s  %-32s  %-24s  %s\n", s.Opened.Local().Format("2006-01-02"), s.ID, s.Product, s.state())
	}
	return nil
}

// print copies a JSON answer of the daemon.
func (a daemonAPI) print(c *console, path string) error {
	body, err := a.open(c.ctx, "GET", path, "", nil)
	if err != nil {
		return err
	}
	_, err = io.Copy(c.out, body)
	return errors.Join(err, body.Close())
}

// shownLot is a lot as the daemon shows it.
type shownLot struct {
	record.Lot
	OpenDeviations int       `json:"open_deviations"`
	Reviewed       bool      `json:"reviewed"`
	KeepUntil      time.Time `json:"keep_until"`
}

// state is how far it is, in a few words.
func (s shownLot) state() string {
	var out []string
	for _, run := range s.Stages {
		if run.Until.IsZero() && s.Running() {
			out = append(out, strings.TrimSpace("in "+string(run.Stage)+" "+string(run.Piece)))
		}
	}
	if !s.Running() {
		out = append(out, "closed "+s.Closed.Local().Format("2006-01-02"))
	}
	if s.OpenDeviations > 0 {
		out = append(out, strconv.Itoa(s.OpenDeviations)+" open deviations")
	}
	if s.Reviewed {
		out = append(out, "reviewed")
	}
	if len(out) == 0 {
		return "open"
	}
	return strings.Join(out, ", ")
}

type lotShowCmd struct {
	daemonAPI
	Lot  string `arg:"" help:"Name of the lot."`
	JSON bool   `help:"Print it as JSON."`
}

// Help gives an example.
func (lotShowCmd) Help() string { return "Example: stallkeeper lot show 26-11-25-cured-brisket" }

// Run shows the lot.
func (s lotShowCmd) Run(c *console) error {
	path := "/lots/" + url.PathEscape(s.Lot)
	if s.JSON {
		return s.print(c, path)
	}
	var lot shownLot
	if err := s.call(c.ctx, "GET", path, nil, &lot); err != nil {
		return err
	}
	fmt.Fprintf(c.out, "%s: %s, opened %s by %s, %s\n", lot.ID, lot.Product, clock(lot.Opened), lot.OpenedBy, lot.state())
	for _, p := range lot.Pieces {
		fmt.Fprintf(c.out, "  piece        %s %s%s\n", p.ID, p.Cut, map[bool]string{true: ", intact"}[p.Intact])
	}
	for _, r := range lot.Raw {
		fmt.Fprintf(c.out, "  raw material %s, %s %s\n", r.Body.Name, r.Body.Supplier, r.Body.Reference)
	}
	for _, w := range lot.Weights {
		fmt.Fprintf(c.out, "  weight       %s %s %.3f kg, %s %s\n", w.Body.When, w.Body.Piece, w.Body.MassKg, clock(w.At), w.By)
	}
	for _, f := range lot.Formulations {
		fmt.Fprintf(c.out, "  formulation  %s\n", f.Body.Name)
	}
	for _, run := range lot.Stages {
		until := "now"
		if !run.Until.IsZero() {
			until = clock(run.Until)
		}
		fmt.Fprintf(c.out, "  stage        %s %s, %s to %s, %s\n", run.Stage, run.Piece, clock(run.From), until, run.By)
	}
	for _, m := range lot.Monitoring {
		fmt.Fprintf(c.out, "  looked at    %s: %s, %s, %s %s\n", m.Body.CCP, actual(m.Body), m.Body.Verdict, clock(m.At), m.By)
	}
	for _, d := range lot.Deviations {
		action := "NO CORRECTIVE ACTION YET"
		if d.Action != nil {
			action = string(d.Action.Body.Disposition) + " by " + d.Action.By
		}
		fmt.Fprintf(c.out, "  deviation    %d %s: %s\n", d.Seq, d.Body.What, action)
	}
	for _, r := range lot.Reviews {
		fmt.Fprintf(c.out, "  review       %s, %s %s\n", map[bool]string{true: "may leave", false: "stays: " + r.Body.Note}[r.Body.Ship], clock(r.At), r.By)
	}
	for _, n := range lot.Notes {
		fmt.Fprintf(c.out, "  note         %s, %s %s\n", n.Body.Text, clock(n.At), n.By)
	}
	if !lot.KeepUntil.IsZero() {
		fmt.Fprintf(c.out, "  records to be kept until %s; nothing is deleted by the program\n", lot.KeepUntil.Local().Format(time.DateOnly))
	}
	return nil
}

func clock(t time.Time) string { return t.Local().Format("2006-01-02 15:04") }

// actual is the actual value of a monitoring entry.
func actual(m record.Monitoring) string {
	switch {
	case m.Celsius != nil:
		return m.Celsius.String()
	case m.Value != nil:
		return fmt.Sprintf("%g %s", *m.Value, m.Unit)
	}
	return m.Measured
}

type lotPieceCmd struct {
	daemonAPI
	signing
	Lot       string `arg:"" help:"Name of the lot."`
	Piece     string `arg:"" help:"Name of the piece."`
	Cut       string `help:"Its cut."`
	Intact    bool   `help:"Whole muscle, neither injected nor needled."`
	Thickness string `placeholder:"52mm" help:"Thickness, with unit."`
}

// Help gives an example.
func (lotPieceCmd) Help() string {
	return "Example: stallkeeper lot piece 26-11-25-cured-brisket point --cut brisket_packer --by KM"
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
	return p.enter(c, p.signing, sentRecord{Lot: cook.LotID(p.Lot), Kind: record.KindPiece, Body: body})
}

type lotRawCmd struct {
	daemonAPI
	signing
	Lot       string    `arg:"" help:"Name of the lot."`
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
	return `Example: stallkeeper lot raw 26-11-25-cured-brisket "beef brisket" --reference L4711 --supplier "the abattoir" --mass 3.4kg --by KM`
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
	return r.enter(c, r.signing, sentRecord{Lot: cook.LotID(r.Lot), Kind: record.KindRawMaterial, Body: body})
}

type lotWeighCmd struct {
	daemonAPI
	signing
	Lot   string `arg:"" help:"Name of the lot."`
	When  string `arg:"" enum:"raw,trimmed,fat,rendered,cured,smoked,chilled,sliced,served" help:"At which step: raw, trimmed, fat (trimmed off), rendered, cured, smoked, chilled, sliced or served."`
	Mass  string `arg:"" help:"Weight, with unit: 3.4kg."`
	Piece string `help:"Of which piece (default: the whole lot)."`
	With  string `help:"Which scale."`
}

// Help gives an example.
func (lotWeighCmd) Help() string {
	return `Example: stallkeeper lot weigh 26-11-25-cured-brisket raw 3.4kg --piece flat --with "floor scale" --by KM`
}

// Run notes the weight.
func (w lotWeighCmd) Run(c *console) error {
	kg, err := cook.ParseMass(w.Mass)
	if err != nil {
		return err
	}
	body := record.Weighed{Piece: cook.PieceID(w.Piece), When: record.When(w.When), MassKg: kg, Instrument: w.With}
	return w.enter(c, w.signing, sentRecord{Lot: cook.LotID(w.Lot), Kind: record.KindWeighed, Body: body})
}

type lotFormulationCmd struct {
	daemonAPI
	signing
	Lot  string `arg:"" help:"Name of the lot."`
	Name string `arg:"" help:"What it is called."`
	From string `required:"" placeholder:"FILE" help:"JSON of the calculation; - reads standard input."`
}

// Help gives an example.
func (lotFormulationCmd) Help() string {
	return `Example: stallkeeper lot formulation 26-11-25-cured-brisket "brine" --from brine.json --by KM

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
	return f.enter(c, f.signing, sentRecord{Lot: cook.LotID(f.Lot), Kind: record.KindFormulation, Body: record.Formulation{Name: f.Name, Formula: data}})
}

// readFileOrStdin reads a file; "-" is standard input.
func readFileOrStdin(path string) ([]byte, error) {
	if path == "-" {
		return io.ReadAll(os.Stdin)
	}
	return os.ReadFile(path)
}

type lotStageCmd struct {
	Start lotStageStartCmd `cmd:"" help:"Start a stage."`
	End   lotStageEndCmd   `cmd:"" help:"End a stage."`
}

// Help gives an example.
func (lotStageCmd) Help() string {
	return "Example: stallkeeper lot stage start 26-11-25-cured-brisket cure --probe cooler --by KM"
}

type lotStageStartCmd struct {
	daemonAPI
	signing
	Lot   string   `arg:"" help:"Name of the lot."`
	Stage string   `arg:"" help:"thaw, cure, dry, smoke, hold, chill, store or freeze."`
	Piece string   `help:"Of which piece (default: the whole lot)."`
	Probe []string `help:"A probe that watches it. Repeatable."`
	Cook  cook.ID  `help:"Number of the cook that this smoking is."`
	Note  string   `help:"Free text."`
}

// Help gives an example.
func (lotStageStartCmd) Help() string {
	return "Example: stallkeeper lot stage start 26-11-25-cured-brisket smoke --probe core --probe pit --cook 12 --by KM"
}

// Run starts the stage.
func (s lotStageStartCmd) Run(c *console) error {
	body := record.StageStarted{Stage: cook.Stage(s.Stage), Piece: cook.PieceID(s.Piece), Cook: s.Cook, Note: s.Note}
	for _, p := range s.Probe {
		body.Probes = append(body.Probes, cook.ProbeID(p))
	}
	return s.enter(c, s.signing, sentRecord{Lot: cook.LotID(s.Lot), Kind: record.KindStageStarted, Body: body})
}

type lotStageEndCmd struct {
	daemonAPI
	signing
	Lot   string `arg:"" help:"Name of the lot."`
	Stage string `arg:"" help:"thaw, cure, dry, smoke, hold, chill, store or freeze."`
	Piece string `help:"Of which piece (default: the whole lot)."`
	Note  string `help:"Free text."`
}

// Help gives an example.
func (lotStageEndCmd) Help() string {
	return "Example: stallkeeper lot stage end 26-11-25-cured-brisket cure --by KM"
}

// Run ends the stage.
func (s lotStageEndCmd) Run(c *console) error {
	body := record.StageEnded{Stage: cook.Stage(s.Stage), Piece: cook.PieceID(s.Piece), Note: s.Note}
	return s.enter(c, s.signing, sentRecord{Lot: cook.LotID(s.Lot), Kind: record.KindStageEnded, Body: body})
}

type lotNoteCmd struct {
	daemonAPI
	signing
	Lot  string `arg:"" help:"Name of the lot."`
	Text string `arg:"" help:"The note."`
}

// Help gives an example.
func (lotNoteCmd) Help() string {
	return `Example: stallkeeper lot note 26-11-25-cured-brisket "turned in the brine" --by KM`
}

// Run keeps the note.
func (n lotNoteCmd) Run(c *console) error {
	return n.enter(c, n.signing, sentRecord{Lot: cook.LotID(n.Lot), Kind: record.KindNote, Body: record.Note{Text: n.Text}})
}

type lotChangeCmd struct {
	daemonAPI
	signing
	Lot     string `arg:"" help:"Name of the lot."`
	Product string `help:"New product."`
	Code    string `help:"New code."`
	Class   string `enum:",refrigerated,frozen,shelf-stable" default:"" help:"New class: refrigerated, frozen or shelf-stable."`
	Note    string `help:"New note."`
}

// Help gives an example.
func (lotChangeCmd) Help() string {
	return "Example: stallkeeper lot change 26-11-25-cured-brisket --class frozen --by KM"
}

// Run changes the lot.
func (l lotChangeCmd) Run(c *console) error {
	body := record.Changed{Product: l.Product, Code: l.Code, Class: record.Class(l.Class), Note: l.Note}
	return l.enter(c, l.signing, sentRecord{Lot: cook.LotID(l.Lot), Kind: record.KindChanged, Body: body})
}

type lotCloseCmd struct {
	daemonAPI
	signing
	Lot  string `arg:"" help:"Name of the lot."`
	Note string `help:"Free text."`
}

// Help gives an example.
func (lotCloseCmd) Help() string {
	return "Example: stallkeeper lot close 26-11-25-cured-brisket --by KM"
}

// Run closes the lot.
func (l lotCloseCmd) Run(c *console) error {
	return l.enter(c, l.signing, sentRecord{Lot: cook.LotID(l.Lot), Kind: record.KindClosed, Body: record.Closed{Note: l.Note}})
}
