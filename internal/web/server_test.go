package web

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/tls"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"stallkeeper/internal/web/webtest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func TestHost_IsLoopbackWithoutLogin(t *testing.T) {
	server := newServer(t, webtest.NewShelf(t), nil)
	for host, want := range map[string]int{
		"localhost": 200, "LOCALHOST:8080": 200, "localhost.:8080": 200, "pit.localhost": 200, "127.0.0.1:8080": 200, "127.8.9.1": 200, "[::1]:8080": 200, "[::1]": 200,
		"":            421,
		"example.com": 421, "127.0.0.1.example.com": 421, "localhost.example.com:8080": 421, "192.168.1.20:8080": 421, "[2001:db8::1]:80": 421, "0.0.0.0": 421, "notlocalhost": 421,
	} {
		for _, path := range []string{"/api/v1/snapshot", "/", "/metrics", "/login"} {
			r := webtest.Request("GET", path, "")
			r.Host = host
			if w := webtest.Send(server, r); w.Code != want && (want == 421 || path != "/login") {
				t.Errorf("GET %s with Host %q = %d, want %d", path, host, w.Code, want)
			}
		}
	}
}

// The header values are those of the Fetch Metadata and Origin specifications.
func TestForeignSites_ChangeNothing(t *testing.T) {
	shelf := webtest.NewShelf(t)
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
		r := webtest.Request("POST", ack, "")
		r.Header.Set(c.header, c.value)
		w := webtest.Send(server, r)
		if w.Code != c.want {
			t.Errorf("%s: %d, want %d: %s", c.name, w.Code, c.want, w.Body)
		}
		if c.want == 403 {
			webtest.MustProblem(t, w, 403)
		}
	}
	if len(shelf.Acts) != 3 {
		t.Errorf("acknowledged %d times, want 3", len(shelf.Acts))
	}
}

func TestHeaders_StandOnEveryAnswer(t *testing.T) {
	server := newServer(t, webtest.NewShelf(t), nil)
	for _, path := range []string{"/api/v1/snapshot", "/api/v1/nothing", "/login", "/healthz", "/metrics", "/nothing"} {
		h := webtest.Send(server, webtest.Request("GET", path, "")).Header()
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
	server := newServer(t, webtest.NewShelf(t), nil)
	webtest.MustProblem(t, webtest.Send(server, webtest.Request("GET", "/api/v1/wishes", "")), 404)
	webtest.MustProblem(t, webtest.Send(server, webtest.Request("GET", "/api/v2/readings", "")), 404)
	webtest.MustProblem(t, webtest.Send(server, webtest.Request("POST", "/api/v1/alarms/pit-falling/7/ignore", "{}")), 404)
	w := webtest.Send(server, webtest.Request("DELETE", "/api/v1/readings", ""))
	webtest.MustProblem(t, w, 405)
	if got := w.Header().Get("Allow"); got != "GET, HEAD, POST" {
		t.Errorf("Allow = %q, want GET, HEAD, POST", got)
	}
}

func TestBodies_AreBounded(t *testing.T) {
	server := newServer(t, webtest.NewShelf(t), nil)
	large := `{"name":"` + strings.Repeat("a", maxBody) + `"}`
	webtest.MustProblem(t, webtest.Send(server, webtest.Request("POST", "/api/v1/cooks", large)), 413)
	r := webtest.Request("POST", "/api/v1/cooks", large)
	r.ContentLength = -1 // as a chunked body has none
	webtest.MustProblem(t, webtest.Send(server, r), 413)
}

func TestInnerErrors_StayInside(t *testing.T) {
	shelf := webtest.NewShelf(t)
	shelf.Fail = errors.New("disk I/O error in /var/lib/secret/stallkeeper.db")
	server := newServer(t, shelf, func(o *Options) {
		o.Ready = func() error { return shelf.Fail }
		o.Metrics = http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic("secret") })
	})
	for _, path := range []string{"/api/v1/readings", "/api/v1/series?probe=pit", "/api/v1/quarantine", "/api/v1/cooks", "/api/v1/alarms?history=true", "/metrics", "/readyz"} {
		w := webtest.Send(server, webtest.Request("GET", path, ""))
		if strings.Contains(w.Body.String(), "secret") {
			t.Errorf("GET %s tells %q", path, w.Body)
		}
		want := 500
		if path == "/readyz" {
			want = 503
		}
		webtest.MustProblem(t, w, want)
	}
	shelf.Snap.Intake.Trouble = "the disk is full: free some space"
	if got := webtest.MustProblem(t, webtest.Send(server, webtest.Request("GET", "/api/v1/readings", "")), 503); got != shelf.Snap.Intake.Trouble {
		t.Errorf("a known trouble is told as %q", got)
	}
	shelf.Fail = context.DeadlineExceeded
	webtest.MustProblem(t, webtest.Send(server, webtest.Request("GET", "/api/v1/readings", "")), 503)
}

