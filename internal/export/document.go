package export

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/when"
)

// document writes the parts of an account down a sheet.
type document struct {
	Account
	*sheet
}

// PDF lays the account out for reading: the lot, what is open, the limits with their sources, the curves, every entry, deviations with
// their actions, checks, who signed, and how to verify it. It fails only on an entry that cannot be read.
func PDF(a Account) ([]byte, error) {
	at := lastMoment(a)
	foot := "Not signed by a checkpoint."
	if a.Proof != nil {
		foot = fmt.Sprintf("Checkpoint of entry %d, %s: %s", a.Proof.Checkpoint.Seq, when.Date(a.Proof.Checkpoint.At, a.Location), a.Proof.Checkpoint.Head)
	}
	s, err := newSheet("Lot "+string(a.Lot.ID), "Record of lot "+string(a.Lot.ID)+" · "+a.Lot.Product, foot, at)
	if err != nil {
		return nil, fmt.Errorf("write PDF of lot %s: %w", a.Lot.ID, err)
	}
	d := &document{a, s}
	for _, part := range []func() error{d.front, d.limits, d.curves, d.deviations, d.entries, d.checks, d.makers, d.proof, d.end} {
		if err := part(); err != nil {
			return nil, fmt.Errorf("write PDF of lot %s: %w", a.Lot.ID, err)
		}
	}
	if len(a.JSON) > 0 {
		s.pdf.SetAttachments([]fpdf.Attachment{{Content: a.JSON, Filename: a.File, Description: "the records, for stallkeeper records verify"}})
	}
	var out bytes.Buffer
	if err := s.pdf.Output(&out); err != nil {
		return nil, fmt.Errorf("write PDF of lot %s: %w", a.Lot.ID, err)
	}
	return out.Bytes(), nil
}

// lastMoment dates the document: by what it shows, so that the same records give the same bytes.
func lastMoment(a Account) time.Time {
	var at time.Time
	for _, e := range slices.Concat(a.Lot.Entries, a.Shop) {
		if e.Entered.After(at) {
			at = e.Entered
		}
	}
	if a.Proof != nil && a.Proof.Checkpoint.At.After(at) {
		at = a.Proof.Checkpoint.At
	}
	return at
}

func (d *document) when(at time.Time) string {
	if at.IsZero() {
		return "–"
	}
	return when.Date(at, d.Location)
}

// front is the head of the lot and what an inspector looks for first.
func (d *document) front() error {
	l := d.Lot
	d.font(16, true)
	d.pdf.CellFormat(inner, 8, d.fit("Record of lot "+string(l.ID), inner), "", 0, "L", false, 0, "")
	d.pdf.SetXY(margin, d.pdf.GetY()+10)
	facts := [][2]string{{"Establishment", cmp.Or(d.Establishment, "NOT SET: [records] shop in the configuration")}, {"Product", l.Product}, {"Code", orDash(l.Code)}, {"Kept", cmp.Or(string(l.Class), "not given; kept as long as the longest")},
		{"Opened", d.when(l.Opened) + " by " + l.OpenedBy}, {"Closed", d.closed()}, {"Times", "local, of " + d.zone()}}
	if l.Note != "" {
		facts = append(facts, [2]string{"Note", l.Note})
	}
	d.facts(facts)
	d.standing()
	d.pieces()
	d.stages()
	d.ingredients()
	return nil
}

// zone names the time zone, once for all times of the document; both offsets where the clocks were set between its first and its last.
func (d *document) zone() string {
	first, last := when.Zone(d.Location, d.Lot.Opened), when.Zone(d.Location, lastMoment(d.Account))
	if first != last {
		return first + " at first, " + last + " at the end; a time that the clock showed twice has its offset beside it"
	}
	return first
}

func orDash(s string) string { return cmp.Or(s, "–") }

func (d *document) closed() string {
	if d.Lot.Running() {
		return "not yet: the work goes on, and more entries will follow"
	}
	return d.when(d.Lot.Closed)
}

