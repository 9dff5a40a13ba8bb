package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/mattn/go-sqlite3"

	"stallkeeper/internal/cook"
)

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

func TestOpen_RefusesWhatItMustNotTouch(t *testing.T) {
	for _, test := range []struct {
		name  string
		spoil func(t *testing.T, path string)
		want  error
		says  string
	}{
		{"newer schema", func(t *testing.T, path string) { mustExec(t, path, "pragma user_version = 99") }, ErrNewerSchema, "install that version again"},
		{"another program's", func(t *testing.T, path string) { mustExec(t, path, "pragma application_id = 7") }, ErrForeign, "name another file"},
		{"not a database", func(t *testing.T, path string) { overwrite(t, path, 0, []byte("celsius,time\n68.2,now\n")) }, ErrDamaged, "stallkeeper restore"},
		{"schema page of zeros", func(t *testing.T, path string) { overwrite(t, path, 100, make([]byte, 3900)) }, ErrDamaged, "stallkeeper restore"},
		{"leaves of noise", func(t *testing.T, path string) { overwrite(t, path, 20*4096, bytes.Repeat([]byte{0xa5}, 10*4096)) }, ErrDamaged, "stallkeeper restore"},
		{"cut off", func(t *testing.T, path string) {
			if err := os.Truncate(path, 15*4096+100); err != nil {
				t.Fatal(err)
			}
		}, ErrDamaged, "stallkeeper restore"},
		{"one byte", func(t *testing.T, path string) {
			if err := os.Truncate(path, 1); err != nil {
				t.Fatal(err)
			}
			overwrite(t, path, 0, []byte("x"))
		}, ErrDamaged, "stallkeeper restore"},
	} {
		t.Run(test.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), FileName)
			data, err := os.ReadFile(filledFile(t))
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, data, 0o600); err != nil {
				t.Fatal(err)
			}
			test.spoil(t, path)
			before := mustHash(t, path)
			_, err = Open(t.Context(), path, testOptions(t))
			if !errors.Is(err, test.want) || !strings.Contains(err.Error(), test.says) {
				t.Errorf("Open = %v, want %v that says %q", err, test.want, test.says)
			}
			if mustHash(t, path) != before {
				t.Error("the file was changed")
			}
		})
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

func TestOpen_OneAtATime(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	if _, err := Open(t.Context(), s.path, testOptions(t)); !errors.Is(err, ErrInUse) {
		t.Errorf("second Open = %v, want %v", err, ErrInUse)
	}
	if _, err := Restore(t.Context(), filledFile(t), s.path, epoch); !errors.Is(err, ErrInUse) {
		t.Errorf("Restore under a running store = %v, want %v", err, ErrInUse)
	}
}

func TestOpen_MigratesInStepsAndKeepsABackupOfEach(t *testing.T) {
	path := filledFile(t)
	later := append(migrations(),
		migration{"next", "create table tried (id integer primary key) strict"},
		migration{"last", "alter table tried add column name text"})
	db, err := open(t.Context(), path, testOptions(t), later)
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	mustBeWhole(t, path)
	mustExec(t, path, "insert into tried (name) values ('one')")
	backups, err := filepath.Glob(path + ".*.backup")
	if err != nil {
		t.Fatal(err)
	}
	n := len(migrations())
	want := []string{fmt.Sprintf("%s.schema-%d.20260502T180000Z.backup", path, n), fmt.Sprintf("%s.schema-%d.20260502T180000Z.backup", path, n+1)}
	if diff := cmp.Diff(want, backups); diff != "" {
		t.Fatal(diff)
	}
	if _, err := Open(t.Context(), path, testOptions(t)); !errors.Is(err, ErrNewerSchema) {
		t.Errorf("the earlier program opens it with %v, want %v", err, ErrNewerSchema)
	}
	// What the message advises works: the backup made before the upgrade opens with the earlier program.
	if _, err := Restore(t.Context(), backups[0], path, epoch); err != nil {
		t.Fatal(err)
	}
	s := mustOpen(t, path)
	if got := len(mustRead(t, s, cook.ReadingQuery{Limit: 10000})); got != 4000 {
		t.Errorf("%d readings after going back, want 4000", got)
	}
}

