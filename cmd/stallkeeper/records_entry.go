package main

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

type recordsAddCmd struct {
	entering
	Kind   string `arg:"" help:"Kind of entry, such as monitoring, probe-checked or note."`
	Body   string `arg:"" help:"Its body as JSON, @FILE, or - for standard input; see /api/v1/openapi.json."`
	Lot    string `help:"Name of the lot; none for the shop's own entries."`
	Reason string `help:"Why it comes late."`
}

// Help gives an example.
func (recordsAddCmd) Help() string {
	return `Example:

    stallkeeper records add probe-checked '{"instrument":"core","method":"ice","points":[{"true_c":0,"read_c":0.3}],"passed":true}' --by KM`
}

// Run makes the entry.
func (a recordsAddCmd) Run(c *console) error {
	by, err := a.sign()
	if err != nil {
		return err
	}
	body, err := bodyArgument(a.Body)
	if err != nil {
		return err
	}
	return a.enter(c, entry{signed: by, Lot: cook.LotID(a.Lot), Kind: record.Kind(a.Kind), Body: body, Reason: a.Reason})
}

func bodyArgument(s string) (json.RawMessage, error) {
	data := []byte(s)
	var err error
	if path, isFile := strings.CutPrefix(s, "@"); isFile || s == "-" {
		data, err = readFileOrStdin(path)
	}
	if err == nil && !json.Valid(data) {
		err = fmt.Errorf("the body %.40q is no JSON", data)
	}
	return data, err
}

type recordsMonitorCmd struct {
	lotVerb
	Value      string `arg:"" help:"The actual value: a temperature such as 71.4C, or words."`
	Verdict    string `required:"" enum:"met,missed,unknown" help:"Was the limit met: met, missed or unknown."`
	CCP        string `name:"ccp" help:"Critical control point."`
	Limit      string `help:"Critical limit, with its source."`
	Piece      string `help:"Which piece."`
	Stage      string `help:"Which stage."`
	Instrument string `help:"Which thermometer; its last check is added."`
}

// Help gives an example.
func (recordsMonitorCmd) Help() string {
	return `Example:

    stallkeeper records monitor 26-11-25-cured-brisket 71.4C --verdict met --ccp "3 smoking" --limit "71.2 °C" --instrument "pen 2" --by KM`
}

// Run makes the entry.
func (m recordsMonitorCmd) Run(c *console) error {
	body := record.Monitoring{ControlPoint: record.ControlPoint{CCP: m.CCP, Limit: m.Limit, Piece: cook.PieceID(m.Piece), Stage: cook.Stage(m.Stage)},
		Instrument: m.Instrument, Verdict: record.Verdict(m.Verdict)}
	if celsius, err := cook.ParseTemperature(m.Value); err == nil {
		body.Celsius = &celsius
	} else {
		body.Measured = m.Value
	}
	return m.enter(c, body)
}

type recordsDeviationCmd struct {
	lotVerb
	What       string `arg:"" help:"What was not as it should be, with the actual value."`
	CCP        string `name:"ccp" help:"Critical control point."`
	Limit      string `help:"Critical limit, with its source."`
	Piece      string `help:"Which piece."`
	Stage      string `help:"Which stage."`
	Unforeseen bool   `help:"The plan does not foresee it: 9 CFR 417.3(b)."`
}

// Help gives an example.
func (recordsDeviationCmd) Help() string {
	return `Example:

    stallkeeper records deviation 26-11-25-cured-brisket "2 h 20 min to 21 °C" --ccp "5 chilling" --limit "21 °C within 2 h" --by KM`
}

// Run makes the entry.
func (d recordsDeviationCmd) Run(c *console) error {
	body := record.Deviation{ControlPoint: record.ControlPoint{CCP: d.CCP, Limit: d.Limit, Piece: cook.PieceID(d.Piece), Stage: cook.Stage(d.Stage)}, What: d.What, Unforeseen: d.Unforeseen}
	return d.enter(c, body)
}

type recordsActionCmd struct {
	lotVerb
	Deviation   int64  `arg:"" help:"Number of the deviation's entry."`
	Cause       string `required:"" help:"What caused it, and that it is removed."`
	Control     string `required:"" help:"How the point was brought under control."`
	Prevention  string `required:"" help:"What keeps it from happening again."`
	Disposition string `required:"" enum:"released,reworked,held,diverted,destroyed" help:"What became of the product: released, reworked, held, diverted or destroyed."`
	Product     string `help:"More on the product: how much, and on whose word."`
	Reassessed  string `help:"By whom the plan was reassessed, for an unforeseen deviation."`
}

