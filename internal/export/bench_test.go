package export

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/store"
)

// keptLots are real records and readings in a real store.
type keptLots struct {
	*store.DB
	key ed25519.PrivateKey
	now time.Time
}

func (k keptLots) Export(ctx context.Context, lot cook.LotID) (*record.Export, error) {
	if _, err := k.Checkpoint(ctx, k.key, k.now); err != nil {
		return nil, err
	}
	return k.ExportRecords(ctx, lot)
}

const benchProbes, benchHours, benchNotes = 8, 14, 60

// makeDay keeps a day of a shop: one lot, eight probes at a reading every five seconds for 14 hours, sealed, and an entry of monitoring for each
// probe every two hours.
func makeDay(b *testing.B) keptLots {
	b.Helper()
	start := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	k := keptLots{key: ed25519.NewKeyFromSeed([]byte(strings.Repeat("k", ed25519.SeedSize))), now: start.Add(benchHours*time.Hour + 2*time.Hour)}
	db, err := store.Open(b.Context(), filepath.Join(b.TempDir(), store.FileName), store.Options{Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return k.now }})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := db.Close(); err != nil {
			b.Error(err)
		}
	})
	k.DB = db
	var probes []cook.ProbeID
	for i := range benchProbes {
		probes = append(probes, cook.ProbeID(fmt.Sprintf("p%d", i)))
	}
	ctx, stop := context.WithCancel(b.Context())
	ran := make(chan error, 1)
	go func() { ran <- db.Run(ctx) }()
	for i := range benchHours * 720 {
		at := start.Add(time.Duration(i) * 5 * time.Second)
		for n, p := range probes {
			r := cook.Reading{Probe: p, Time: at, Arrived: at, Celsius: thermal.Celsius(80 - 70*math.Exp(-float64(i)/3000) + float64(n)), Quality: cook.Good, Clock: cook.DeviceClock}
			if err := db.Put(ctx, store.Item{Reading: r}); err != nil {
				b.Fatal(err)
			}
		}
	}
	stop()
	if err := <-ran; err != nil && !errors.Is(err, context.Canceled) {
		b.Fatal(err)
	}
	drafts := []record.Draft{{Maker: record.Maker{By: "daemon", Auth: record.AuthDaemon}, Body: record.NewKey(k.key, nil)},
		{Lot: "day", At: start, Maker: record.Maker{By: "KM", Auth: record.AuthPIN}, Body: record.Opened{Product: "Brisket"}},
		{Lot: "day", At: start, Maker: record.Maker{By: "KM", Auth: record.AuthPIN}, Body: record.StageStarted{Stage: cook.StageSmoke, Probes: probes}}}
	for i := range benchNotes {
		c := thermal.Celsius(70)
		drafts = append(drafts, record.Draft{Lot: "day", At: start.Add(time.Duration(i) * 13 * time.Minute), Maker: record.Maker{By: "KM", Auth: record.AuthPIN},
			Body: record.Monitoring{ControlPoint: record.ControlPoint{CCP: "3 smoking", Limit: "158 °F", Stage: cook.StageSmoke}, Celsius: &c, Instrument: "p1", Verdict: record.Met}})
	}
	drafts = append(drafts, record.Draft{Lot: "day", At: start.Add(benchHours * time.Hour), Maker: record.Maker{By: "KM", Auth: record.AuthPIN}, Body: record.StageEnded{Stage: cook.StageSmoke}})
	if _, err := db.Append(b.Context(), drafts...); err != nil {
		b.Fatal(err)
	}
	if _, err := db.SealHours(b.Context(), k.now); err != nil {
		b.Fatal(err)
	}
	return k
}

func BenchmarkPDF_OfAShopsDay(b *testing.B) {
	k := makeDay(b)
	for b.Loop() {
		a, err := Gather(b.Context(), k, "day", time.UTC)
		if err != nil {
			b.Fatal(err)
		}
		out, err := PDF(a)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(len(out))/1024, "KiB")
	}
}
