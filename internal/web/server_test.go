package web

import (
	"compress/gzip"
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func TestHost_IsLoopbackWithoutLogin(t *testing.T) {
	server := newServer(t, newShelf(t), nil)
	for host, want := range map[string]int{
		"localhost": 200, "LOCALHOST:8080": 200, "localhost.:8080": 200, "pit.localhost": 200, "127.0.0.1:8080": 200, "127.8.9.1": 200, "[::1]:8080": 200, "[::1]": 200,
		"":            421,
		"example.com": 421, "127.0.0.1.example.com": 421, "localhost.example.com:8080": 421, "192.168.1.20:8080": 421, "[2001:db8::1]:80": 421, "0.0.0.0": 421, "notlocalhost": 421,
	} {
		for _, path := range []string{"/api/v1/snapshot", "/", "/metrics", "/login"} {
			r := request("GET", path, "")
			r.Host = host
			if w := send(server, r); w.Code != want && (want == 421 || path != "/login") {
				t.Errorf("GET %s with Host %q = %d, want %d", path, host, w.Code, want)
			}
		}
	}
}

// The header values are those of the Fetch Metadata and Origin specifications.
func TestForeignSites_ChangeNothing(t *testing.T) {
	shelf := newShelf(t)
	server := newServer(t, shelf, nil)
	const ack = "/api/v1/alarms/pit-falling/7/acknowledge"
	for _, c := range []struct {
		name, header, value string
		want                int
	}{
		{"a page of another site", "Sec-Fetch-Site", "cross-site", 403},
		{"another port of this host", "Sec-Fetch-Site", "same-site", 403},
		{"an old browser on another site", "Origin", "https://example.com", 403},
		{"a sandboxed page", "Origin", "null", 403},
		{"an own page", "Sec-Fetch-Site", "same-origin", 204},
		{"an own page in an old browser", "Origin", "http://localhost:8080", 204},
		{"a program", "Accept", "*/*", 204},
	} {
		r := request("POST", ack, "")
		r.Header.Set(c.header, c.value)
		w := send(server, r)
		if w.Code != c.want {
			t.Errorf("%s: %d, want %d: %s", c.name, w.Code, c.want, w.Body)
		}
		if c.want == 403 {
			mustProblem(t, w, 403)
		}
	}
	if len(shelf.acts) != 3 {
		t.Errorf("acknowledged %d times, want 3", len(shelf.acts))
	}
}

func TestHeaders_StandOnEveryAnswer(t *testing.T) {
	server := newServer(t, newShelf(t), nil)
	for _, path := range []string{"/api/v1/snapshot", "/api/v1/nothing", "/login", "/healthz", "/metrics", "/nothing"} {
		h := send(server, request("GET", path, "")).Header()
		policy := h.Get("Content-Security-Policy")
		if !strings.Contains(policy, "default-src 'self'") || strings.Contains(policy, "unsafe") || !strings.Contains(policy, "frame-ancestors 'none'") {
			t.Errorf("%s: policy %q", path, policy)
		}
		if h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Referrer-Policy") != "same-origin" {
			t.Errorf("%s: headers %v", path, h)
		}
	}
}

func TestUnknownAddresses_AreProblems(t *testing.T) {
	server := newServer(t, newShelf(t), nil)
	mustProblem(t, send(server, request("GET", "/api/v1/lots", "")), 404)
	mustProblem(t, send(server, request("GET", "/api/v2/readings", "")), 404)
	mustProblem(t, send(server, request("POST", "/api/v1/alarms/pit-falling/7/ignore", "{}")), 404)
	w := send(server, request("DELETE", "/api/v1/readings", ""))
	mustProblem(t, w, 405)
	if got := w.Header().Get("Allow"); got != "GET, HEAD, POST" {
		t.Errorf("Allow = %q, want GET, HEAD, POST", got)
	}
}

func TestBodies_AreBounded(t *testing.T) {
	server := newServer(t, newShelf(t), nil)
	large := `{"name":"` + strings.Repeat("a", maxBody) + `"}`
	mustProblem(t, send(server, request("POST", "/api/v1/cooks", large)), 413)
	r := request("POST", "/api/v1/cooks", large)
	r.ContentLength = -1 // as a chunked body has none
	mustProblem(t, send(server, r), 413)
}

