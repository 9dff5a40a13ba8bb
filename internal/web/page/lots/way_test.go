package lots_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/plan"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/page/pagetest"
	"stallkeeper/internal/web/page/plans"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/webtest"
)

// aLot opens a lot of one cured flat.
func aLot(t *testing.T) *httptest.Server {
	t.Helper()
	var books shop.Records
	server := pagetest.Serve(t, webtest.NewNight(t), func(o *shop.Shop) {
		webtest.Books(t)(o)
		books = o.Records
	})
	drafts := []record.Draft{{Body: record.Opened{Product: "Pastrami", Pieces: []record.Piece{{ID: "flat", Cut: "brisket_flat_cured"}}}}, {Body: record.Weighed{When: record.WhenRaw, MassKg: 4}}, {Body: record.Weighed{When: record.WhenTrimmed, MassKg: 3.2}}}
	for i := range drafts {
		drafts[i].Lot, drafts[i].By, drafts[i].Auth = "w1", "KM", record.AuthSaid
	}
	if _, err := books.Append(t.Context(), drafts...); err != nil {
		t.Fatal(err)
	}
	return server
}

func TestWay_FromTheBrineToTheFreezer(t *testing.T) {
	server := aLot(t)
	do := func(path string, form url.Values, want int) {
		t.Helper()
		form.Set("by", "KM")
		if status, where := webtest.Post(t, server, path, form); status != want {
			t.Fatalf("%s %v: %d to %s, want %d", path, form, status, where, want)
		}
	}
	do("/lots/w1/stage", url.Values{"to": {"cure"}, "probes": {"cooler"}, "at": {"2026-11-12T08:00"}}, http.StatusSeeOther)
	recipe := plans.UsualBrine()
	recipe.Set("name", "pastrami brine")
	webtest.Post(t, server, "/brine/keep", recipe)
	do("/lots/w1/formulation", url.Values{"formulation": {"pastrami brine"}, "for": {"3.2"}}, http.StatusSeeOther)
	plan := webtest.UsualPlan()
	plan.Set("serve", "2026-11-26T16:00")
	plan.Set("p0-done", "cure-start")
	plan.Set("p0-doneat", "2026-11-12T08:00")
	plan.Set("lot", "w1")
	webtest.Post(t, server, "/plan", plan)
	webtest.Has(t, webtest.Get(t, server, "/lots/w1/way"), "cure", "watched by cooler", "pastrami brine", "ingoing nitrite 120 ppm of 200 allowed", "Sunday table", "trimmed over raw", "80.0 %", "to be rendered, no waste", "Nothing of it is in stock")
	do("/lots/w1/stage", url.Values{"to": {"smoke"}, "cook": {"7"}}, http.StatusSeeOther)
	webtest.Has(t, webtest.Get(t, server, "/plan/1?now=1"), "as it stands now", "</time> ready<", "</time> rest<")
	do("/lots/w1/stage", url.Values{"to": {"chill"}}, http.StatusSeeOther)
	do("/lots/w1/stock", url.Values{"portions": {"6"}, "mass": {"250"}, "standard": {"usda-frozen"}, "where": {"freezer 2"}}, http.StatusSeeOther)
	page := webtest.Get(t, server, "/lots/w1/way")
	webtest.Has(t, page, "of 6 portions frozen", "freezer 2", "USDA cold storage chart", "<b>lid opened</b>", "no probe watches it")
	labels := webtest.Get(t, server, "/lots/w1/labels")
	webtest.Has(t, labels, "Pastrami", "250 g", "Best by", "Lot w1", "-18 °C")
	if n := strings.Count(labels, `class="sticker"`); n != 6 {
		t.Errorf("%d labels, want 6", n)
	}
	if code := webtest.Get(t, server, "/lots/w1/qr.svg"); !strings.HasPrefix(code, "<svg") || !strings.Contains(code, "M4 4h1v1h-1z") {
		t.Errorf("the code is %.60s", code)
	}
	do("/stock/take", url.Values{"portions": {"4"}, "product": {"Pastrami"}, "why": {"served"}}, http.StatusOK)
	webtest.Has(t, webtest.Get(t, server, "/stock"), "<b>2</b>", "w1", "freezer 2", "Standards differ")
	do("/stock/take", url.Values{"portions": {"4"}}, http.StatusConflict)
}

