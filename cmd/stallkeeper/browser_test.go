package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"stallkeeper/internal/testrig"
)

// TestDemo_InABrowser uses the watch page of the running demo: by keyboard alone, without script, and printed; lights a second
// fire and acknowledges what it calls for.
func TestDemo_InABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser and a minute")
	}
	node, chromium := testrig.Program(t, "node"), testrig.Program(t, "chromium")
	dir := filepath.Join("..", "..", "internal", "web", "testdata", "browser")
	testrig.NodePackages(t, dir)
	ctx, cancel := context.WithCancel(context.Background())
	out, in := io.Pipe()
	var log bytes.Buffer
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, []string{"demo", "--http", "127.0.0.1:0", "--broker", "127.0.0.1:0", "--data", t.TempDir()}, in, &log)
		in.Close()
	}()
	s := &serving{}
	line, err := bufio.NewReader(out).ReadBytes('\n')
	if err == nil {
		err = json.Unmarshal(line, &s.addresses)
	}
	if err != nil {
		cancel()
		t.Fatalf("demo ended with %d: %v\n%s", <-ended, err, log.String())
	}
	go func() { _, _ = io.Copy(io.Discard, out) }()
	eventually(t, time.Minute, "three pieces with a band", func() bool {
		var got struct {
			Forecasts []struct {
				Ready struct{ P50 *time.Time } `json:"ready"`
			} `json:"forecasts"`
		}
		s.get(t, "/api/v1/forecasts", &got)
		bands := 0
		for _, f := range got.Forecasts {
			if f.Ready.P50 != nil {
				bands++
			}
		}
		return bands == 3
	})
	for _, part := range []string{"use", "whole"} {
		walk := exec.CommandContext(t.Context(), node, "walk.mjs", s.HTTP, "")
		walk.Dir = dir
		walk.Env = append(os.Environ(), "CHROMIUM="+chromium, "PIECE=/?piece=1/packer", "WIDTHS=390", "ONLY="+part)
		if out, err := walk.CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", part, err, out)
		}
	}
	cancel()
	if code := <-ended; code != 0 {
		t.Errorf("demo ended with %d: %s", code, log.String())
	}
}
