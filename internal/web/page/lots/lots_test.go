package lots_test

import (
	"maps"
	"net/url"
	"testing"

	"stallkeeper/internal/record"
	"stallkeeper/internal/web/page/lots"
	"stallkeeper/internal/web/page/pagetest"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/webtest"
)

// entry is a form for an entry of lot m1, sent from its page.
func entry(id string, kind record.Kind, by string, more ...string) url.Values {
	form := url.Values{"form": {id}, "kind": {string(kind)}, "lot": {"m1"}, "back": {"/lots/m1"}, "by": {by}}
	for i := 0; i+1 < len(more); i += 2 {
		form.Set(more[i], more[i+1])
	}
	return form
}

// A lot from its opening to its review, by forms alone; what is refused comes back with what was typed.
func TestLots_FromOpeningToReviewWithoutScript(t *testing.T) {
	s := pagetest.NewServer(t, webtest.NewShelf(t).Shop(t), webtest.Books(t))
	see := func(path string, status int, wanted ...string) {
		t.Helper()
		webtest.MustSee(t, webtest.Send(s, webtest.Request("GET", path, "")), status, wanted...)
	}
	see("/lots", 200, "No lot yet", "Open a lot")
	webtest.MustSee(t, webtest.PostForm(t, s, "/lots", url.Values{"product": {""}, "by": {"KM"}, "code": {"SB-12"}}), 400, "product is missing", `value="SB-12"`)
	webtest.MustSee(t, webtest.PostForm(t, s, "/lots", url.Values{"id": {"m1"}, "product": {"Brisket <b>cured</b>"}, "class": {"refrigerated"}, "piece": {"flat"}, "cut": {"brisket_flat_cured"}, "intact": {"yes"}, "thickness_mm": {"58"}, "by": {"KM"}}), 303)
	see("/lots", 200, "m1", "Brisket &lt;b&gt;cured&lt;/b&gt;", "under way")
	see("/lots/m1", 200, "NOTHING was judged", "NO pre-shipment review", "58 mm thick", "name typed in, not proved", "a licensed authority to decide")

	webtest.MustSee(t, webtest.PostForm(t, s, "/records", entry("weighed", record.KindWeighed, "KM", "mass_kg", "3,4", "when", "raw", "piece", "flat")), 303)
	webtest.MustSee(t, webtest.PostForm(t, s, "/records", entry("weighed", record.KindWeighed, "KM", "mass_kg", "-3", "when", "raw")), 400, "“Weight in kg” -3 is not above 0", `value="-3"`)
	webtest.MustSee(t, webtest.PostForm(t, s, "/records", entry("monitoring", record.KindMonitoring, "KM", "celsius", "155.2F", "verdict", "missed", "ccp", "3 smoking", "limit", "158 °F", "instrument", "pen")), 303)
	webtest.MustSee(t, webtest.PostForm(t, s, "/records", entry("deviation", record.KindDeviation, "KM", "what", "155.2 °F at the end", "ccp", "3 smoking")), 303)
	see("/records", 200, "Open: deviation 5", "/lots/m1")

	cause := "The fire went low; grate cleaned."
	webtest.MustSee(t, webtest.PostForm(t, s, "/records", entry("answer5", record.KindCorrectiveAction, "KM", "deviation", "5", "cause", cause)), 400, "“2. How was the point brought under control?” is missing", cause)
	webtest.MustSee(t, webtest.PostForm(t, s, "/records", entry("pre-shipment-review", record.KindReview, "ST", "ship", "yes")), 409, "deviation 5 has no corrective action")
	webtest.MustSee(t, webtest.PostForm(t, s, "/records", entry("answer5", record.KindCorrectiveAction, "KM", "deviation", "5", "cause", cause, "control_restored", "fed", "prevention", "alarm", "disposition", "reworked")), 303)
	webtest.MustSee(t, webtest.PostForm(t, s, "/records", entry("pre-shipment-review", record.KindReview, "km", "ship", "yes")), 409, "is for somebody else")
	webtest.MustSee(t, webtest.PostForm(t, s, "/records", entry("verification", record.KindVerification, "ST", "of", "records", "found", "complete", "good", "yes")), 303)

	see("/lots/m1?correct=3", 200, "Correct entry 3", `value="3.4"`)
	correction := entry("correct3", record.KindWeighed, "KM", "corrects", "3", "mass_kg", "3.5", "when", "raw", "piece", "flat")
	webtest.MustSee(t, webtest.PostForm(t, s, "/records", correction), 400, "reason is missing")
	correction.Set("reason", "read again")
	webtest.MustSee(t, webtest.PostForm(t, s, "/records", correction), 303)
	see("/lots/m1", 200, "3.5 kg", "3.4 kg", "replaced by", "Corrects entry 3: read again")
	webtest.MustSee(t, webtest.PostForm(t, s, "/records", entry("withdraw8", record.KindWithdrawal, "KM", "corrects", "8", "reason", "twice")), 303)

	webtest.MustSee(t, webtest.PostForm(t, s, "/records", entry("closed", record.KindClosed, "KM")), 303)
	see("/records", 200, "Waiting for a pre-shipment review", "None: each has its corrective action")
	webtest.MustSee(t, webtest.PostForm(t, s, "/records", entry("pre-shipment-review", record.KindReview, "ST", "ship", "yes")), 303)
	see("/lots", 200, "reviewed: may leave")
	webtest.MustSee(t, webtest.PostForm(t, s, "/lots/m1/verify", nil), 200, "entries and 0 seals are as they were written")
	see("/lots/none", 404, "Not found")
	see("/records?kind=wish", 400, "not known")
	see("/records?kind=weighed&lot=m1", 200, "weighed")
}

