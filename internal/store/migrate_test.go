package store

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"stallkeeper/internal/cook"
)

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
