package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// epoch is the hour at which the stories begin.
var epoch = time.Date(2026, 5, 2, 18, 0, 0, 0, time.UTC)

func testOptions(t testing.TB) Options {
	return Options{Linger: time.Millisecond, Log: slog.New(slog.NewTextHandler(t.Output(), nil)), Now: func() time.Time { return epoch }}
}

// shop is an open store whose committer runs.
type shop struct {
	*DB
	stop func() error
}

// mustOpen opens a store and lets its committer run; when the test ends it is closed and looked over.
func mustOpen(t testing.TB, path string) *shop {
	t.Helper()
	db, err := Open(t.Context(), path, testOptions(t))
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- db.Run(ctx) }()
	s := &shop{DB: db}
	s.stop = sync.OnceValue(func() error {
		cancel()
		return errors.Join(<-ended, db.Close())
	})
	t.Cleanup(func() {
		if err := s.stop(); err != nil {
			t.Error(err)
		}
		mustBeWhole(t, path)
	})
	return s
}

func fileOf(t testing.TB) string { return filepath.Join(t.TempDir(), FileName) }

func mustBeWhole(t testing.TB, path string) {
	t.Helper()
	db, err := sql.Open("sqlite3", fileURI(path, nil))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, pragma := range []string{"integrity_check", "foreign_key_check"} {
		var verdict string
		if err := db.QueryRow("pragma " + pragma).Scan(&verdict); !errors.Is(err, sql.ErrNoRows) && (err != nil || verdict != "ok") {
			t.Errorf("pragma %s of %s: %q, %v", pragma, path, verdict, err)
		}
	}
}

// put stores items and waits for what became of each.
func (s *shop) put(t testing.TB, items ...Item) ([]Outcome, []error) {
	t.Helper()
	outcomes, errs := make([]Outcome, len(items)), make([]error, len(items))
	var wg sync.WaitGroup
	for i, item := range items {
		wg.Add(1)
		item.Done = func(o Outcome, err error) {
			outcomes[i], errs[i] = o, err
			wg.Done()
		}
		if err := s.Put(t.Context(), item); err != nil {
			t.Fatal(err)
		}
	}
	wg.Wait()
	return outcomes, errs
}

func (s *shop) mustPut(t testing.TB, readings ...cook.Reading) []Outcome {
	t.Helper()
	items := make([]Item, len(readings))
	for i, r := range readings {
		items[i].Reading = r
	}
	outcomes, errs := s.put(t, items...)
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	return outcomes
}

// reading is a good one of a device, so many seconds after the epoch.
func reading(probe cook.ProbeID, seconds int, c thermal.Celsius) cook.Reading {
	at := epoch.Add(time.Duration(seconds) * time.Second)
	return cook.Reading{Probe: probe, Time: at, Celsius: c, Quality: cook.Good, Clock: cook.DeviceClock, Arrived: at.Add(137 * time.Millisecond)}
}

func brief(readings []cook.Reading) []string {
	var out []string
	for _, r := range readings {
		out = append(out, fmt.Sprintf("%s %s %.4g", r.Time.Sub(epoch), r.Probe, float64(r.Celsius)))
	}
	return out
}

// filledFile is a closed database with some readings and a cook.
func filledFile(t *testing.T) string {
	t.Helper()
	path := fileOf(t)
	s := mustOpen(t, path)
	for i := range 4000 {
		if err := s.Put(t.Context(), Item{Reading: reading("core", i, 60)}); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.stop(); err != nil {
		t.Fatal(err)
	}
	return path
}

func mustHash(t *testing.T, path string) [32]byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return sha256.Sum256(data)
}

func mustExec(t *testing.T, path, query string, args ...any) {
	t.Helper()
	db, err := sql.Open("sqlite3", fileURI(path, nil))
	if err != nil {
		t.Fatal(err)
	}
	_, err = db.Exec(query, args...)
	if err := errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
}

func overwrite(t *testing.T, path string, at int64, data []byte) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	_, err = f.WriteAt(data, at)
	if err := errors.Join(err, f.Close()); err != nil {
		t.Fatal(err)
	}
}

func mustRead(t testing.TB, s *shop, q cook.ReadingQuery) []cook.Reading {
	t.Helper()
	got, err := s.Readings(context.Background(), q)
	if err != nil {
		t.Fatal(err)
	}
	return got
}
