package webtest

import (
	"context"
	"crypto/ed25519"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/export"
	"stallkeeper/internal/record"
	"stallkeeper/internal/store"
	"stallkeeper/internal/web/shop"
)

// books are the records of a real store, signed by a key of its own.
type books struct {
	*store.DB
	key ed25519.PrivateKey
	o   *shop.Shop
}

// Books gives a shop the records of a real store, signed by a key of their own.
func Books(t testing.TB) func(*shop.Shop) {
	return func(o *shop.Shop) {
		db, err := store.Open(t.Context(), filepath.Join(t.TempDir(), store.FileName), store.Options{Log: slog.New(slog.DiscardHandler), Now: o.Now})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if err := db.Close(); err != nil {
				t.Error(err)
			}
		})
		b := &books{db, ed25519.NewKeyFromSeed([]byte(strings.Repeat("k", ed25519.SeedSize))), o}
		if _, err := db.Append(t.Context(), record.Draft{Maker: record.Maker{By: "daemon", Auth: record.AuthDaemon}, Body: record.NewKey(b.key, nil)}); err != nil {
			t.Fatal(err)
		}
		o.Records, o.Documents, o.KeepYears = b, documents{b}, 2
	}
}

func (b *books) Checkpoint(ctx context.Context) (record.Checkpoint, error) {
	return b.DB.Checkpoint(ctx, b.key, b.o.Now())
}

func (b *books) Export(ctx context.Context, lot cook.LotID) (*record.Export, error) {
	if _, err := b.Checkpoint(ctx); err != nil {
		return nil, err
	}
	return b.ExportRecords(ctx, lot)
}

// documents writes a lot out as the daemon does.
type documents struct{ b *books }

func (d documents) Document(ctx context.Context, lot cook.LotID, format string) ([]byte, error) {
	a, err := export.Gather(ctx, d.b, lot, d.b.o.Location)
	if err != nil {
		return nil, err
	}
	switch format {
	case "pdf":
		return export.PDF(a)
	case "csv":
		return export.CSV(a)
	}
	return a.JSON, nil
}

func (b *books) ChangeKey(ctx context.Context, who record.Maker) (record.Entry, error) {
	next := ed25519.NewKeyFromSeed([]byte(strings.Repeat("n", ed25519.SeedSize)))
	entries, err := b.Append(ctx, record.Draft{Maker: who, Body: record.NewKey(next, b.key)})
	if err != nil {
		return record.Entry{}, err
	}
	b.key = next
	return entries[0], nil
}

// BooksWithLot puts a lot with an open and an answered deviation into the books, for the browser.
func BooksWithLot(t testing.TB) func(*shop.Shop) {
	return func(o *shop.Shop) {
		Books(t)(o)
		now := o.Now()
		say := func(lot cook.LotID, by string, body record.Body) record.Draft {
			return record.Draft{Lot: lot, At: now, Maker: record.Maker{By: by, Auth: record.AuthPIN}, Body: body}
		}
		c := record.ControlPoint{CCP: "5 chilling", Limit: "130 to 80 °F within 1.5 h", Source: "FSIS-GD-2021-13"}
		if _, err := o.Records.Append(t.Context(), say("m1", "KM", record.Opened{Product: "Cured brisket", Class: record.Refrigerated, Pieces: []record.Piece{{ID: "flat", Cut: "brisket_flat_cured", Intact: true}}}),
			say("m1", "KM", record.StageStarted{Stage: cook.StageSmoke, Piece: "flat", Probes: []cook.ProbeID{"flat"}}),
			say("m1", "KM", record.Weighed{Piece: "flat", When: record.WhenRaw, MassKg: 3.4}),
			say("m1", "KM", record.Deviation{ControlPoint: c, What: "2 h 20 min"}),
			say("m1", "KM", record.Deviation{ControlPoint: c, What: "the probe was silent for 50 min"}),
			say("m1", "KM", record.CorrectiveAction{Deviation: 5, Cause: "door ajar", Control: "ice bath", Prevention: "door switch", Disposition: record.Held}),
			say("", "KM", record.ProbeChecked{Instrument: "flat", Method: "ice", Points: []record.CheckPoint{{True: 0, Read: 0.3}}, Passed: true})); err != nil {
			t.Fatal(err)
		}
	}
}