// A correction that leaves a field alone leaves its exact value alone, and the moment to the microsecond.
func TestLots_CorrectionKeepsWhatWasNotTouched(t *testing.T) {
	var books shop.Records
	s := pagetest.NewServer(t, webtest.NewShelf(t).Shop(t), func(o *shop.Shop) { webtest.Books(t)(o); books = o.Records })
	webtest.MustSee(t, webtest.PostForm(t, s, "/lots", url.Values{"id": {"m1"}, "product": {"Brisket"}, "by": {"KM"}}), 303)
	webtest.MustSee(t, webtest.PostForm(t, s, "/records", entry("monitoring", record.KindMonitoring, "KM", "celsius", "161.2F", "verdict", "met", "instrument", "pen")), 303)
	old, err := books.Entry(t.Context(), 3)
	if err != nil {
		t.Fatal(err)
	}
	form := lots.TypedOf(webtest.Request("GET", "/", ""), old, webtest.Zone(t))
	maps.Copy(form, entry("correct3", record.KindMonitoring, "KM", "corrects", "3", "reason", "name of the limit", "limit", "158 °F", "at", old.At.In(webtest.Zone(t)).Format("2006-01-02T15:04:05")))
	webtest.MustSee(t, webtest.PostForm(t, s, "/records", form), 303)
	now, err := books.Entry(t.Context(), 4)
	if err != nil {
		t.Fatal(err)
	}
	was, is := mustMonitoring(t, old), mustMonitoring(t, now)
	if *was.Celsius != *is.Celsius || !old.At.Equal(now.At) || is.Limit != "158 °F" || is.Verdict != record.Met {
		t.Errorf("correction of %+v at %v gives %+v at %v", was, old.At, is, now.At)
	}
}

func mustMonitoring(t testing.TB, e record.Entry) *record.Monitoring {
	t.Helper()
	body, err := e.Decode()
	if err != nil {
		t.Fatal(err)
	}
	m, ok := body.(*record.Monitoring)
	if !ok {
		t.Fatalf("entry %d is a %s", e.Seq, e.Kind)
	}
	return m
}