func TestInnerErrors_StayInside(t *testing.T) {
	shelf := newShelf(t)
	shelf.fail = errors.New("disk I/O error in /var/lib/secret/stallkeeper.db")
	server := newServer(t, shelf, func(o *Options) {
		o.Ready = func() error { return shelf.fail }
		o.Metrics = http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic("secret") })
	})
	for _, path := range []string{"/api/v1/readings", "/api/v1/series?probe=pit", "/api/v1/quarantine", "/api/v1/cooks", "/api/v1/alarms?history=true", "/metrics", "/readyz"} {
		w := send(server, request("GET", path, ""))
		if strings.Contains(w.Body.String(), "secret") {
			t.Errorf("GET %s tells %q", path, w.Body)
		}
		want := 500
		if path == "/readyz" {
			want = 503
		}
		mustProblem(t, w, want)
	}
	shelf.snap.Intake.Trouble = "the disk is full: free some space"
	if got := mustProblem(t, send(server, request("GET", "/api/v1/readings", "")), 503); got != shelf.snap.Intake.Trouble {
		t.Errorf("a known trouble is told as %q", got)
	}
	shelf.fail = context.DeadlineExceeded
	mustProblem(t, send(server, request("GET", "/api/v1/readings", "")), 503)
}

func TestReady_TellsTheTrouble(t *testing.T) {
	shelf := newShelf(t)
	shelf.snap.Intake.Trouble = "the disk is full: free some space"
	server := newServer(t, shelf, func(o *Options) { o.Ready = func() error { return errors.New("x") } })
	if got := mustProblem(t, send(server, request("GET", "/readyz", "")), 503); got != shelf.snap.Intake.Trouble {
		t.Errorf("detail = %q, want the trouble", got)
	}
	if w := send(server, request("GET", "/healthz", "")); w.Code != 200 {
		t.Errorf("healthz = %d: the process answers all the same", w.Code)
	}
}

func TestGzip_IsGivenToThoseWhoTakeIt(t *testing.T) {
	server := newServer(t, newShelf(t), nil)
	plain := send(server, request("GET", "/api/v1/snapshot", ""))
	for accept, want := range map[string]string{"gzip": "gzip", "br, gzip;q=0.5": "gzip", "gzip;q=0": "", "br": ""} {
		r := request("GET", "/api/v1/snapshot", "")
		r.Header.Set("Accept-Encoding", accept)
		w := send(server, r)
		if got := w.Header().Get("Content-Encoding"); got != want {
			t.Errorf("Accept-Encoding %q gives %q, want %q", accept, got, want)
		}
		if want == "gzip" {
			z, err := gzip.NewReader(w.Body)
			if err != nil {
				t.Fatal(err)
			}
			got, err := io.ReadAll(z)
			if err != nil || string(got) != plain.Body.String() {
				t.Errorf("unpacked answer differs: %v", err)
			}
		}
	}
}

func TestRun_RefusesAnOpenAddress(t *testing.T) {
	for _, c := range []struct {
		name string
		edit func(*Options)
		ok   bool
	}{
		{"nothing", nil, false},
		{"users, plain HTTP", func(o *Options) { o.Users = users(t) }, false},
		{"TLS, no users", func(o *Options) { o.TLS = &tls.Config{} }, false},
		{"users and TLS", func(o *Options) { o.Users, o.TLS = users(t), &tls.Config{} }, true},
		{"behind a proxy", func(o *Options) { o.BehindProxy = true }, true},
	} {
		err := newServer(t, newShelf(t), c.edit).MayListen(&net.TCPAddr{IP: net.IPv4(192, 0, 2, 1), Port: 8080})
		if (err == nil) != c.ok {
			t.Errorf("%s: %v", c.name, err)
		}
		if err := newServer(t, newShelf(t), c.edit).MayListen(&net.TCPAddr{IP: net.IPv6loopback, Port: 8080}); err != nil {
			t.Errorf("%s on loopback: %v", c.name, err)
		}
	}
}

func TestRun_EndsLiveStreamsWhenStopped(t *testing.T) {
	server := newServer(t, newShelf(t), nil)
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- server.Run(ctx, ln) }()
	client := &http.Client{Transport: &http.Transport{}}
	defer client.CloseIdleConnections()
	res, err := client.Get("http://" + ln.Addr().String() + "/api/v1/live")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	if _, err := res.Body.Read(make([]byte, 10)); err != nil {
		t.Fatal(err)
	}
	cancel()
	if _, err := io.Copy(io.Discard, res.Body); err != nil {
		t.Errorf("the stream broke off: %v", err)
	}
	select {
	case err := <-done:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(5 * time.Second):
		t.Fatal("Run does not end")
	}
}

