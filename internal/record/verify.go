package record

import (
	"bytes"
	"errors"
	"fmt"
	"iter"
	"slices"
	"time"
)

// ErrUnreadable is wrapped by what an iterator gives in place of a line that is there and cannot be read. Verify makes a finding of it.
var ErrUnreadable = errors.New("it cannot be read")

// Line is an entry, or the bare link of one that is not shown.
type Line struct {
	Entry *Entry `json:"entry,omitempty"`
	Link  *Link  `json:"link,omitempty"`
}

// SealLine is a seal, or the bare link of one that is not shown.
type SealLine struct {
	Seal *Seal `json:"seal,omitempty"`
	Link *Link `json:"link,omitempty"`
}

// Start is where a chain is taken up: behind the numbered line with its hash. Zero is the beginning.
type Start struct {
	Seq  int64 `json:"seq"`
	Hash Hash  `json:"hash"`
}

// Material is what Verify looks at.
type Material struct {
	From        Start
	Lines       iter.Seq2[Line, error]
	SealsFrom   Start
	Seals       iter.Seq2[SealLine, error]
	Checkpoints []Checkpoint // as they stand beside the chains, oldest first
	Outside     []Checkpoint // kept elsewhere: mailed, printed
	Trust       PublicKey    // the key that somebody knows to be the shop's; nil: what the journal itself names
	Keys        []Key        // where the lines begin behind the first key: all keys, oldest first
}

// Finding is one thing that is not as it was written.
type Finding struct {
	Where   string `json:"where"`            // entry, seal, checkpoint, key or readings
	Number  int64  `json:"number,omitempty"` // of the entry, seal or checkpoint
	Problem string `json:"problem"`
}

// String is the finding in one line.
func (f Finding) String() string {
	if f.Number == 0 {
		return f.Where + ": " + f.Problem
	}
	return fmt.Sprintf("%s %d: %s", f.Where, f.Number, f.Problem)
}

// Report is what Verify found. Findings are in the order of the journal: the first is the first bad entry.
type Report struct {
	Entries     int64     `json:"entries"`
	Last        int64     `json:"last"` // number of the newest entry
	Head        Hash      `json:"head"`
	Seals       int64     `json:"seals"`
	Checkpoints int       `json:"checkpoints"`
	Covered     int64     `json:"covered"` // the newest entry under a good checkpoint; what follows it rests on the chain alone
	CoveredAt   time.Time `json:"covered_at,omitzero"`
	Key         string    `json:"key,omitempty"` // id of the key in force
	Trusted     bool      `json:"trusted"`       // a key was given and signed
	Findings    []Finding `json:"findings"`
	More        int       `json:"more,omitempty"` // findings not listed
}

// maxFindings is how many findings are listed. The first is what matters.
const maxFindings = 20

// Add notes a finding.
func (r *Report) Add(where string, number int64, format string, a ...any) {
	if len(r.Findings) >= maxFindings {
		r.More++
		return
	}
	r.Findings = append(r.Findings, Finding{where, number, fmt.Sprintf(format, a...)})
}

// Good reports whether nothing was found.
func (r *Report) Good() bool { return len(r.Findings) == 0 }

// Verify looks whether both chains are whole, every line says what it said when it was entered, and the checkpoints agree. It names the
// first entry that is bad. An error is only what keeps it from looking, such as a disk that cannot be read.
func Verify(m Material) (*Report, error) {
	v := &verifier{m: m, r: &Report{Findings: []Finding{}}, heads: map[int64]*Hash{}, sealHeads: map[int64]*Hash{}}
	for _, c := range slices.Concat(m.Checkpoints, m.Outside) {
		v.heads[c.Seq], v.sealHeads[c.Seal] = nil, nil
	}
	entries := chain{where: "entry", verb: "entries", seq: m.From.Seq, hash: m.From.Hash, wanted: v.heads, r: v.r}
	if err := v.lines(&entries); err != nil {
		return nil, err
	}
	seals := chain{where: "seal", verb: "seals", seq: m.SealsFrom.Seq, hash: m.SealsFrom.Hash, wanted: v.sealHeads, r: v.r}
	if err := v.seals(&seals); err != nil {
		return nil, err
	}
	v.r.Last, v.r.Head = entries.seq, entries.hash
	v.checkpoints(&entries, &seals)
	return v.r, nil
}

