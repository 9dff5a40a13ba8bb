package cook

import (
	"strings"
	"testing"
	"time"
)

// The characters and their properties are those of the Unicode Character Database: Bidi_Control has U+061C U+200E U+200F U+202A–202E
// U+2066–2069, and Default_Ignorable_Code_Point the rest but U+0007 and U+2028, a control character and a separator.
func TestNames_HaveOnlyWhatIsSeen(t *testing.T) {
	doors := map[string]func(string) error{
		"text":  func(s string) error { return CheckText("name", s) },
		"probe": func(s string) error { return ProbeID(s).Validate() },
		"paper": CheckName,
		"cook": func(s string) error {
			c := Cook{Name: s, Started: time.Date(2026, 5, 2, 20, 0, 0, 0, time.UTC), Pit: Pit{SetPoint: 107}, Pieces: []Piece{{ID: "flat", Cut: "brisket_flat", Target: 92}}}
			return c.Validate()
		},
	}
	for name, check := range doors {
		for _, good := range []string{"flat", "Rindfleisch über Nacht", "בריסקט", "ブリスケット", "brisket 🔥", "brisket ❤\ufe0f", "pâté"} {
			if err := check(good); err != nil {
				t.Errorf("%s %q: %v", name, good, err)
			}
		}
		for _, r := range "\u0007\u00ad\u034f\u061c\u115f\u180b\u200b\u200c\u200d\u200e\u200f\u2028\u202a\u202b\u202c\u202d\u202e\u2060\u2066\u2067\u2068\u2069\u3164\ufe0f\ufeff\U000e0041" {
			err := check("fl" + string(r) + "at")
			if err == nil || strings.ContainsRune(err.Error(), r) && Unseen(r) {
				t.Errorf("%s with %U: error %v, want one that does not repeat the character", name, r, err)
			}
		}
		if err := check("fl\xffat"); err == nil {
			t.Errorf("%s takes what is not UTF-8", name)
		}
	}
}

func TestProbeID_KeptNamesCanStillBeAskedFor(t *testing.T) {
	if err := ProbeID("flat\u202e").CheckKept(); err != nil {
		t.Errorf("CheckKept: %v", err)
	}
	if err := ProbeID("flat\n").CheckKept(); err == nil {
		t.Error("CheckKept takes a control character, which no name ever had")
	}
}

// Persian spells with the non-joiner (Unicode Standard, 9.2); a cook's picture is a man joined to a pan.
func TestProse_MayBeSpelledAsItsScriptIs(t *testing.T) {
	for _, good := range []string{"two\nlines", "می\u200cخواهم", "👨\u200d🍳", "❤\ufe0f"} {
		if err := CheckProse("note", good); err != nil {
			t.Errorf("%q: %v", good, err)
		}
		if got := Shown(good); got != good {
			t.Errorf("Shown(%q) = %q", good, got)
		}
	}
	for _, bad := range []string{"a\u202eb", "a\u200bb", "a\x1b[2Jb", "a\ufffdb"} {
		if err := CheckProse("note", bad); err == nil {
			t.Errorf("%q is taken", bad)
		}
	}
	if got, want := Shown("a\u202eb\u200bc\x1bd"), "a[U+202E]b[U+200B]c[U+001B]d"; got != want {
		t.Errorf("Shown = %q, want %q", got, want)
	}
}

func TestTimes_AreOfAClock(t *testing.T) {
	now := time.Date(2026, 5, 2, 20, 0, 0, 0, time.UTC)
	for _, tc := range []struct {
		at                      time.Time
		known, happens, planned bool
	}{
		{time.Time{}, true, true, true}, // nobody gave it
		{time.Date(1, 5, 3, 0, 0, 0, 0, time.UTC), false, false, false},
		{time.Date(1969, 12, 31, 23, 59, 59, 0, time.UTC), false, false, false},
		{time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC), true, true, true}, // a log of a board that counts from its start
		{now.Add(Ahead), true, true, true},
		{now.Add(Ahead + time.Second), true, false, true},
		{now.Add(Farthest), true, false, true},
		{now.Add(Farthest + time.Second), true, false, false},
		{time.Date(2099, 12, 31, 23, 59, 59, 0, time.UTC), true, false, false},
		{time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC), false, false, false},
	} {
		if err := CheckTime("at", tc.at); (err == nil) != tc.known {
			t.Errorf("CheckTime(%v) = %v", tc.at, err)
		}
		if err := CheckHappened("at", tc.at, now); (err == nil) != tc.happens {
			t.Errorf("CheckHappened(%v) = %v", tc.at, err)
		}
		if err := CheckPlanned("at", tc.at, now); (err == nil) != tc.planned {
			t.Errorf("CheckPlanned(%v) = %v", tc.at, err)
		}
	}
	if err := CheckSaid("at", time.Time{}); err == nil {
		t.Error("CheckSaid takes the year 1")
	}
}
