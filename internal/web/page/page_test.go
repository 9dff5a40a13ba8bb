package page_test

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"maps"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/page"
	"stallkeeper/internal/web/webtest"
)

func TestWatch_SaysWhetherSomebodyIsNeeded(t *testing.T) {
	for _, tc := range []struct {
		name string
		edit func(n *webtest.Night)
		want []string
	}{
		{"alarm within minutes", func(*webtest.Night) {}, []string{"You are needed now", "as a dying fire does", "Acknowledge"}},
		{"calm", func(n *webtest.Night) { n.Snap.Alarms = nil }, []string{"Quiet until", "04:06", "The shoulder may be ready then"}},
		{"only a quiet notice", func(n *webtest.Night) { n.Snap.Alarms = n.Snap.Alarms[1:] }, []string{"Quiet until"}},
		{"unknown", func(n *webtest.Night) {
			n.Snap.Alarms = nil
			n.Snap.QuietUntil.Known, n.Snap.QuietUntil.Because = false, "the pit probe is silent"
		}, []string{"No quiet time can be promised", "The pit probe is silent."}},
		{"tomorrow, with the date", func(n *webtest.Night) {
			n.Snap.Alarms = nil
			n.Snap.Now = n.Snap.Now.Add(-3 * time.Hour)
		}, []string{"Quiet until", "04:06", "tomorrow, Thu 26 Nov"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			n := webtest.NewNight(t)
			tc.edit(n)
			webtest.Has(t, webtest.Get(t, serveNight(t, n, nil), "/"), tc.want...)
		})
	}
}

func TestWatch_LanesTellStagesBandAndServingHour(t *testing.T) {
	page := webtest.Get(t, serveNight(t, webtest.NewNight(t), nil), "/?piece=7/flat")
	webtest.Has(t, page, "in the stall from 00:12", "The stall probably ends at 04:24", "Wrap in foil planned", "ready 07:06–11:42",
		"Most likely 09:12", "Serving hour 12:00", `class="band80"`, `class="band50"`, `class="serve"`, `class="now"`, "All ready")
	if strings.Contains(page, "style=") || strings.Contains(page, "onclick") {
		t.Error("page has inline style or script")
	}
}

func TestWatch_ShowsFahrenheitWhenChosen(t *testing.T) {
	server := serveNight(t, webtest.NewNight(t), nil)
	req, err := http.NewRequest(http.MethodGet, server.URL+"/?piece=7/flat", nil)
	if err != nil {
		t.Fatal(err)
	}
	req.AddCookie(&http.Cookie{Name: page.UnitCookie, Value: "f"})
	answer, err := server.Client().Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	webtest.Has(t, string(body), "198.5 °F") // 92.5 °C × 1.8 + 32
}

func TestWatch_WhatIfChangesNothing(t *testing.T) {
	n := webtest.NewNight(t)
	page := webtest.Get(t, serveNight(t, n, nil), "/?piece=7/flat&if=foil")
	webtest.Has(t, page, "If it is wrapped in foil now", "sooner", `class="ifband"`, "Nothing is done yet")
	if got := len(n.Snap.Cooks[0].Stored.Entries); got != 4 {
		t.Errorf("entries after a what-if = %d, want 4", got)
	}
	if len(n.Asked) != 1 || n.Asked[0].Kind != cook.EventWrap || n.Asked[0].With != "foil" {
		t.Errorf("asked %v", n.Asked)
	}
}

func TestWatch_LogsAndTakesBack(t *testing.T) {
	n := webtest.NewNight(t)
	server := serveNight(t, n, nil)
	status, to := webtest.Post(t, server, "/cooks/7/events", url.Values{"do": {"wrap foil"}, "piece": {"flat"}, "ago": {"20"}, "back": {"/?piece=7/flat"}})
	if status != http.StatusSeeOther || !strings.Contains(to, "done=5") {
		t.Fatalf("log = %d to %q", status, to)
	}
	e := n.Snap.Cooks[0].Stored.Entries[4]
	if want := n.Snap.Now.Add(-20 * time.Minute); !e.Time.Equal(want) || e.With != "foil" || e.Piece != "flat" {
		t.Errorf("entry %+v, want a wrap at %v", e, want)
	}
	webtest.Has(t, webtest.Get(t, server, to), "Logged: flat wrapped in foil, 01:54", "It did not happen")
	for _, nonsense := range []url.Values{{}, {"do": {"dance"}}, {"do": {"wrap gold"}, "piece": {"flat"}}, {"do": {"wrap foil"}, "piece": {"nobody"}}} {
		if status, _ := webtest.Post(t, server, "/cooks/7/events", nonsense); status != http.StatusBadRequest {
			t.Errorf("%v = %d, want 400", nonsense, status)
		}
	}
	if status, _ := webtest.Post(t, server, "/cooks/7/events", url.Values{"corrects": {"5"}, "withdraw": {"1"}}); status != http.StatusSeeOther {
		t.Fatalf("withdraw = %d", status)
	}
	for _, e := range n.Snap.Cooks[0].Stored.Events {
		if e.With == "foil" {
			t.Error("the withdrawn wrap still holds")
		}
	}
}

