package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/record"
	"stallkeeper/internal/store"
)

// openBench gives a watch on a real store whose clock stands, and a function that counts what is owed and reports the longest that it
// held the watch at a time.
func openBench(b *testing.B, now time.Time, fill func(*store.DB)) (w *watch, count func() time.Duration) {
	b.Helper()
	log := slog.New(slog.DiscardHandler)
	clock := func() time.Time { return now }
	db, err := store.Open(b.Context(), b.TempDir()+"/"+store.FileName, store.Options{Log: log, Now: clock})
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(b.Context())
	ended := make(chan error, 1)
	go func() { ended <- db.Run(ctx) }()
	b.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			b.Error(err)
		}
		if err := db.Close(); err != nil {
			b.Error(err)
		}
	})
	fill(db)
	w = newWatch(monitor.New(monitor.Options{Estimator: estimator.New(estimator.DefaultPrior()), Settings: alarm.DefaultSettings(), Zone: time.UTC}), db, log, clock)
	w.publish = func(string, []byte) {}
	if err := w.restore(ctx); err != nil {
		b.Fatal(err)
	}
	return w, func() time.Duration {
		longest := time.Duration(0)
		for more := true; more; {
			began := time.Now()
			more = w.countOn(ctx)
			longest = max(longest, time.Since(began))
		}
		if w.trouble != nil {
			b.Fatal(w.trouble)
		}
		return longest
	}
}

// BenchmarkCount is how long the alarms of a cook wait whose probes were changed, and the longest hold of the watch meanwhile: twelve hours
// of eight probes at a reading a second, the forecasts kept.
func BenchmarkCount(b *testing.B) {
	const seconds = 12 * 3600
	var id cook.ID
	w, count := openBench(b, supperTime.Add(seconds*time.Second), func(db *store.DB) { id = fillLongNight(b, db, seconds) })
	longest := time.Duration(0)
	for b.Loop() {
		w.owed = []cook.ID{id}
		longest = max(longest, count())
	}
	b.ReportMetric(float64(longest.Milliseconds()), "longest-hold-ms")
}

// BenchmarkRewatch is the same of a lot's stage: thirty days of a cure at a reading a minute.
func BenchmarkRewatch(b *testing.B) {
	const minutes = 30 * 24 * 60
	w, count := openBench(b, supperTime.Add(minutes*time.Minute), func(db *store.DB) {
		var all sync.WaitGroup
		for i := range minutes {
			all.Add(1)
			r := cook.Reading{Probe: "fridge", Time: supperTime.Add(time.Duration(i) * time.Minute), Celsius: thermal.Celsius(2 + 0.1*float64(i%7)), Quality: cook.Good, Clock: cook.DeviceClock}
			if err := db.Put(b.Context(), store.Item{Reading: r, Done: func(store.Outcome, error) { all.Done() }}); err != nil {
				b.Fatal(err)
			}
		}
		all.Wait()
		for _, body := range []record.Body{record.Opened{Product: "brisket", Pieces: []record.Piece{{ID: "flat", Cut: "brisket_flat_cured", Intact: true}}},
			record.StageStarted{Stage: cook.StageCure, Probes: []cook.ProbeID{"fridge"}}} {
			if _, err := db.Append(b.Context(), record.Draft{Lot: "cure", At: supperTime, Maker: record.Maker{By: "KM", Auth: record.AuthSaid}, Body: body}); err != nil {
				b.Fatal(err)
			}
		}
	})
	key := slices.Clone(w.stale)
	if len(key) != 1 {
		b.Fatal(fmt.Sprintf("stages to count: %v", key))
	}
	longest := time.Duration(0)
	for b.Loop() {
		w.stale = slices.Clone(key)
		longest = max(longest, count())
	}
	b.ReportMetric(float64(longest.Milliseconds()), "longest-hold-ms")
}
