package record

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/cook"
)

// keyOf is a key for tests, made from a letter.
func keyOf(letter byte) ed25519.PrivateKey {
	return ed25519.NewKeyFromSeed([]byte(strings.Repeat(string(letter), ed25519.SeedSize)))
}

// The hash of an entry by hand: SHA-256 over the documented texts, written out here.
func TestEntry_HashIsAsDocumented(t *testing.T) {
	d := Draft{Lot: "m1", Maker: Maker{By: "KM", Auth: AuthPIN}, At: monday.Add(-time.Hour), Body: Note{Text: "wind <strong> & \"dry\""}, Corrects: 3, Reason: "ü"}
	e, err := d.Make(7, Hash{1}, monday.Add(123456789*time.Nanosecond))
	if err != nil {
		t.Fatal(err)
	}
	content := `{"at":"2026-05-04T05:00:00.000000Z","auth":"pin","body":{"text":"wind <strong> & \"dry\""},"by":"KM","corrects":3,` +
		`"entered":"2026-05-04T06:00:00.123456Z","kind":"note","lot":"m1","reason":"ü"}`
	sum := sha256.Sum256([]byte(content))
	link := `{"content":"` + hex.EncodeToString(sum[:]) + `","of":"m1","prev":"01` + strings.Repeat("0", 62) + `","seq":7}`
	if want := Hash(sha256.Sum256([]byte(link))); e.Hash != want {
		t.Errorf("hash = %s, want %s", e.Hash, want)
	}
	for _, text := range []string{content, link} {
		if canonical, err := Canonical([]byte(text)); err != nil || string(canonical) != text {
			t.Errorf("%s is not canonical: %s, %v", text, canonical, err)
		}
	}
}

// A signature over the documented message holds, and over nothing else. RFC 8032's own vectors are the library's matter.
func TestCheckpoint_SignsTheDocumentedMessage(t *testing.T) {
	key := keyOf('a')
	c := Checkpoint{At: monday, Seq: 4, Head: Hash{2}, Seal: 9, Seals: Hash{3}}.Sign(key)
	message := "stallkeeper checkpoint 1\n" + `{"at":"2026-05-04T06:00:00.000000Z","head":"02` + strings.Repeat("0", 62) + `","key":"` + mustText(t, c.Key) +
		`","seal":9,"seals":"03` + strings.Repeat("0", 62) + `","seq":4}` + "\n"
	if !ed25519.Verify(key.Public().(ed25519.PublicKey), []byte(message), c.Signature) || c.Check() != nil {
		t.Errorf("signature %x does not fit %s", c.Signature, message)
	}
	for name, other := range map[string]Checkpoint{
		"time": {At: c.At.Add(time.Microsecond), Seq: 4, Head: c.Head, Seal: 9, Seals: c.Seals, Key: c.Key, Signature: c.Signature},
		"seq":  {At: c.At, Seq: 5, Head: c.Head, Seal: 9, Seals: c.Seals, Key: c.Key, Signature: c.Signature},
		"key":  {At: c.At, Seq: 4, Head: c.Head, Seal: 9, Seals: c.Seals, Key: publicOf(keyOf('b')), Signature: c.Signature},
		"none": {At: c.At, Seq: 4, Head: c.Head, Seal: 9, Seals: c.Seals},
	} {
		if other.Check() == nil {
			t.Errorf("%s changed: the signature still holds", name)
		}
	}
}

