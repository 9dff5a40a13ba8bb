package watch_test

import (
	"slices"
	"strings"
	"testing"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/page/pagetest"
	"stallkeeper/internal/web/webtest"
)

func TestFirstRun_SaysWhatIsWrong(t *testing.T) {
	for _, tc := range []struct {
		name string
		edit func(n *webtest.Night)
		want string
	}{
		{"nobody", func(n *webtest.Night) { n.Snap.Intake.Clients = 0 }, "mosquitto_pub -h 127.0.0.1 -p 1883 -t stallkeeper/reading/pit"},
		{"no broker", func(n *webtest.Night) { n.Snap.Intake.Connected = false }, "The broker does not answer"},
		{"quarantine", func(*webtest.Night) {}, "No known field"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			n := webtest.NewNight(t)
			n.Snap.Cooks, n.Snap.Probes, n.Snap.Alarms, n.Past = nil, nil, nil, nil
			tc.edit(n)
			webtest.Has(t, webtest.Get(t, pagetest.Serve(t, n, nil), "/"), "No fire to watch yet", tc.want)
		})
	}
}

func TestNoFire_AfterACookSaysWhichWasTheLast(t *testing.T) {
	n := webtest.NewNight(t).WithPast()
	n.Snap.Cooks, n.Past = nil, slices.DeleteFunc(n.Past, func(c cook.Stored) bool { return c.Running() })
	page := webtest.Get(t, pagetest.Serve(t, n, nil), "/")
	webtest.Has(t, page, "No fire is lit", `The last cook was <a href="/cooks/6">Sunday pork</a>`, `href="/start"`)
	if strings.Contains(page, "No fire to watch yet") || strings.Contains(page, "mosquitto_pub") {
		t.Error("somebody who has cooked is told how to begin")
	}
}
