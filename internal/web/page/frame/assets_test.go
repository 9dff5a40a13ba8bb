package frame_test

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stallkeeper/internal/web/page/pagetest"
	"stallkeeper/internal/web/webtest"
)

func TestVendoredFilesAreAsPublished(t *testing.T) {
	dir := filepath.Join("assets", "uplot")
	list, err := os.Open(filepath.Join(dir, "VENDOR"))
	if err != nil {
		t.Fatal(err)
	}
	defer list.Close()
	checked := 0
	for lines := bufio.NewScanner(list); lines.Scan(); {
		sum, name, ok := strings.Cut(lines.Text(), "  ")
		if !ok {
			continue
		}
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if got := sha256.Sum256(data); hex.EncodeToString(got[:]) != sum {
			t.Errorf("%s has sha256 %x, VENDOR says %s", name, got, sum)
		}
		checked++
	}
	if checked != 3 {
		t.Errorf("VENDOR lists %d files, want 3", checked)
	}
}

func TestFirstLoad_IsSmall(t *testing.T) {
	server := pagetest.Serve(t, webtest.NewNight(t), nil)
	total := 0
	for _, path := range []string{"/", "/assets/look.css", "/assets/watch.js", "/assets/fresh.js", "/assets/curve.js", "/assets/icon.svg",
		"/assets/uplot/uPlot.iife.min.js", "/assets/uplot/uPlot.min.css", "/curve/7/flat"} {
		req, err := http.NewRequest(http.MethodGet, server.URL+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Accept-Encoding", "gzip")
		answer, err := http.DefaultTransport.RoundTrip(req)
		if err != nil {
			t.Fatal(err)
		}
		n, err := io.Copy(io.Discard, answer.Body)
		answer.Body.Close()
		if err != nil || answer.StatusCode != http.StatusOK {
			t.Fatalf("%s: %s, %v", path, answer.Status, err)
		}
		t.Logf("%6d %s", n, path)
		total += int(n)
	}
	t.Logf("%6d in all", total)
	if total > 120_000 {
		t.Errorf("the first load takes %d bytes, want at most 120,000", total)
	}
}
