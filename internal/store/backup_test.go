package store

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"stallkeeper/internal/cook"
)

func TestBackupAndRestore_AreAPair(t *testing.T) {
	dir := t.TempDir()
	path, backup := filepath.Join(dir, "data", FileName), filepath.Join(dir, "stick", "shop.db")
	if err := os.Mkdir(filepath.Dir(backup), 0o700); err != nil {
		t.Fatal(err)
	}
	s := mustOpen(t, path)
	s.mustPut(t, reading("core", 0, 60), reading("core", 1, 61))
	if err := Backup(t.Context(), path, backup); err != nil { // while it runs
		t.Fatal(err)
	}
	if err := Backup(t.Context(), path, backup); err == nil || !strings.Contains(err.Error(), "name a new file") {
		t.Errorf("a second backup to the same name = %v, want it refused", err)
	}
	if err := Backup(t.Context(), path, filepath.Join(dir, "nowhere", "shop.db")); err == nil || !strings.Contains(err.Error(), "make the folder") {
		t.Errorf("a backup into no folder = %v, want it told", err)
	}
	s.mustPut(t, reading("core", 2, 62)) // after the backup
	if err := s.stop(); err != nil {
		t.Fatal(err)
	}
	kept, err := Restore(t.Context(), backup, path, epoch)
	if err != nil {
		t.Fatal(err)
	}
	if want := path + ".replaced.20260502T180000Z"; kept != want {
		t.Errorf("kept as %q, want %q", kept, want)
	}
	for file, want := range map[string][]string{
		path: {"0s core 60", "1s core 61"},
		kept: {"0s core 60", "1s core 61", "2s core 62"},
	} {
		got := brief(mustRead(t, mustOpen(t, file), cook.ReadingQuery{Limit: 10}))
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s: %s", file, diff)
		}
	}
}

func TestRestore_OverADamagedFileAndItsLog(t *testing.T) {
	good, path := filledFile(t), fileOf(t)
	for name, text := range map[string]string{path: "nonsense", path + "-wal": "log", path + "-shm": "index"} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := Restore(t.Context(), good, path, epoch)
	if err != nil {
		t.Fatal(err)
	}
	s := mustOpen(t, path)
	if got := len(mustRead(t, s, cook.ReadingQuery{Limit: 10000})); got != 4000 {
		t.Errorf("%d readings, want 4000", got)
	}
	for name, want := range map[string]string{kept: "nonsense", kept + "-wal": "log"} {
		if got, err := os.ReadFile(name); err != nil || string(got) != want {
			t.Errorf("%s = %q, %v, want %q", name, got, err, want)
		}
	}
}

func TestRestore_RefusesABadBackupAndLeavesTheDatabase(t *testing.T) {
	path, bad := filledFile(t), fileOf(t)
	before := mustHash(t, path)
	if err := os.WriteFile(bad, []byte("not a backup"), 0o600); err != nil {
		t.Fatal(err)
	}
	empty := filepath.Join(t.TempDir(), "empty")
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, from := range []string{bad, empty, filepath.Join(t.TempDir(), "missing"), t.TempDir()} {
		if _, err := Restore(t.Context(), from, path, epoch); err == nil {
			t.Errorf("Restore(%s) succeeded", from)
		}
		if mustHash(t, path) != before {
			t.Fatal("the database was changed")
		}
	}
}

// A backup may lie on a medium that cannot be written, and be of a file that was copied with its log.
func TestRestore_FromACopyWithItsLog(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	s.mustPut(t, reading("core", 0, 60))
	copied := fileOf(t)
	for _, suffix := range []string{"", "-wal"} {
		data, err := os.ReadFile(s.path + suffix)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(copied+suffix, data, 0o400); err != nil {
			t.Fatal(err)
		}
	}
	path := fileOf(t)
	if _, err := Restore(t.Context(), copied, path, time.Time{}); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]string{"0s core 60"}, brief(mustRead(t, mustOpen(t, path), cook.ReadingQuery{Limit: 10}))); diff != "" {
		t.Error(diff)
	}
}

// A backup taken under load is one state of the database: everything acknowledged before it began, and no gap.
func TestBackup_UnderLoadIsOneState(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	var acked atomic.Int64
	ctx, cancel := context.WithCancel(t.Context())
	var load sync.WaitGroup
	load.Go(func() {
		for i := 0; ctx.Err() == nil; i++ {
			done := func(_ Outcome, err error) {
				if err == nil {
					acked.Add(1)
				}
			}
			if err := s.Put(ctx, Item{Reading: reading("core", i, 60), Done: done}); err != nil && ctx.Err() == nil {
				t.Error(err)
			}
			time.Sleep(50 * time.Microsecond)
		}
	})
	for i := range 3 {
		promised := acked.Load()
		to := filepath.Join(t.TempDir(), "backup.db")
		if err := Backup(t.Context(), s.path, to); err != nil {
			t.Fatal(err)
		}
		copied := mustOpen(t, to)
		last, err := copied.LastSeq(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if n := len(mustRead(t, copied, cook.ReadingQuery{Limit: 1e6})); int64(n) != last || last < promised {
			t.Errorf("backup %d has %d readings up to number %d, %d were promised before it", i, n, last, promised)
		}
	}
	cancel()
	load.Wait()
}
