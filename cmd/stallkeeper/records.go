package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"strconv"
	"strings"
	"time"

	"golang.org/x/crypto/bcrypt"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/signer"
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
	return `Example: stallkeeper records verify --data ./data --readings

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
	return "Example: stallkeeper records list --lot 26-11-25-cured-brisket --kind deviation"
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
			note += fmt.Sprintf("  entered %v later", d.Round(time.Minute))
		}
		fmt.Fprintf(c.out, "%6d  %s  %-24s  %-20s  %s (%s)  %s%s\n", e.Seq, clock(e.At), e.Lot, e.Kind, e.By, e.Auth, e.Body, note)
	}
	if answer.Next != nil {
		fmt.Fprintln(c.errOut, "there are more: give --limit, --from or --to")
	}
	return nil
}

type recordsAddCmd struct {
	daemonAPI
	signing
	Kind   string `arg:"" help:"Kind of entry, such as monitoring, probe-checked or note."`
	Body   string `arg:"" help:"Its body as JSON, @FILE, or - for standard input; see /api/v1/openapi.json."`
	Lot    string `help:"Name of the lot; none for the shop's own entries."`
	Reason string `help:"Why it comes late."`
}

// Help gives an example.
func (recordsAddCmd) Help() string {
	return `Example: stallkeeper records add probe-checked '{"instrument":"core","method":"ice","points":[{"true_c":0,"read_c":0.3}],"passed":true}' --by KM`
}

// Run makes the entry.
func (a recordsAddCmd) Run(c *console) error {
	body, err := bodyArgument(a.Body)
	if err != nil {
		return err
	}
	return a.enter(c, a.signing, sentRecord{Lot: cook.LotID(a.Lot), Kind: record.Kind(a.Kind), Body: body, Reason: a.Reason})
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
	daemonAPI
	signing
	Lot        string `arg:"" help:"Name of the lot."`
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
	return `Example: stallkeeper records monitor 26-11-25-cured-brisket 71.4C --verdict met --ccp "3 smoking" --limit "71.2 °C" --instrument "pen 2" --by KM`
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
	return m.enter(c, m.signing, sentRecord{Lot: cook.LotID(m.Lot), Kind: record.KindMonitoring, Body: body})
}

type recordsDeviationCmd struct {
	daemonAPI
	signing
	Lot        string `arg:"" help:"Name of the lot."`
	What       string `arg:"" help:"What was not as it should be, with the actual value."`
	CCP        string `name:"ccp" help:"Critical control point."`
	Limit      string `help:"Critical limit, with its source."`
	Piece      string `help:"Which piece."`
	Stage      string `help:"Which stage."`
	Unforeseen bool   `help:"The plan does not foresee it: 9 CFR 417.3(b)."`
}

// Help gives an example.
func (recordsDeviationCmd) Help() string {
	return `Example: stallkeeper records deviation 26-11-25-cured-brisket "2 h 20 min to 21 °C" --ccp "5 chilling" --limit "21 °C within 2 h" --by KM`
}

// Run makes the entry.
func (d recordsDeviationCmd) Run(c *console) error {
	body := record.Deviation{ControlPoint: record.ControlPoint{CCP: d.CCP, Limit: d.Limit, Piece: cook.PieceID(d.Piece), Stage: cook.Stage(d.Stage)}, What: d.What, Unforeseen: d.Unforeseen}
	return d.enter(c, d.signing, sentRecord{Lot: cook.LotID(d.Lot), Kind: record.KindDeviation, Body: body})
}

type recordsActionCmd struct {
	daemonAPI
	signing
	Lot         string `arg:"" help:"Name of the lot."`
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
	return `Example: stallkeeper records action 26-11-25-cured-brisket 214 --cause "fan stood still, replaced" --control "cooler at 2 °C" --prevention "fan checked daily" --disposition destroyed --by KM`
}

// Run makes the entry.
func (a recordsActionCmd) Run(c *console) error {
	body := record.CorrectiveAction{Deviation: a.Deviation, Cause: a.Cause, Control: a.Control, Prevention: a.Prevention,
		Disposition: record.Disposition(a.Disposition), Product: a.Product, Reassessed: a.Reassessed}
	return a.enter(c, a.signing, sentRecord{Lot: cook.LotID(a.Lot), Kind: record.KindCorrectiveAction, Body: body})
}

type recordsVerifiedCmd struct {
	daemonAPI
	signing
	Lot   string  `arg:"" help:"Name of the lot."`
	Of    string  `arg:"" enum:"direct-observation,records,instrument" help:"What was looked at: direct-observation, records or instrument."`
	Found string  `arg:"" help:"What was found."`
	Bad   bool    `help:"It was not as it should be."`
	Entry []int64 `help:"An entry that was looked at. Repeatable; none = the lot's so far."`
}

// Help gives an example.
func (recordsVerifiedCmd) Help() string {
	return `Example: stallkeeper records verified 26-11-25-cured-brisket direct-observation "core read with a second thermometer: 71.6 °C" --by ST`
}

// Run makes the entry.
func (v recordsVerifiedCmd) Run(c *console) error {
	body := record.Verification{Of: v.Of, Found: v.Found, Good: !v.Bad, Checks: v.Entry}
	return v.enter(c, v.signing, sentRecord{Lot: cook.LotID(v.Lot), Kind: record.KindVerification, Body: body})
}

type recordsReviewCmd struct {
	daemonAPI
	signing
	Lot   string `arg:"" help:"Name of the lot."`
	Stays bool   `help:"The lot does not leave; say why with --note."`
	Note  string `help:"Free text."`
}

// Help gives an example.
func (recordsReviewCmd) Help() string {
	return "Example: stallkeeper records review 26-11-25-cured-brisket --by ST (somebody who made none of its records)"
}

// Run makes the entry.
func (r recordsReviewCmd) Run(c *console) error {
	return r.enter(c, r.signing, sentRecord{Lot: cook.LotID(r.Lot), Kind: record.KindReview, Body: record.Review{Ship: !r.Stays, Note: r.Note}})
}

type recordsCorrectCmd struct {
	daemonAPI
	By     string    `placeholder:"KM" help:"Your initials; not needed with a login."`
	PIN    string    `name:"pin" env:"STALLKEEPER_PIN" placeholder:"PIN" help:"Your PIN, where people are set up; better given as STALLKEEPER_PIN."`
	At     time.Time `placeholder:"TIME" help:"When it happened (RFC 3339; default: as the entry said)."`
	Seq    int64     `arg:"" help:"Number of the entry."`
	Body   string    `arg:"" help:"The whole body as it should be: JSON, @FILE, or - for standard input."`
	Reason string    `required:"" help:"Why."`
}

// Help gives an example.
func (recordsCorrectCmd) Help() string {
	return `Example: stallkeeper records correct 214 '{"piece":"flat","when":"trimmed","mass_kg":3.1}' --reason "comma forgotten" --by KM`
}

// Run makes the correcting entry.
func (r recordsCorrectCmd) Run(c *console) error {
	body, err := bodyArgument(r.Body)
	if err != nil {
		return err
	}
	return r.correct(c, r.Seq, signing{By: r.By, PIN: r.PIN, At: r.At}, "", body, r.Reason)
}

// correct enters a body in place of an entry's, at the same time unless another is given; with a kind, of that kind.
func (a daemonAPI) correct(c *console, seq int64, s signing, kind record.Kind, body any, reason string) error {
	var old record.Entry
	if err := a.call(c.ctx, "GET", fmt.Sprintf("/records/%d", seq), nil, &old); err != nil {
		return err
	}
	if s.At.IsZero() {
		s.At = old.At
	}
	if kind == "" {
		kind = old.Kind
	}
	return a.enter(c, s, sentRecord{Lot: old.Lot, Kind: kind, Body: body, Corrects: seq, Reason: reason})
}

type recordsWithdrawCmd struct {
	daemonAPI
	By     string `placeholder:"KM" help:"Your initials; not needed with a login."`
	PIN    string `name:"pin" env:"STALLKEEPER_PIN" placeholder:"PIN" help:"Your PIN, where people are set up; better given as STALLKEEPER_PIN."`
	Seq    int64  `arg:"" help:"Number of the entry."`
	Reason string `required:"" help:"Why."`
}

// Help gives an example.
func (recordsWithdrawCmd) Help() string {
	return `Example: stallkeeper records withdraw 214 --reason "entered for the wrong lot" --by KM`
}

// Run makes the withdrawing entry.
func (w recordsWithdrawCmd) Run(c *console) error {
	return w.correct(c, w.Seq, signing{By: w.By, PIN: w.PIN}, record.KindWithdrawal, record.Withdrawal{}, w.Reason)
}

type recordsExportCmd struct {
	daemonAPI
	Lot    string `help:"Name of the lot (default: everything, as json)."`
	Format string `default:"json" enum:"json,pdf,csv" help:"json, which is verified by itself; pdf to read and sign, with the json attached; or csv for a spreadsheet (${default})."`
	To     string `required:"" aliases:"out" placeholder:"FILE" help:"New file to write; - is standard output."`
}

// Help gives an example.
func (recordsExportCmd) Help() string {
	return `Example: stallkeeper records export --lot 26-11-25-cured-brisket --to brisket.json
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

