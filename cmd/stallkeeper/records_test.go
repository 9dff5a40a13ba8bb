package main

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"stallkeeper/internal/record"
)

// mustRun runs a verb and gives what it printed.
func mustRun(t *testing.T, want int, args ...string) string {
	t.Helper()
	var out, errOut bytes.Buffer
	if code := run(context.Background(), args, &out, &errOut); code != want {
		t.Fatalf("%v: exit status %d, want %d: %s%s", args, code, want, out.String(), errOut.String())
	}
	return out.String()
}

// Exit status 0: whole; 1: tampered with; 2: cannot be looked at.
func TestRecordsVerify_ExitStatus(t *testing.T) {
	dir := t.TempDir()
	s := mustServe(t, "--data", dir, "--broker", "127.0.0.1:0")
	mustRun(t, 0, "lot", "open", "brisket", "--id", "m1", "--by", "KM", "--url", s.HTTP)
	mustRun(t, 0, "lot", "note", "m1", "turned", "--by", "KM", "--url", s.HTTP)
	mustRun(t, 2, "lot", "note", "m1", strings.Repeat("x", 5000), "--by", "KM", "--url", s.HTTP)
	mustRun(t, 2, "lot", "note", "m1", "a\x1bb", "--by", "KM", "--url", s.HTTP)
	mustRun(t, 0, "records", "verify", "--data", dir)
	if code := s.stop(); code != 0 {
		t.Fatalf("serve ended with %d", code)
	}
	var report record.Report
	if err := json.Unmarshal([]byte(mustRun(t, 0, "records", "verify", "--data", dir, "--json", "--readings")), &report); err != nil {
		t.Fatal(err)
	}
	if report.Entries != 3 || report.Covered != 3 || !report.Trusted {
		t.Errorf("report = %+v, want all three entries under the last checkpoint", report)
	}
	db, err := sql.Open("sqlite3", filepath.Join(dir, "stallkeeper.db"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("drop trigger journal_stand; update journal set who = 'KN' where seq = 3"); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if out := mustRun(t, 1, "records", "verify", "--data", dir); !strings.HasPrefix(out, "BAD entry 3: ") {
		t.Errorf("printed %s", out)
	}
	mustRun(t, 2, "records", "verify", "--data", filepath.Join(dir, "nowhere"))
	mustRun(t, 2, "records", "verify", "--export", filepath.Join(dir, "records.pub"))
	mustRun(t, 2, "records", "verify", "--data", dir, "--key", filepath.Join(dir, "records.key"))
}
