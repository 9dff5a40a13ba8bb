package export

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"stallkeeper/internal/record"
)

// csvHead names the columns; units stand in the names.
func csvHead() []string {
	return []string{"lot", "entry", "kind", "event_utc", "event_local", "entered_utc", "entered_local", "late_s", "by", "known_by", "corrects", "replaced_by", "reason",
		"stage", "piece", "ccp", "critical_limit", "rule", "source", "verdict", "measured", "celsius", "fahrenheit", "value", "unit", "instrument", "last_check", "last_check_utc",
		"everything", "hash"}
}

// CSV writes one row for each entry of the lot, and before them the checks of its instruments, by RFC 4180: commas, CRLF, UTF-8. Times stand
// in UTC and local with the offset, by RFC 3339. A text that a spreadsheet would take for a formula (it begins with = + - @, also in full width, or a control character) gets
// an apostrophe before it; numbers are the program's own and do not. It fails only on an entry that cannot be read.
func CSV(a Account) ([]byte, error) {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.UseCRLF = true
	rows := [][]string{csvHead()}
	for _, list := range [][]record.Entry{a.Shop, a.Lot.Entries} {
		for _, e := range list {
			row, err := csvRow(a, e)
			if err != nil {
				return nil, fmt.Errorf("write CSV of lot %s: %w", a.Lot.ID, err)
			}
			rows = append(rows, row)
		}
	}
	if err := w.WriteAll(rows); err != nil {
		return nil, fmt.Errorf("write CSV of lot %s: %w", a.Lot.ID, err)
	}
	return out.Bytes(), nil
}

func csvRow(a Account, e record.Entry) ([]string, error) {
	body, err := e.Decode()
	if err != nil {
		return nil, err
	}
	var everything []string
	for _, s := range record.TellWith(body, func(at time.Time) string { return local(at, a.Location) }) {
		everything = append(everything, s.Name+": "+s.Text)
	}
	row := []string{safe(string(e.Lot)), strconv.FormatInt(e.Seq, 10), string(e.Kind), utc(e.At), local(e.At, a.Location), utc(e.Entered), local(e.Entered, a.Location),
		strconv.FormatInt(int64(e.Late()/time.Second), 10), safe(e.By), e.Auth.Words(), orEmpty(e.Corrects), orEmpty(a.Lot.Replaced(e.Seq)), safe(e.Reason)}
	row = append(row, csvPoint(body)...)
	return append(row, safe(strings.Join(everything, "\n")), e.Hash.String()), nil
}

// csvPoint gives the columns from stage to last_check_utc, empty where the entry says nothing of them.
func csvPoint(body record.Body) []string {
	p, m := record.ControlPoint{}, record.Monitoring{}
	switch b := body.(type) {
	case *record.Monitoring:
		p, m = b.ControlPoint, *b
	case *record.Deviation:
		p = b.ControlPoint
	case *record.StageStarted:
		p.Stage, p.Piece = b.Stage, b.Piece
	case *record.StageEnded:
		p.Stage, p.Piece = b.Stage, b.Piece
	case *record.Weighed:
		p.Piece, m.Value, m.Unit, m.Instrument = b.Piece, &b.MassKg, "kg", b.Instrument
	case *record.ProbeChecked:
		m.Instrument = b.Instrument
	}
	celsius, fahrenheit, value := "", "", ""
	if m.Celsius != nil {
		celsius, fahrenheit = float(float64(*m.Celsius)), strconv.FormatFloat(m.Celsius.Fahrenheit(), 'f', 2, 64)
	}
	if m.Value != nil {
		value = float(*m.Value)
	}
	checked := ""
	if !m.CheckedAt.IsZero() {
		checked = utc(m.CheckedAt)
	}
	return []string{string(p.Stage), safe(string(p.Piece)), safe(p.CCP), safe(p.Limit), safe(p.Rule), safe(p.Source), string(m.Verdict), safe(p.Measured), celsius, fahrenheit, value,
		safe(m.Unit), safe(m.Instrument), orEmpty(m.LastCheck), checked}
}

// safe keeps a spreadsheet from taking a text for a formula.
func safe(text string) string {
	if first, _ := utf8.DecodeRuneInString(text); text == "" || !strings.ContainsRune("=+-@\t\r\n|＝＋－＠", first) {
		return text
	}
	return "'" + text
}

func utc(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000Z") }

func local(t time.Time, in *time.Location) string {
	return t.In(in).Format("2006-01-02T15:04:05.000-07:00")
}

func orEmpty(n int64) string {
	if n == 0 {
		return ""
	}
	return strconv.FormatInt(n, 10)
}

func float(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
