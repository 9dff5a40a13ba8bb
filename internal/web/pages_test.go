package web

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
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
)

func get(t *testing.T, server *httptest.Server, path string) string {
	t.Helper()
	answer, err := server.Client().Get(server.URL + path)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	if answer.StatusCode != http.StatusOK {
		t.Fatalf("GET %s = %s\n%s", path, answer.Status, body)
	}
	return string(body)
}

// post sends a form and gives the status and where it leads.
func post(t *testing.T, server *httptest.Server, path string, form url.Values) (int, string) {
	t.Helper()
	client := *server.Client()
	client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	answer, err := client.PostForm(server.URL+path, form)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	return answer.StatusCode, answer.Header.Get("Location")
}

func has(t *testing.T, page string, want ...string) {
	t.Helper()
	page = strings.ReplaceAll(page, "\u00a0", " ")
	for _, w := range want {
		if !strings.Contains(page, w) {
			t.Errorf("page lacks %q", w)
		}
	}
}

func TestWatch_SaysWhetherSomebodyIsNeeded(t *testing.T) {
	for _, tc := range []struct {
		name string
		edit func(n *night)
		want []string
	}{
		{"alarm within minutes", func(*night) {}, []string{"You are needed now", "as a dying fire does", "Acknowledge"}},
		{"calm", func(n *night) { n.snap.Alarms = nil }, []string{"Quiet until", "04:06", "The shoulder may be ready then"}},
		{"only a quiet notice", func(n *night) { n.snap.Alarms = n.snap.Alarms[1:] }, []string{"Quiet until"}},
		{"unknown", func(n *night) {
			n.snap.Alarms = nil
			n.snap.QuietUntil.Known, n.snap.QuietUntil.Because = false, "the pit probe is silent"
		}, []string{"No quiet time can be promised", "The pit probe is silent."}},
		{"tomorrow, with the date", func(n *night) {
			n.snap.Alarms = nil
			n.snap.Now = n.snap.Now.Add(-3 * time.Hour)
		}, []string{"Quiet until", "04:06", "tomorrow, Thu 26 Nov"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			n := newNight(t)
			tc.edit(n)
			has(t, get(t, serveNight(t, n, nil), "/"), tc.want...)
		})
	}
}

func TestWatch_LanesTellStagesBandAndServingHour(t *testing.T) {
	page := get(t, serveNight(t, newNight(t), nil), "/?piece=7/flat")
	has(t, page, "in the stall from 00:12", "The stall probably ends at 04:24", "Wrap in foil planned", "ready 07:06–11:42",
		"Most likely 09:12", "Serving hour 12:00", `class="band80"`, `class="band50"`, `class="serve"`, `class="now"`, "All ready")
	if strings.Contains(page, "style=") || strings.Contains(page, "onclick") {
		t.Error("page has inline style or script")
	}
}

func TestWatch_ShowsFahrenheitWhenChosen(t *testing.T) {
	server := serveNight(t, newNight(t), nil)
	req, err := http.NewRequest(http.MethodGet, server.URL+"/?piece=7/flat", nil)
	if err != nil {
		t.Fatal(err)
	}
	req.AddCookie(&http.Cookie{Name: unitCookie, Value: "f"})
	answer, err := server.Client().Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	has(t, string(body), "198.5 °F") // 92.5 °C × 1.8 + 32
}

func TestWatch_WhatIfChangesNothing(t *testing.T) {
	n := newNight(t)
	page := get(t, serveNight(t, n, nil), "/?piece=7/flat&if=foil")
	has(t, page, "If it is wrapped in foil now", "sooner", `class="ifband"`, "Nothing is done yet")
	if got := len(n.snap.Cooks[0].Stored.Entries); got != 4 {
		t.Errorf("entries after a what-if = %d, want 4", got)
	}
	if len(n.asked) != 1 || n.asked[0].Kind != cook.EventWrap || n.asked[0].With != "foil" {
		t.Errorf("asked %v", n.asked)
	}
}

