package web

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/testrig"
	"stallkeeper/internal/web/webtest"
)

// TestPages_InABrowser looks at every page at three widths and in every light, uses the watch page by keyboard alone and
// without script, and lets axe-core judge. Pictures go to STALLKEEPER_PICTURES if it is set.
func TestPages_InABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser and a minute")
	}
	node, chromium := testrig.Program(t, "node"), testrig.Program(t, "chromium", "chromium-browser")
	dir := filepath.Join("testdata", "browser")
	testrig.NodePackages(t, dir)
	pictures := os.Getenv("STALLKEEPER_PICTURES")
	server := serveNight(t, webtest.NewNight(t).WithPast().WithClocks(), func(o *Options) { webtest.BooksWithLot(t)(&o.Shop) })
	if _, where := webtest.Post(t, server, "/plan", webtest.UsualPlan()); where != "/plan/1" {
		t.Fatalf("the plan is at %s", where)
	}
	empty := webtest.NewNight(t)
	empty.Snap.Cooks, empty.Snap.Probes, empty.Snap.Alarms, empty.Past = nil, nil, nil, nil
	first := serveNight(t, empty, nil)
	walk(t, dir, node, first.URL, pictures, "CHROMIUM="+chromium, "PATHS=/?first /settings", "ONLY=look")
	over := webtest.NewNight(t).WithPast()
	over.Snap.Cooks, over.Past = nil, slices.DeleteFunc(over.Past, func(c cook.Stored) bool { return c.Running() })
	over.Snap.Intake.Unheard = []monitor.Unheard{{Topic: "stallkeper/reading/flat", Meant: "stallkeeper/reading/flat", Times: 3, Last: over.Snap.Now}}
	walk(t, dir, node, serveNight(t, over, nil).URL, pictures, "CHROMIUM="+chromium, "PATHS=/?over /probes /no-such-page", "ONLY=look")
	walk(t, dir, node, server.URL, pictures, "CHROMIUM="+chromium, "PIECE=/?piece=7/flat",
		"PATHS=/?piece=7/flat /?piece=7/flat&if=foil /?piece=7/shoulder /start /start!flat /cooks /cooks/7 /cooks/6 /overlay?piece=7/flat&piece=6/shoulder /probes /probes/breast /probes/garage /probes/vent /settings /brine /plan /plan/1 /chill /stock /lots /lots/m1 /lots/m1/way /lots/m1?correct=4 /records")
}

// TestWholeWalk_InABrowser lights a fire, watches, asks, logs and acknowledges by keyboard alone at each width and light.
func TestWholeWalk_InABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser")
	}
	node, chromium := testrig.Program(t, "node"), testrig.Program(t, "chromium", "chromium-browser")
	dir := filepath.Join("testdata", "browser")
	testrig.NodePackages(t, dir)
	n := webtest.NewNight(t)
	for i := range 6 { // one for each time the walk acknowledges
		a := n.Snap.Alarms[0]
		a.ID += alarm.ID(fmt.Sprintf("/%d", i))
		n.Snap.Alarms = append(n.Snap.Alarms, a)
	}
	walk(t, dir, node, serveNight(t, n, func(o *Options) { webtest.BooksWithLot(t)(&o.Shop) }).URL, "", "CHROMIUM="+chromium, "PIECE=/?piece=7/flat", "ONLY=whole")
}

func walk(t *testing.T, dir, node, base, pictures string, env ...string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 9*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, node, "walk.mjs", base, pictures)
	cmd.Dir, cmd.Env = dir, append(os.Environ(), env...)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("%s: %v\n%s", base, err, out)
	}
}
