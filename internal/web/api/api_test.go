package api_test

import (
	"encoding/json"
	"fmt"
	"net/url"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/api"
	"stallkeeper/internal/web/webtest"
)

func TestProbes_CarbonMonoxideIsNoTemperature(t *testing.T) {
	shelf := webtest.NewShelf(t)
	shelf.Snap.Probes = append(shelf.Snap.Probes, monitor.ProbeView{ID: "shed", Role: cook.RoleCO, Last: cook.Reading{Probe: "shed", Time: shelf.Snap.Now, Celsius: 12, Quality: cook.Good}})
	w := webtest.Send(newServer(t, shelf, nil), webtest.Request("GET", "/api/v1/probes/shed", ""))
	if body := w.Body.String(); !strings.Contains(body, `"celsius":null`) || !strings.Contains(body, `"ppm":12`) {
		t.Errorf("probe = %s, want 12 ppm and no degrees", body)
	}
}

func TestAlarmIDs_MayCarryTheirSlashes(t *testing.T) {
	shelf := webtest.NewShelf(t)
	server := newServer(t, shelf, nil)
	for _, path := range []string{"/api/v1/alarms/piece-ready/7/breast", "/api/v1/alarms/piece-ready%2F7%2Fbreast", "/api/v1/alarms/piece-ready/7%2Fbreast"} {
		if w := webtest.Send(server, webtest.Request("POST", path+"/acknowledge", `{"by":"KM"}`)); w.Code != 204 {
			t.Errorf("POST %s/acknowledge = %d: %s", path, w.Code, w.Body)
		}
		if w := webtest.Send(server, webtest.Request("GET", path, "")); w.Code != 200 {
			t.Errorf("GET %s = %d", path, w.Code)
		}
	}
	for _, act := range shelf.Acts {
		if act != "acknowledge piece-ready/7/breast by KM" {
			t.Errorf("did %q", act)
		}
	}
}

// Following next from page to page gives every row once and in order.
func TestReadings_PagesJoinWithoutGap(t *testing.T) {
	shelf := webtest.NewShelf(t)
	server := newServer(t, shelf, nil)
	last := shelf.Measured[len(shelf.Measured)-1]
	for range 1200 { // more than are streamed at once
		last.Time = last.Time.Add(time.Second)
		shelf.Measured = append(shelf.Measured, last)
	}
	for _, limit := range []string{"7", "24", "499", "500", "501", "1000", "10000"} {
		var got []api.ReadingDoc
		path := "/api/v1/readings?limit=" + limit
		for path != "" {
			var page struct {
				Readings []api.ReadingDoc
				Next     *string
			}
			w := webtest.Send(server, webtest.Request("GET", path, ""))
			if err := json.Unmarshal(w.Body.Bytes(), &page); err != nil {
				t.Fatalf("%s: %v", w.Body, err)
			}
			got = append(got, page.Readings...)
			path = ""
			if page.Next != nil {
				path = *page.Next
			}
		}
		if len(got) != len(shelf.Measured) {
			t.Fatalf("limit %s: %d readings, want %d", limit, len(got), len(shelf.Measured))
		}
		for i, r := range got {
			if r != api.ReadingDocOf(shelf.Measured[i]) {
				t.Errorf("limit %s: reading %d is %v, want %v", limit, i, r, shelf.Measured[i])
			}
		}
	}
}

// A client that does not escape the + of an offset sends a space.
func TestTimes_MayComeWithABarePlus(t *testing.T) {
	server := newServer(t, webtest.NewShelf(t), nil)
	for _, from := range []string{"2026-11-26T03:01:00+01:00", "2026-11-26T03:01:00%2B01:00", "2026-11-26T02:01:00Z", "2026-11-25T20:01:00-06:00"} {
		w := webtest.Send(server, webtest.Request("GET", "/api/v1/readings?probe=pit&from="+from, ""))
		if n := strings.Count(w.Body.String(), `"probe"`); w.Code != 200 || n != 8 {
			t.Errorf("from=%s gives %d with %d readings, want 8", from, w.Code, n)
		}
	}
}

