package cook

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"slices"
	"strconv"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
)

// Log is a cook with everything that was measured in it, readings in time order.
type Log struct {
	Cook     Cook
	Readings []Reading
}

// The files of a cook log.
const (
	LogCookFile     = "cook.json"
	LogReadingsFile = "readings.csv"
	LogChecksFile   = "checks.csv" // in exports alone, where a probe failed a check; it is not read
)

// Doubt is a stretch in which the readings of a probe are in doubt: after its last good check before one that it failed, until the next
// good one. A zero From has no beginning, a zero To no end.
type Doubt struct {
	Probe    ProbeID
	From, To time.Time
}

// WriteDoubts writes checks.csv: header "probe,from,to,check", an empty time where there is no beginning or no end.
func WriteDoubts(w io.Writer, doubts []Doubt) error {
	out := csv.NewWriter(w)
	stamp := func(t time.Time) string {
		if t.IsZero() {
			return ""
		}
		return t.UTC().Format(time.RFC3339Nano)
	}
	rows := [][]string{{"probe", "from", "to", "check"}}
	for _, d := range doubts {
		rows = append(rows, []string{string(d.Probe), stamp(d.From), stamp(d.To), "failed"})
	}
	return out.WriteAll(rows)
}

// ReadLog reads a cook log folder. Unknown keys, unreadable rows and values below absolute zero are errors that name
// file and line. Readings come back in time order, each marked Good or improbable (see Judge).
func ReadLog(dir fs.FS) (*Log, error) {
	data, err := fs.ReadFile(dir, LogCookFile)
	if err != nil {
		return nil, fmt.Errorf("read cook log: %w (a cook log is a folder with %s and %s)", err, LogCookFile, LogReadingsFile)
	}
	c, err := DecodeCook(data)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", LogCookFile, err)
	}
	f, err := dir.Open(LogReadingsFile)
	if err != nil {
		return nil, fmt.Errorf("read cook log: %w (a cook log is a folder with %s and %s)", err, LogCookFile, LogReadingsFile)
	}
	defer f.Close()
	readings, err := ReadReadings(f, 0)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", LogReadingsFile, err)
	}
	return &Log{Cook: *c, Readings: readings}, nil
}

// DecodeCook reads cook.json strictly and validates it.
func DecodeCook(data []byte) (*Cook, error) {
	var c Cook
	if err := DecodeStrict(data, &c); err != nil {
		return nil, err
	}
	if err := c.Validate(); err != nil {
		return nil, err
	}
	return &c, nil
}

// DecodeStrict decodes one JSON value and nothing after it; an unknown key is an error that names it.
func DecodeStrict(data []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		if key, ok := strings.CutPrefix(err.Error(), "json: unknown field "); ok {
			return fmt.Errorf("unknown key %s: remove it or correct its name", key)
		}
		return fmt.Errorf("not the JSON expected: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return errors.New("something stands behind the JSON value: remove it")
	}
	return nil
}

// ReadReadings reads readings.csv. Of two rows of one probe at one time the first stands. rows is how many there are about, so that no more
// memory is taken than they need; 0: not known.
func ReadReadings(r io.Reader, rows int) ([]Reading, error) {
	table := csv.NewReader(bufio.NewReader(r))
	table.FieldsPerRecord = 3
	table.ReuseRecord = true
	head, err := table.Read()
	if err != nil || strings.TrimPrefix(head[0], "\ufeff") != "time" || head[1] != "probe" || head[2] != "celsius" {
		return nil, errors.New("line 1 is not the header \"time,probe,celsius\"")
	}
	out := make([]Reading, 0, rows)
	names := map[string]ProbeID{}
	for {
		row, err := table.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		line, _ := table.FieldPos(0)
		if strings.TrimSpace(row[2]) == "" {
			continue
		}
		reading, err := parseRow(row, names)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
		out = append(out, reading)
	}
	slices.SortStableFunc(out, func(a, b Reading) int {
		if c := a.Time.Compare(b.Time); c != 0 {
			return c
		}
		return strings.Compare(string(a.Probe), string(b.Probe))
	})
	out = slices.CompactFunc(out, func(a, b Reading) bool { return a.Probe == b.Probe && a.Time.Equal(b.Time) })
	var j Judge
	for i := range out {
		out[i].Quality = j.Quality(out[i])
	}
	return out, nil
}

func parseRow(row []string, names map[string]ProbeID) (Reading, error) {
	at, err := time.Parse(time.RFC3339, row[0])
	if err != nil {
		return Reading{}, fmt.Errorf("time %q is not RFC 3339, such as 2026-05-02T20:00:00Z", row[0])
	}
	id, ok := names[row[1]]
	if !ok {
		id = ProbeID(strings.Clone(row[1]))
		if err := id.Validate(); err != nil {
			return Reading{}, err
		}
		names[string(id)] = id
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(row[2]), 64)
	if c := thermal.Celsius(v); err != nil || !c.Finite() {
		return Reading{}, fmt.Errorf("celsius %q is not a temperature: write a number, or leave the cell empty", row[2])
	}
	return Reading{Probe: id, Time: Instant(at), Celsius: thermal.Celsius(v), Clock: DeviceClock}, nil
}

// WriteReadings writes readings.csv.
func WriteReadings(w io.Writer, readings []Reading) error {
	return StreamReadings(w, func(yield func(Reading, error) bool) {
		for _, r := range readings {
			if !yield(r, nil) {
				return
			}
		}
	})
}

// StreamReadings writes readings.csv from a sequence, up to the first error, which it returns.
func StreamReadings(w io.Writer, readings iter.Seq2[Reading, error]) error {
	out := csv.NewWriter(w)
	if err := out.Write([]string{"time", "probe", "celsius"}); err != nil {
		return err
	}
	for r, err := range readings {
		if err != nil {
			return err
		}
		row := []string{r.Time.UTC().Format(time.RFC3339Nano), string(r.Probe), strconv.FormatFloat(float64(r.Celsius), 'f', -1, 64)}
		if err := out.Write(row); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// EncodeCook writes cook.json.
func EncodeCook(c *Cook) ([]byte, error) {
	data, err := json.MarshalIndent(c, "", "  ")
	return append(data, '\n'), err
}
