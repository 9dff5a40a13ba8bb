package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/store"
)

// BenchmarkRecount counts a day of eight probes at a reading a second, 691,200 readings, with every forecast kept already.
func BenchmarkRecount(b *testing.B) {
	log := slog.New(slog.DiscardHandler)
	clock := func() time.Time { return supperTime.Add(24 * time.Hour) }
	db, err := store.Open(b.Context(), b.TempDir()+"/"+store.FileName, store.Options{Log: log, Now: clock})
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	ctx, cancel := context.WithCancel(b.Context())
	ended := make(chan error, 1)
	go func() { ended <- db.Run(ctx) }()
	const seconds = 24 * 3600
	done := make(chan struct{}, seconds*8)
	for i := range seconds {
		for p := range 8 {
			probe, c := cook.ProbeID("pit"), thermal.Celsius(107)
			if p > 0 {
				probe, c = cook.ProbeID(fmt.Sprintf("flat%d", p)), thermal.Celsius(5+60*float64(i)/seconds)
			}
			r := cook.Reading{Probe: probe, Time: supperTime.Add(time.Duration(i) * time.Second), Celsius: c, Quality: cook.Good, Clock: cook.DeviceClock}
			if err := db.Put(ctx, store.Item{Reading: r, Done: func(store.Outcome, error) { done <- struct{}{} }}); err != nil {
				b.Fatal(err)
			}
		}
	}
	for range seconds * 8 {
		<-done
	}
	c := supper()
	c.Pieces[0].Probes = []cook.ProbeID{"flat1", "flat2", "flat3", "flat4", "flat5", "flat6", "flat7"}
	id, err := db.CreateCook(ctx, c, clock())
	if err != nil {
		b.Fatal(err)
	}
	if err := db.KeepForecasts(ctx, []cook.KeptForecast{{Cook: id, Piece: "flat", At: supperTime.Add(seconds * time.Second), JSON: []byte("{}")}}); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		w := newWatch(monitor.New(monitor.Options{Estimator: estimator.New(estimator.DefaultPrior()), Settings: alarm.DefaultSettings(), Zone: time.UTC}), db, log, clock)
		w.publish = func(string, []byte) {}
		if err := w.restore(ctx); err != nil {
			b.Fatal(err)
		}
		for w.countOn(ctx) {
		}
		if w.trouble != nil {
			b.Fatal(w.trouble)
		}
	}
	cancel()
	if err := <-ended; err != nil {
		b.Fatal(err)
	}
}