type recordsCheckpointCmd struct {
	daemonAPI
}

// Help gives an example.
func (recordsCheckpointCmd) Help() string {
	return `Example: stallkeeper records checkpoint >> /mnt/stick/checkpoints.txt

Prints one line of JSON. "stallkeeper records verify --checkpoint FILE" holds such lines against the records later, and finds what was
changed or cut off since.`
}

// Run prints a checkpoint.
func (k recordsCheckpointCmd) Run(c *console) error {
	var checkpoint record.Checkpoint
	if err := k.call(c.ctx, "POST", "/records/checkpoints", nil, &checkpoint); err != nil {
		return err
	}
	return json.NewEncoder(c.out).Encode(checkpoint)
}

type recordsKeyCmd struct {
	daemonAPI
	Change bool   `help:"Make a new key, signed by the old one, which is gone then."`
	By     string `placeholder:"KM" help:"Your initials, with --change; not needed with a login."`
	PIN    string `name:"pin" env:"STALLKEEPER_PIN" placeholder:"PIN" help:"Your PIN, with --change."`
}

// Help gives an example.
func (recordsKeyCmd) Help() string {
	return `Example: stallkeeper records key > records.pub

Keep the public key, or its first 16 digits that exports print, outside this machine. Change the key when somebody may have read it, and
when who had it leaves: the new key is entered in the journal, signed by the old one, so that who has kept any older public key can still
verify. A key that was lost (the file records.key in the data folder) is replaced by a new one at the next start; who trusts the old one is
told that the new one is not signed by it.`
}

