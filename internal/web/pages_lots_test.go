package web

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"golang.org/x/crypto/bcrypt"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

// postForm sends a form as a browser without script does.
func postForm(t testing.TB, s http.Handler, path string, form url.Values) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequest("POST", "http://localhost:8080"+path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return send(s, r)
}

// entry is a form for an entry of lot m1, sent from its page.
func entry(id string, kind record.Kind, by string, more ...string) url.Values {
	form := url.Values{"form": {id}, "kind": {string(kind)}, "lot": {"m1"}, "back": {"/lots/m1"}, "by": {by}}
	for i := 0; i+1 < len(more); i += 2 {
		form.Set(more[i], more[i+1])
	}
	return form
}

func mustSee(t testing.TB, w *httptest.ResponseRecorder, status int, wanted ...string) {
	t.Helper()
	if w.Code != status {
		t.Fatalf("status %d, want %d: %s", w.Code, status, w.Body)
	}
	for _, text := range wanted {
		if !strings.Contains(w.Body.String(), text) {
			t.Errorf("the page does not say %q", text)
		}
	}
}

// A lot from its opening to its review, by forms alone; what is refused comes back with what was typed.
func TestLots_FromOpeningToReviewWithoutScript(t *testing.T) {
	s := newServer(t, newShelf(t), withBooks(t))
	see := func(path string, status int, wanted ...string) {
		t.Helper()
		mustSee(t, send(s, request("GET", path, "")), status, wanted...)
	}
	see("/lots", 200, "No lot yet", "Open a lot")
	mustSee(t, postForm(t, s, "/lots", url.Values{"product": {""}, "by": {"KM"}, "code": {"SB-12"}}), 400, "product is missing", `value="SB-12"`)
	mustSee(t, postForm(t, s, "/lots", url.Values{"id": {"m1"}, "product": {"Brisket <b>cured</b>"}, "class": {"refrigerated"}, "piece": {"flat"}, "cut": {"brisket_flat_cured"}, "intact": {"yes"}, "thickness_mm": {"58"}, "by": {"KM"}}), 303)
	see("/lots", 200, "m1", "Brisket &lt;b&gt;cured&lt;/b&gt;", "under way")
	see("/lots/m1", 200, "NOTHING was judged", "NO pre-shipment review", "58 mm thick", "name typed in, not proved", "a licensed authority to decide")

	mustSee(t, postForm(t, s, "/records", entry("weighed", record.KindWeighed, "KM", "mass_kg", "3,4", "when", "raw", "piece", "flat")), 303)
	mustSee(t, postForm(t, s, "/records", entry("weighed", record.KindWeighed, "KM", "mass_kg", "-3", "when", "raw")), 400, "mass_kg -3 is not above 0", `value="-3"`)
	mustSee(t, postForm(t, s, "/records", entry("monitoring", record.KindMonitoring, "KM", "celsius", "155.2F", "verdict", "missed", "ccp", "3 smoking", "limit", "158 °F", "instrument", "pen")), 303)
	mustSee(t, postForm(t, s, "/records", entry("deviation", record.KindDeviation, "KM", "what", "155.2 °F at the end", "ccp", "3 smoking")), 303)
	see("/records", 200, "Open: deviation 5", "/lots/m1")

	cause := "The fire went low; grate cleaned."
	mustSee(t, postForm(t, s, "/records", entry("answer5", record.KindCorrectiveAction, "KM", "deviation", "5", "cause", cause)), 400, "control_restored is missing", cause)
	mustSee(t, postForm(t, s, "/records", entry("pre-shipment-review", record.KindReview, "ST", "ship", "yes")), 409, "deviation 5 has no corrective action")
	mustSee(t, postForm(t, s, "/records", entry("answer5", record.KindCorrectiveAction, "KM", "deviation", "5", "cause", cause, "control_restored", "fed", "prevention", "alarm", "disposition", "reworked")), 303)
	mustSee(t, postForm(t, s, "/records", entry("pre-shipment-review", record.KindReview, "km", "ship", "yes")), 409, "is for somebody else")
	mustSee(t, postForm(t, s, "/records", entry("verification", record.KindVerification, "ST", "of", "records", "found", "complete", "good", "yes")), 303)

	see("/lots/m1?correct=3", 200, "Correct entry 3", `value="3.4"`)
	correction := entry("correct3", record.KindWeighed, "KM", "corrects", "3", "mass_kg", "3.5", "when", "raw", "piece", "flat")
	mustSee(t, postForm(t, s, "/records", correction), 400, "reason is missing")
	correction.Set("reason", "read again")
	mustSee(t, postForm(t, s, "/records", correction), 303)
	see("/lots/m1", 200, "3.5 kg", "3.4 kg", "replaced by", "Corrects entry 3: read again")
	mustSee(t, postForm(t, s, "/records", entry("withdraw8", record.KindWithdrawal, "KM", "corrects", "8", "reason", "twice")), 303)

	mustSee(t, postForm(t, s, "/records", entry("closed", record.KindClosed, "KM")), 303)
	see("/records", 200, "Waiting for a pre-shipment review", "None: each has its corrective action")
	mustSee(t, postForm(t, s, "/records", entry("pre-shipment-review", record.KindReview, "ST", "ship", "yes")), 303)
	see("/lots", 200, "reviewed: may leave")
	mustSee(t, postForm(t, s, "/lots/m1/verify", nil), 200, "entries and 0 seals are as they were written")
	see("/lots/none", 404, "Not found")
	see("/records?kind=wish", 400, "not known")
	see("/records?kind=weighed&lot=m1", 200, "weighed")
}

