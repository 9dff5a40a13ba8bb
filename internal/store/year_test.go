package store

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/export"
	"stallkeeper/internal/record"
)

// A year of a shop: 300 lots, 8 probes at a reading each 5 s through days of 14 hours. The whole year has 29.4 million readings; without
// STALLKEEPER_YEAR=365 the benchmark makes that many days of it and says so.
const (
	yearDays   = 365
	yearLots   = 300
	yearProbes = 8
	dayHours   = 14
	readEvery  = 5 * time.Second
)

func daysOfYear(b *testing.B) int {
	days, err := strconv.Atoi(os.Getenv("STALLKEEPER_YEAR"))
	if err != nil {
		return 14
	}
	return min(max(days, 1), yearDays)
}

// BenchmarkYear generates the year, as the daemon would have written it, and measures what a shop does with it.
func BenchmarkYear(b *testing.B) {
	days := daysOfYear(b)
	path := filepath.Join(b.TempDir(), FileName)
	began := time.Now()
	lots, readings := makeYear(b, path, days)
	generated := time.Since(began)
	info, err := os.Stat(path)
	if err != nil {
		b.Fatal(err)
	}
	b.Logf("%d days: %d lots, %d readings, %.0f MB, generated in %v", days, len(lots), readings, float64(info.Size())/1e6, generated.Round(time.Second))
	db, err := Open(b.Context(), path, testOptions(b))
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	oldest := lots[0]
	b.Run("open-lot", func(b *testing.B) {
		for b.Loop() {
			if _, err := db.Lot(b.Context(), oldest); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("list-50-lots", func(b *testing.B) {
		for b.Loop() {
			if _, _, err := db.Lots(b.Context(), 0, 50, false); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("export-lot", func(b *testing.B) {
		for b.Loop() {
			x, err := db.ExportRecords(b.Context(), oldest)
			if err != nil {
				b.Fatal(err)
			}
			data, err := x.JSON()
			if err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(len(data))/1e6, "MB")
		}
	})
	b.Run("export-pdf", func(b *testing.B) {
		for b.Loop() {
			a, err := export.Gather(b.Context(), lotsOf{db}, oldest, time.UTC)
			if err != nil {
				b.Fatal(err)
			}
			data, err := export.PDF(a)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(len(data))/1e6, "MB")
		}
	})
	for name, o := range map[string]VerifyOptions{"verify": {}, "verify-readings": {Readings: true}} {
		o.Trust = publicOf(keyOf('a'))
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				r, err := VerifyRecords(b.Context(), path, o)
				if err != nil || !r.Good() {
					b.Fatal(r, err)
				}
				b.ReportMetric(float64(r.Entries), "entries")
				b.ReportMetric(float64(r.Seals), "seals")
			}
		})
	}
}

// lotsOf gives an export what it reads.
type lotsOf struct{ *DB }

func (l lotsOf) Export(ctx context.Context, lot cook.LotID) (*record.Export, error) {
	return l.ExportRecords(ctx, lot)
}

// makeYear fills a database day by day: readings, seals, checkpoints each hour, and the entries of the lots that are in work.
func makeYear(b *testing.B, path string, days int) (lots []cook.LotID, readings int64) {
	now := time.Date(2026, 1, 1, 5, 0, 0, 0, time.UTC)
	o := testOptions(b)
	o.Now = func() time.Time { return now }
	db, err := Open(b.Context(), path, o)
	if err != nil {
		b.Fatal(err)
	}
	defer func() {
		if err := db.Close(); err != nil {
			b.Fatal(err)
		}
	}()
	if _, err := db.writer.Exec("pragma synchronous = off"); err != nil { // nothing of it need survive a power cut
		b.Fatal(err)
	}
	y := &yearMaker{b: b, db: db, now: &now}
	y.append(record.Draft{Maker: record.Maker{By: "daemon", Auth: record.AuthDaemon}, Body: record.NewKey(keyOf('a'), nil)})
	for probe := range yearProbes {
		y.exec(`insert into probes (id, name) values (?, ?)`, probe+1, y.probe(probe))
	}
	for day := range days {
		start := time.Date(2026, 1, 1+day, 6, 0, 0, 0, time.UTC)
		y.readings(start)
		now = start.Add(30 * time.Minute)
		y.append(record.Draft{Maker: record.Maker{By: "KM", Auth: record.AuthPIN}, Body: record.ProbeChecked{Instrument: string(y.probe(day % yearProbes)), Method: "ice",
			Points: []record.CheckPoint{{True: 0, Read: 0.2}}, Passed: true}})
		for len(lots) < (day+1)*yearLots/yearDays {
			lots = append(lots, y.lot(len(lots), start))
		}
		y.hours(start)
	}
	return lots, y.seq
}

type yearMaker struct {
	b   *testing.B
	db  *DB
	now *time.Time
	seq int64
}

func (y *yearMaker) probe(n int) cook.ProbeID { return cook.ProbeID(fmt.Sprintf("probe-%d", n+1)) }

func (y *yearMaker) exec(query string, args ...any) {
	y.b.Helper()
	if err := y.db.write(context.Background(), "make year", func(tx *sql.Tx) error {
		_, err := tx.Exec(query, args...)
		return err
	}); err != nil {
		y.b.Fatal(err)
	}
}

// readings writes a day of every probe at once, with the numbers that an interleaved day would have.
func (y *yearMaker) readings(start time.Time) {
	const perDay = dayHours * int64(time.Hour/readEvery)
	y.exec(`with recursive step (i) as (select 0 union all select i + 1 from step where i + 1 < ?1)
		insert into readings select p.id, ?2 + i * ?3, ?4 + i * ?5 + p.id, round(20 + abs((i + p.id * 997) % 4000 - 2000) / 30.0 + (i * 7919 % 13) / 20.0, 2), 0, 0, 0, 0, 137000 + i % 1000, 0, null
		from probes p cross join step order by p.id, i`,
		perDay, micros(start), readEvery.Microseconds(), y.seq, yearProbes)
	y.seq += perDay * yearProbes
}

func (y *yearMaker) append(drafts ...record.Draft) {
	y.b.Helper()
	if _, err := y.db.Append(context.Background(), drafts...); err != nil {
		y.b.Fatal(err)
	}
}

// hours seals each hour of the day when it is over, and signs.
func (y *yearMaker) hours(start time.Time) {
	for hour := 1; hour <= dayHours; hour++ {
		*y.now = start.Add(time.Duration(hour)*time.Hour + sealGrace)
		if _, err := y.db.SealHours(context.Background(), *y.now); err != nil {
			y.b.Fatal(err)
		}
		if _, err := y.db.Checkpoint(context.Background(), keyOf('a'), *y.now); err != nil {
			y.b.Fatal(err)
		}
	}
}

// lot enters all that is entered about a lot: 58 entries.
func (y *yearMaker) lot(n int, start time.Time) cook.LotID {
	id := cook.LotID(fmt.Sprintf("26-%03d-brisket", n))
	body := func(b record.Body) record.Draft {
		return record.Draft{Lot: id, Maker: record.Maker{By: "KM", Auth: record.AuthPIN}, Body: b}
	}
	probe := y.probe(n % yearProbes)
	y.append(body(record.Opened{Product: "cured brisket", Class: record.Refrigerated, Pieces: []record.Piece{{ID: "flat", Cut: "brisket_flat_cured", Intact: true}, {ID: "point"}}}))
	for i, what := range []string{"beef brisket", "salt", "curing salt", "rub"} {
		y.append(body(record.RawMaterial{Name: what, Supplier: "the abattoir", Reference: fmt.Sprintf("L%d-%d", n, i), MassKg: 3.4}))
	}
	y.append(body(record.Formulation{Name: "brine", Formula: []byte(`{"meat_g":3400,"water_g":2700,"salt_g":300,"cure_g":21.3,"ingoing_nitrite_mg_kg":120}`)}))
	for _, when := range record.Whens() {
		for _, piece := range []cook.PieceID{"flat", "point"} {
			y.append(body(record.Weighed{Piece: piece, When: when, MassKg: 3.2, Instrument: "floor scale"}))
		}
	}
	for _, stage := range []cook.Stage{cook.StageCure, cook.StageDry, cook.StageSmoke, cook.StageChill} {
		*y.now = y.now.Add(time.Minute)
		y.append(body(record.StageStarted{Stage: stage, Probes: []cook.ProbeID{probe}}))
		for look := range 6 {
			celsius := thermal.Celsius(71 + look)
			y.append(body(record.Monitoring{ControlPoint: record.ControlPoint{CCP: "3 smoking", Limit: "71.2 °C at once", Rule: "fsis-meat-7log dwell", Source: "guideline, 2021", Piece: "flat", Stage: stage},
				Celsius: &celsius, Instrument: string(probe), Verdict: record.Met, Because: "the coldest probe was above the row for long enough"}))
		}
		y.append(body(record.StageEnded{Stage: stage}))
	}
	deviation := body(record.Deviation{ControlPoint: record.ControlPoint{CCP: "5 chilling", Limit: "21 °C within 2 h"}, What: "2 h 10 min to 21 °C"})
	entries, err := y.db.Append(context.Background(), deviation)
	if err != nil {
		y.b.Fatal(err)
	}
	y.append(body(record.CorrectiveAction{Deviation: entries[0].Seq, Cause: "door stood open", Control: "closed", Prevention: "self-closing hinge", Disposition: record.Destroyed}),
		body(record.Note{Text: "sliced by hand"}), body(record.Closed{}))
	review := body(record.Review{Ship: true})
	review.By = "ST"
	y.append(review)
	return id
}
