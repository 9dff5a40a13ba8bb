package export

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

// makers lists who made entries, verifications and reviews, with room to sign by hand.
func (d *document) makers() error {
	d.heading("Who made the records", 25)
	type work struct{ by, auth, as string }
	count := map[work]int{}
	var order []work
	for _, e := range d.Lot.Entries {
		as := "maker"
		switch e.Kind {
		case record.KindReview:
			as = "pre-shipment review"
		case record.KindVerification:
			as = "verification"
		}
		w := work{e.By, e.Auth.Words(), as}
		if count[w] == 0 {
			order = append(order, w)
		}
		count[w]++
	}
	rows := make([][]cell, 0, len(order))
	for _, w := range order {
		rows = append(rows, plain(w.by, w.as, w.auth, strconv.Itoa(count[w]), "\n\n"))
	}
	d.table([]column{{"Name or initials", 3}, {"As", 3}, {"Known by", 4}, {"Entries", 1.5}, {"Printed name and signature, by hand", 7}}, rows)
	if review, holds := d.Lot.Review(); holds {
		d.say(fmt.Sprintf("Pre-shipment review: %s, %s, entered %s: %s.", d.signer(review.By, review.Auth), d.when(review.At), d.when(review.Entered), pick(review.Body.Ship, "may leave", "does NOT leave")))
	}
	d.room(26)
	d.say("Inspected by, date, remarks:")
	y := d.pdf.GetY() + 8
	d.pdf.SetDrawColor(0, 0, 0)
	d.pdf.Line(margin, y, margin+80, y)
	d.pdf.Line(margin+90, y, margin+inner, y)
	d.pdf.SetY(y + 4)
	return nil
}

// proof says what ties the document to the journal, how to check it, and what that does not show.
func (d *document) proof() error {
	d.heading("Seals of the readings, and how to verify", 30)
	d.seals()
	if d.Proof == nil {
		d.paragraph("NOT SIGNED: no checkpoint covers these entries, so this document proves nothing about later changes.", true)
		return nil
	}
	c := d.Proof.Checkpoint
	key, err := c.Key.MarshalText()
	if err != nil {
		return err
	}
	signature, err := c.Signature.MarshalText()
	if err != nil {
		return err
	}
	last := d.Lot.Entries[len(d.Lot.Entries)-1]
	d.facts([][2]string{
		{"Newest entry of the lot", fmt.Sprintf("%d, hash %s", last.Seq, last.Hash)},
		{"Checkpoint", fmt.Sprintf("covers entry %d and all before it, and seal %d; made %s", c.Seq, c.Seal, d.when(c.At))},
		{"Chain head", c.Head.String()},
		{"Head of the seals", c.Seals.String()},
		{"Signature (Ed25519)", string(signature)},
		{"Public key", string(key)},
		{"Key id", c.Key.ID()},
		{"File to verify", d.File + pick(len(d.JSON) > 0, ", attached to this PDF and exported beside it", ", exported beside this PDF")},
	})
	d.say("To verify, with the shop's public key in the file records.pub (the line above, but got from the shop by another way), run:   stallkeeper records verify --export " + d.File + " --key records.pub")
	d.say("(An attachment is taken out of the PDF with:   pdfdetach -saveall FILE.pdf)")
	d.say("The command reads that file alone, and names the first entry that is not as it was signed. Compare the chain head and the key above with what it prints, and the key with one that you got by another way than this document.")
	d.say("What this shows: that no entry of the lot was changed, removed or added since the checkpoint was signed. What it does not show: that an entry was true when it was made, or that whoever holds the signing key did not write the whole history anew. Against that, compare with a checkpoint that left the machine earlier (mailed, published or printed). This page is only a picture of the records; the file is what is verified.")
	return nil
}

