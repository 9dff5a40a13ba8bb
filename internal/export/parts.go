package export

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"stallkeeper/internal/record"
	"stallkeeper/internal/when"
)

// limit is one critical limit as the entries name it, and how often it was found how.
type limit struct {
	record.ControlPoint
	met, missed, unknown, deviations int
}

// limitsOf gathers the critical limits that entries name, in the order of their first appearance.
func limitsOf(l *record.Lot) []limit {
	var out []limit
	find := func(p record.ControlPoint) *limit {
		key := record.ControlPoint{CCP: p.CCP, Limit: p.Limit, Rule: p.Rule, Source: p.Source}
		for i := range out {
			if out[i].ControlPoint == key {
				return &out[i]
			}
		}
		out = append(out, limit{ControlPoint: key})
		return &out[len(out)-1]
	}
	for _, m := range l.Monitoring {
		switch at := find(m.Body.ControlPoint); m.Body.Verdict {
		case record.Met:
			at.met++
		case record.Missed:
			at.missed++
		case record.Unknown:
			at.unknown++
		}
	}
	for _, d := range l.Deviations {
		find(d.Body.ControlPoint).deviations++
	}
	return out
}

func (d *document) limits() error {
	d.heading("Critical limits and their sources", 20)
	list := limitsOf(d.Lot)
	if len(list) == 0 {
		d.say("No entry names a critical limit.")
		return nil
	}
	rows := make([][]cell, 0, len(list))
	for _, l := range list {
		rows = append(rows, plain(cmp.Or(l.CCP, "not named"), cmp.Or(l.Limit, "not named"), cmp.Or(l.Rule, "–"), cmp.Or(l.Source, "NO SOURCE GIVEN"),
			fmt.Sprintf("met %d\nmissed %d\nunknown %d\ndeviations %d", l.met, l.missed, l.unknown, l.deviations)))
	}
	d.table([]column{{"CCP", 3}, {"Critical limit", 6}, {"Rule", 4}, {"Source", 7}, {"Found", 3}}, rows)
	return nil
}

// deviations stand each with its answer.
func (d *document) deviations() error {
	d.heading("Deviations and corrective actions", 20)
	if len(d.Lot.Deviations) == 0 {
		d.say("No deviation is on record.")
	}
	for i, one := range d.Lot.Deviations {
		dev := one.Kept
		var rows [][]cell
		for _, s := range record.Tell(&dev.Body, d.Location) {
			rows = append(rows, plain(s.Name, s.Text))
		}
		if one.Action == nil {
			rows = append(rows, []cell{{text: "corrective action", bold: true}, {text: "NONE YET: the deviation is open", bold: true}})
		} else {
			a := one.Action
			rows = append(rows, []cell{{text: "corrective action", bold: true}, {text: fmt.Sprintf("entry %d, %s, entered %s by %s", a.Seq, d.when(a.At), d.when(a.Entered), d.signer(a.By, a.Auth)), bold: true}})
			for _, s := range record.Tell(&a.Body, d.Location) {
				rows = append(rows, plain(s.Name, s.Text))
			}
		}
		d.room(35)
		d.table([]column{{fmt.Sprintf("Deviation %d of %d", i+1, len(d.Lot.Deviations)), 2.2},
			{fmt.Sprintf("entry %d, %s, entered %s by %s", dev.Seq, d.when(dev.At), d.when(dev.Entered), d.signer(dev.By, dev.Auth)), 10}}, rows)
	}
	return nil
}

func (d *document) signer(by string, auth record.Auth) string {
	return by + " (" + auth.Words() + ")"
}

// entries lists the whole journal of the lot, what was corrected too.
func (d *document) entries() error {
	d.heading("Every entry, in the order of the journal", 25)
	d.say("Times are those of the event and, below it, of the entry. An entry is never changed: a correction is an entry of its own, and both stand here.")
	rows := make([][]cell, 0, len(d.Lot.Entries))
	for _, e := range d.Lot.Entries {
		row, err := d.entry(e)
		if err != nil {
			return err
		}
		rows = append(rows, row)
	}
	d.table([]column{{"No.", 1.1}, {"Event / entered", 4.2}, {"By", 2.2}, {"What it says", 10}}, rows)
	return nil
}