func TestWatch_LogsAndTakesBack(t *testing.T) {
	n := newNight(t)
	server := serveNight(t, n, nil)
	status, to := post(t, server, "/cooks/7/events", url.Values{"do": {"wrap foil"}, "piece": {"flat"}, "ago": {"20"}, "back": {"/?piece=7/flat"}})
	if status != http.StatusSeeOther || !strings.Contains(to, "done=5") {
		t.Fatalf("log = %d to %q", status, to)
	}
	e := n.snap.Cooks[0].Stored.Entries[4]
	if want := n.snap.Now.Add(-20 * time.Minute); !e.Time.Equal(want) || e.With != "foil" || e.Piece != "flat" {
		t.Errorf("entry %+v, want a wrap at %v", e, want)
	}
	has(t, get(t, server, to), "Logged: flat wrapped in foil, 01:54", "It did not happen")
	for _, nonsense := range []url.Values{{}, {"do": {"dance"}}, {"do": {"wrap gold"}, "piece": {"flat"}}, {"do": {"wrap foil"}, "piece": {"nobody"}}} {
		if status, _ := post(t, server, "/cooks/7/events", nonsense); status != http.StatusBadRequest {
			t.Errorf("%v = %d, want 400", nonsense, status)
		}
	}
	if status, _ := post(t, server, "/cooks/7/events", url.Values{"corrects": {"5"}, "withdraw": {"1"}}); status != http.StatusSeeOther {
		t.Fatalf("withdraw = %d", status)
	}
	for _, e := range n.snap.Cooks[0].Stored.Events {
		if e.With == "foil" {
			t.Error("the withdrawn wrap still holds")
		}
	}
}

func TestWatch_Acknowledges(t *testing.T) {
	n := newNight(t)
	status, to := post(t, serveNight(t, n, nil), "/alarms/acknowledge", url.Values{"alarm": {"pit-falling/7"}, "back": {"https://elsewhere.invalid/x"}})
	if status != http.StatusSeeOther || to != "/x" {
		t.Errorf("acknowledge = %d to %q, want 303 to a path of this server", status, to)
	}
	if got := n.snap.Alarms[0].State; got != alarm.Acked {
		t.Errorf("state = %s", got)
	}
	server := serveNight(t, n.withPast(), nil)
	has(t, get(t, server, "/"), "2 alarms came and went, not yet acknowledged", "Acknowledge all 2")
	if status, _ := post(t, server, "/alarms/acknowledge", url.Values{"alarm": {"pit-low/7", "pit-high/7"}}); status != http.StatusSeeOther {
		t.Errorf("acknowledge two = %d", status)
	}
	for _, a := range n.snap.Alarms {
		if a.State == alarm.Returned {
			t.Errorf("%s is still to be acknowledged", a.ID)
		}
	}
}

func TestFirstRun_SaysWhatIsWrong(t *testing.T) {
	for _, tc := range []struct {
		name string
		edit func(n *night)
		want string
	}{
		{"nobody", func(n *night) { n.snap.Intake.Clients = 0 }, "mosquitto_pub -h 127.0.0.1 -p 1883 -t stallkeeper/reading/pit"},
		{"no broker", func(n *night) { n.snap.Intake.Connected = false }, "The broker does not answer"},
		{"quarantine", func(*night) {}, "No known field"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			n := newNight(t)
			n.snap.Cooks, n.snap.Probes, n.snap.Alarms = nil, nil, nil
			tc.edit(n)
			has(t, get(t, serveNight(t, n, nil), "/"), "No fire to watch yet", tc.want)
		})
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
	n := newNight(t)
	server := serveNight(t, n, nil)
	has(t, get(t, server, "/start"), "Light up", "brisket flat, usual target 93 °C", "Fire of Thu 26 Nov")
	form := url.Values{"name": {"Sunday"}, "started": {"2026-11-26T01:30"}, "serve": {"2026-11-26T18:00"}, "setpoint": {"110"},
		"p0-id": {"left"}, "p0-cut": {"brisket_flat"}, "p0-mass": {"6 lb"}, "p0-thick": {"2in"}, "p0-wrap": {"foil"},
		"p1-id": {"hen"}, "p1-cut": {"chicken_whole"}, "p1-target": {"165F"}, "p1-probe": {"garage"}}
	status, to := post(t, server, "/start", form)
	if status != http.StatusSeeOther || to != "/?piece=8/left" {
		t.Fatalf("start = %d to %q", status, to)
	}
	c := n.started[0]
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
	n := newNight(t)
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
	has(t, string(body), "Give the cook a name.", "write it like 2026-05-02T20:00", "A pit is set between 40 °C and 300 °C.",
		"Below 74 °C, which the FDA Food Code asks of this", "has no unit of mass", `value="3 stone"`)
	if len(n.started) != 0 {
		t.Error("a wrong form lit a fire")
	}
}

