package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"stallkeeper/internal/record"
	"stallkeeper/internal/signer"
	"stallkeeper/internal/store"
)

type recordsVerifyCmd struct {
	Data       string   `default:"stallkeeper-data" env:"STALLKEEPER_DATA" placeholder:"DIR" help:"Folder of the database (${default}); the daemon may run."`
	Export     string   `placeholder:"FILE" help:"Verify this export alone instead."`
	Key        string   `placeholder:"FILE" help:"Public key that you know to be the shop's (default: records.pub in the folder, which proves less)."`
	Checkpoint []string `placeholder:"FILE" help:"Checkpoints kept elsewhere, a line of JSON each. Repeatable."`
	Readings   bool     `help:"Also hold every reading against the seals; that takes a while."`
	JSON       bool     `help:"Print the report as JSON."`
}

// Help says what is found and what cannot be.
func (recordsVerifyCmd) Help() string {
	return `Examples:

    stallkeeper records verify --key /mnt/stick/records.pub --checkpoint /mnt/stick/checkpoints.txt
    stallkeeper records verify --export brisket.json --key records.pub

Finds every change, removal, addition and exchange among entries, seals and checkpoints, and names the first bad entry; exit status 1.
It cannot find what somebody did who has the key (records.key), nor what was cut off the end together with its checkpoints, unless you
give it a checkpoint that was kept elsewhere. It changes nothing.`
}

// Run verifies.
func (v recordsVerifyCmd) Run(c *console) error {
	outside, err := readCheckpoints(v.Checkpoint)
	if err != nil {
		return err
	}
	var trust record.PublicKey
	if v.Key != "" {
		if trust, err = signer.ReadPublic(v.Key); err != nil {
			return err
		}
	}
	report, err := v.look(c, trust, outside)
	if err != nil {
		return err
	}
	if v.JSON {
		err = json.NewEncoder(c.out).Encode(report)
	} else {
		err = v.print(c, report)
	}
	if err == nil && !report.Good() {
		err = errFinding
	}
	return err
}

func (v recordsVerifyCmd) look(c *console, trust record.PublicKey, outside []record.Checkpoint) (*record.Report, error) {
	if v.Export == "" {
		if v.Key == "" {
			beside, err := signer.ReadPublic(filepath.Join(v.Data, signer.PublicFile))
			if err != nil && !errors.Is(err, fs.ErrNotExist) {
				return nil, err
			}
			trust = beside
		}
		return store.VerifyRecords(c.ctx, filepath.Join(v.Data, store.FileName), store.VerifyOptions{Trust: trust, Outside: outside, Readings: v.Readings})
	}
	if v.Readings {
		return nil, errors.New("an export holds no readings: verify them in the database, without --export")
	}
	data, err := os.ReadFile(v.Export)
	if err != nil {
		return nil, fmt.Errorf("read export: %w", err)
	}
	x, err := record.ReadExport(data)
	if err != nil {
		return nil, err
	}
	return x.Verify(trust, outside...)
}

func (v recordsVerifyCmd) print(c *console, r *record.Report) error {
	for _, f := range r.Findings {
		fmt.Fprintln(c.out, "BAD", f)
	}
	if r.More > 0 {
		fmt.Fprintf(c.out, "and %d more\n", r.More)
	}
	what := "records"
	if v.Readings {
		what = "records and readings"
	}
	verdict := what + " are as they were written"
	if !r.Good() {
		verdict = what + " were tampered with or damaged"
	}
	fmt.Fprintf(c.out, "%s: entries %d, seals %d, checkpoints %d\n", verdict, r.Entries, r.Seals, r.Checkpoints)
	switch {
	case r.Covered == 0:
		fmt.Fprintln(c.out, "no good checkpoint covers any of them")
	case r.Covered < r.Last:
		fmt.Fprintf(c.out, "covered by a checkpoint of %s up to entry %d; entries %d to %d rest on the chain alone so far\n", clock(r.CoveredAt), r.Covered, r.Covered+1, r.Last)
	default:
		fmt.Fprintf(c.out, "covered by a checkpoint of %s\n", clock(r.CoveredAt))
	}
	switch {
	case v.Key == "" && v.Export != "":
		_, err := fmt.Fprintf(c.out, "key %s comes from the export itself: this shows that it agrees with itself, not who made it; give --key\n", r.Key)
		return err
	case v.Key == "":
		_, err := fmt.Fprintf(c.out, "key %s comes from the same folder: give --key with a copy that was kept elsewhere\n", r.Key)
		return err
	}
	return nil
}

// readCheckpoints reads files with a checkpoint on each line that begins with a brace: mails and notes may stand around them.
func readCheckpoints(paths []string) ([]record.Checkpoint, error) {
	var out []record.Checkpoint
	for _, path := range paths {
		data, err := readFileOrStdin(path)
		if err != nil {
			return nil, fmt.Errorf("read checkpoints: %w", err)
		}
		found := 0
		lines := bufio.NewScanner(bytes.NewReader(data))
		for lines.Scan() {
			line := strings.TrimSpace(lines.Text())
			if !strings.HasPrefix(line, "{") {
				continue
			}
			var c record.Checkpoint
			if err := json.Unmarshal([]byte(line), &c); err != nil {
				return nil, fmt.Errorf("read checkpoints: %s: %w", path, err)
			}
			out = append(out, c)
			found++
		}
		if err := lines.Err(); err != nil {
			return nil, fmt.Errorf("read checkpoints: %s: %w", path, err)
		}
		if found == 0 {
			return nil, fmt.Errorf("read checkpoints: %s has none: give what stallkeeper records checkpoint printed", path)
		}
	}
	return out, nil
}