func (d *document) entry(e record.Entry) ([]cell, error) {
	body, err := e.Decode()
	if err != nil {
		return nil, err
	}
	times := d.when(e.At)
	if late := e.Late(); late > 0 {
		times += "\nLATE by " + when.Span(late)
	}
	times += "\n" + d.when(e.Entered)
	what := strings.ToUpper(e.Kind.KindName())
	if e.Corrects != 0 {
		what += ", corrects entry " + strconv.FormatInt(e.Corrects, 10)
	}
	if by := d.Lot.Replaced(e.Seq); by != 0 {
		what += "\nDOES NOT STAND: replaced by entry " + strconv.FormatInt(by, 10)
	}
	if e.Reason != "" {
		what += "\nreason: " + e.Reason
	}
	said := record.Tell(body, d.Location)
	parts := make([]string, 0, len(said))
	for _, s := range said {
		parts = append(parts, s.Name+": "+s.Text)
	}
	if len(parts) > 0 {
		what += "\n" + strings.Join(parts, " · ")
	}
	what += "\nhash " + e.Hash.String()[:16] + "…"
	return plain(strconv.FormatInt(e.Seq, 10), times, d.signer(e.By, e.Auth), what), nil
}

// checks lists the checks of the instruments, of the shop and of the lot.
func (d *document) checks() error {
	d.heading("Checks of the thermometers", 20)
	var rows [][]cell
	seen := map[string]bool{}
	for _, e := range slices.Concat(d.Shop, d.Lot.Entries) {
		if e.Kind != record.KindProbeChecked {
			continue
		}
		body, err := e.Decode()
		if err != nil {
			return err
		}
		c, ok := body.(*record.ProbeChecked)
		if !ok {
			continue
		}
		seen[c.Instrument] = true
		rows = append(rows, []cell{{text: c.Instrument}, {text: d.when(e.At)}, {text: points(c)}, {text: pick(c.Passed, "passed", "FAILED"), bold: !c.Passed},
			{text: orDash(joined(c.Method, c.Reference, c.Action, c.Note))}, {text: fmt.Sprintf("%s, entry %d", d.signer(e.By, e.Auth), e.Seq)}})
	}
	if len(rows) > 0 {
		d.table([]column{{"Instrument", 2.4}, {"When", 3}, {"Should read / read / error", 5}, {"Result", 1.6}, {"Method, reference, action", 4}, {"By", 2.6}}, rows)
	}
	var without []string
	for _, name := range instruments(d.Lot) {
		if !seen[name] {
			without = append(without, name)
		}
	}
	if len(without) > 0 {
		d.paragraph("WITHOUT A CHECK in these records: "+strings.Join(without, ", ")+".", true)
	} else if len(rows) == 0 {
		d.say("No instrument is named and none was checked.")
	}
	return nil
}

func points(c *record.ProbeChecked) string {
	lines := make([]string, 0, len(c.Points)+2)
	for _, p := range c.Points {
		lines = append(lines, fmt.Sprintf("%s / %s / %s", record.Degrees(p.True), record.Degrees(p.Read), record.Difference(p.Read-p.True)))
	}
	if c.Tolerance != nil {
		lines = append(lines, fmt.Sprintf("tolerance ±%g K", float64(*c.Tolerance)))
	}
	if c.AltitudeM != nil {
		lines = append(lines, fmt.Sprintf("altitude %g m", *c.AltitudeM))
	}
	return strings.Join(lines, "\n")
}

func joined(texts ...string) string {
	return strings.Join(slices.DeleteFunc(texts, func(s string) bool { return s == "" }), "; ")
}

// instruments are the thermometers that stages and monitoring name.
func instruments(l *record.Lot) []string {
	var out []string
	for _, s := range l.Stages {
		for _, p := range s.Probes {
			out = append(out, string(p))
		}
	}
	for _, m := range l.Monitoring {
		if m.Body.Instrument != "" {
			out = append(out, m.Body.Instrument)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}