func TestCutDefaults_NoTargetBelowPublishedLimit(t *testing.T) {
	seen := map[string]bool{}
	for _, d := range cutDefaults {
		seen[d.Cut] = true
		if d.Target < leastFor(d, true) {
			t.Errorf("%s: usual target %v below %v", d.Cut, d.Target, leastFor(d, true))
		}
		// FDA Food Code 3-401.11: 145 °F whole meat and fish, 165 °F poultry.
		if poultry := strings.HasPrefix(d.Cut, "turkey") || strings.HasPrefix(d.Cut, "chicken") || d.Cut == "other"; poultry && d.Target.Fahrenheit() < 165 {
			t.Errorf("%s: usual target %v °F below 165 °F", d.Cut, d.Target.Fahrenheit())
		}
		if d.Target.Fahrenheit() < 145 {
			t.Errorf("%s: usual target %v °F below 145 °F", d.Cut, d.Target.Fahrenheit())
		}
	}
	for _, c := range cook.Cuts() {
		if !seen[c] {
			t.Errorf("cut %s has no usual target", c)
		}
	}
}

func TestCook_AmendsCorrectsAndEnds(t *testing.T) {
	n := newNight(t)
	server := serveNight(t, n, nil)
	has(t, get(t, server, "/cooks/7"), "wrapped in paper", "18 min late", "20 minutes late in the book", "Change the serving hour", "End this cook")
	if status, _ := post(t, server, "/cooks/7/amend", url.Values{"piece": {"flat"}, "target": {"94"}, "probe": {"garage"}}); status != http.StatusSeeOther {
		t.Fatalf("amend = %d", status)
	}
	if p := n.snap.Cooks[0].Stored.Pieces[0]; p.Target != 94 || p.Probes[0] != "garage" {
		t.Errorf("piece after amendment %+v", p)
	}
	if status, _ := post(t, server, "/cooks/7/amend", url.Values{"piece": {"flat"}, "target": {"400"}}); status != http.StatusBadRequest {
		t.Errorf("impossible target = %d, want 400", status)
	}
	amended := len(n.snap.Cooks[0].Stored.Amendments)
	post(t, server, "/cooks/7/amend", url.Values{"piece": {"flat"}, "target": {"94"}, "probe": {"garage"}, "wrap": {"foil"}, "wrapat": {"72"}})
	if got := len(n.snap.Cooks[0].Stored.Amendments); got != amended {
		t.Errorf("a form sent unchanged made %d amendments", got-amended)
	}
	post(t, server, "/cooks/7/amend", url.Values{"piece": {"flat"}, "wrap": {"paper"}, "wrapat": {"75"}})
	post(t, server, "/cooks/7/amend", url.Values{"piece": {"shoulder"}, "wrap": {"foil"}, "wrapat": {""}})
	post(t, server, "/cooks/7/amend", url.Values{"plan0-set": {"121"}, "plan0-at": {"2026-11-26T05:00"}, "plan1-set": {""}, "plan1-at": {""}, "plan2-set": {""}, "plan2-at": {""}})
	now := n.snap.Cooks[0].Stored
	if p := now.Pieces[0].Plan; p == nil || p.Wrap != "paper" || p.AtC != 75 {
		t.Errorf("plan of flat %+v", p)
	}
	if p := now.Pieces[1].Plan; p == nil || p.Wrap != "foil" || p.AtC != 74 { // the usual one of the cut
		t.Errorf("plan of shoulder %+v", p)
	}
	if q := now.Pit.Plan; len(q) != 1 || q[0].SetPoint != 121 || q[0].At.UTC().Hour() != 11 {
		t.Errorf("plan of the pit %+v", q)
	}
	post(t, server, "/cooks/7/amend", url.Values{"piece": {"flat"}, "wrap": {""}})
	post(t, server, "/cooks/7/amend", url.Values{"plan0-set": {""}, "plan0-at": {""}})
	if now := n.snap.Cooks[0].Stored; now.Pieces[0].Plan != nil || len(now.Pit.Plan) != 0 {
		t.Errorf("plans stay: %+v %+v", now.Pieces[0].Plan, now.Pit.Plan)
	}
	has(t, get(t, server, "/cooks/7"), "paper planned at 75 °C", "no wrap planned", "pit to 121 °C 05:00")
	post(t, server, "/cooks/7/events", url.Values{"corrects": {"3"}, "do": {"wrap foil"}, "piece": {"shoulder"}, "at": {"2026-11-26T00:15"}})
	has(t, get(t, server, "/cooks/7"), "replaced below", "corrects an earlier entry", "wrapped in foil")
	if status, to := post(t, server, "/cooks/7/end", nil); status != http.StatusSeeOther || to != "/cooks/7" {
		t.Errorf("end = %d to %q", status, to)
	}
	has(t, get(t, server, "/cooks/7"), "Ended")
	has(t, get(t, server, "/cooks"), "Thanksgiving table", "Sunday pork")
}

