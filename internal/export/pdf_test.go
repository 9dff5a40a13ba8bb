package export

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/record"
	"stallkeeper/internal/testrig"
)

func mustPDF(t testing.TB, a Account) []byte {
	t.Helper()
	out, err := PDF(a)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// textOf is what pdftotext reads from a PDF, laid out as on the page.
func textOf(t *testing.T, pdf []byte) string {
	t.Helper()
	if _, err := exec.LookPath("pdftotext"); err != nil {
		if os.Getenv("STALLKEEPER_REQUIRE") == "1" {
			t.Fatal("pdftotext is missing: install poppler-utils")
		}
		t.Skip("pdftotext is missing: install poppler-utils to run this")
	}
	file := filepath.Join(t.TempDir(), "lot.pdf")
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("pdftotext", "-layout", file, "-").CombinedOutput()
	if err != nil {
		t.Fatalf("pdftotext: %v: %s", err, out)
	}
	return string(out)
}

func TestPDF_OfTheBadNightReads(t *testing.T) {
	pdf := mustPDF(t, badNight(t))
	if dir := os.Getenv("STALLKEEPER_PDF_DIR"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, "badnight.pdf"), pdf, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	testrig.Golden(t, "badnight.txt", textOf(t, pdf))
}

func TestPDF_SameRecordsGiveTheSameBytes(t *testing.T) {
	if !bytes.Equal(mustPDF(t, badNight(t)), mustPDF(t, badNight(t))) {
		t.Error("two exports of the same records differ")
	}
}

// Every word of every entry is in the document, whatever it is written in.
func TestPDF_LosesNothing(t *testing.T) {
	a := badNight(t)
	long := strings.Repeat("Zażółć gęślą jaźń; ", 140) + "END-OF-TEXT"
	w := &writer{t: t, list: a.Lot.Entries, prev: a.Lot.Entries[len(a.Lot.Entries)-1].Hash}
	w.list = append([]record.Entry{}, w.list...)
	at := a.Lot.Entries[len(a.Lot.Entries)-1].At.Add(time.Hour)
	e, err := record.Draft{Lot: overnight, At: at, Maker: record.Maker{By: "KM", Auth: record.AuthPIN}, Body: record.Note{Text: long + " \U0001F525 注文 שלום"}}.Make(99, w.prev, at)
	if err != nil {
		t.Fatal(err)
	}
	if a.Lot, err = record.Fold(append(w.list, e)); err != nil {
		t.Fatal(err)
	}
	text := textOf(t, mustPDF(t, a))
	flat := strings.Join(strings.Fields(text), " ")
	for _, want := range []string{"END-OF-TEXT", "[U+1F525]", "[U+6CE8]", "U+8A3B (2)", "Łąkowa Farm", "written from right to left", "DOES NOT STAND: replaced by entry 13", "LATE by 1 h 25 min"} {
		if !strings.Contains(flat, want) {
			t.Errorf("the PDF does not say %q", want)
		}
	}
	if n := strings.Count(flat, "Zażółć"); n != 140 {
		t.Errorf("a text of 140 repeated phrases shows %d of them", n)
	}
}

func TestPDF_CarriesTheRecordsThatVerify(t *testing.T) {
	if _, err := exec.LookPath("pdfdetach"); err != nil {
		t.Skip("pdfdetach is missing: install poppler-utils to run this")
	}
	a := badNight(t)
	dir := t.TempDir()
	file := filepath.Join(dir, "lot.pdf")
	if err := os.WriteFile(file, mustPDF(t, a), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("pdfdetach", "-saveall", "-o", dir, file).CombinedOutput(); err != nil {
		t.Fatalf("pdfdetach: %v: %s", err, out)
	}
	data, err := os.ReadFile(filepath.Join(dir, a.File))
	if err != nil {
		t.Fatal(err)
	}
	x, err := record.ReadExport(data)
	if err != nil {
		t.Fatal(err)
	}
	report, err := x.Verify(a.Proof.Checkpoint.Key)
	if err != nil || !report.Good() || !report.Trusted {
		t.Errorf("the attached records do not verify: %+v, %v", report, err)
	}
}

// A page of A4 or Letter holds it all, and no row of a table is cut in two unless it is higher than a page.
func TestTemperatures_AreReadFromWords(t *testing.T) {
	for text, want := range map[string][]float64{
		"50 to 130 °F (10 to 54.4 °C) within 6 h in all": {10, 54.44},
		"71.2 °C at once":                  {71.2},
		"158 °F (70.1 °C)":                 {70},
		"at or below 5 °C, warn at 4.5 °C": {5, 4.5},
		"no temperature here, 6 h":         nil,
		"−18 °C":                           {-18},
	} {
		got := temperaturesIn(text)
		ok := len(got) == len(want)
		for i := range want {
			ok = ok && float64(got[i])-want[i] < 0.01 && want[i]-float64(got[i]) < 0.01
		}
		if !ok {
			t.Errorf("temperaturesIn(%q) = %v, want %v", text, got, want)
		}
	}
}
