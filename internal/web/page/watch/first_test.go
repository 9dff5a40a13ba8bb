package watch_test

import (
	"slices"
	"strings"
	"testing"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
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
		{"an outside broker", func(n *webtest.Night) { n.Snap.Intake.Outside, n.Snap.Intake.Clients = true, 0 }, "kept since the start, connected to"},
		{"an outside broker that is away", func(n *webtest.Night) {
			n.Snap.Intake.Outside, n.Snap.Intake.Connected, n.Snap.Intake.Trouble = true, false, "the broker at mqtt://farm:1883 is not found: correct the name"
		}, "The broker at mqtt://farm:1883 is not found: correct the name"},
		{"a slip of the pen", func(n *webtest.Night) {
			n.Snap.Intake.Unheard = []monitor.Unheard{{Topic: "stallkeper/reading/flat", Meant: "stallkeeper/reading/flat", Times: 3, Last: n.Snap.Now}}
		}, "<code>stallkeper/reading/flat</code>, 3 times"},
		{"a probe that never spoke has no value", func(n *webtest.Night) { n.Snap.Probes = []monitor.ProbeView{{ID: "fridge", Role: cook.RoleCooler}} },
			`No probe has reported in the last 15 minutes.`},
		{"and is not shown as zero", func(n *webtest.Night) { n.Snap.Probes = []monitor.ProbeView{{ID: "fridge", Role: cook.RoleCooler}} },
			`<b>fridge</b> no value <span class="dim">not heard yet</span>`},
		{"a sensor of gas", func(n *webtest.Night) {
			n.Snap.Probes = []monitor.ProbeView{{ID: "air", Role: cook.RoleCO, Last: cook.Reading{Time: n.Snap.Now, Celsius: 12, Quality: cook.Good}}}
		}, "<b>air</b> 12 ppm"},
		{"one that cannot be", func(n *webtest.Night) {
			n.Snap.Probes = []monitor.ProbeView{{ID: "flat", Last: cook.Reading{Time: n.Snap.Now, Celsius: -127, Quality: cook.Open}}}
		}, "1 probe reports: say what hangs on it"},
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
