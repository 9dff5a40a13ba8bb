package testrig

import (
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// Golden compares a text with the file of that name below testdata, which go test -update rewrites.
func Golden(tb testing.TB, name, got string) {
	tb.Helper()
	path := filepath.Join("testdata", filepath.FromSlash(name))
	if *update {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			tb.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			tb.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		tb.Fatalf("%v (make it with -update, and read it)", err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		tb.Errorf("%s differs; run the test with -update and read what changed (-want +got):\n%s", path, diff)
	}
}