func TestProbes_ShowQualityAndKeepHandReadings(t *testing.T) {
	n := newNight(t)
	server := serveNight(t, n, nil)
	has(t, get(t, server, "/probes"), "garage", "no contact (it sent −127.0 °C)", "No known field: send celsius", "ff 00 41", `{&#34;temp&#34;:&#34;hot&#34;}`)
	status, to := post(t, server, "/probes/reading", url.Values{"probe": {"flat"}, "degrees": {"67,5"}, "back": {"/probes"}})
	if status != http.StatusSeeOther || len(n.hand) != 1 || n.hand[0].Celsius != 67.5 || n.hand[0].Clock != cook.HandClock {
		t.Fatalf("hand reading = %d %+v", status, n.hand)
	}
	has(t, get(t, server, to), "Kept: flat 67.5")
	if status, _ := post(t, server, "/probes/reading", url.Values{"probe": {"flat"}, "degrees": {"900"}}); status != http.StatusBadRequest {
		t.Errorf("900 °C = %d, want 400", status)
	}
}

func TestProbes_OfferTheOneInTheHand(t *testing.T) {
	n := newNight(t)
	server := serveNight(t, n, nil)
	has(t, get(t, server, "/probes"), "Hold one in your hand")
	n.change(func() { n.snap.Probes = append(n.snap.Probes, monitor.ProbeView{ID: "unplugged"}) })
	has(t, get(t, server, "/probes"), "<p><strong>has not been heard yet</strong></p>")
	n.change(func() {
		n.snap.Probes = append(n.snap.Probes, monitor.ProbeView{ID: "spare", Last: cook.Reading{Probe: "spare", Time: n.snap.Now, Celsius: 31, Quality: cook.Good}})
	})
	has(t, get(t, server, "/probes"), "<b>spare</b> jumps: from 20.0 °C to 31.0 °C", "spare into flat", `href="/start?probe=spare"`)
	status, _ := post(t, server, "/cooks/7/amend", url.Values{"piece": {"flat"}, "probe": {"spare"}, "back": {"/probes"}})
	if got := n.snap.Cooks[0].Stored.Pieces[0].Probes; status != http.StatusSeeOther || len(got) != 1 || got[0] != "spare" {
		t.Errorf("assigned = %d %v", status, got)
	}
	has(t, get(t, server, "/start?probe=spare"), `name="p0-id" value="spare"`)
}

