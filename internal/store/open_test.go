package store

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/mattn/go-sqlite3"
)

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

func TestOpen_OneAtATime(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	if _, err := Open(t.Context(), s.path, testOptions(t)); !errors.Is(err, ErrInUse) {
		t.Errorf("second Open = %v, want %v", err, ErrInUse)
	}
	if _, err := Restore(t.Context(), filledFile(t), s.path, epoch); !errors.Is(err, ErrInUse) {
		t.Errorf("Restore under a running store = %v, want %v", err, ErrInUse)
	}
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