func (d *document) seals() {
	if d.Proof == nil || len(d.Proof.Seals) == 0 {
		d.paragraph("NO readings of this lot's probes are sealed yet, so that a change of them would not show. Hours are sealed ten minutes after they end.", len(d.Curves) > 0)
		return
	}
	type sum struct {
		hours, replaced int
		count           int64
		low, high       *thermal.Celsius
		from, until     string
	}
	newest := map[cook.ProbeID]map[int64]record.Seal{}
	replaced := map[cook.ProbeID]int{}
	for _, s := range d.Proof.Seals {
		if newest[s.Probe] == nil {
			newest[s.Probe] = map[int64]record.Seal{}
		}
		if _, again := newest[s.Probe][s.Hour.Unix()]; again {
			replaced[s.Probe]++
		}
		newest[s.Probe][s.Hour.Unix()] = s
	}
	var rows [][]cell
	for _, probe := range slices.Sorted(maps.Keys(newest)) {
		hours := newest[probe]
		t := sum{hours: len(hours), replaced: replaced[probe]}
		for _, hour := range slices.Sorted(maps.Keys(hours)) {
			s := hours[hour]
			if t.from == "" {
				t.from = d.when(s.Hour)
			}
			t.until = d.when(s.Hour)
			t.count += s.Count
			if s.Min != nil && (t.low == nil || *s.Min < *t.low) {
				t.low = s.Min
			}
			if s.Max != nil && (t.high == nil || *s.Max > *t.high) {
				t.high = s.Max
			}
		}
		rows = append(rows, plain(string(probe), strconv.Itoa(t.hours)+pick(t.replaced > 0, fmt.Sprintf(" (%d sealed again after late readings)", t.replaced), ""), strconv.FormatInt(t.count, 10),
			t.from, t.until, degreesOr(t.low), degreesOr(t.high)))
	}
	d.say("Each probe's readings of each hour are sealed by their number and SHA-256; every seal stands in the file below. The readings themselves do not: the curves above are drawn from the shop's database, which `stallkeeper records verify --readings` there holds against the seals.")
	d.table([]column{{"Probe", 2}, {"Hours sealed", 2.4}, {"Readings", 1.8}, {"First hour", 3.4}, {"Last hour", 3.4}, {"Lowest", 2.6}, {"Highest", 2.8}}, rows)
	if bare := d.unsealed(newest); len(bare) > 0 {
		d.paragraph("NOT YET SEALED, so that a change of them would not show: "+strings.Join(bare, "; ")+".", true)
	}
}

// unsealed names the probes whose curves show readings of hours without a seal.
func (d *document) unsealed(sealed map[cook.ProbeID]map[int64]record.Seal) []string {
	var out []string
	for _, c := range d.Curves {
		for _, l := range c.Lines {
			missing := map[int64]bool{}
			for _, b := range l.Trace {
				hour := b.Time.UTC().Truncate(time.Hour).Unix()
				if _, ok := sealed[l.Probe][hour]; !ok {
					missing[hour] = true
				}
			}
			if n := len(missing); n > 0 {
				out = append(out, fmt.Sprintf("%s in stage %s, %d h from %s", l.Probe, c.Stage.Stage, n, d.when(time.Unix(slices.Min(slices.Collect(maps.Keys(missing))), 0))))
			}
		}
	}
	return out
}

func degreesOr(c *thermal.Celsius) string {
	if c == nil {
		return "no good reading"
	}
	return record.Degrees(*c)
}

// end says which characters could not be shown.
func (d *document) end() error {
	if n := len(d.shown.replaced); n > 0 {
		list := make([]string, 0, n)
		for _, r := range slices.Sorted(maps.Keys(d.shown.replaced)) {
			list = append(list, fmt.Sprintf("%U (%d)", r, d.shown.replaced[r]))
		}
		d.say("Characters that this document's font cannot show stand as their code points in brackets; the file has them as they were entered: " + strings.Join(list, ", ") + ".")
	}
	if d.shown.leftward {
		d.say("Texts in scripts written from right to left stand in the order in which they were typed.")
	}
	return nil
}