func TestReady_TellsTheTrouble(t *testing.T) {
	shelf := webtest.NewShelf(t)
	shelf.Snap.Intake.Trouble = "the disk is full: free some space"
	server := newServer(t, shelf, func(o *Options) { o.Ready = func() error { return errors.New("x") } })
	if got := webtest.MustProblem(t, webtest.Send(server, webtest.Request("GET", "/readyz", "")), 503); got != shelf.Snap.Intake.Trouble {
		t.Errorf("detail = %q, want the trouble", got)
	}
	shut := newServer(t, shelf, func(o *Options) {
		o.Ready, o.Users = func() error { return errors.New("x") }, users(t)
	})
	if got := webtest.MustProblem(t, webtest.Send(shut, webtest.Request("GET", "/readyz", "")), 503); strings.Contains(got, "disk") {
		t.Errorf("a stranger is told %q", got)
	}
	if w := webtest.Send(server, webtest.Request("GET", "/healthz", "")); w.Code != 200 {
		t.Errorf("healthz = %d: the process answers all the same", w.Code)
	}
}

func TestGzip_IsGivenToThoseWhoTakeIt(t *testing.T) {
	server := newServer(t, webtest.NewShelf(t), nil)
	plain := webtest.Send(server, webtest.Request("GET", "/api/v1/snapshot", ""))
	for accept, want := range map[string]string{"gzip": "gzip", "br, gzip;q=0.5": "gzip", "gzip;q=0": "", "br": ""} {
		r := webtest.Request("GET", "/api/v1/snapshot", "")
		r.Header.Set("Accept-Encoding", accept)
		w := webtest.Send(server, r)
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
		err := newServer(t, webtest.NewShelf(t), c.edit).MayListen(&net.TCPAddr{IP: net.IPv4(192, 0, 2, 1), Port: 8080})
		if (err == nil) != c.ok {
			t.Errorf("%s: %v", c.name, err)
		}
		if err := newServer(t, webtest.NewShelf(t), c.edit).MayListen(&net.TCPAddr{IP: net.IPv6loopback, Port: 8080}); err != nil {
			t.Errorf("%s on loopback: %v", c.name, err)
		}
	}
}

func TestRun_EndsLiveStreamsWhenStopped(t *testing.T) {
	server := newServer(t, webtest.NewShelf(t), nil)
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
	case <-time.After(30 * time.Second):
		t.Fatal("Run does not end")
	}
}

// Hundreds hold a connection, silent, with half a header, with half a body or without reading the answer: who asks at once is answered, and a
// live stream goes on.
func TestRun_WhoHoldsConnectionsKeepsNobodyOut(t *testing.T) {
	var said bytes.Buffer
	shelf := webtest.NewShelf(t)
	server := newServer(t, shelf, func(o *Options) { o.Log = slog.New(slog.NewTextHandler(&said, nil)) })
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- server.Run(ctx, ln) }()
	client := &http.Client{Transport: &http.Transport{}, Timeout: 20 * time.Second}
	at := "http://" + ln.Addr().String()
	live, err := client.Get(at + "/api/v1/live")
	if err != nil {
		t.Fatal(err)
	}
	defer live.Body.Close()
	var held []net.Conn
	for i := range 3 * maxConnections {
		c, err := net.Dial("tcp", ln.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		held = append(held, c)
		kind := i % 4
		if i > 2*maxConnections {
			kind = 2 // at last all that are open are being answered
		}
		part := [...]string{"", "GET / HTTP/1.1\r\nHost: localhost\r\nX-", "POST /settings HTTP/1.1\r\nHost: localhost\r\nContent-Length: 900\r\n\r\nunit",
			"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n"}[kind]
		if _, err := io.WriteString(c, part); err != nil {
			t.Fatal(err)
		}
		if i%40 == 0 {
			answer, err := client.Get(at + "/healthz")
			if err != nil {
				t.Fatalf("with %d held connections: %v", i, err)
			}
			_ = answer.Body.Close() // read enough
			client.CloseIdleConnections()
		}
	}
	if _, err := live.Body.Read(make([]byte, 10)); err != nil {
		t.Error("the live stream was ended: ", err)
	}
	for _, c := range held {
		_ = c.Close() // some are ended already
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	if text := said.String(); strings.Count(text, "to make room for others") != 1 {
		t.Errorf("the log says %q, want it said once", text)
	}
}

func TestRun_SpeaksTLS(t *testing.T) {
	made := httptest.NewUnstartedServer(nil)
	made.StartTLS() // for its certificate
	config := made.TLS.Clone()
	made.Close()
	server := newServer(t, webtest.NewShelf(t), func(o *Options) { o.TLS = config })
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
