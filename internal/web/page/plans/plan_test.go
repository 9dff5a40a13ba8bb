package plans_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"stallkeeper/internal/web/page/pagetest"
	"stallkeeper/internal/web/page/plans"
	"stallkeeper/internal/web/webtest"
)

func TestBrine_WorksWithoutScript(t *testing.T) {
	server := pagetest.Serve(t, webtest.NewNight(t), nil)
	page := webtest.Get(t, server, "/brine")
	webtest.Has(t, page, "120 ppm", "within", "Curing salt is poisonous in excess", "14 days", "18.5 g", "5 to 14 d", "No cure time comes from the diffusion of nitrite")
	// Bare numbers have their units; over the limit is said first.
	page = webtest.Get(t, server, "/brine?meat=1&water=1&salt=60&cure=20&cure_nitrite=6,25&method=immersion-equilibrium&product=bacon")
	webtest.Has(t, page, "Over the limit:", "120 are allowed")
	// A dose that the scale cannot weigh.
	page = webtest.Get(t, server, "/brine?meat=1&cure=2&cure_nitrite=6.25&method=dry&scale_resolution=1")
	webtest.Has(t, page, "This scale cannot weigh it")
	// So much ice that the brine is too weak.
	page = webtest.Get(t, server, "/brine?meat=3&water=4&salt=300&cure=14&cure_nitrite=6.25&method=immersion-equilibrium&cool_from=95&cool_to=4")
	webtest.Has(t, page, "That much ice makes the brine too weak")
	for query, want := range map[string]string{"meat=lots&method=dry": "write a number with its unit", "meat=0&method=dry": "weigh the meat", "meat=3&method=soak": "ethod &#34;soak&#34; is not known",
		"meat=3&water=4&method=pumped&pickup=200": "weigh the meat before and after", "meat=3&water=1&cure=5&method=immersion-equilibrium": "as printed"} {
		answer, err := server.Client().Get(server.URL + "/brine?" + query)
		if err != nil {
			t.Fatal(err)
		}
		if answer.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("%s: %s", query, answer.Status)
		}
		webtest.Has(t, webtest.Body(t, answer), map[bool]string{true: "enter the strength printed on the packet", false: want}[want == "as printed"])
	}
}

func TestBrine_IsKeptScaledAndDropped(t *testing.T) {
	server := pagetest.Serve(t, webtest.NewNight(t), nil)
	form := plans.UsualBrine()
	form.Set("name", "pastrami & co")
	status, where := webtest.Post(t, server, "/brine/keep", form)
	if status != http.StatusSeeOther || where != "/brine?load=pastrami+%26+co" {
		t.Fatalf("kept: %d to %s", status, where)
	}
	webtest.Has(t, webtest.Get(t, server, where), "pastrami &amp; co", "18.5 g")
	webtest.Has(t, webtest.Get(t, server, where+"&for=6"), "36.9 g", "120 ppm")
	if status, _ := webtest.Post(t, server, "/brine/drop", url.Values{"name": {"pastrami & co"}}); status != http.StatusSeeOther {
		t.Errorf("dropped: %d", status)
	}
	if page := webtest.Get(t, server, "/brine"); strings.Contains(page, "pastrami") {
		t.Error("what was dropped is listed")
	}
}

func TestPlan_IsMadeKeptAndShown(t *testing.T) {
	server := pagetest.Serve(t, webtest.NewNight(t), nil)
	status, where := webtest.Post(t, server, "/plan", webtest.UsualPlan())
	if status != http.StatusSeeOther || where != "/plan/1" {
		t.Fatalf("planned: %d to %s", status, where)
	}
	page := webtest.Get(t, server, where)
	webtest.Has(t, page, "Sunday table", "It can be done", "start the cure", "turn it in the cure", "put it on", "freeze", "Curing salt is poisonous in excess", "Late?", "slack", "7 days an inch: 14 d")
	webtest.Has(t, webtest.Get(t, server, "/plan"), "Kept plans", "Sunday table")
	webtest.Has(t, webtest.Get(t, server, "/plan?from=1"), `value="2026-12-13T18:00"`, `value="50 mm"`)
	form := webtest.UsualPlan()
	form.Set("serve", "2026-11-27T18:00")
	_, where = webtest.Post(t, server, "/plan", form)
	webtest.Has(t, webtest.Get(t, server, where), "Not possible", "What can be done instead", "Late now:")
}

func TestPlan_SaysWhatToEnter(t *testing.T) {
	server := pagetest.Serve(t, webtest.NewNight(t), nil)
	for _, test := range []struct{ field, value, want string }{
		{"serve", "", "write it like 2026-05-02T20:00"},
		{"serve", "2026-11-20T18:00", "enter an hour to come"},
		{"serve", "2027-03-14T02:30", "where the clocks change"}, // America/Chicago
		{"pit", "hot", "write a number with its unit"},
		{"pit", "1000", "is not between 40 and 300"},
		{"p0-mass", "0", "Weigh the piece"},
		{"p0-mass", "-2", "is negative"},
		{"p0-cut", "steak", "Choose a cut."},
		{"p0-thick", "9 kg", "write it in mm, cm or in"},
		{"cure", "ages", "Write a number"},
		{"cure", "500", "from 1 to 120"},
		{"p0-done", "cure-start", "enter a time up to now"},
	} {
		form := webtest.UsualPlan()
		form.Set(test.field, test.value)
		answer, err := server.Client().PostForm(server.URL+"/plan", form)
		if err != nil {
			t.Fatal(err)
		}
		if answer.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("%s %q: %s", test.field, test.value, answer.Status)
		}
		webtest.Has(t, webtest.Body(t, answer), test.want)
	}
}

// A plan whose cook runs is looked at as it stands: by the live forecasts, with the steps that are left.
func TestPlan_AsItStandsNow(t *testing.T) {
	n := webtest.NewNight(t)
	server := pagetest.Serve(t, n, nil)
	form := url.Values{"name": {"Thanksgiving"}, "serve": {"2026-11-26T12:00"}, "pit": {"110"}, "cook": {"7"},
		"p0-id": {"flat"}, "p0-cut": {"brisket_flat"}, "p0-mass": {"3.1"}, "p0-target": {"92.5"}, "p1-id": {"shoulder"}, "p1-cut": {"pork_shoulder"}, "p1-mass": {"3.8"}, "p1-target": {"95"}}
	_, where := webtest.Post(t, server, "/plan", form)
	page := webtest.Get(t, server, where+"?now=1")
	// flat: P90 at 11:42, so that 12:00 cannot be met with rest and slicing; nothing before the fire is left to do.
	webtest.Has(t, page, "as it stands now", "ready", "Not possible")
	if strings.Contains(page, "</time> buy") {
		t.Error("what is over is planned again")
	}
	webtest.Has(t, webtest.Get(t, server, "/api/v1/cooks/7/plan?serve=2026-11-26T16:00:00-06:00&format=text"), "it can be done", "ready flat")
}
