package cooks_test

import (
	"net/http"
	"net/url"
	"testing"

	"stallkeeper/internal/web/page/pagetest"
	"stallkeeper/internal/web/webtest"
)

func TestCook_AmendsCorrectsAndEnds(t *testing.T) {
	n := webtest.NewNight(t)
	server := pagetest.Serve(t, n, nil)
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