func TestRun_SpeaksTLS(t *testing.T) {
	made := httptest.NewUnstartedServer(nil)
	made.StartTLS() // for its certificate
	config := made.TLS.Clone()
	made.Close()
	server := newServer(t, newShelf(t), func(o *Options) { o.TLS = config })
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- server.Run(ctx, ln) }()
	client := made.Client()
	defer client.CloseIdleConnections()
	res, err := client.Get("https://" + ln.Addr().String() + "/healthz")
	if err != nil {
		t.Fatal(err)
	}
	if err := res.Body.Close(); err != nil {
		t.Error(err)
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

func TestAlarmIDs_MayCarryTheirSlashes(t *testing.T) {
	shelf := newShelf(t)
	server := newServer(t, shelf, nil)
	for _, path := range []string{"/api/v1/alarms/piece-ready/7/breast", "/api/v1/alarms/piece-ready%2F7%2Fbreast", "/api/v1/alarms/piece-ready/7%2Fbreast"} {
		if w := send(server, request("POST", path+"/acknowledge", `{"by":"KM"}`)); w.Code != 204 {
			t.Errorf("POST %s/acknowledge = %d: %s", path, w.Code, w.Body)
		}
		if w := send(server, request("GET", path, "")); w.Code != 200 {
			t.Errorf("GET %s = %d", path, w.Code)
		}
	}
	for _, act := range shelf.acts {
		if act != "acknowledge piece-ready/7/breast by KM" {
			t.Errorf("did %q", act)
		}
	}
}

// Following next from page to page gives every row once and in order.
func TestReadings_PagesJoinWithoutGap(t *testing.T) {
	shelf := newShelf(t)
	server := newServer(t, shelf, nil)
	for _, limit := range []string{"1", "5", "24", "25"} {
		var got []readingDoc
		path := "/api/v1/readings?limit=" + limit
		for path != "" {
			var page struct {
				Readings []readingDoc
				Next     *string
			}
			w := send(server, request("GET", path, ""))
			if err := json.Unmarshal(w.Body.Bytes(), &page); err != nil {
				t.Fatalf("%s: %v", w.Body, err)
			}
			got = append(got, page.Readings...)
			path = ""
			if page.Next != nil {
				path = *page.Next
			}
		}
		if len(got) != len(shelf.readings) {
			t.Fatalf("limit %s: %d readings, want %d", limit, len(got), len(shelf.readings))
		}
		for i, r := range got {
			if r != readingDocOf(shelf.readings[i]) {
				t.Errorf("limit %s: reading %d is %v, want %v", limit, i, r, shelf.readings[i])
			}
		}
	}
}

// A client that does not escape the + of an offset sends a space.
func TestTimes_MayComeWithABarePlus(t *testing.T) {
	server := newServer(t, newShelf(t), nil)
	for _, from := range []string{"2026-11-26T03:01:00+01:00", "2026-11-26T03:01:00%2B01:00", "2026-11-26T02:01:00Z", "2026-11-25T20:01:00-06:00"} {
		w := send(server, request("GET", "/api/v1/readings?probe=pit&from="+from, ""))
		if n := strings.Count(w.Body.String(), `"probe"`); w.Code != 200 || n != 8 {
			t.Errorf("from=%s gives %d with %d readings, want 8", from, w.Code, n)
		}
	}
}

func TestWhatIf_AsksForWhatIsTyped(t *testing.T) {
	shelf := newShelf(t)
	server := newServer(t, shelf, nil)
	at := shelf.snap.Now
	for text, want := range map[string]cook.Event{
		"wrap=foil@now":               {Time: at, Kind: cook.EventWrap, Piece: "flat", With: "foil"},
		"wrap=paper@70C":              {Time: at, Kind: cook.EventWrap, Piece: "flat", With: "paper", Celsius: 70},
		"setpoint=250F@+30m":          {Time: at.Add(30 * time.Minute), Kind: cook.EventSetPoint, Celsius: thermal.FromFahrenheit(250)},
		"unwrap@2026-11-26T09:00:00Z": {Time: time.Date(2026, 11, 26, 9, 0, 0, 0, time.UTC), Kind: cook.EventUnwrap, Piece: "flat"},
	} {
		shelf.asked = nil
		w := send(server, request("GET", "/api/v1/cooks/7/pieces/flat/what-if?do="+url.QueryEscape(text), ""))
		if w.Code != 200 || len(shelf.asked) != 1 || shelf.asked[0] != want {
			t.Errorf("%s: %d, asked %v, want %v", text, w.Code, shelf.asked, want)
		}
	}
	for _, text := range []string{"wrap=foil", "wrap=cling@now", "wrap=foil@-30m", "setpoint=121@now", "setpoint=900C@now", "wrap=foil@200C", "lid@now"} {
		mustProblem(t, send(server, request("GET", "/api/v1/cooks/7/pieces/flat/what-if?do="+url.QueryEscape(text), "")), 400)
	}
}

// Alarms that changed at one moment stay on one page, because the next page begins before a moment.
func TestAlarmHistory_PagesJoinWithoutGap(t *testing.T) {
	shelf := newShelf(t)
	shelf.history = nil
	for i := range 12 {
		shelf.history = append(shelf.history, alarm.Alarm{ID: alarm.ID(fmt.Sprint("co/", i)), Changed: shelf.snap.Now.Add(-time.Duration(i/3) * time.Minute)})
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
			if err := json.Unmarshal(send(server, request("GET", path, "")).Body.Bytes(), &page); err != nil {
				t.Fatal(err)
			}
			got, path = append(got, page.Alarms...), ""
			if page.Next != nil {
				path = *page.Next
			}
		}
		if len(got) != len(shelf.history) {
			t.Errorf("limit %s: %d alarms, want %d", limit, len(got), len(shelf.history))
		}
	}
}

