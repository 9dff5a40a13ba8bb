package probes_test

import (
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"stallkeeper/internal/web/page/pagetest"
	"stallkeeper/internal/web/webtest"
)

// At 300 m water boils at 98.98 °C (IAPWS-IF97 in the standard atmosphere): 99.4 °C is within 1 K, 101.5 °C is not.
func TestProbe_ACheckIsEnteredOnThePage(t *testing.T) {
	server := pagetest.Serve(t, webtest.NewNight(t), nil)
	webtest.Has(t, webtest.Get(t, server, "/probes/flat"), "Never checked", `action="/probes/check"`, "It showed in ice water (°C)")
	for _, bad := range []struct {
		typed url.Values
		want  string
	}{
		{url.Values{"by": {"KM"}}, "Nothing was read: enter what the probe showed"},
		{url.Values{"by": {"KM"}, "boil": {"99"}}, "Water boils 1 °C lower for every 300 m"},
		{url.Values{"by": {"KM"}, "boil": {"99"}, "place": {"98000 hPa"}}, "Give the station&#39;s pressure in hPa"},
		{url.Values{"by": {"KM"}, "ice": {"cold"}}, "Read in ice water: "},
		{url.Values{"ice": {"0.2"}}, "By is missing"},
		{url.Values{"by": {"KM"}, "ice": {"0.2"}, "at": {"tonight"}}, "Time &#34;tonight&#34;"},
	} {
		bad.typed.Set("probe", "flat")
		answer, err := server.Client().PostForm(server.URL+"/probes/check", bad.typed)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(answer.Body)
		answer.Body.Close()
		if err != nil || answer.StatusCode != http.StatusBadRequest || !strings.Contains(string(body), `<details id="enter-check" open>`) || !strings.Contains(strings.ToLower(string(body)), strings.ToLower(bad.want)) {
			t.Errorf("%v: %s without %q (%v)", bad.typed, answer.Status, bad.want, err)
		}
	}
	typed := url.Values{"probe": {"flat"}, "by": {"KM"}, "ice": {"0,2"}, "boil": {"99.4"}, "place": {"300 m"}}
	if status, to := webtest.Post(t, server, "/probes/check", typed); status != http.StatusSeeOther || to != "/probes/flat?kept=check#checks" {
		t.Errorf("%d to %q", status, to)
	}
	webtest.Has(t, webtest.Get(t, server, "/probes/flat?kept=check"), "The check stands in the records.", "The last check was passed", "0.20 K", "0.42 K")
	typed.Set("boil", "101.5")
	webtest.Post(t, server, "/probes/check", typed)
	webtest.Has(t, webtest.Get(t, server, "/probes/flat"), "The last check was not passed", "Readings in doubt")
	if status, to := webtest.Post(t, server, "/probes/check", url.Values{"probe": {"pit/left"}, "by": {"KM"}, "ice": {"0.2"}}); status != http.StatusSeeOther || to != "/probes/pit/left?kept=check#checks" {
		t.Errorf("%d to %q", status, to)
	}
}
