package store

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// openForBench is a store whose committer runs, without log.
func openForBench(b *testing.B, path string, linger time.Duration) *DB {
	b.Helper()
	db, err := Open(b.Context(), path, Options{Linger: linger, Log: slog.New(slog.DiscardHandler), Now: time.Now})
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- db.Run(ctx) }()
	b.Cleanup(func() {
		cancel()
		if err := errors.Join(<-ended, db.Close()); err != nil {
			b.Error(err)
		}
	})
	return db
}

func benchReading(i int) cook.Reading {
	probes := [...]cook.ProbeID{"pit", "core", "flat", "butt", "belly", "ambient", "cooler", "holding"}
	r := reading(probes[i%8], i/8, thermal.Celsius(float64(i%1009)/16))
	r.Arrived = r.Time.Add(time.Duration(100+i%53) * time.Millisecond)
	return r
}

// BenchmarkPut is the whole way of a reading: queue, batch, commit at synchronous=FULL, Done. Compare with BenchmarkRawInsert.
func BenchmarkPut(b *testing.B) {
	db := openForBench(b, filepath.Join(b.TempDir(), FileName), DefaultLinger)
	var all sync.WaitGroup
	all.Add(b.N)
	done := func(o Outcome, err error) {
		if err != nil || o != Stored {
			b.Error(o, err)
		}
		all.Done()
	}
	b.ResetTimer()
	for i := range b.N {
		if err := db.Put(b.Context(), Item{Reading: benchReading(i), Done: done}); err != nil {
			b.Fatal(err)
		}
	}
	all.Wait()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

// BenchmarkRawInsert writes the same rows with nothing between: one prepared insert, the same table and batches.
func BenchmarkRawInsert(b *testing.B) {
	db := openForBench(b, filepath.Join(b.TempDir(), FileName), DefaultLinger)
	if _, err := db.writer.Exec(`insert into probes (name) values ('1'), ('2'), ('3'), ('4'), ('5'), ('6'), ('7'), ('8')`); err != nil {
		b.Fatal(err)
	}
	b.ResetTimer()
	for i := 0; i < b.N; {
		tx, err := db.writer.Begin()
		if err != nil {
			b.Fatal(err)
		}
		s, err := tx.Prepare(insertReading)
		if err != nil {
			b.Fatal(err)
		}
		for range maxBatch {
			if i++; i > b.N {
				break
			}
			r := benchReading(i)
			if _, err := s.Exec(i%8+1, r.Time.UnixMicro(), float64(r.Celsius), 0, 0, 0, 0, 137000, 0, nil); err != nil {
				b.Fatal(err)
			}
		}
		if err := tx.Commit(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

// fillNight stores 16 hours of eight probes at a reading a second.
func fillNight(b *testing.B) *DB {
	b.Helper()
	db := openForBench(b, filepath.Join(b.TempDir(), FileName), 0)
	const n = 16 * 3600 * 8
	var all sync.WaitGroup
	all.Add(n)
	for i := range n {
		if err := db.Put(b.Context(), Item{Reading: benchReading(i), Done: func(Outcome, error) { all.Done() }}); err != nil {
			b.Fatal(err)
		}
	}
	all.Wait()
	return db
}

// BenchmarkNight reads 16 hours of eight probes at a reading a second, in the ways the daemon does.
func BenchmarkNight(b *testing.B) {
	db := fillNight(b)
	b.Run("Series_one_probe_800_points", func(b *testing.B) {
		for b.Loop() {
			if got, err := db.Series(b.Context(), "core", epoch, epoch.Add(16*time.Hour), 800); err != nil || len(got) != 800 {
				b.Fatal(len(got), err)
			}
		}
	})
	b.Run("ReadingsOf_all", func(b *testing.B) {
		n := 0
		for b.Loop() {
			for _, err := range db.ReadingsOf(b.Context(), nil, time.Time{}, time.Time{}) {
				if err != nil {
					b.Fatal(err)
				}
				n++
			}
		}
		b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "rows/s")
	})
	b.Run("Readings_a_page_of_10000", func(b *testing.B) {
		for b.Loop() {
			if got, err := db.Readings(b.Context(), cook.ReadingQuery{From: epoch.Add(8 * time.Hour), Limit: 10000}); err != nil || len(got) != 10000 {
				b.Fatal(len(got), err)
			}
		}
	})
	b.Run("ReadingsAfter_500", func(b *testing.B) {
		for b.Loop() {
			if got, err := db.ReadingsAfter(b.Context(), 200_000, 500); err != nil || len(got) != 500 {
				b.Fatal(len(got), err)
			}
		}
	})
}

// BenchmarkDay measures the growth of the file: one day of eight probes at a reading a second.
func BenchmarkDay(b *testing.B) {
	for b.Loop() {
		path := filepath.Join(b.TempDir(), FileName)
		db := openForBench(b, path, 0)
		for i := range 86400 * 8 {
			if err := db.Put(b.Context(), Item{Reading: benchReading(i)}); err != nil {
				b.Fatal(err)
			}
		}
		db.drain()
		if _, err := db.writer.Exec("pragma wal_checkpoint(truncate)"); err != nil {
			b.Fatal(err)
		}
		info, err := os.Stat(path)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(info.Size())/1e6, "MB/day")
	}
}

// BenchmarkLog measures what eight probes at a reading a second write to the disk in a day, before checkpoints, when so many readings are
// committed together: the figure that wears out an SD card. 80 are ten seconds of linger.
func BenchmarkLog(b *testing.B) {
	for _, together := range []int{1, 8, 40, 80, 480} {
		b.Run(fmt.Sprintf("%d_readings_a_commit", together), func(b *testing.B) {
			path := filepath.Join(b.TempDir(), FileName)
			db := openForBench(b, path, 0)
			const settled = 3600 * 8
			for i := range settled {
				if err := db.Put(b.Context(), Item{Reading: benchReading(i)}); err != nil {
					b.Fatal(err)
				}
			}
			mustCommit(b, db, nil)
			if _, err := db.writer.Exec("pragma wal_checkpoint(truncate); pragma wal_autocheckpoint = 0"); err != nil {
				b.Fatal(err)
			}
			const n, day = 4800, 86400 * 8
			next := settled
			for b.Loop() {
				for range n / together {
					var batch []Item
					for range together {
						batch = append(batch, Item{Reading: benchReading(next)})
						next++
					}
					mustCommit(b, db, batch)
				}
			}
			info, err := os.Stat(path + "-wal")
			if err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(info.Size())/1e6*day/float64(next-settled), "MB/day")
		})
	}
}

// mustCommit commits what is waiting, then a batch of its own.
func mustCommit(b *testing.B, db *DB, batch []Item) {
	b.Helper()
	var done sync.WaitGroup
	done.Add(1)
	if err := db.Put(b.Context(), Item{Reading: benchReading(0), Done: func(Outcome, error) { done.Done() }}); err != nil {
		b.Fatal(err)
	}
	done.Wait()
	if len(batch) > 0 {
		db.commit(batch) // the committer is idle
	}
}
