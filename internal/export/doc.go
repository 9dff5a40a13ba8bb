// Package export writes the account of one lot for those who judge it: as a PDF laid out for reading and signing, and as CSV for a
// spreadsheet. The JSON beside them, which `stallkeeper records verify` checks, is record.Export.
//
// The rules here are: the same Account gives the same bytes; every entry stands in it, corrected ones too; nothing is
// judged here, verdicts are those of the entries; what is missing is said to be missing; a character that the font
// cannot show is written as its code point and counted at the end, never dropped.
//
// No conformity is claimed with a standard for documents (PDF/A, PDF/UA) or with a rule for electronic records.
package export

import (
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

// Account is everything that an export of one lot shows.
type Account struct {
	Establishment string // name, address and number as the shop has set it; empty: not set, and the document says so
	Lot           *record.Lot
	Shop          []record.Entry // the shop's own entries that concern it: checks of its instruments
	Curves        []Curve
	Proof         *Proof // nil: nothing is signed yet, and the document says so
	Location      *time.Location
	File          string // name of the JSON export that belongs to it, such as "26-11-25-brisket.json"
	JSON          []byte // that export: the PDF carries it as an attachment; nil = none
}

// Curve is what the probes of one stage measured.
type Curve struct {
	Stage record.StageRun
	Until time.Time // where the curve ends: the end of the stage, or the newest reading while it runs
	Lines []Line
}

// Line is one probe's good readings, thinned to buckets that keep the extremes.
type Line struct {
	Probe cook.ProbeID
	Pit   bool
	Trace []cook.Bucket
}

// Proof is how the export is tied to the journal.
type Proof struct {
	Checkpoint record.Checkpoint
	Entries    int64 // that the JSON export shows, in full or as links
	Seals      []record.Seal
}

// MaxSilence is how far apart two readings may lie before a curve shows a gap, which verdicts treat as unknown. Choice of this project, the same
// as the default of the cooking and cooling rules.
const MaxSilence = 30 * time.Minute

// Cautions stand on every document that shows a verdict.
func Cautions() []string {
	return []string{
		"A verdict here is about the readings and entries on record. Whether food is safe is for a thermometer in the thickest part, the current edition of each rule, the local code and a licensed authority to decide.",
		"Limits and sources are those that stood in the shop's settings and entries; check each against its publication. This document claims no conformity with any regulation or standard.",
	}
}

// extremes of the lines, false without any reading.
func (c Curve) extremes() (low, high thermal.Celsius, ok bool) {
	for _, l := range c.Lines {
		for _, b := range l.Trace {
			if !ok {
				low, high, ok = b.Min, b.Max, true
			}
			low, high = min(low, b.Min), max(high, b.Max)
		}
	}
	return low, high, ok
}