func mustText(t testing.TB, k PublicKey) string {
	t.Helper()
	text, err := k.MarshalText()
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// shop is a journal with keys and checkpoints, as a year leaves it.
type shopBook struct {
	*book
	seals       []Seal
	checkpoints []Checkpoint
}

func (s *shopBook) sign(key ed25519.PrivateKey) {
	c := Checkpoint{At: s.now}
	if n := len(s.entries); n > 0 {
		c.Seq, c.Head = s.entries[n-1].Seq, s.entries[n-1].Hash
	}
	if n := len(s.seals); n > 0 {
		c.Seal, c.Seals = s.seals[n-1].Seq, s.seals[n-1].Hash
	}
	s.checkpoints = append(s.checkpoints, c.Sign(key))
}

func (s *shopBook) seal(hour int) {
	d := NewDigester("core", monday.Add(time.Duration(hour)*time.Hour))
	d.Add(cook.Reading{Probe: "core", Time: monday.Add(time.Duration(hour) * time.Hour), Celsius: 50, Quality: cook.Good, Clock: cook.DeviceClock})
	var prev Hash
	if n := len(s.seals); n > 0 {
		prev = s.seals[n-1].Hash
	}
	s.seals = append(s.seals, d.Readings().Follow(int64(len(s.seals)+1), prev, s.now, 0))
}

// newShopBook has entries 1 (key a), 2 to 6 (lots m1 and m2), 7 (key b), 8 to 10, with checkpoints at 1, 4, 6, 7 and 9.
func newShopBook(t testing.TB) *shopBook {
	s := &shopBook{book: newBook(t)}
	a, b := keyOf('a'), keyOf('b')
	s.mustEnter(Draft{Maker: Maker{By: "daemon", Auth: AuthDaemon}, Body: NewKey(a, nil)})
	s.sign(a)
	s.mustEnter(says(Opened{Product: "brisket"}))
	s.mustEnter(Draft{Lot: "m2", Maker: Maker{By: "KM", Auth: AuthPIN}, Body: Opened{Product: "pastrami"}})
	s.mustEnter(says(Weighed{When: WhenRaw, MassKg: 3}))
	s.seal(0)
	s.seal(1)
	s.sign(a)
	s.mustEnter(Draft{Lot: "m2", Maker: Maker{By: "KM", Auth: AuthPIN}, Body: Note{Text: "dry"}})
	s.mustEnter(says(Weighed{When: WhenSmoked, MassKg: 2}))
	s.seal(2)
	s.sign(a)
	s.mustEnter(Draft{Maker: Maker{By: "daemon", Auth: AuthDaemon}, Body: NewKey(b, a)})
	s.sign(b)
	s.mustEnter(says(Note{Text: "good"}))
	s.mustEnter(says(Closed{}))
	s.seal(3)
	s.sign(b)
	s.mustEnter(Draft{Lot: "m2", Maker: Maker{By: "KM", Auth: AuthPIN}, Body: Closed{}})
	return s
}

func (s *shopBook) material() Material {
	lines := make([]Line, len(s.entries))
	for i := range s.entries {
		lines[i].Entry = &s.entries[i]
	}
	seals := make([]SealLine, len(s.seals))
	for i := range s.seals {
		seals[i].Seal = &s.seals[i]
	}
	return Material{Lines: each(lines), Seals: each(seals), Checkpoints: s.checkpoints}
}

func mustVerify(t testing.TB, m Material) *Report {
	t.Helper()
	r, err := Verify(m)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestVerify_WholeJournal(t *testing.T) {
	s := newShopBook(t)
	for name, trust := range map[string]PublicKey{"none": nil, "first": publicOf(keyOf('a')), "newest": publicOf(keyOf('b'))} {
		m := s.material()
		m.Trust = trust
		r := mustVerify(t, m)
		if !r.Good() || r.Entries != 10 || r.Seals != 4 || r.Covered != 9 || r.Trusted != (trust != nil) || r.Key != publicOf(keyOf('b')).ID() {
			t.Errorf("trust %s: %+v", name, r)
		}
	}
	m := s.material()
	m.Trust = publicOf(keyOf('c'))
	if r := mustVerify(t, m); r.Good() || r.Trusted {
		t.Errorf("a strange key: %+v", r)
	}
}

// remake gives entries from the numbered one on new hashes, as somebody would who knows the format but has no key.
func (s *shopBook) remake(from int) {
	for i := from - 1; i < len(s.entries); i++ {
		if i > 0 {
			s.entries[i].Prev = s.entries[i-1].Hash
		}
		s.entries[i].Seq = int64(i + 1)
		s.entries[i].Hash = s.entries[i].Link().Hash()
	}
}

// What somebody does to the journal is found, and the first bad entry named.
func TestVerify_NamesTheFirstBadEntry(t *testing.T) {
	lie := []byte(`{"mass_kg":9,"when":"raw"}`)
	for name, c := range map[string]struct {
		do    func(*shopBook)
		where string
		first int64
		says  string
	}{
		"content":               {func(s *shopBook) { s.entries[3].Body = lie }, "entry", 4, "content was changed"},
		"content and hash":      {func(s *shopBook) { s.entries[3].Body = lie; s.entries[3].Hash = s.entries[3].Link().Hash() }, "entry", 5, "does not follow from entry 4"},
		"content and all after": {func(s *shopBook) { s.entries[3].Body = lie; s.remake(4) }, "entry", 4, "an entry from 2 to 4"},
		"who":                   {func(s *shopBook) { s.entries[7].By = "XX" }, "entry", 8, "content was changed"},
		"first":                 {func(s *shopBook) { s.entries[0].By = "XX" }, "entry", 1, "content was changed"},
		"deleted":               {func(s *shopBook) { s.entries = slices.Delete(s.entries, 4, 5) }, "entry", 5, "it is missing"},
		"two deleted":           {func(s *shopBook) { s.entries = slices.Delete(s.entries, 4, 6) }, "entry", 5, "entries 5 to 6 are missing"},
		"deleted and closed up": {func(s *shopBook) { s.entries = slices.Delete(s.entries, 4, 5); s.remake(5) }, "entry", 6, "an entry from 5 to 6"},
		"first deleted":         {func(s *shopBook) { s.entries = slices.Delete(s.entries, 0, 1) }, "entry", 1, "missing"},
		"first cut off":         {func(s *shopBook) { s.entries = slices.Delete(s.entries, 0, 1); s.remake(1) }, "entry", 1, "something stood before"},
		"inserted": {func(s *shopBook) {
			extra := s.entries[8]
			s.entries = slices.Insert(s.entries, 9, extra)
			s.remake(9)
			s.entries = slices.Delete(s.entries, 10, 11)
			s.entries[9].Seq = 9
		}, "entry", 9, "stands where 10 belongs"},
		"swapped":           {func(s *shopBook) { s.entries[4], s.entries[5] = s.entries[5], s.entries[4] }, "entry", 5, "it is missing"},
		"swapped anew":      {func(s *shopBook) { s.entries[4], s.entries[5] = s.entries[5], s.entries[4]; s.remake(5) }, "entry", 6, "from 5 to 6"},
		"tail":              {func(s *shopBook) { s.entries = s.entries[:7] }, "entry", 8, "entries 8 to 9 are missing"},
		"all":               {func(s *shopBook) { s.entries = nil }, "key", 1, ""},
		"seal":              {func(s *shopBook) { s.seals[1].Count++ }, "seal", 2, "content was changed"},
		"seal and after":    {func(s *shopBook) { s.seals[1].Count++; s.seals[1].Hash = s.seals[1].Link().Hash() }, "seal", 3, "does not follow"},
		"seals cut":         {func(s *shopBook) { s.seals = s.seals[:2] }, "seal", 3, "missing"},
		"checkpoint":        {func(s *shopBook) { s.checkpoints[1].Head[0]++ }, "checkpoint", 2, "signature"},
		"checkpoints gone":  {func(s *shopBook) { s.checkpoints = nil }, "checkpoint", 0, "removed"},
		"other key's":       {func(s *shopBook) { s.checkpoints[1] = s.checkpoints[1].Sign(keyOf('c')) }, "checkpoint", 2, "does not name"},
		"old key's":         {func(s *shopBook) { s.checkpoints[4] = s.checkpoints[4].Sign(keyOf('a')) }, "checkpoint", 5, "not in force"},
		"new key's too old": {func(s *shopBook) { s.checkpoints[1] = s.checkpoints[1].Sign(keyOf('b')) }, "checkpoint", 2, "not in force"},
	} {
		s := newShopBook(t)
		c.do(s)
		r := mustVerify(t, s.material())
		if name == "all" { // nothing is left to name: the checkpoints do
			if r.Good() {
				t.Error("all removed, and nothing found")
			}
			continue
		}
		if r.Good() || r.Findings[0].Where != c.where || r.Findings[0].Number != c.first || !strings.Contains(r.Findings[0].Problem, c.says) {
			t.Errorf("%s: %v, want %s %d: %s", name, r.Findings, c.where, c.first, c.says)
		}
	}
}

// The newest entries removed together with their checkpoints leave no trace, but for a checkpoint kept elsewhere.
func TestVerify_TruncationShowsAgainstACheckpointKeptElsewhere(t *testing.T) {
	s := newShopBook(t)
	kept := s.checkpoints[len(s.checkpoints)-1]
	s.entries, s.checkpoints, s.seals = s.entries[:7], s.checkpoints[:4], s.seals[:3]
	if r := mustVerify(t, s.material()); !r.Good() {
		t.Errorf("without it: %v (this is the limit that the documentation states)", r.Findings)
	}
	m := s.material()
	m.Outside = []Checkpoint{kept}
	if r := mustVerify(t, m); r.Good() || r.Findings[0].Number != 8 || !strings.Contains(r.Findings[0].Problem, "kept elsewhere") {
		t.Errorf("with it: %v", r.Findings)
	}
}

// A key that nobody signed is found by those who trust an older one; who trusts the new one has its word for what came before.
func TestVerify_LostKey(t *testing.T) {
	s := newShopBook(t)
	c := keyOf('c')
	s.mustEnter(Draft{Maker: Maker{By: "daemon", Auth: AuthDaemon}, Body: NewKey(c, nil)})
	s.sign(c)
	for name, want := range map[byte]bool{'a': false, 'b': false, 'c': true} {
		m := s.material()
		m.Trust = publicOf(keyOf(name))
		if r := mustVerify(t, m); r.Good() != want {
			t.Errorf("trusting %c: %v", name, r.Findings)
		}
	}
}

func (s *shopBook) export(lot cook.LotID) *Export {
	x := &Export{Format: ExportFormat, Lot: lot, Keys: []Key{NewKey(keyOf('a'), nil), NewKey(keyOf('b'), keyOf('a'))}, Checkpoints: s.checkpoints[4:],
		SealsFrom: Start{s.seals[1].Seq, s.seals[1].Hash}}
	for _, e := range s.entries[:9] {
		link := e.Link()
		switch {
		case e.Seq == 1:
			x.From = Start{1, e.Hash}
		case e.Lot == lot || e.Lot == "":
			x.Entries = append(x.Entries, Line{Entry: &e})
		default:
			x.Entries = append(x.Entries, Line{Link: &link})
		}
	}
	for _, seal := range s.seals[2:] {
		x.Seals = append(x.Seals, SealLine{Seal: &seal})
	}
	return x
}

// The export of one lot is verified by itself, read back from its bytes; nothing of it can be left out or changed.
func TestExport_StandsAlone(t *testing.T) {
	trust := publicOf(keyOf('a'))
	whole, err := newShopBook(t).export("m1").JSON()
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(string(whole), "dry") {
		t.Error("the export shows another lot's entry")
	}
	x, err := ReadExport(whole)
	if err != nil {
		t.Fatal(err)
	}
	if r, err := x.Verify(trust); err != nil || !r.Good() || !r.Trusted || r.Covered != 9 {
		t.Fatalf("whole: %+v, %v", r, err)
	}
	if lot, err := x.Fold(); err != nil || len(lot.Weights) != 2 || lot.Running() {
		t.Errorf("fold: %+v, %v", lot, err)
	}
	for name, do := range map[string]func(*Export){
		"weight": func(x *Export) { x.Entries[2].Entry.Body = []byte(`{"mass_kg":9,"when":"raw"}`) },
		"withheld": func(x *Export) {
			link := x.Entries[2].Entry.Link()
			x.Entries[2] = Line{Link: &link}
		},
		"left out":   func(x *Export) { x.Entries = slices.Delete(x.Entries, 2, 3) },
		"beginning":  func(x *Export) { x.From = Start{2, x.Entries[0].Entry.Hash}; x.Entries = x.Entries[1:] },
		"end":        func(x *Export) { x.Entries = x.Entries[:7] },
		"checkpoint": func(x *Export) { x.Checkpoints = nil },
		"link":       func(x *Export) { x.Entries[1].Link.Of = "m3" },
		"key":        func(x *Export) { x.Keys = x.Keys[1:] },
		"seal":       func(x *Export) { x.Seals[0].Seal.Count = 7 },
		"other lot":  func(x *Export) { x.Lot = "m2" },
	} {
		x := newShopBook(t).export("m1")
		do(x)
		if r, err := x.Verify(trust); err != nil || r.Good() {
			t.Errorf("%s: %+v, %v", name, r, err)
		}
	}
}

// Changing any byte of an export is found, or changes nothing of what it says. (Every seventh byte here, every one with STALLKEEPER_SOAK.)
func TestExport_AnyByte(t *testing.T) {
	trust := publicOf(keyOf('a'))
	whole, err := newShopBook(t).export("m1").JSON()
	if err != nil {
		t.Fatal(err)
	}
	x, err := ReadExport(whole)
	if err != nil {
		t.Fatal(err)
	}
	said := fmt.Sprintf("%v %v", x.Shown(), x.Lot)
	step := 7
	if os.Getenv("STALLKEEPER_SOAK") != "" {
		step = 1
	}
	for i := 0; i < len(whole); i += step {
		bad := slices.Clone(whole)
		bad[i] ^= 1 << (i % 7)
		x, err := ReadExport(bad)
		if err != nil {
			continue
		}
		if r, err := x.Verify(trust); err == nil && r.Good() && fmt.Sprintf("%v %v", x.Shown(), x.Lot) != said {
			t.Fatalf("byte %d %q to %q: not found", i, whole[i], bad[i])
		}
	}
}
