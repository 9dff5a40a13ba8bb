package watch_test

import (
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/page/pagetest"
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
			webtest.Has(t, webtest.Get(t, pagetest.Serve(t, n, nil), "/"), tc.want...)
		})
	}
}

func TestWatch_LanesTellStagesBandAndServingHour(t *testing.T) {
	page := webtest.Get(t, pagetest.Serve(t, webtest.NewNight(t), nil), "/?piece=7/flat")
	webtest.Has(t, page, "in the stall from 00:12", "The stall probably ends at 04:24", "Wrap in foil planned", "ready 07:06–11:42",
		"Most likely 09:12", "Serving hour 12:00", `class="band80"`, `class="band50"`, `class="serve"`, `class="now"`, "All ready")
	if strings.Contains(page, "style=") || strings.Contains(page, "onclick") {
		t.Error("page has inline style or script")
	}
}

func TestWatch_ShowsFahrenheitWhenChosen(t *testing.T) {
	server := pagetest.Serve(t, webtest.NewNight(t), nil)
	req, err := http.NewRequest(http.MethodGet, server.URL+"/?piece=7/flat", nil)
	if err != nil {
		t.Fatal(err)
	}
	req.AddCookie(&http.Cookie{Name: frame.UnitCookie, Value: "f"})
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
	page := webtest.Get(t, pagetest.Serve(t, n, nil), "/?piece=7/flat&if=foil")
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
	server := pagetest.Serve(t, n, nil)
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
	status, to := webtest.Post(t, pagetest.Serve(t, n, nil), "/alarms/acknowledge", url.Values{"alarm": {"pit-falling/7"}, "back": {"https://elsewhere.invalid/x"}})
	if status != http.StatusSeeOther || to != "/x" {
		t.Errorf("acknowledge = %d to %q, want 303 to a path of this server", status, to)
	}
	if got := n.Snap.Alarms[0].State; got != alarm.Acked {
		t.Errorf("state = %s", got)
	}
	server := pagetest.Serve(t, n.WithPast(), nil)
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

func TestWatch_SaysWhatIsOffTheFire(t *testing.T) {
	n := webtest.NewNight(t)
	n.Snap.Alarms = nil
	c := &n.Snap.Cooks[0].Stored
	off := func(piece cook.PieceID, ago time.Duration) {
		c.Events = append(slices.Clone(c.Events), cook.Event{Kind: cook.EventPieceOff, Piece: piece, Time: n.Snap.Now.Add(-ago)})
	}
	off("breast", time.Hour)
	webtest.Has(t, webtest.Get(t, pagetest.Serve(t, n, nil), "/"), "taken off 01:14", "Quiet until")
	off("flat", 30*time.Minute)
	off("shoulder", 20*time.Minute)
	n.Snap.QuietUntil.Because = "Then flat must be down to 21.1 °C (the limit of its cooling)."
	webtest.Has(t, webtest.Get(t, pagetest.Serve(t, n, nil), "/"), "Quiet until", "flat must be down to 21.1 °C")
	n.Snap.QuietUntil = monitor.QuietUntil{Because: "Everything is off the fire; end the cook."}
	webtest.Has(t, webtest.Get(t, pagetest.Serve(t, n, nil), "/"), "Everything is off the fire")
}