func TestWatch_Acknowledges(t *testing.T) {
	n := webtest.NewNight(t)
	status, to := webtest.Post(t, serveNight(t, n, nil), "/alarms/acknowledge", url.Values{"alarm": {"pit-falling/7"}, "back": {"https://elsewhere.invalid/x"}})
	if status != http.StatusSeeOther || to != "/x" {
		t.Errorf("acknowledge = %d to %q, want 303 to a path of this server", status, to)
	}
	if got := n.Snap.Alarms[0].State; got != alarm.Acked {
		t.Errorf("state = %s", got)
	}
	server := serveNight(t, n.WithPast(), nil)
	webtest.Has(t, webtest.Get(t, server, "/"), "2 alarms came and went, not yet acknowledged", "Acknowledge all 2")
	if status, _ := webtest.Post(t, server, "/alarms/acknowledge", url.Values{"alarm": {"pit-low/7", "pit-high/7"}}); status != http.StatusSeeOther {
		t.Errorf("acknowledge two = %d", status)
	}
	for _, a := range n.Snap.Alarms {
		if a.State == alarm.Returned {
			t.Errorf("%s is still to be acknowledged", a.ID)
		}
	}
}

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
			webtest.Has(t, webtest.Get(t, serveNight(t, n, nil), "/"), "No fire to watch yet", tc.want)
		})
	}
}

func TestNotFound_NamesTheThing(t *testing.T) {
	server := serveNight(t, webtest.NewNight(t).WithPast(), nil)
	for path, want := range map[string]string{
		"/cooks/99":     "Cook 99 is not known here: look at the list it should be in.",
		"/cooks/ninety": "Cook &#34;ninety&#34; is not known here",
		"/probes/nose":  "No probe is called &#34;nose&#34;",
		"/plan/12":      "Plan 12 is not known here",
	} {
		answer, err := server.Client().Get(server.URL + path)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(answer.Body)
		if err := errors.Join(err, answer.Body.Close()); err != nil {
			t.Fatal(err)
		}
		if answer.StatusCode != http.StatusNotFound || !strings.Contains(string(body), want) {
			t.Errorf("%s: %s without %q:\n%s", path, answer.Status, want, body)
		}
	}
}

func TestNoFire_AfterACookSaysWhichWasTheLast(t *testing.T) {
	n := webtest.NewNight(t).WithPast()
	n.Snap.Cooks, n.Past = nil, slices.DeleteFunc(n.Past, func(c cook.Stored) bool { return c.Running() })
	page := webtest.Get(t, serveNight(t, n, nil), "/")
	webtest.Has(t, page, "No fire is lit", `The last cook was <a href="/cooks/6">Sunday pork</a>`, `href="/start"`)
	if strings.Contains(page, "No fire to watch yet") || strings.Contains(page, "mosquitto_pub") {
		t.Error("somebody who has cooked is told how to begin")
	}
}

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

func TestStart_LightsUp(t *testing.T) {
	n := webtest.NewNight(t)
	server := serveNight(t, n, nil)
	webtest.Has(t, webtest.Get(t, server, "/start"), "Light up", "brisket flat, usual target 93 °C", "Fire of Thu 26 Nov")
	form := url.Values{"name": {"Sunday"}, "started": {"2026-11-26T01:30"}, "serve": {"2026-11-26T18:00"}, "setpoint": {"110"},
		"p0-id": {"left"}, "p0-cut": {"brisket_flat"}, "p0-mass": {"6 lb"}, "p0-thick": {"2in"}, "p0-wrap": {"foil"},
		"p1-id": {"hen"}, "p1-cut": {"chicken_whole"}, "p1-target": {"165F"}, "p1-probe": {"garage"}}
	status, to := webtest.Post(t, server, "/start", form)
	if status != http.StatusSeeOther || to != "/?piece=8/left" {
		t.Fatalf("start = %d to %q", status, to)
	}
	c := n.Started[0]
	if got := c.Started.UTC().Format(time.RFC3339); got != "2026-11-26T07:30:00Z" { // 01:30 in UTC−6
		t.Errorf("started %s", got)
	}
	left, hen := c.Pieces[0], c.Pieces[1]
	if left.Target != 93 || left.MassKg < 2.72 || left.MassKg > 2.73 || left.ThicknessMM != 50.8 || left.Plan.AtC != 72 {
		t.Errorf("left %+v plan %+v", left, left.Plan)
	}
	if hen.Target.Fahrenheit() < 164.9 || hen.Probes[0] != "garage" {
		t.Errorf("hen %+v", hen)
	}
}