// An apprentice types nonsense: the page says what to enter, and keeps what was typed.
func TestWay_SaysWhatToEnter(t *testing.T) {
	server := aLot(t)
	for _, test := range []struct {
		path, want string
		form       url.Values
	}{
		{"/lots/w1/stage", "stage &#34;fry&#34; is not known", url.Values{"to": {"fry"}}},
		{"/lots/w1/stage", "no stage runs that could be ended", url.Values{"to": {""}}},
		{"/lots/w1/stage", "piece &#34;nobody&#34;", url.Values{"to": {"cure"}, "piece": {"nobody"}}},
		{"/lots/w1/stage", "say to which stage it goes", url.Values{"note": {"sent by mistake"}}},
		{"/lots/w1/stage", "write it like", url.Values{"to": {"cure"}, "at": {"yesterday"}}},
		{"/lots/w1/stage", "is in the future", url.Values{"to": {"cure"}, "at": {"2027-01-01T08:00"}}},
		{"/lots/w1/stage", "lies in the year 1, before 1970", url.Values{"to": {"cure"}, "at": {"0001-01-01T00:00"}}},
		{"/lots/w1/stage", "lies in the year 2226", url.Values{"to": {"cure"}, "at": {"2226-01-01T00:00"}}},
		{"/probes/check", "lies in the year 26,", url.Values{"probe": {"flat"}, "at": {"0026-01-01T00:00"}, "ice": {"0.2"}}},
		{"/records", "lies in the year 3026", url.Values{"kind": {"deviation"}, "what": {"warm"}, "from": {"3026-01-01T00:00"}}},
		{"/start", "lies in the year 202,", url.Values{"name": {"n"}, "started": {"0202-01-01T00:00"}, "setpoint": {"107"}}},
		{"/start", "U&#43;202E", url.Values{"name": {"a\u202eb"}, "started": {"2026-11-26T07:00"}, "setpoint": {"107"}}},
		{"/lots", "U&#43;200B", url.Values{"product": {"bris\u200bket"}}},
		{"/lots/w1/stage", "cook 99 is not known", url.Values{"to": {"smoke"}, "cook": {"99"}}},
		{"/lots/w1/stock", "enter how many, such as 8", url.Values{"portions": {"lots"}, "standard": {"usda-frozen"}}},
		{"/lots/w1/stock", "is not between 1 and 10000", url.Values{"portions": {"-3"}, "standard": {"usda-frozen"}}},
		{"/lots/w1/stock", "standard &#34;grandma&#34; is not known", url.Values{"portions": {"3"}, "standard": {"grandma"}}},
		{"/lots/w1/stock", "write it in g, kg, lb or oz", url.Values{"portions": {"3"}, "mass": {"3 ells"}, "standard": {"usda-frozen"}}},
		{"/lots/w1/planned", "choose a plan", url.Values{"plan": {"the good one"}}},
		{"/stock/take", "only 0 of 3 portions", url.Values{"portions": {"3"}}},
	} {
		test.form.Set("by", "KM")
		answer, err := server.Client().PostForm(server.URL+test.path, test.form)
		if err != nil {
			t.Fatal(err)
		}
		if answer.StatusCode < 400 || answer.StatusCode >= 500 {
			t.Errorf("%s %v: %s", test.path, test.form, answer.Status)
		}
		body := webtest.Body(t, answer)
		if !strings.Contains(strings.ToLower(body), strings.ToLower(test.want)) {
			t.Errorf("%s %v: the page lacks %q", test.path, test.form, test.want)
		}
	}
}

func TestChill_SaysHowThinToCut(t *testing.T) {
	server := pagetest.Serve(t, webtest.NewNight(t), nil)
	webtest.Has(t, webtest.Get(t, server, "/chill"), "Food Code", "2 h", "nine chances in ten", "Put a thermometer into the warmest place")
	webtest.Has(t, webtest.Get(t, server, "/chill?cut=brisket_flat_cured&mass=1.6&thick=45&cured=1"), "FSIS, cured meat", "100 ppm of ingoing nitrite")
	answer, err := server.Client().Get(server.URL + "/chill?cut=steak&mass=0")
	if err != nil || answer.StatusCode != http.StatusUnprocessableEntity {
		t.Fatalf("%v, %v", answer.Status, err)
	}
	webtest.Has(t, webtest.Body(t, answer), "ut &#34;steak&#34; is not known")
}

// asked counts how often it is asked for a cooling.
type asked struct {
	plan.Forecaster
	times int
}

func (a *asked) CoolTime(c estimator.Chill, to thermal.Celsius) [7]time.Duration {
	a.times++
	return a.Forecaster.CoolTime(c, to)
}

// The same question is not worked out again; another is.
func TestChill_RemembersItsAnswers(t *testing.T) {
	f := &asked{}
	server := pagetest.Serve(t, webtest.NewNight(t), func(o *shop.Shop) { f.Forecaster, o.Planner = o.Planner, f })
	first := webtest.Get(t, server, "/chill")
	after := f.times
	if again := webtest.Get(t, server, "/chill"); again != first || f.times != after || after == 0 {
		t.Errorf("asked %d times, then %d, for the same page: %v", after, f.times, again == first)
	}
	if webtest.Get(t, server, "/chill?cut=brisket_flat_cured&mass=2&thick=45"); f.times == after {
		t.Error("another mass got the answer of the first")
	}
}

// What was put in before a thousand other batches still goes out first.
func TestStock_TheOldestIsNeverForgotten(t *testing.T) {
	var books shop.Records
	server := pagetest.Serve(t, webtest.NewNight(t), func(o *shop.Shop) {
		webtest.Books(t)(o)
		books = o.Records
	})
	drafts := []record.Draft{{Lot: "old", Body: record.Opened{Product: "Pastrami"}}, {Lot: "old", Body: record.Portioned{Portions: 3, Kept: record.InFreezer, Where: "at the bottom"}}}
	for i := range 15 {
		lot := cook.LotID(fmt.Sprintf("later-%d", i))
		drafts = append(drafts, record.Draft{Lot: lot, Body: record.Opened{Product: "Pastrami"}})
		for range 70 {
			drafts = append(drafts, record.Draft{Lot: lot, Body: record.Portioned{Portions: 1, Kept: record.InFreezer}})
		}
	}
	for i := range drafts {
		drafts[i].By, drafts[i].Auth = "KM", record.AuthSaid
	}
	if _, err := books.Append(t.Context(), drafts...); err != nil {
		t.Fatal(err)
	}
	webtest.Has(t, webtest.Get(t, server, "/stock"), "at the bottom")
}
