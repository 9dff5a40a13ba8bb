package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/store"
	"stallkeeper/internal/web"
	"stallkeeper/internal/web/shop"
)

// BenchmarkOpenANight is the server's time for what a phone asks when it opens the watch page: a cook of 16 hours with
// eight probes at a reading a second and a forecast of seven pieces for each minute. "First" is the first time after a
// start, when the stages are read from the kept forecasts.
func BenchmarkOpenANight(b *testing.B) {
	const seconds = 16 * 3600
	log := slog.New(slog.DiscardHandler)
	clock := func() time.Time { return supperTime.Add(seconds * time.Second) }
	db, err := store.Open(b.Context(), b.TempDir()+"/"+store.FileName, store.Options{Log: log, Now: clock})
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	ctx, cancel := context.WithCancel(b.Context())
	ended := make(chan error, 1)
	go func() { ended <- db.Run(ctx) }()
	defer func() {
		cancel()
		if err := <-ended; err != nil {
			b.Error(err)
		}
	}()
	id := fillLongNight(b, db, seconds)
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
	w.show()
	open := func(b *testing.B, fresh bool) {
		var s *web.Server
		for b.Loop() {
			if s == nil || fresh {
				b.StopTimer()
				if s, err = web.New(web.Options{Shop: shop.Shop{Library: db, View: w, Now: clock, Location: time.UTC, Estimator: estimator.New(estimator.DefaultPrior())}, Log: log}); err != nil {
					b.Fatal(err)
				}
				b.StartTimer()
			}
			for _, path := range []string{"/", fmt.Sprintf("/curve/%d/flat1", id)} {
				answer := httptest.NewRecorder()
				s.ServeHTTP(answer, httptest.NewRequest(http.MethodGet, "http://127.0.0.1"+path, nil))
				if answer.Code != http.StatusOK {
					b.Fatalf("%s: %d %s", path, answer.Code, answer.Body)
				}
			}
		}
	}
	b.Run("First", func(b *testing.B) { open(b, true) })
	b.Run("Again", func(b *testing.B) { open(b, false) })
}

// fillLongNight keeps the readings of a pit and seven pieces, the cook, and the forecasts of each minute.
func fillLongNight(b *testing.B, db *store.DB, seconds int) cook.ID {
	var all sync.WaitGroup
	c := supper()
	c.Pieces = nil
	for p := range 8 {
		probe, level := cook.ProbeID("pit"), thermal.Celsius(107)
		if p > 0 {
			probe = cook.ProbeID(fmt.Sprintf("flat%d", p))
			c.Pieces = append(c.Pieces, cook.Piece{ID: cook.PieceID(probe), Cut: "brisket_flat", MassKg: 2.4, Target: 93})
		}
		for i := range seconds {
			if p > 0 {
				level = thermal.Celsius(5 + 75*float64(i)/float64(seconds))
			}
			all.Add(1)
			r := cook.Reading{Probe: probe, Time: supperTime.Add(time.Duration(i) * time.Second), Celsius: level, Quality: cook.Good, Clock: cook.DeviceClock}
			if err := db.Put(b.Context(), store.Item{Reading: r, Done: func(store.Outcome, error) { all.Done() }}); err != nil {
				b.Fatal(err)
			}
		}
	}
	all.Wait()
	id, err := db.CreateCook(b.Context(), c, supperTime)
	if err != nil {
		b.Fatal(err)
	}
	var kept []cook.KeptForecast
	for _, piece := range c.Pieces {
		for m := range seconds/60 + 1 {
			at := supperTime.Add(time.Duration(m) * time.Minute)
			t := func(h int) string { return at.Add(time.Duration(h) * time.Hour).Format(time.RFC3339) }
			line, err := json.Marshal(map[string]any{"piece": piece.ID, "at": t(0), "core_c": 68.2, "target_c": 93, "state": "climbing", "since": t(-2), "p_never": 0.02,
				"ready": map[string]string{"p05": t(3), "p10": t(4), "p25": t(5), "p50": t(6), "p75": t(7), "p90": t(8), "p95": t(9)}, "because": "it climbs 4.2 °C an hour with the pit at 107 °C"})
			if err != nil {
				b.Fatal(err)
			}
			kept = append(kept, cook.KeptForecast{Cook: id, Piece: piece.ID, At: at, JSON: line})
		}
	}
	if err := db.KeepForecasts(b.Context(), kept); err != nil {
		b.Fatal(err)
	}
	return id
}
