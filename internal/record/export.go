package record

import (
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"slices"

	"stallkeeper/internal/cook"
)

// ExportFormat names the form of an export.
const ExportFormat = "stallkeeper-records 1"

// Export is the records of one lot, or all of them, in one file that can be verified by itself. Lines follow each other from the first
// entry that concerns the lot to the last checkpoint; what belongs to other lots stands as a bare link. The same records give the same bytes.
type Export struct {
	Format      string       `json:"format"`
	Lot         cook.LotID   `json:"lot,omitempty"` // empty: everything
	Keys        []Key        `json:"keys"`          // of the checkpoints, oldest first; each signed by the one before
	From        Start        `json:"from"`
	Entries     []Line       `json:"entries"`
	SealsFrom   Start        `json:"seals_from"`
	Seals       []SealLine   `json:"seals"`
	Checkpoints []Checkpoint `json:"checkpoints"`
}

// ReadExport reads an export strictly, and gives every body its canonical form again.
func ReadExport(data []byte) (*Export, error) {
	x := &Export{}
	if err := cook.DecodeStrict(data, x); err != nil {
		return nil, fmt.Errorf("read export: %w", err)
	}
	if x.Format != ExportFormat {
		return nil, fmt.Errorf("read export: format %q is not %q: give a file that `stallkeeper records export` wrote", clip(x.Format), ExportFormat)
	}
	for i, l := range x.Entries {
		if (l.Entry == nil) == (l.Link == nil) {
			return nil, fmt.Errorf("read export: entries[%d] is not an entry or a link", i)
		}
		if l.Entry != nil {
			body, err := Canonical(l.Entry.Body)
			if err != nil {
				return nil, fmt.Errorf("read export: entry %d: %w", l.Entry.Seq, err)
			}
			l.Entry.Body = body
		}
	}
	for i, l := range x.Seals {
		if (l.Seal == nil) == (l.Link == nil) {
			return nil, fmt.Errorf("read export: seals[%d] is not a seal or a link", i)
		}
	}
	return x, nil
}

// Shown are the entries that the export shows.
func (x *Export) Shown() []Entry {
	var out []Entry
	for _, l := range x.Entries {
		if l.Entry != nil {
			out = append(out, *l.Entry)
		}
	}
	return out
}

// Fold gives the exported lot.
func (x *Export) Fold() (*Lot, error) {
	if x.Lot == "" {
		return nil, errors.New("the export holds every lot: name one when exporting")
	}
	return Fold(slices.DeleteFunc(x.Shown(), func(e Entry) bool { return e.Lot != x.Lot }))
}

// Verify looks at the export by itself: the chain from its first line to a checkpoint signed by the key, nothing of the lot left out.
// Without a key it shows only that the export agrees with itself.
func (x *Export) Verify(trust PublicKey, outside ...Checkpoint) (*Report, error) {
	m := Material{From: x.From, Lines: each(x.Entries), SealsFrom: x.SealsFrom, Seals: each(x.Seals), Checkpoints: x.Checkpoints, Outside: outside, Trust: trust, Keys: x.Keys}
	r, err := Verify(m)
	if err != nil {
		return nil, err
	}
	begun := false
	for _, l := range x.Entries {
		switch {
		case l.Link != nil && (x.Lot == "" || l.Link.Of == string(x.Lot)):
			r.Add("entry", l.Link.Seq, "it is withheld: only its hash is shown")
		case l.Entry != nil && l.Entry.Lot == x.Lot && l.Entry.Kind == KindOpened:
			begun = true
		}
	}
	if x.Lot != "" && !begun {
		r.Add("entry", x.From.Seq, "the opening of lot %s is missing: the beginning was cut off", x.Lot)
	}
	if r.Covered < r.Last {
		r.Add("entry", r.Covered+1, "no checkpoint covers it: the export ends behind its last checkpoint")
	}
	return r, nil
}

func each[T any](list []T) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		for _, one := range list {
			if !yield(one, nil) {
				return
			}
		}
	}
}

// JSON writes the export, with a new line at the end.
func (x *Export) JSON() ([]byte, error) {
	out, err := json.MarshalIndent(x, "", " ")
	if err != nil {
		return nil, fmt.Errorf("write export: %w", err)
	}
	return append(out, '\n'), nil
}