func TestStart_SaysWhatIsWrongBesideTheField(t *testing.T) {
	n := webtest.NewNight(t)
	server := serveNight(t, n, nil)
	form := url.Values{"name": {""}, "started": {"soon"}, "setpoint": {"20"}, "p0-id": {"a/b"}, "p0-cut": {"chicken_whole"}, "p0-target": {"60"}, "p0-mass": {"3 stone"}}
	answer, err := server.Client().PostForm(server.URL+"/start", form)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	if answer.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("status %s", answer.Status)
	}
	webtest.Has(t, string(body), "Give the cook a name.", "write it like 2026-05-02T20:00", "A pit is set between 40 °C and 300 °C.",
		"Below 74 °C, which the FDA Food Code asks of this", "has no unit of mass", `value="3 stone"`)
	if len(n.Started) != 0 {
		t.Error("a wrong form lit a fire")
	}
}

// The flat of the cook that runs keeps its probe until somebody has been warned: while typing, or else by a notice that is confirmed.
func TestStart_WarnsOfAProbeThatMeasuresInARunningCook(t *testing.T) {
	n := webtest.NewNight(t)
	server := serveNight(t, n, nil)
	form := url.Values{"name": {"Sunday"}, "started": {"2026-11-26T01:30"}, "setpoint": {"110"}, "p0-id": {"flat"}, "p0-cut": {"brisket_flat"},
		"p1-id": {"hen"}, "p1-cut": {"chicken_whole"}, "p1-probe": {"shoulder"}}
	send := func(more url.Values) string {
		sent := maps.Clone(form)
		maps.Copy(sent, more)
		answer, err := server.Client().PostForm(server.URL+"/start", sent)
		if err != nil {
			t.Fatal(err)
		}
		defer answer.Body.Close()
		body, err := io.ReadAll(answer.Body)
		if err != nil || answer.StatusCode != http.StatusOK {
			t.Fatalf("%s %s: %v", answer.Status, body, err)
		}
		return string(body)
	}
	const warning = "Probe flat measures the flat of Thanksgiving table, which still runs: end that cook, or take another probe."
	webtest.Has(t, send(url.Values{"check": {"1"}}), `"p0-id":"`+warning, `"p1-probe":"Probe shoulder measures`, `"taken":{"p0-id":"flat","p1-probe":"shoulder"}`)
	notice := send(nil)
	webtest.Has(t, notice, "Not lit yet", warning, `href="/cooks/7"`, "Light up all the same", "name=\"seen\" id=\"seen\" value=\"flat\nshoulder\"")
	webtest.Has(t, send(url.Values{"seen": {"flat"}}), "Not lit yet") // of the other nobody was warned
	if len(n.Started) != 0 {
		t.Fatal("the fire was lit without a warning")
	}
	form.Set("seen", "flat\r\nshoulder")
	if status, to := webtest.Post(t, server, "/start", form); status != http.StatusSeeOther || len(n.Started) != 1 {
		t.Errorf("confirmed: %d to %q, %d lit", status, to, len(n.Started))
	}
	webtest.Has(t, webtest.Get(t, server, "/start?probe=flat"), warning)
	if page := webtest.Get(t, server, "/start?probe=garage"); strings.Contains(page, "which still runs") {
		t.Error("warns of a free probe")
	}
}