type verifier struct {
	m         Material
	r         *Report
	keys      []keyFrom
	unsigned  []int           // places in keys of those that the key before did not sign
	heads     map[int64]*Hash // the hashes that checkpoints speak of, nil until met
	sealHeads map[int64]*Hash
}

// keyFrom is a key and the entry that brought it in.
type keyFrom struct {
	seq int64
	key PublicKey
}

// chain follows hashes.
type chain struct {
	where, verb string
	seq         int64
	hash        Hash
	wanted      map[int64]*Hash
	r           *Report
	broken      bool // the line before could not be read
}

// follow takes the next link and the hash that stands beside it.
func (c *chain) follow(l Link, hash Hash) {
	switch {
	case c.broken && l.Seq > c.seq:
	case l.Seq > c.seq+1:
		c.r.Add(c.where, c.seq+1, "%s", missing(c.verb, c.seq+1, l.Seq-1))
	case l.Seq <= c.seq:
		c.r.Add(c.where, l.Seq, "it stands where %d belongs: %s were moved or added", c.seq+1, c.verb)
	case l.Hash() != hash:
		c.r.Add(c.where, l.Seq, "its content was changed: it no longer has its hash")
	case l.Prev != c.hash && c.seq > 0:
		c.r.Add(c.where, l.Seq, "it does not follow from %s %d: that one was changed with its hash, or exchanged", c.where, c.seq)
	case l.Prev != c.hash:
		c.r.Add(c.where, l.Seq, "it does not begin the chain: something stood before it")
	}
	c.broken, c.seq, c.hash = false, l.Seq, hash
	if _, ok := c.wanted[l.Seq]; ok {
		c.wanted[l.Seq] = &hash
	}
}

func missing(verb string, from, to int64) string {
	if from == to {
		return "it is missing"
	}
	return fmt.Sprintf("%s %d to %d are missing", verb, from, to)
}

// unreadable notes a line that cannot be read; other errors end the work.
func (c *chain) unreadable(err error) error {
	if !errors.Is(err, ErrUnreadable) {
		return err
	}
	c.r.Add(c.where, c.seq+1, "%v", err)
	c.broken, c.seq = true, c.seq+1
	return nil
}

func (v *verifier) lines(c *chain) error {
	for i, k := range v.m.Keys {
		v.takeKey(0, k, i > 0)
	}
	for line, err := range v.m.Lines {
		if err != nil {
			if err := c.unreadable(err); err != nil {
				return err
			}
			continue
		}
		v.r.Entries++
		if line.Entry == nil {
			c.follow(*line.Link, line.Link.Hash())
			continue
		}
		e := *line.Entry
		c.follow(e.Link(), e.Hash)
		if canonical, err := Canonical(e.Body); err != nil || !bytes.Equal(canonical, e.Body) {
			v.r.Add("entry", e.Seq, "its body is not in the canonical form that it was entered in")
		}
		if e.Kind == KindKey && len(v.m.Keys) == 0 {
			v.key(e)
		}
	}
	return nil
}

func (v *verifier) key(e Entry) {
	body, err := e.Decode()
	if err != nil {
		v.r.Add("entry", e.Seq, "its key cannot be read: %v", err)
		return
	}
	v.takeKey(e.Seq, *body.(*Key), true)
}

func (v *verifier) takeKey(seq int64, k Key, mustFollow bool) {
	var before PublicKey
	if len(v.keys) > 0 {
		before = v.keys[len(v.keys)-1].key
	}
	if err := k.Validate(); err != nil {
		v.r.Add("key", seq, "%v", err)
	} else if mustFollow && !k.Before.Equal(before) {
		v.unsigned = append(v.unsigned, len(v.keys))
	}
	v.keys = append(v.keys, keyFrom{seq, k.Public})
}