// Help gives an example.
func (recordsActionCmd) Help() string {
	return `Example:

    stallkeeper records action 26-11-25-cured-brisket 214 --cause "fan stood still, replaced" --control "cooler at 2 °C" --prevention "fan checked daily" --disposition destroyed --by KM`
}

// Run makes the entry.
func (a recordsActionCmd) Run(c *console) error {
	body := record.CorrectiveAction{Deviation: a.Deviation, Cause: a.Cause, Control: a.Control, Prevention: a.Prevention,
		Disposition: record.Disposition(a.Disposition), Product: a.Product, Reassessed: a.Reassessed}
	return a.enter(c, body)
}

type recordsVerifiedCmd struct {
	lotVerb
	Of    string  `arg:"" enum:"direct-observation,records,instrument" help:"What was looked at: direct-observation, records or instrument."`
	Found string  `arg:"" help:"What was found."`
	Bad   bool    `help:"It was not as it should be."`
	Entry []int64 `help:"An entry that was looked at. Repeatable; none = the lot's so far."`
}

// Help gives an example.
func (recordsVerifiedCmd) Help() string {
	return `Example:

    stallkeeper records verified 26-11-25-cured-brisket direct-observation "core read with a second thermometer: 71.6 °C" --by ST`
}

// Run makes the entry.
func (v recordsVerifiedCmd) Run(c *console) error {
	body := record.Verification{Of: v.Of, Found: v.Found, Good: !v.Bad, Checks: v.Entry}
	return v.enter(c, body)
}

type recordsReviewCmd struct {
	lotVerb
	Stays bool   `help:"The lot does not leave; say why with --note."`
	Note  string `help:"Free text."`
}

// Help gives an example.
func (recordsReviewCmd) Help() string {
	return "Example:\n\n    stallkeeper records review 26-11-25-cured-brisket --by ST\n\nBy somebody who made none of its records."
}

// Run makes the entry.
func (r recordsReviewCmd) Run(c *console) error {
	return r.enter(c, record.Review{Ship: !r.Stays, Note: r.Note})
}

type recordsCorrectCmd struct {
	daemonAPI
	who
	At     time.Time `placeholder:"TIME" help:"When it happened (RFC 3339; default: as the entry said)."`
	Seq    int64     `arg:"" help:"Number of the entry."`
	Body   string    `arg:"" help:"The whole body as it should be: JSON, @FILE, or - for standard input."`
	Reason string    `required:"" help:"Why."`
}

// Help gives an example.
func (recordsCorrectCmd) Help() string {
	return `Example:

    stallkeeper records correct 214 '{"piece":"flat","when":"trimmed","mass_kg":3.1}' --reason "comma forgotten" --by KM`
}

// Run makes the correcting entry.
func (r recordsCorrectCmd) Run(c *console) error {
	body, err := bodyArgument(r.Body)
	if err != nil {
		return err
	}
	return r.correct(c, r.Seq, entry{signed: r.sign(r.At), Body: body, Reason: r.Reason})
}

// correct enters another entry in place of one, of the same kind and at the same time unless it names its own.
func (a daemonAPI) correct(c *console, seq int64, out entry) error {
	var old record.Entry
	if err := a.call(c.ctx, "GET", fmt.Sprintf("/records/%d", seq), nil, &old); err != nil {
		return err
	}
	out.Lot, out.Corrects = old.Lot, seq
	if out.At.IsZero() {
		out.At = old.At
	}
	if out.Kind == "" {
		out.Kind = old.Kind
	}
	return a.enter(c, out)
}

type recordsWithdrawCmd struct {
	daemonAPI
	who
	Seq    int64  `arg:"" help:"Number of the entry."`
	Reason string `required:"" help:"Why."`
}

// Help gives an example.
func (recordsWithdrawCmd) Help() string {
	return `Example:

    stallkeeper records withdraw 214 --reason "entered for the wrong lot" --by KM`
}

// Run makes the withdrawing entry.
func (w recordsWithdrawCmd) Run(c *console) error {
	return w.correct(c, w.Seq, entry{signed: w.sign(time.Time{}), Kind: record.KindWithdrawal, Body: json.RawMessage("{}"), Reason: w.Reason})
}