// Run prints or changes the key.
func (k recordsKeyCmd) Run(c *console) error {
	if k.Change {
		if err := k.call(c.ctx, "POST", "/records/key", map[string]string{"by": k.By, "pin": k.PIN}, nil); err != nil {
			return err
		}
		fmt.Fprintln(c.errOut, "the key was changed: give the new public key to those who verify")
	}
	var answer struct {
		Keys []struct {
			ID     string           `json:"id"`
			Public record.PublicKey `json:"public"`
		} `json:"keys"`
	}
	if err := k.call(c.ctx, "GET", "/records/key", nil, &answer); err != nil {
		return err
	}
	if len(answer.Keys) == 0 {
		return errors.New("the records are not being signed: the daemon's log says why")
	}
	newest := answer.Keys[len(answer.Keys)-1]
	text, err := signer.PublicPEM(newest.Public)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(c.out, "%s", text)
	return err
}

type recordsPINCmd struct{}

// Help gives an example.
func (recordsPINCmd) Help() string {
	return `Example: stallkeeper records pin

A PIN of a few digits is soon guessed by somebody who has the configuration file: keep that file to its owner.`
}

// shortestPIN is the shortest PIN taken: common practice, no source.
const shortestPIN = 4

// Run prints the hash of a PIN.
func (recordsPINCmd) Run(c *console) error {
	fmt.Fprint(c.errOut, "PIN: ")
	line, err := bufio.NewReader(os.Stdin).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return fmt.Errorf("read PIN: %w", err)
	}
	pin := strings.TrimRight(line, "\r\n")
	if len(pin) < shortestPIN {
		return fmt.Errorf("the PIN has %d characters: take at least %d", len(pin), shortestPIN)
	}
	hash, err := bcrypt.GenerateFromPassword([]byte(pin), 12)
	if err != nil {
		return fmt.Errorf("hash PIN: %w", err)
	}
	_, err = fmt.Fprintln(c.out, string(hash))
	return err
}