func (v *verifier) seals(c *chain) error {
	for line, err := range v.m.Seals {
		if err != nil {
			if err := c.unreadable(err); err != nil {
				return err
			}
			continue
		}
		v.r.Seals++
		if line.Seal == nil {
			c.follow(*line.Link, line.Link.Hash())
		} else {
			c.follow(line.Seal.Link(), line.Seal.Hash)
		}
	}
	return nil
}

// checkpoints holds every checkpoint against the chains.
func (v *verifier) checkpoints(entries, seals *chain) {
	if n := len(v.keys); n > 0 {
		v.r.Key = v.keys[n-1].key.ID()
	}
	trust := slices.IndexFunc(v.keys, func(k keyFrom) bool { return k.key.Equal(v.m.Trust) })
	for _, i := range v.unsigned {
		if trust < i { // who trusts a later key has the earlier history by its checkpoints
			v.r.Add("key", v.keys[i].seq, "key %s is not signed by the key before it: the old key was lost, or somebody put in their own", v.keys[i].key.ID())
		}
	}
	trusted := v.m.Trust == nil || trust >= 0
	if !trusted {
		v.r.Add("key", 0, "none of the journal's keys is the key %s that was given: it is another shop's, or the history was written anew", v.m.Trust.ID())
	}
	for i, c := range v.m.Checkpoints {
		v.checkpoint(fmt.Sprintf("of %s", c.At.UTC().Format(time.RFC3339)), int64(i+1), c, entries, seals)
	}
	for _, c := range v.m.Outside {
		v.checkpoint(fmt.Sprintf("of %s, kept elsewhere,", c.At.UTC().Format(time.RFC3339)), 0, c, entries, seals)
	}
	v.r.Checkpoints = len(v.m.Checkpoints) + len(v.m.Outside)
	v.r.Trusted = trusted && v.m.Trust != nil && v.r.Covered > 0
	if len(v.m.Checkpoints) == 0 && (len(v.keys) > 0 || v.m.Trust != nil) {
		v.r.Add("checkpoint", 0, "there is none: they were removed")
	}
}

func (v *verifier) checkpoint(name string, number int64, c Checkpoint, entries, seals *chain) {
	known := slices.ContainsFunc(v.keys, func(k keyFrom) bool { return k.key.Equal(c.Key) })
	head, sealHead := v.heads[c.Seq], v.sealHeads[c.Seal]
	switch {
	case c.Check() != nil:
		v.r.Add("checkpoint", number, "%s: %v", name, c.Check())
	case !known:
		v.r.Add("checkpoint", number, "%s is signed by key %s, which the journal does not name", name, c.Key.ID())
	case c.Seq > entries.seq:
		v.r.Add("entry", entries.seq+1, "%s (the checkpoint %s has %d)", missing("entries", entries.seq+1, c.Seq), name, c.Seq)
	case c.Seal > seals.seq:
		v.r.Add("seal", seals.seq+1, "%s (the checkpoint %s has %d)", missing("seals", seals.seq+1, c.Seal), name, c.Seal)
	case c.Seq < v.m.From.Seq || c.Seal < v.m.SealsFrom.Seq: // before what is shown
	case head != nil && *head != c.Head:
		v.r.Add("entry", c.Seq, "it is not the one that the checkpoint %s signed: an entry from %d to %d was changed and the hashes were made anew", name, v.r.Covered+1, c.Seq)
	case sealHead != nil && *sealHead != c.Seals:
		v.r.Add("seal", c.Seal, "it is not the one that the checkpoint %s signed: seals were changed and the hashes were made anew", name)
	case !v.inForce(c):
		v.r.Add("checkpoint", number, "%s is signed by key %s, which was not in force", name, c.Key.ID())
	case c.Seq >= v.r.Covered:
		v.r.Covered, v.r.CoveredAt = c.Seq, c.At
	}
}

// inForce reports whether the checkpoint's key was in force at its entry. Where the lines begin behind the keys any of them will do.
func (v *verifier) inForce(c Checkpoint) bool {
	var key PublicKey
	for _, k := range v.keys {
		if k.seq == 0 && k.key.Equal(c.Key) {
			return true
		}
		if k.seq <= c.Seq {
			key = k.key
		}
	}
	return key.Equal(c.Key) && key != nil
}
