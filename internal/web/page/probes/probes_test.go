package probes_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/page/pagetest"
	"stallkeeper/internal/web/webtest"
)

func TestProbes_ShowQualityAndKeepHandReadings(t *testing.T) {
	n := webtest.NewNight(t)
	server := pagetest.Serve(t, n, nil)
	webtest.Has(t, webtest.Get(t, server, "/probes"), "garage", "no contact (it sent −127.0 °C)", "No known field: send celsius", "ff 00 41", `{&#34;temp&#34;:&#34;hot&#34;}`)
	webtest.Has(t, webtest.Get(t, server, "/probes"), "Battery 73.5 %, 12 min ago", "<strong>Battery of board yard 9 %, 3 h ago</strong>: low, charge or change it", "<strong>open circuit since 02:09: look at plug and cable</strong>")
	webtest.Has(t, webtest.Get(t, server, "/probes/vent"), "Open circuit since 02:09: look at plug and cable.")
	webtest.Has(t, webtest.Get(t, server, "/probes/breast"), "<p>Battery 73.5 %, 12 min ago.</p>")
	if page := webtest.Get(t, server, "/probes/flat"); strings.Contains(page, "Battery") {
		t.Error("a probe that told no charge shows one")
	}
	status, to := webtest.Post(t, server, "/probes/reading", url.Values{"probe": {"flat"}, "degrees": {"67,5"}, "back": {"/probes"}})
	if status != http.StatusSeeOther || len(n.Hand) != 1 || n.Hand[0].Celsius != 67.5 || n.Hand[0].Clock != cook.HandClock {
		t.Fatalf("hand reading = %d %+v", status, n.Hand)
	}
	webtest.Has(t, webtest.Get(t, server, to), "Kept: flat 67.5")
	if status, _ := webtest.Post(t, server, "/probes/reading", url.Values{"probe": {"flat"}, "degrees": {"900"}}); status != http.StatusBadRequest {
		t.Errorf("900 °C = %d, want 400", status)
	}
}

func TestProbes_OfferTheOneInTheHand(t *testing.T) {
	n := webtest.NewNight(t)
	server := pagetest.Serve(t, n, nil)
	webtest.Has(t, webtest.Get(t, server, "/probes"), "Hold one in your hand")
	n.Change(func() { n.Snap.Probes = append(n.Snap.Probes, monitor.ProbeView{ID: "unplugged"}) })
	webtest.Has(t, webtest.Get(t, server, "/probes"), "<p><strong>has not been heard yet</strong></p>")
	n.Change(func() {
		n.Snap.Probes = append(n.Snap.Probes, monitor.ProbeView{ID: "spare", Last: cook.Reading{Probe: "spare", Time: n.Snap.Now, Celsius: 31, Quality: cook.Good}})
	})
	webtest.Has(t, webtest.Get(t, server, "/probes"), "<b>spare</b> jumps: from 20.0 °C to 31.0 °C", "spare into flat", `href="/start?probe=spare"`)
	status, _ := webtest.Post(t, server, "/cooks/7/amend", url.Values{"piece": {"flat"}, "probe": {"spare"}, "back": {"/probes"}})
	if got := n.Snap.Cooks[0].Stored.Pieces[0].Probes; status != http.StatusSeeOther || len(got) != 1 || got[0] != "spare" {
		t.Errorf("assigned = %d %v", status, got)
	}
	webtest.Has(t, webtest.Get(t, server, "/start?probe=spare"), `name="p0-id" value="spare"`)
}

// A device in the wrong time zone is told from one that sends what it kept by nobody but a person, so the page says both.
func TestProbes_SayThatAClockIsBehind(t *testing.T) {
	n := webtest.NewNight(t)
	n.Snap.Probes[0].Last.Clock, n.Snap.Probes[0].Last.Time, n.Snap.Probes[0].Last.Arrived = cook.DeviceClock, n.Snap.Now.Add(-time.Hour), n.Snap.Now.Add(-3*time.Second)
	webtest.Has(t, webtest.Get(t, pagetest.Serve(t, n, nil), "/probes"), "Its readings come 1 h after their time</strong>: look at its clock and time zone")
}
