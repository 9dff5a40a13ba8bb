package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"stallkeeper/internal/testrig"
)

// startProcess runs serve as a process of its own, to be killed.
func startProcess(t *testing.T, args ...string) (*exec.Cmd, addresses) {
	t.Helper()
	cmd := exec.Command("stallkeeper", append([]string{"serve"}, args...)...)
	var log bytes.Buffer
	cmd.Stderr = &log
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if cmd.ProcessState == nil { // not killed by the test
			_ = cmd.Process.Kill()
			_ = cmd.Wait()
		}
		if t.Failed() {
			t.Log(log.String())
		}
	})
	line, err := bufio.NewReader(out).ReadBytes('\n')
	if err != nil {
		t.Fatalf("serve said nothing: %v", err)
	}
	var at addresses
	if err := json.Unmarshal(line, &at); err != nil {
		t.Fatalf("first line %q: %v", line, err)
	}
	return cmd, at
}

// TestPage_MissesNothingWhenTheDaemonIsKilled: an open page says that the daemon is away, finds it again at the same
// address and shows what was measured and logged since, without being loaded anew.
func TestPage_MissesNothingWhenTheDaemonIsKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser")
	}
	node, chromium := testrig.Program(t, "node"), testrig.Program(t, "chromium")
	testrig.Program(t, "mosquitto_pub")
	dir := filepath.Join("..", "..", "internal", "web", "testdata", "browser")
	testrig.NodePackages(t, dir)
	args := []string{"--data", t.TempDir(), "--http", testrig.FreeAddr(t), "--broker", testrig.FreeAddr(t)}
	daemon, at := startProcess(t, args...)
	began := time.Now().UTC().Add(-90 * time.Minute).Truncate(time.Second)
	measured := func(celsius float64, when time.Time) string {
		return fmt.Sprintf(`{"celsius":%.1f,"time":%q}`, celsius, when.Format(time.RFC3339))
	}
	api := daemonAPI{URL: at.HTTP}
	cook := map[string]any{"name": "restart", "started": began, "pit": map[string]any{"setpoint_c": 107},
		"pieces": []any{map[string]any{"id": "flat", "cut": "brisket_flat", "mass_kg": 2.4, "thickness_mm": 52, "target_c": 93}}}
	if err := api.call(t.Context(), "POST", "/cooks", cook, nil); err != nil {
		t.Fatal(err)
	}
	var flat, pit []string
	for i := range 88 {
		when := began.Add(time.Duration(i) * time.Minute)
		flat, pit = append(flat, measured(5+float64(i)/2, when)), append(pit, measured(106+float64(i%3), when))
	}
	publish(t, at.Broker, "stallkeeper/reading/pit", pit)
	publish(t, at.Broker, "stallkeeper/reading/flat", flat)

	page := exec.CommandContext(t.Context(), node, "walk.mjs", at.HTTP, "")
	page.Stderr = os.Stderr
	page.Dir, page.Env = dir, append(os.Environ(), "CHROMIUM="+chromium, "ONLY=restart")
	said, err := page.StdoutPipe()
	if err == nil {
		err = page.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(said)
	await := func(word string) {
		t.Helper()
		for lines.Scan() {
			if lines.Text() == word {
				return
			}
			t.Error(lines.Text())
		}
		t.Fatalf("the page never said %s", word)
	}
	await("READY")
	if err := daemon.Process.Signal(syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	_ = daemon.Wait() // killed
	await("AWAY")
	_, at = startProcess(t, args...)
	now := time.Now().UTC()
	flat = flat[:0]
	for i := range 9 {
		flat = append(flat, measured(49.4, now.Add(time.Duration(i-8)*10*time.Second)))
	}
	publish(t, at.Broker, "stallkeeper/reading/flat", flat)
	if err := api.call(t.Context(), "POST", "/cooks/1/events", map[string]any{"time": now, "kind": "fuel"}, nil); err != nil {
		t.Fatal(err)
	}
	await("BACK")
	if err := page.Wait(); err != nil {
		t.Error(err)
	}
}
