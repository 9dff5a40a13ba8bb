package cooks_test

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/page/pagetest"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/webtest"
)

// remembered is a night whose forecasts of the past cook were kept: ten hours on the fire, and each forecast says that the
// piece is ready half an hour later than it was, with a band of an hour to each side.
type remembered struct{ *webtest.Night }

func (m remembered) Forecasts(_ context.Context, id cook.ID, _ cook.PieceID, from, to time.Time) ([]cook.KeptForecast, error) {
	if id != 6 {
		return nil, nil
	}
	begun := m.Past[1].Started
	ready := begun.Add(10 * time.Hour)
	var out []cook.KeptForecast
	for at := begun; at.Before(begun.Add(13 * time.Hour)); at = at.Add(time.Minute) {
		if at.Before(from) || (!to.IsZero() && !at.Before(to)) {
			continue
		}
		stamp := func(shift time.Duration) string { return ready.Add(shift).UTC().Format(time.RFC3339) }
		line := fmt.Sprintf(`{"at":%q,"state":"stall","ready":{"p05":%q,"p10":%q,"p25":%q,"p50":%q,"p75":%q,"p90":%q,"p95":%q}}`, at.UTC().Format(time.RFC3339),
			stamp(-time.Hour), stamp(-30*time.Minute), stamp(0), stamp(30*time.Minute), stamp(time.Hour), stamp(90*time.Minute), stamp(2*time.Hour))
		if !at.Before(ready) {
			line = fmt.Sprintf(`{"at":%q,"state":"ready","ready":{"p50":%q}}`, at.UTC().Format(time.RFC3339), stamp(0))
		}
		out = append(out, cook.KeptForecast{Cook: id, At: at, JSON: []byte(line)})
	}
	return out, nil
}

func TestCooks_SayHowGoodTheForecastsWere(t *testing.T) {
	n := webtest.NewNight(t)
	server := pagetest.Serve(t, n, func(o *shop.Shop) { o.Library = remembered{n} })
	page := webtest.Get(t, server, "/cooks")
	webtest.Has(t, page, "How good the forecasts were", "<th scope=\"row\">15 %</th><td>30 min</td><td>3 of 3</td>", "<th scope=\"row\">95 %</th>")
	webtest.Has(t, webtest.Get(t, server, "/cooks/6"), "Half-way the forecast said", "the band held", "reached it")
	if strings.Contains(webtest.Get(t, pagetest.Serve(t, n, nil), "/cooks"), "How good") {
		t.Error("forecasts that were never kept are judged")
	}
}

func TestOverlay_LaysCooksOverEachOther(t *testing.T) {
	server := pagetest.Serve(t, webtest.NewNight(t), nil)
	webtest.Has(t, webtest.Get(t, server, "/cooks"), `name="piece" value="7/flat"`, "Lay the ticked ones over each other")
	page := webtest.Get(t, server, "/overlay?piece=7/flat&piece=6/shoulder")
	webtest.Has(t, page, "flat, Thanksgiving table", "shoulder, Sunday pork", `data-curves="/overlay/curves?piece=7%2Fflat&amp;piece=6%2Fshoulder"`, `<th scope="row">5 h</th><td>65`)
	webtest.Has(t, webtest.Get(t, server, "/overlay/curves?piece=7/flat"), `"unit":"°C"`, `"hours":[0.0`)
	for path, want := range map[string]int{"/overlay": http.StatusBadRequest, "/overlay?piece=7/ghost": http.StatusNotFound, "/overlay?piece=99/flat": http.StatusNotFound,
		"/overlay?" + strings.Repeat("piece=7/flat&", 7): http.StatusBadRequest} {
		answer, err := server.Client().Get(server.URL + path)
		if err != nil {
			t.Fatal(err)
		}
		answer.Body.Close()
		if answer.StatusCode != want {
			t.Errorf("%s = %d, want %d", path, answer.StatusCode, want)
		}
	}
}
