package cooks_test

import (
	"encoding/json"
	"io"
	"maps"
	"net/url"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/page/pagetest"
	"stallkeeper/internal/web/webtest"
)

func TestStart_ForecastsBeforeTheFireIsLit(t *testing.T) {
	n := webtest.NewNight(t)
	n.Snap.Probes = append(n.Snap.Probes,
		monitor.ProbeView{ID: "cooler", Role: cook.RoleCooler, Last: cook.Reading{Celsius: 3, Quality: cook.Good, Time: n.Snap.Now}},
		monitor.ProbeView{ID: "spare", Last: cook.Reading{Celsius: 21, Quality: cook.Good, Time: n.Snap.Now}})
	server := pagetest.Serve(t, n, nil)
	page := webtest.Get(t, server, "/start")
	webtest.Has(t, page, "Takes ", "4 times in 5; most likely", `name="p0-id" value="spare"`)
	if strings.Contains(page, `value="cooler"`) {
		t.Error("the probe of the cooler is offered for a piece")
	}
	form := url.Values{"name": {"Sunday"}, "started": {"2026-11-26T20:00"}, "serve": {"2026-11-27T18:00"}, "setpoint": {"110"}, "look": {"1"},
		"p0-id": {"left"}, "p0-cut": {"brisket_flat"}, "p0-mass": {"3"}, "p0-wrap": {"foil"}, "p1-id": {"hen"}, "p1-cut": {"chicken_whole"}, "p1-mass": {"1.8"}}
	answer, err := server.Client().PostForm(server.URL+"/start", form)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	webtest.Has(t, string(body), "By the serving hour: ", "For 9 in 10 it goes on by ", "All 2 ready together by ")
	if len(n.Started) != 0 {
		t.Error("looking at the forecast lit the fire")
	}
}

// TestStart_MoreMeatAndCoolerPitTakeLonger: common practice, no source.
func TestStart_MoreMeatAndCoolerPitTakeLonger(t *testing.T) {
	server := pagetest.Serve(t, webtest.NewNight(t), nil)
	likely := func(edit url.Values) time.Duration {
		form := url.Values{"name": {"x"}, "started": {"2026-11-26T01:00"}, "setpoint": {"110"}, "check": {"1"}, "p0-id": {"a"}, "p0-cut": {"brisket_flat"}, "p0-mass": {"2.5"}}
		maps.Copy(form, edit)
		answer, err := server.Client().PostForm(server.URL+"/start", form)
		if err != nil {
			t.Fatal(err)
		}
		defer answer.Body.Close()
		var said struct {
			Ahead map[string]string `json:"ahead"`
		}
		if err := json.NewDecoder(answer.Body).Decode(&said); err != nil {
			t.Fatal(err)
		}
		_, text, ok := strings.Cut(said.Ahead["p0"], "most likely ")
		if !ok {
			t.Fatalf("ahead = %v", said.Ahead)
		}
		text, _, _ = strings.Cut(text, ": ready")
		d, err := time.ParseDuration(strings.NewReplacer(" h", "h", " min", "m", " ", "").Replace(text))
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	plain := likely(nil)
	if more := likely(url.Values{"p0-mass": {"5"}}); more <= plain {
		t.Errorf("5 kg take %s, 2.5 kg %s", more, plain)
	}
	if hot := likely(url.Values{"setpoint": {"135"}}); hot >= plain {
		t.Errorf("at 135 °C it takes %s, at 110 °C %s", hot, plain)
	}
	if wrapped := likely(url.Values{"p0-wrap": {"foil"}}); wrapped >= plain {
		t.Errorf("wrapped it takes %s, open %s", wrapped, plain)
	}
}
