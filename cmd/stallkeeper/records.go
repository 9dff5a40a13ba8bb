package main

import (
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"strconv"
	"time"

	"stallkeeper/internal/record"
	"stallkeeper/internal/when"
)

type recordsCmd struct {
	List       recordsListCmd       `cmd:"" help:"List entries of the journal."`
	Add        recordsAddCmd        `cmd:"" help:"Make an entry of any kind."`
	Monitor    recordsMonitorCmd    `cmd:"" help:"Note a look at a critical control point."`
	Deviation  recordsDeviationCmd  `cmd:"" help:"Note that a critical limit was missed."`
	Action     recordsActionCmd     `cmd:"" help:"Answer a deviation with a corrective action."`
	Verified   recordsVerifiedCmd   `cmd:"" help:"Note a verification by a second person."`
	Review     recordsReviewCmd     `cmd:"" help:"Make the pre-shipment review."`
	Correct    recordsCorrectCmd    `cmd:"" help:"Correct an entry by a new one."`
	Withdraw   recordsWithdrawCmd   `cmd:"" help:"Say that what an entry tells never happened."`
	Export     recordsExportCmd     `cmd:"" help:"Write the records of a lot, or all, as one file that is verified by itself."`
	Verify     recordsVerifyCmd     `cmd:"" help:"Look whether records were tampered with."`
	Checkpoint recordsCheckpointCmd `cmd:"" help:"Sign and print how far the records reach, to be kept elsewhere."`
	Key        recordsKeyCmd        `cmd:"" help:"Print the public key of the records, or change the key."`
	PIN        recordsPINCmd        `cmd:"" name:"pin" help:"Print the hash of a PIN for the configuration."`
}

// Help says what the records are and are not.
func (recordsCmd) Help() string {
	return `Example:

    stallkeeper records verify --readings

The journal only grows: a late or corrected entry is a new one that says so, and nothing is deleted, also not when a retention has ended. Each
entry carries the hash of the one before, and every hour in which something happened ends with a checkpoint signed by the key in the
data folder. Whoever has that key can rewrite history, and entries cut off the end together with their checkpoints leave no trace in the
database. So keep a checkpoint elsewhere every day: [records] mail in the configuration, MQTT stallkeeper/checkpoint, or records checkpoint.`
}

type recordsListCmd struct {
	daemonAPI
	Lot    string    `help:"Only this lot's."`
	Kind   []string  `help:"Only this kind. Repeatable."`
	From   time.Time `placeholder:"TIME" help:"Events from this time on (RFC 3339)."`
	To     time.Time `placeholder:"TIME" help:"Events before this time."`
	Newest bool      `help:"Newest first."`
	Limit  int       `default:"200" help:"How many (${default})."`
	JSON   bool      `help:"Print them as JSON."`
}

// Help gives an example.
func (recordsListCmd) Help() string {
	return "Example:\n\n    stallkeeper records list --lot 26-11-25-cured-brisket --kind deviation"
}

// Run lists entries.
func (l recordsListCmd) Run(c *console) error {
	q := url.Values{"limit": {strconv.Itoa(l.Limit)}}
	if l.Lot != "" {
		q.Set("lot", l.Lot)
	}
	for _, k := range l.Kind {
		q.Add("kind", k)
	}
	for name, at := range map[string]time.Time{"from": l.From, "to": l.To} {
		if !at.IsZero() {
			q.Set(name, at.UTC().Format(time.RFC3339))
		}
	}
	if l.Newest {
		q.Set("newest", "true")
	}
	path := "/records?" + q.Encode()
	if l.JSON {
		return l.print(c, path)
	}
	var answer struct {
		Records []record.Entry `json:"records"`
		Next    *string        `json:"next"`
	}
	if err := l.call(c.ctx, "GET", path, nil, &answer); err != nil {
		return err
	}
	for _, e := range answer.Records {
		note := ""
		if e.Corrects != 0 {
			note += fmt.Sprintf("  corrects %d: %s", e.Corrects, e.Reason)
		}
		if d := e.Late(); d > 0 {
			note += fmt.Sprintf("  entered %s later", when.Span(d))
		}
		fmt.Fprintf(c.out, "%6d  %-22s  %-24s  %-20s  %s (%s)  %s%s\n", e.Seq, clock(e.At), e.Lot, e.Kind, e.By, e.Auth, e.Body, note)
	}
	if answer.Next != nil {
		fmt.Fprintln(c.errOut, "there are more: give --limit, --from or --to")
	}
	return nil
}

type recordsExportCmd struct {
	daemonAPI
	Lot    string `help:"Name of the lot (default: everything, as json)."`
	Format string `default:"json" enum:"json,pdf,csv" help:"json, which is verified by itself; pdf to read and sign, with the json attached; or csv for a spreadsheet (${default})."`
	To     string `required:"" aliases:"out" placeholder:"FILE" help:"New file to write; - is standard output."`
}

// Help gives an example.
func (recordsExportCmd) Help() string {
	return `Examples:

    stallkeeper records export --lot 26-11-25-cured-brisket --to brisket.json
    stallkeeper records export --lot 26-11-25-cured-brisket --format pdf --to brisket.pdf

"stallkeeper records verify --export brisket.json --key records.pub" checks it anywhere.`
}

// Run writes the export.
func (x recordsExportCmd) Run(c *console) error {
	path := "/records/export"
	switch {
	case x.Format != "json" && x.Lot == "":
		return fmt.Errorf("a %s is of one lot: name it with --lot", x.Format)
	case x.Format != "json":
		path = "/lots/" + url.PathEscape(x.Lot) + "/export?format=" + x.Format
	case x.Lot != "":
		path += "?lot=" + url.QueryEscape(x.Lot)
	}
	body, err := x.open(c.ctx, "GET", path, "", nil)
	if err != nil {
		return err
	}
	data, err := io.ReadAll(body)
	if err := errors.Join(err, body.Close()); err != nil {
		return fmt.Errorf("receive the export: %w", err)
	}
	if x.To == "-" {
		_, err := c.out.Write(data)
		return err
	}
	f, err := os.OpenFile(x.To, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return fmt.Errorf("write the export: %w (name a file that is not there yet)", err)
	}
	_, err = f.Write(data)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("write the export: %w", err)
	}
	_, err = fmt.Fprintln(c.out, "records written to", x.To)
	return err
}
