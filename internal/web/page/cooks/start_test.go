package cooks_test

import (
	"io"
	"maps"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/web/page/pagetest"
	"stallkeeper/internal/web/webtest"
)

func TestStart_LightsUp(t *testing.T) {
	n := webtest.NewNight(t)
	server := pagetest.Serve(t, n, nil)
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
	server := pagetest.Serve(t, n, nil)
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
	server := pagetest.Serve(t, n, nil)
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