func TestWhatIf_AsksForWhatIsTyped(t *testing.T) {
	shelf := webtest.NewShelf(t)
	server := newServer(t, shelf, nil)
	at := shelf.Snap.Now
	for text, want := range map[string]cook.Event{
		"wrap=foil@now":               {Time: at, Kind: cook.EventWrap, Piece: "flat", With: "foil"},
		"wrap=paper@70C":              {Time: at, Kind: cook.EventWrap, Piece: "flat", With: "paper", Celsius: 70},
		"setpoint=250F@+30m":          {Time: at.Add(30 * time.Minute), Kind: cook.EventSetPoint, Celsius: thermal.FromFahrenheit(250)},
		"unwrap@2026-11-26T09:00:00Z": {Time: time.Date(2026, 11, 26, 9, 0, 0, 0, time.UTC), Kind: cook.EventUnwrap, Piece: "flat"},
	} {
		shelf.Asked = nil
		w := webtest.Send(server, webtest.Request("GET", "/api/v1/cooks/7/pieces/flat/what-if?do="+url.QueryEscape(text), ""))
		if w.Code != 200 || len(shelf.Asked) != 1 || shelf.Asked[0] != want {
			t.Errorf("%s: %d, asked %v, want %v", text, w.Code, shelf.Asked, want)
		}
	}
	for _, text := range []string{"wrap=foil", "wrap=cling@now", "wrap=foil@-30m", "setpoint=121@now", "setpoint=900C@now", "wrap=foil@200C", "lid@now"} {
		webtest.MustProblem(t, webtest.Send(server, webtest.Request("GET", "/api/v1/cooks/7/pieces/flat/what-if?do="+url.QueryEscape(text), "")), 400)
	}
}

// Alarms that changed at one moment stay on one page, because the next page begins before a moment.
func TestAlarmHistory_PagesJoinWithoutGap(t *testing.T) {
	shelf := webtest.NewShelf(t)
	shelf.History = nil
	for i := range 12 {
		shelf.History = append(shelf.History, alarm.Alarm{ID: alarm.ID(fmt.Sprint("co/", i)), Changed: shelf.Snap.Now.Add(-time.Duration(i/3) * time.Minute)})
	}
	server := newServer(t, shelf, nil)
	for _, limit := range []string{"3", "4", "5", "100"} {
		var got []alarm.Alarm
		path := "/api/v1/alarms?history=true&limit=" + limit
		for path != "" {
			var page struct {
				Alarms []alarm.Alarm
				Next   *string
			}
			if err := json.Unmarshal(webtest.Send(server, webtest.Request("GET", path, "")).Body.Bytes(), &page); err != nil {
				t.Fatal(err)
			}
			got, path = append(got, page.Alarms...), ""
			if page.Next != nil {
				path = *page.Next
			}
		}
		if len(got) != len(shelf.History) {
			t.Errorf("limit %s: %d alarms, want %d", limit, len(got), len(shelf.History))
		}
	}
}