// A correction that leaves a field alone leaves its exact value alone, and the moment to the microsecond.
func TestLots_CorrectionKeepsWhatWasNotTouched(t *testing.T) {
	var books Records
	s := newServer(t, newShelf(t), func(o *Options) { withBooks(t)(o); books = o.Records })
	mustSee(t, postForm(t, s, "/lots", url.Values{"id": {"m1"}, "product": {"Brisket"}, "by": {"KM"}}), 303)
	mustSee(t, postForm(t, s, "/records", entry("monitoring", record.KindMonitoring, "KM", "celsius", "161.2F", "verdict", "met", "instrument", "pen")), 303)
	old, err := books.Entry(t.Context(), 3)
	if err != nil {
		t.Fatal(err)
	}
	form := readerOf(request("GET", "/", ""), old.At, zone(t)).typedOf(old.Kind, old.Body)
	for k, v := range entry("correct3", record.KindMonitoring, "KM", "corrects", "3", "reason", "name of the limit", "limit", "158 °F", "at", old.At.In(zone(t)).Format("2006-01-02T15:04:05")) {
		form[k] = v
	}
	mustSee(t, postForm(t, s, "/records", form), 303)
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

// Where people have PINs a form asks for one, and a wrong one enters nothing and is not sent back.
func TestLots_PIN(t *testing.T) {
	hash, err := bcrypt.GenerateFromPassword([]byte("4711"), minCost)
	if err != nil {
		t.Fatal(err)
	}
	s := newServer(t, newShelf(t), func(o *Options) { withBooks(t)(o); o.People = []Person{{Initials: "KM", PINHash: string(hash)}} })
	mustSee(t, send(s, request("GET", "/lots", "")), 200, "Your PIN")
	w := postForm(t, s, "/lots", url.Values{"id": {"m1"}, "product": {"Brisket"}, "by": {"KM"}, "pin": {"9999"}})
	mustSee(t, w, 403, "do not belong together")
	if strings.Contains(w.Body.String(), "9999") {
		t.Error("the page shows the PIN")
	}
	mustSee(t, postForm(t, s, "/lots", url.Values{"id": {"m1"}, "product": {"Brisket"}, "by": {"KM"}, "pin": {"4711"}}), 303)
	mustSee(t, send(s, request("GET", "/lots/m1", "")), 200, "(PIN)")
}

// withLot puts a lot with an open and an answered deviation into the books, for the browser.
func withLot(t testing.TB) func(*Options) {
	return func(o *Options) {
		withBooks(t)(o)
		now := o.Now()
		say := func(lot cook.LotID, by string, body record.Body) record.Draft {
			return record.Draft{Lot: lot, At: now, By: by, Auth: record.AuthPIN, Body: body}
		}
		c := record.ControlPoint{CCP: "5 chilling", Limit: "130 to 80 °F within 1.5 h", Source: "FSIS-GD-2021-13"}
		if _, err := o.Records.Append(t.Context(), say("m1", "KM", record.Opened{Product: "Cured brisket", Class: record.Refrigerated, Pieces: []record.Piece{{ID: "flat", Cut: "brisket_flat_cured", Intact: true}}}),
			say("m1", "KM", record.StageStarted{Stage: cook.StageSmoke, Piece: "flat", Probes: []cook.ProbeID{"flat"}}),
			say("m1", "KM", record.Weighed{Piece: "flat", When: record.WhenRaw, MassKg: 3.4}),
			say("m1", "KM", record.Deviation{ControlPoint: c, What: "2 h 20 min"}),
			say("m1", "KM", record.Deviation{ControlPoint: c, What: "the probe was silent for 50 min"}),
			say("m1", "KM", record.CorrectiveAction{Deviation: 5, Cause: "door ajar", Control: "ice bath", Prevention: "door switch", Disposition: record.Held}),
			say("", "KM", record.ProbeChecked{Instrument: "flat", Method: "ice", Points: []record.CheckPoint{{True: 0, Read: 0.3}}, Passed: true})); err != nil {
			t.Fatal(err)
		}
	}
}