func TestEvents_AreCorrectedOnce(t *testing.T) {
	server := newServer(t, newShelf(t), nil)
	const path = "/api/v1/cooks/7/events"
	if w := send(server, request("POST", path, `{"kind":"wrap","piece":"shoulder","with":"foil","time":"2026-11-26T06:00:00Z","corrects":3}`)); w.Code != 201 {
		t.Fatalf("correction = %d: %s", w.Code, w.Body)
	}
	mustProblem(t, send(server, request("POST", path, `{"withdraw":true,"corrects":3}`)), 409)
	var doc struct{ Events []eventDoc }
	if err := json.Unmarshal(send(server, request("GET", path, "")).Body.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	for _, e := range doc.Events {
		if e.Replaced != (e.ID == 3) {
			t.Errorf("entry %d replaced = %v", e.ID, e.Replaced)
		}
	}
}

func TestFuture_IsRefused(t *testing.T) {
	server := newServer(t, newShelf(t), nil) // its clock says 08:14:20
	for path, body := range map[string]string{
		"/api/v1/readings":                    `{"probe":"flat","celsius":60,"time":"2026-11-26T08:30:00Z"}`,
		"/api/v1/cooks/7/events":              `{"kind":"lid","time":"2026-11-26T08:30:00Z"}`,
		"/api/v1/cooks/7/end":                 `{"at":"2026-11-26T08:30:00Z"}`,
		"/api/v1/alarms/pit-falling/7/shelve": `{"until":"2026-11-28T08:30:00Z"}`,
	} {
		mustProblem(t, send(server, request("POST", path, body)), 400)
	}
}

func TestHandReading_IsMarked(t *testing.T) {
	shelf := newShelf(t)
	server := newServer(t, shelf, nil)
	for celsius, want := range map[string]cook.Quality{"85": cook.Good, "67.25": cook.Good, "-127": cook.Open, "300": cook.OutOfRange} {
		w := send(server, request("POST", "/api/v1/readings", `{"probe":"flat","celsius":`+celsius+`}`))
		if w.Code != 201 {
			t.Fatalf("%s: %d %s", celsius, w.Code, w.Body)
		}
		r := shelf.hand[len(shelf.hand)-1]
		if r.Quality != want || r.Clock != cook.HandClock || !r.Time.Equal(shelf.snap.Now) {
			t.Errorf("%s °C by hand is kept as %+v, want quality %s", celsius, r, want)
		}
	}
	mustProblem(t, send(server, request("POST", "/api/v1/readings", `{"probe":"flat","celsius":-300}`)), 400)
	mustProblem(t, send(server, request("POST", "/api/v1/readings", `{"probe":"flat","celsius":1e999}`)), 400)
	mustProblem(t, send(server, request("POST", "/api/v1/readings", `{"probe":"a/#","celsius":50}`)), 400)
	mustProblem(t, send(server, request("POST", "/api/v1/readings", `{"probe":"flat"}`)), 400)
}
