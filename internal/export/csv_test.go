package export

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"stallkeeper/internal/record"
	"stallkeeper/internal/testrig"
)

func TestCSV_OfTheBadNight(t *testing.T) {
	got, err := CSV(badNight(t))
	if err != nil {
		t.Fatal(err)
	}
	testrig.Golden(t, "badnight.csv", string(got))
	if n := bytes.Count(got, []byte("\n")) - bytes.Count(got, []byte("\r\n")); n != 0 {
		t.Errorf("%d lines do not end with CRLF, which RFC 4180 section 2 asks for", n)
	}
	rows, err := csv.NewReader(bytes.NewReader(got)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range rows {
		if len(row) != len(csvHead()) {
			t.Errorf("row %d has %d fields, want %d", i, len(row), len(csvHead()))
		}
	}
}

// The prefixes are those that the OWASP page on CSV injection lists.
func TestCSV_NoTextIsTakenForAFormula(t *testing.T) {
	a := badNight(t)
	newest := a.Lot.Entries[len(a.Lot.Entries)-1]
	for _, text := range []string{"=1+1", "+1", "-1", "@SUM(A1)"} {
		e, err := record.Draft{Lot: overnight, At: newest.At, Maker: record.Maker{By: "=KM", Auth: record.AuthPIN}, Reason: text, Corrects: newest.Seq, Body: record.Note{Text: text}}.Make(newest.Seq+1, newest.Hash, newest.Entered)
		if err != nil {
			t.Fatal(err)
		}
		b := a
		if b.Lot, err = record.Fold(append(append([]record.Entry{}, a.Lot.Entries...), e)); err != nil {
			t.Fatal(err)
		}
		out, err := CSV(b)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(bytes.NewReader(out)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for i, field := range rows[len(rows)-1] {
			if field != "" && strings.ContainsRune("=+-@\t\r\n", rune(field[0])) {
				t.Errorf("%q in column %s begins with %q", text, csvHead()[i], field[0])
			}
		}
	}
}