func TestEvents_AreCorrectedOnce(t *testing.T) {
	server := newServer(t, webtest.NewShelf(t), nil)
	const path = "/api/v1/cooks/7/events"
	if w := webtest.Send(server, webtest.Request("POST", path, `{"kind":"wrap","piece":"shoulder","with":"foil","time":"2026-11-26T06:00:00Z","corrects":3}`)); w.Code != 201 {
		t.Fatalf("correction = %d: %s", w.Code, w.Body)
	}
	webtest.MustProblem(t, webtest.Send(server, webtest.Request("POST", path, `{"withdraw":true,"corrects":3}`)), 409)
	var doc struct {
		Events []struct {
			ID       int64
			Replaced bool
		}
	}
	if err := json.Unmarshal(webtest.Send(server, webtest.Request("GET", path, "")).Body.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	for _, e := range doc.Events {
		if e.Replaced != (e.ID == 3) {
			t.Errorf("entry %d replaced = %v", e.ID, e.Replaced)
		}
	}
}

func TestFuture_IsRefused(t *testing.T) {
	server := newServer(t, webtest.NewShelf(t), nil) // its clock says 08:14:20
	for path, body := range map[string]string{
		"/api/v1/readings":                    `{"probe":"flat","celsius":60,"time":"2026-11-26T08:30:00Z"}`,
		"/api/v1/cooks/7/events":              `{"kind":"lid","time":"2026-11-26T08:30:00Z"}`,
		"/api/v1/cooks/7/end":                 `{"at":"2026-11-26T08:30:00Z"}`,
		"/api/v1/alarms/pit-falling/7/shelve": `{"until":"2026-11-28T08:30:00Z"}`,
	} {
		webtest.MustProblem(t, webtest.Send(server, webtest.Request("POST", path, body)), 400)
	}
}

// U+202E turns the writing that follows it; U+200B has no width (Unicode Character Database).
func TestDoors_RefuseTimesAndNamesThatAreNone(t *testing.T) {
	server := newServer(t, webtest.NewShelf(t), webtest.Books(t))
	for _, send := range []struct{ path, want, body string }{
		{"/api/v1/readings", "before 1970", `{"probe":"flat","celsius":60,"time":"0001-05-03T08:00:00Z"}`},
		{"/api/v1/cooks/7/events", "before 1970", `{"kind":"lid","time":"1969-12-31T08:30:00Z"}`},
		{"/api/v1/cooks/7/end", "before 1970", `{"at":"0001-11-26T08:30:00Z"}`},
		{"/api/v1/cooks", "before 1970", `{"name":"n","started":"0001-11-26T08:00:00Z","pit":{"setpoint_c":107},"pieces":[{"id":"p","cut":"brisket_flat","target_c":92}]}`},
		{"/api/v1/cooks", "serve_by", `{"name":"n","started":"2026-11-26T08:00:00Z","serve_by":"2036-11-26T08:00:00Z","pit":{"setpoint_c":107},"pieces":[{"id":"p","cut":"brisket_flat","target_c":92}]}`},
		{"/api/v1/lots", "before 1970", `{"id":"n1","product":"brisket","by":"KM","at":"0001-11-26T08:00:00Z"}`},
		{"/api/v1/checks", "before 1970", `{"probe":"flat","by":"KM","time":"1026-11-26T08:00:00Z","points":[{"true_c":0,"read_c":0.4}]}`},
		{"/api/v1/readings", "U+202E", `{"probe":"fl\u202eat","celsius":60}`},
		{"/api/v1/cooks", "U+202E", `{"name":"a\u202eb","started":"2026-11-26T08:00:00Z","pit":{"setpoint_c":107},"pieces":[{"id":"p","cut":"brisket_flat","target_c":92}]}`},
		{"/api/v1/cooks", "U+200B", `{"name":"n","started":"2026-11-26T08:00:00Z","pit":{"setpoint_c":107},"pieces":[{"id":"p\u200b","cut":"brisket_flat","target_c":92}]}`},
		{"/api/v1/cooks/7/events", "U+202E", `{"kind":"lid","by":"K\u202eM"}`},
		{"/api/v1/lots", "U+200B", `{"id":"n1","product":"bris\u200bket","by":"KM"}`},
		{"/api/v1/lots", "piece", `{"id":"n1","product":"brisket","by":"KM","pieces":[{"id":"fl\u202eat"}]}`},
		{"/api/v1/lots", "U+200E", `{"id":"n1","product":"brisket","by":"K\u200eM"}`},
	} {
		w := webtest.Send(server, webtest.Request("POST", send.path, send.body))
		if w.Code != 400 || !strings.Contains(w.Body.String(), send.want) {
			t.Errorf("%s %s: %d %s, want 400 and %s", send.path, send.body, w.Code, w.Body, send.want)
		}
	}
	webtest.MustProblem(t, webtest.Send(server, webtest.Request("POST", "/api/v1/checks", `{"probe":"flat","by":"KM","time":"2036-11-26T08:00:00Z","points":[{"true_c":0,"read_c":0.4}]}`)), 400)
}

func TestHandReading_IsMarked(t *testing.T) {
	shelf := webtest.NewShelf(t)
	server := newServer(t, shelf, nil)
	for celsius, want := range map[string]cook.Quality{"85": cook.Good, "67.25": cook.Good, "-127": cook.Open, "300": cook.OutOfRange} {
		w := webtest.Send(server, webtest.Request("POST", "/api/v1/readings", `{"probe":"flat","celsius":`+celsius+`}`))
		if w.Code != 201 {
			t.Fatalf("%s: %d %s", celsius, w.Code, w.Body)
		}
		r := shelf.Hand[len(shelf.Hand)-1]
		if r.Quality != want || r.Clock != cook.HandClock || !r.Time.Equal(shelf.Snap.Now) {
			t.Errorf("%s °C by hand is kept as %+v, want quality %s", celsius, r, want)
		}
	}
	webtest.MustProblem(t, webtest.Send(server, webtest.Request("POST", "/api/v1/readings", `{"probe":"flat","celsius":-300}`)), 400)
	webtest.MustProblem(t, webtest.Send(server, webtest.Request("POST", "/api/v1/readings", `{"probe":"flat","celsius":1e999}`)), 400)
	webtest.MustProblem(t, webtest.Send(server, webtest.Request("POST", "/api/v1/readings", `{"probe":"a/#","celsius":50}`)), 400)
	webtest.MustProblem(t, webtest.Send(server, webtest.Request("POST", "/api/v1/readings", `{"probe":"flat"}`)), 400)
}
