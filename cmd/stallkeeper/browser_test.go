package main

import (
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
	s := mustDemo(t)
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
}