// standing says what is open before anything else is read.
func (d *document) standing() {
	d.heading("How it stands", 20)
	for _, line := range d.Lot.Standing(d.Location) {
		d.paragraph(line.Text, line.Open)
	}
	for _, c := range Cautions() {
		d.say(c)
	}
}

func (d *document) pieces() {
	if len(d.Lot.Pieces) == 0 {
		d.heading("Pieces and weights", 10)
		d.say("No pieces are entered.")
	} else {
		rows := make([][]cell, 0, len(d.Lot.Pieces))
		for _, p := range d.Lot.Pieces {
			rows = append(rows, plain(string(p.ID), orDash(cook.CutName(p.Cut)), pick(p.Intact, "intact", "not intact, or not known"), d.thickness(p), d.weights(p), orDash(p.Note)))
		}
		d.heading("Pieces and weights", 20)
		d.table([]column{{"Piece", 2}, {"Cut", 3}, {"Interior", 3}, {"Thickness", 2}, {"Weights", 5}, {"Note", 4}}, rows)
	}
	if whole := d.weights(record.Piece{}); whole != "–" {
		d.say("The whole lot: " + strings.ReplaceAll(whole, "\n", "; "))
	}
}

func (d *document) thickness(p record.Piece) string {
	if p.ThicknessMM == 0 {
		return "not measured"
	}
	return strconv.FormatFloat(p.ThicknessMM, 'f', -1, 64) + " mm"
}

func (d *document) weights(p record.Piece) string {
	var out []string
	for _, w := range d.Lot.Weights {
		if w.Body.Piece == p.ID {
			text := string(w.Body.When) + " " + record.Mass(w.Body.MassKg)
			if w.Body.Instrument != "" {
				text += ", " + w.Body.Instrument
			}
			out = append(out, text)
		}
	}
	return orDash(strings.Join(out, "\n"))
}

func (d *document) stages() {
	d.heading("Stages", 20)
	if len(d.Lot.Stages) == 0 {
		d.say("No stage is entered.")
		return
	}
	rows := make([][]cell, 0, len(d.Lot.Stages))
	for _, s := range d.Lot.Stages {
		until, lasted := "goes on", "–"
		if !s.Until.IsZero() {
			until, lasted = d.when(s.Until), when.Span(s.Until.Sub(s.From))
		}
		rows = append(rows, plain(string(s.Stage), cmp.Or(string(s.Piece), "whole lot"), d.when(s.From), until, lasted, orDash(names(s.Probes)), s.By))
	}
	d.table([]column{{"Stage", 2}, {"Piece", 2}, {"From", 4}, {"Until", 4}, {"Lasted", 2}, {"Probes", 3}, {"By", 2}}, rows)
}

func (d *document) ingredients() {
	if len(d.Lot.Raw) > 0 {
		d.heading("Raw materials", 20)
		rows := make([][]cell, 0, len(d.Lot.Raw))
		for _, k := range d.Lot.Raw {
			r := k.Body
			mass := "not weighed"
			if r.MassKg > 0 {
				mass = record.Mass(r.MassKg)
			}
			rows = append(rows, plain(r.Name, orDash(r.Supplier), r.Reference, d.when(r.Received), d.when(r.UseBy), mass, orDash(r.Note)))
		}
		d.table([]column{{"What", 3}, {"Supplier", 3}, {"Reference", 3}, {"Received", 3}, {"Use by", 3}, {"Weight", 3}, {"Note", 3}}, rows)
	}
	for _, f := range d.Lot.Formulations {
		d.heading("Formulation: "+f.Body.Name, 12)
		facts := [][2]string{{"Entered", d.when(f.Entered) + " by " + f.By + ", entry " + strconv.FormatInt(f.Seq, 10)}}
		for _, s := range record.Tell(&f.Body, d.Location) {
			facts = append(facts, [2]string{s.Name, s.Text})
		}
		d.facts(facts)
	}
}

func names[T ~string](list []T) string {
	out := make([]string, 0, len(list))
	for _, n := range list {
		out = append(out, string(n))
	}
	return strings.Join(out, ", ")
}

func pick[T any](is bool, yes, no T) T {
	if is {
		return yes
	}
	return no
}