func TestCook_AmendsCorrectsAndEnds(t *testing.T) {
	n := webtest.NewNight(t)
	server := serveNight(t, n, nil)
	webtest.Has(t, webtest.Get(t, server, "/cooks/7"), "wrapped in paper", "18 min late", "20 minutes late in the book", "Change the serving hour", "End this cook")
	if status, _ := webtest.Post(t, server, "/cooks/7/amend", url.Values{"piece": {"flat"}, "target": {"94"}, "probe": {"garage"}}); status != http.StatusSeeOther {
		t.Fatalf("amend = %d", status)
	}
	if p := n.Snap.Cooks[0].Stored.Pieces[0]; p.Target != 94 || p.Probes[0] != "garage" {
		t.Errorf("piece after amendment %+v", p)
	}
	if status, _ := webtest.Post(t, server, "/cooks/7/amend", url.Values{"piece": {"flat"}, "target": {"400"}}); status != http.StatusBadRequest {
		t.Errorf("impossible target = %d, want 400", status)
	}
	amended := len(n.Snap.Cooks[0].Stored.Amendments)
	webtest.Post(t, server, "/cooks/7/amend", url.Values{"piece": {"flat"}, "target": {"94"}, "probe": {"garage"}, "wrap": {"foil"}, "wrapat": {"72"}})
	if got := len(n.Snap.Cooks[0].Stored.Amendments); got != amended {
		t.Errorf("a form sent unchanged made %d amendments", got-amended)
	}
	webtest.Post(t, server, "/cooks/7/amend", url.Values{"piece": {"flat"}, "wrap": {"paper"}, "wrapat": {"75"}})
	webtest.Post(t, server, "/cooks/7/amend", url.Values{"piece": {"shoulder"}, "wrap": {"foil"}, "wrapat": {""}})
	webtest.Post(t, server, "/cooks/7/amend", url.Values{"plan0-set": {"121"}, "plan0-at": {"2026-11-26T05:00"}, "plan1-set": {""}, "plan1-at": {""}, "plan2-set": {""}, "plan2-at": {""}})
	now := n.Snap.Cooks[0].Stored
	if p := now.Pieces[0].Plan; p == nil || p.Wrap != "paper" || p.AtC != 75 {
		t.Errorf("plan of flat %+v", p)
	}
	if p := now.Pieces[1].Plan; p == nil || p.Wrap != "foil" || p.AtC != 74 { // the usual one of the cut
		t.Errorf("plan of shoulder %+v", p)
	}
	if q := now.Pit.Plan; len(q) != 1 || q[0].SetPoint != 121 || q[0].At.UTC().Hour() != 11 {
		t.Errorf("plan of the pit %+v", q)
	}
	webtest.Post(t, server, "/cooks/7/amend", url.Values{"piece": {"flat"}, "wrap": {""}})
	webtest.Post(t, server, "/cooks/7/amend", url.Values{"plan0-set": {""}, "plan0-at": {""}})
	if now := n.Snap.Cooks[0].Stored; now.Pieces[0].Plan != nil || len(now.Pit.Plan) != 0 {
		t.Errorf("plans stay: %+v %+v", now.Pieces[0].Plan, now.Pit.Plan)
	}
	webtest.Has(t, webtest.Get(t, server, "/cooks/7"), "paper planned at 75 °C", "no wrap planned", "pit to 121 °C 05:00")
	webtest.Post(t, server, "/cooks/7/events", url.Values{"corrects": {"3"}, "do": {"wrap foil"}, "piece": {"shoulder"}, "at": {"2026-11-26T00:15"}})
	webtest.Has(t, webtest.Get(t, server, "/cooks/7"), "replaced below", "corrects an earlier entry", "wrapped in foil")
	if status, to := webtest.Post(t, server, "/cooks/7/end", nil); status != http.StatusSeeOther || to != "/cooks/7" {
		t.Errorf("end = %d to %q", status, to)
	}
	webtest.Has(t, webtest.Get(t, server, "/cooks/7"), "Ended")
	webtest.Has(t, webtest.Get(t, server, "/cooks"), "Thanksgiving table", "Sunday pork")
}

func TestProbes_ShowQualityAndKeepHandReadings(t *testing.T) {
	n := webtest.NewNight(t)
	server := serveNight(t, n, nil)
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
	server := serveNight(t, n, nil)
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

func TestSettings_AreKeptInCookies(t *testing.T) {
	server := serveNight(t, webtest.NewNight(t), nil)
	client := *server.Client()
	client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	answer, err := client.PostForm(server.URL+"/settings", url.Values{"stallkeeper-light": {"red"}, "back": {"/settings"}})
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	if got := answer.Header.Get("Set-Cookie"); !strings.HasPrefix(got, "stallkeeper-light=red") {
		t.Errorf("Set-Cookie %q", got)
	}
}

func TestFirstLoad_IsSmall(t *testing.T) {
	server := serveNight(t, webtest.NewNight(t), nil)
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

func TestWatch_SaysWhatIsOffTheFire(t *testing.T) {
	n := webtest.NewNight(t)
	n.Snap.Alarms = nil
	c := &n.Snap.Cooks[0].Stored
	off := func(piece cook.PieceID, ago time.Duration) {
		c.Events = append(slices.Clone(c.Events), cook.Event{Kind: cook.EventPieceOff, Piece: piece, Time: n.Snap.Now.Add(-ago)})
	}
	off("breast", time.Hour)
	webtest.Has(t, webtest.Get(t, serveNight(t, n, nil), "/"), "taken off 01:14", "Quiet until")
	off("flat", 30*time.Minute)
	off("shoulder", 20*time.Minute)
	n.Snap.QuietUntil.Because = "Then flat must be down to 21.1 °C (the limit of its cooling)."
	webtest.Has(t, webtest.Get(t, serveNight(t, n, nil), "/"), "Quiet until", "flat must be down to 21.1 °C")
	n.Snap.QuietUntil = monitor.QuietUntil{Because: "Everything is off the fire; end the cook."}
	webtest.Has(t, webtest.Get(t, serveNight(t, n, nil), "/"), "Everything is off the fire")
}