func TestSettings_AreKeptInCookies(t *testing.T) {
	server := serveNight(t, newNight(t), nil)
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

func TestBackTo_StaysOnThisServer(t *testing.T) {
	for raw, want := range map[string]string{
		"/?piece=1/core": "/?piece=1/core", "": "/", "//evil.invalid/x": "/x", "https://evil.invalid/x?y=1": "/x?y=1",
		"javascript:alert(1)": "/", `/\evil.invalid`: "/",
	} {
		if got := backTo(raw); got != want {
			t.Errorf("backTo(%q) = %q, want %q", raw, got, want)
		}
	}
}

func TestFirstLoad_IsSmall(t *testing.T) {
	server := serveNight(t, newNight(t), nil)
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

func TestPages_OfferOnlyWhatThePersonMayDo(t *testing.T) {
	n := newNight(t).withPast()
	server := serveNight(t, n, func(o *Options) { o.Users = users(t) })
	for name, want := range map[string]map[string]bool{
		"guest": {"Acknowledge</button>": false, "Log something": false, "Read by hand": false, "It did not happen": false, "End this cook": false, `id="light"`: false, "What if I…": true},
		"mate":  {"Acknowledge</button>": true, "Log something": true, "Read by hand": true, "It did not happen": true, "End this cook": false, `id="light"`: false},
		"boss":  {"Acknowledge</button>": true, "End this cook": true, `id="light"`: true},
	} {
		var all strings.Builder
		for _, path := range []string{"/?piece=7/flat", "/cooks/7", "/probes", "/start"} {
			req, err := http.NewRequest(http.MethodGet, server.URL+path, nil)
			if err != nil {
				t.Fatal(err)
			}
			req.SetBasicAuth(name, password)
			answer, err := server.Client().Do(req)
			if err != nil {
				t.Fatal(err)
			}
			body, err := io.ReadAll(answer.Body)
			answer.Body.Close()
			if err != nil || answer.StatusCode != http.StatusOK {
				t.Fatalf("%s %s: %s, %v", name, path, answer.Status, err)
			}
			all.WriteString(string(body))
		}
		for text, offered := range want {
			if strings.Contains(all.String(), text) != offered {
				t.Errorf("%s: %q offered %v, want %v", name, text, !offered, offered)
			}
		}
	}
}

// The stretch that begins with the fire has 16 minutes; what it ended with must not stand at its beginning.
func TestCurve_StampsAValueWhereItWasMeasured(t *testing.T) {
	n := newNight(t)
	see := readerOf(httptest.NewRequest(http.MethodGet, "/", nil), n.snap.Now, zone(t))
	p, err := newPageSet(PageOptions{Shop: n.shop(t), Log: noLog()})
	if err != nil {
		t.Fatal(err)
	}
	line, err := p.readCurve(t.Context(), see, &n.snap.Cooks[0], &n.snap.Cooks[0].Pieces[0], tableRows)
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range line.core {
		if want := courses["flat"](b.at.Sub(n.start).Hours()); math.Abs(float64(b.last-want)) > 0.2 {
			t.Errorf("at %s the table says %v, measured were %v", b.at.Format("15:04"), b.last, want)
		}
	}
	if last := line.core[len(line.core)-1].at; last.After(n.snap.Now) {
		t.Errorf("the last value stands at %s, in the future", last)
	}
}

func TestWatch_SaysWhatIsOffTheFire(t *testing.T) {
	n := newNight(t)
	n.snap.Alarms = nil
	c := &n.snap.Cooks[0].Stored
	off := func(piece cook.PieceID, ago time.Duration) {
		c.Events = append(slices.Clone(c.Events), cook.Event{Kind: cook.EventPieceOff, Piece: piece, Time: n.snap.Now.Add(-ago)})
	}
	off("breast", time.Hour)
	has(t, get(t, serveNight(t, n, nil), "/"), "taken off 01:14", "Quiet until")
	off("flat", 30*time.Minute)
	off("shoulder", 20*time.Minute)
	has(t, get(t, serveNight(t, n, nil), "/"), "Everything is off the fire")
}

func TestLanes_LabelsNeverTouch(t *testing.T) {
	n := newNight(t)
	p, err := newPageSet(PageOptions{Shop: n.shop(t), Log: noLog()})
	if err != nil {
		t.Fatal(err)
	}
	for h := 0.5; h < 17; h += 0.25 {
		at := n.start.Add(time.Duration(h * float64(time.Hour)))
		see := reader{now: at.In(zone(t)), in: zone(t)}
		c := n.snap.Cooks[0]
		out := p.lanesOf(&c, see, "", nil)
		a := cookAxis(&c, see.now)
		if touch := words(a.share(c.Stored.ServeBy), out.ServeEnd).touches(words(a.share(at), out.NowEnd)); touch && !out.ServeLow {
			t.Errorf("after %v h the words at now and at the serving hour overlap", h)
		}
	}
}
