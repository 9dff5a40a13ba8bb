package main

import (
	"errors"
	"fmt"
	"io"
	"net/url"
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
	return `Examples:

    stallkeeper lot open "cured brisket" --piece flat:brisket_flat_cured --by KM
    stallkeeper lot weigh 26-11-25-cured-brisket raw 3.4kg --piece flat --by KM

Everything is an entry in a journal that only grows: "stallkeeper records correct" corrects, nothing is removed.`
}

type lotOpenCmd struct {
	entering
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
	return `Example:

    stallkeeper lot open "cured brisket" --class refrigerated --piece flat:brisket_flat_cured --intact --by KM`
}

// Run opens the lot.
func (o lotOpenCmd) Run(c *console) error {
	by, err := o.sign()
	if err != nil {
		return err
	}
	in := struct {
		signed
		ID cook.LotID `json:"id,omitempty"`
		record.Opened
	}{by, cook.LotID(o.ID), record.Opened{Product: o.Product, Code: o.Code, Class: record.Class(o.Class)}}
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
func (lotListCmd) Help() string { return "Example:\n\n    stallkeeper lot list --running" }

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
		fmt.Fprintf(c.out, "%-15s  %-32s  %-24s  %s\n", dateOf(s.Opened), s.ID, s.Product, s.state())
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
		out = append(out, "closed "+dateOf(s.Closed))
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
func (lotShowCmd) Help() string { return "Example:\n\n    stallkeeper lot show 26-11-25-cured-brisket" }

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
		fmt.Fprintf(c.out, "  piece        %s %s%s\n", p.ID, cook.CutName(p.Cut), map[bool]string{true: ", intact"}[p.Intact])
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
		fmt.Fprintf(c.out, "  records to be kept until %s; nothing is deleted by the program\n", dateOf(lot.KeepUntil))
	}
	return nil
}

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