func TestOpen_AFailingMigrationLeavesTheVersionBefore(t *testing.T) {
	path := filledFile(t)
	broken := append(migrations(), migration{"next", "create table tried (id integer primary key) strict; insert into nowhere values (1)"})
	if _, err := open(t.Context(), path, testOptions(t), broken); err == nil || !strings.Contains(err.Error(), "next") {
		t.Fatalf("Open = %v, want an error that names the migration", err)
	}
	s := mustOpen(t, path)
	if got := len(mustRead(t, s, cook.ReadingQuery{Limit: 10000})); got != 4000 {
		t.Errorf("%d readings, want 4000", got)
	}
	mustExecWriter(t, s, "create table tried (id integer)") // nothing of it is left
}

func mustExecWriter(t *testing.T, s *shop, query string) {
	t.Helper()
	if _, err := s.writer.Exec(query); err != nil {
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

func TestOpen_InAFolderWithAnAwkwardName(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a b?c#d%20é")
	s := mustOpen(t, filepath.Join(dir, FileName))
	s.mustPut(t, reading("core", 0, 60))
	if err := Backup(t.Context(), s.path, filepath.Join(dir, "copy 'of' it")); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(filepath.Join(dir, FileName)); err != nil {
		t.Error(err)
	}
}

func TestInspect_EndsWithItsBudget(t *testing.T) {
	path := filledFile(t)
	f, err := inspect(t.Context(), path, len(migrations()), time.Nanosecond)
	if err != nil || f.checked || f.version != len(migrations()) {
		t.Errorf("inspect = %+v, %v, want it to say that it did not look at everything", f, err)
	}
}

func TestExplain_SaysWhatToDo(t *testing.T) {
	db := &DB{path: "/data/stallkeeper.db"}
	for code, want := range map[sqlite3.ErrNo]string{
		sqlite3.ErrFull:     "free some space in \"/data\"",
		sqlite3.ErrIoErr:    "check the disk under \"/data\"",
		sqlite3.ErrCorrupt:  "stallkeeper restore",
		sqlite3.ErrReadonly: "let the daemon's user write in \"/data\"",
		sqlite3.ErrBusy:     "close it",
	} {
		err := db.explain("store readings", fmt.Errorf("wrapped: %w", sqlite3.Error{Code: code}))
		if !strings.HasPrefix(err.Error(), "store readings: ") || !strings.Contains(err.Error(), want) {
			t.Errorf("code %d: %q, want it to say %q", code, err, want)
		}
	}
}

// What is kept is its owner's: a database in a folder that was there before, what SQLite lays beside it, and its copies. From one that
// an earlier version left open to all the others' rights are taken; a group keeps what it was given.
func TestOpen_IsClosedToOthers(t *testing.T) {
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, FileName)
	mode := func(name string) fs.FileMode {
		info, err := os.Stat(name)
		if err != nil {
			t.Fatal(err)
		}
		return info.Mode().Perm()
	}
	db := mustOpen(t, path)
	for _, name := range []string{path, path + "-wal", path + "-shm", path + ".lock"} {
		if got := mode(name); got != 0o600 {
			t.Errorf("%s has mode %o", filepath.Base(name), got)
		}
	}
	if err := db.stop(); err != nil {
		t.Fatal(err)
	}
	if err := Backup(t.Context(), path, dir+"/copy.db"); err != nil {
		t.Fatal(err)
	}
	if got := mode(dir + "/copy.db"); got != 0o600 {
		t.Errorf("a backup has mode %o", got)
	}
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	mustOpen(t, path)
	if got := mode(path); got != 0o640 {
		t.Errorf("one that all could read has mode %o", got)
	}
}
