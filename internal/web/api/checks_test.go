package api_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/calibrate"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/webtest"
)

// A good check in the evening, a bad one in the morning, and a good one after the probe was corrected: the readings of the
// night are in doubt, on the page and in the API, and stand as they came.
func TestChecks_AFailedOneMarksTheReadingsBefore(t *testing.T) {
	s := newServer(t, webtest.NewShelf(t), func(o *shop.Shop) {
		o.Checking = shop.Checking{Every: 720 * time.Hour, Corrections: map[cook.ProbeID]calibrate.Correction{"pit": {Slope: 1, K: -1.4}}}
	})
	ask := func(method, path, body string, want int) string {
		t.Helper()
		w := httptest.NewRecorder()
		s.ServeHTTP(w, webtest.Request(method, path, body))
		if w.Code != want {
			t.Fatalf("%s %s = %d %s, want %d", method, path, w.Code, w.Body, want)
		}
		return w.Body.String()
	}
	check := func(at, read, more string) {
		t.Helper()
		ask("POST", v1+"/checks", `{"probe":"pit","by":"KM","time":"`+at+`","points":[{"true_c":0,"read_c":`+read+`}]`+more+`}`, http.StatusCreated)
	}
	check("2026-11-26T02:00:30Z", "0.3", "")
	check("2026-11-26T02:01:30Z", "1.4", `,"note":"fell into the fire"`)
	check("2026-11-26T02:01:45Z", "0.1", `,"as_left":true,"action":"offset of -1.3 K"`)
	readings := ask("GET", v1+"/readings?probe=pit&from=2026-11-26T02:00:00Z&to=2026-11-26T02:02:00Z", "", http.StatusOK)
	for at, want := range map[string]bool{"02:00:15Z": false, "02:00:30Z": true, "02:01:30Z": true, "02:01:45Z": false} {
		_, rest, _ := strings.Cut(readings, at)
		one, _, _ := strings.Cut(rest, "}")
		if got := strings.Contains(one, `"check":"failed"`); got != want {
			t.Errorf("reading of %s marked: %v, want %v: %s", at, got, want, one)
		}
	}
	page := ask("GET", "/probes/pit", "", http.StatusOK)
	for _, want := range []string{"The last check was passed", "Readings in doubt", "as left; offset of -1.3 K", "fell into the fire", "true = 1 × sent − 1.4 K"} {
		if !strings.Contains(page, want) {
			t.Errorf("page lacks %q", want)
		}
	}
	check("2026-11-26T07:30:00Z", "1.2", "")
	if page = ask("GET", "/probes/pit", "", http.StatusOK); !strings.Contains(page, "<code>correction_k = -2.600</code>") {
		t.Error("a failed check on top of a correction gives no joint one")
	}
	if list := ask("GET", "/probes", "", http.StatusOK); !strings.Contains(list, "failed its last check") || !strings.Contains(list, "never checked") {
		t.Error("the list does not tell how the checks stand")
	}
	ask("GET", "/probes/nobody", "", http.StatusNotFound)
	if side := ask("GET", "/probes/pit?with=flat", "", http.StatusOK); !strings.Contains(side, "pit less flat: ") {
		t.Error("no comparison")
	}
}
