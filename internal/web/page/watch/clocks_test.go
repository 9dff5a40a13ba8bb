package watch_test

import (
	"strings"
	"testing"

	"stallkeeper/internal/web/page/pagetest"
	"stallkeeper/internal/web/webtest"
)

func TestWatch_ShowsTheClocksOfALimit(t *testing.T) {
	server := pagetest.Serve(t, webtest.NewNight(t).WithClocks(), nil)
	page := webtest.Get(t, server, "/?piece=7/breast")
	webtest.Has(t, page, "Cooling, first leg", "1 h 10 min of 2 h", "runs out 03:04 if nothing changes", "Forecast: not before 03:34, which is too late.",
		"not known: readings are missing", "and 25 min without readings", "FDA Food Code 2022, 3-501.14.")
	if strings.Index(page, "not known: readings") > strings.Index(page, "Cooling, first leg") {
		t.Error("what cannot be judged stands below what runs")
	}
	page = webtest.Get(t, server, "/?piece=7/flat")
	webtest.Has(t, page, "Coming up to cooking heat", "3 h 12 min of 6 h", "1 limit does not run now")
	if strings.Contains(page, "Cooling, first leg") {
		t.Error("the clock of another piece is shown")
	}
}
