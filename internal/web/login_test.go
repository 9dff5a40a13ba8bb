package web

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/crypto/bcrypt"

	"stallkeeper/internal/web/visitor"
	"stallkeeper/internal/web/webtest"
)

const password = "smoke rings and bark"

// users are three, one of each level, with the same password. Cost 10 keeps the test quick.
func users(t testing.TB) []User {
	t.Helper()
	hash, err := bcrypt.GenerateFromPassword([]byte(password), minCost)
	if err != nil {
		t.Fatal(err)
	}
	return []User{{"guest", visitor.Watch, string(hash)}, {"mate", visitor.Work, string(hash)}, {"boss", visitor.Manage, string(hash)}}
}

// clock is a settable clock.
type clock struct {
	mu sync.Mutex
	at time.Time // guarded by mu
}

func (c *clock) now() time.Time       { c.mu.Lock(); defer c.mu.Unlock(); return c.at }
func (c *clock) move(d time.Duration) { c.mu.Lock(); defer c.mu.Unlock(); c.at = c.at.Add(d) }

func newGuarded(t *testing.T, edit func(*Options)) (*Server, *webtest.Shelf, *clock) {
	shelf, c := webtest.NewShelf(t), &clock{}
	c.at = shelf.Snap.Now
	return newServer(t, shelf, func(o *Options) {
		o.Users, o.Now = users(t), c.now
		if edit != nil {
			edit(o)
		}
	}), shelf, c
}

func login(s *Server, from, name, word string) *httptest.ResponseRecorder {
	form := url.Values{"name": {name}, "password": {word}, "next": {"/?piece=7/flat"}}
	r := httptest.NewRequest("POST", "https://pit.example/login", strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.RemoteAddr = from
	return webtest.Send(s, r)
}

func TestLogin_IsAskedFor(t *testing.T) {
	server, _, _ := newGuarded(t, nil)
	w := webtest.Send(server, webtest.Request("GET", "/api/v1/snapshot", ""))
	webtest.MustProblem(t, w, 401)
	if !strings.HasPrefix(w.Header().Get("WWW-Authenticate"), "Basic ") {
		t.Error("a program is not told how to log in")
	}
	r := webtest.Request("GET", "/api/v1/snapshot", "")
	r.Header.Set("Sec-Fetch-Mode", "cors")
	if w := webtest.Send(server, r); w.Header().Get("WWW-Authenticate") != "" {
		t.Error("a page's script makes the browser ask")
	}
	r = webtest.Request("GET", "/?piece=7/flat", "")
	r.Header.Set("Accept", "text/html,*/*")
	if w := webtest.Send(server, r); w.Code != 303 || w.Header().Get("Location") != "/login?next=%2F%3Fpiece%3D7%2Fflat" {
		t.Errorf("a browser is sent with %d to %q", w.Code, w.Header().Get("Location"))
	}
	for _, path := range []string{"/login", "/healthz", "/readyz", "/assets/look.css"} {
		if w := webtest.Send(server, webtest.Request("GET", path, "")); w.Code != 200 {
			t.Errorf("GET %s without login = %d", path, w.Code)
		}
	}
	for _, path := range []string{"/metrics", "/api/v1/live", "/api/v1/openapi.json", "/"} {
		if w := webtest.Send(server, webtest.Request("GET", path, "")); w.Code != 401 {
			t.Errorf("GET %s without login = %d, want 401", path, w.Code)
		}
	}
}

func TestSession_OpensAndCloses(t *testing.T) {
	server, _, clock := newGuarded(t, func(o *Options) { o.BehindProxy = true })
	w := login(server, "192.0.2.7:999", "mate", password)
	if w.Code != 303 || w.Header().Get("Location") != "/?piece=7/flat" {
		t.Fatalf("login = %d to %q: %s", w.Code, w.Header().Get("Location"), w.Body)
	}
	c := w.Result().Cookies()[0]
	if !c.HttpOnly || !c.Secure || c.SameSite != http.SameSiteStrictMode || !strings.HasPrefix(c.Name, "__Host-") || c.Path != "/" || c.Domain != "" {
		t.Errorf("cookie %+v is not shut tight", c)
	}
	get := func() int {
		r := webtest.Request("GET", "/api/v1/alarms", "")
		r.AddCookie(c)
		return webtest.Send(server, r).Code
	}
	if got := get(); got != 200 {
		t.Errorf("with the session: %d", got)
	}
	clock.move(sessionLife - time.Minute)
	if got := get(); got != 200 {
		t.Errorf("used within its life: %d", got)
	}
	clock.move(sessionLife)
	if got := get(); got != 401 {
		t.Errorf("after its life: %d", got)
	}
	c = login(server, "192.0.2.7:999", "mate", password).Result().Cookies()[0]
	r := webtest.Request("POST", "/logout", "")
	r.AddCookie(c)
	if w := webtest.Send(server, r); w.Code != 303 || w.Result().Cookies()[0].MaxAge >= 0 {
		t.Errorf("logout = %d, cookie %v", w.Code, w.Result().Cookies())
	}
	if got := get(); got != 401 {
		t.Errorf("after logout: %d", got)
	}
}

func TestLevels_BoundWhatIsDone(t *testing.T) {
	server, shelf, _ := newGuarded(t, nil)
	for _, c := range []struct {
		method, path, body string
		guest, mate, boss  int
	}{
		{"GET", "/api/v1/snapshot", "", 200, 200, 200},
		{"GET", "/metrics", "", 200, 200, 200},
		{"POST", "/api/v1/alarms/pit-falling/7/acknowledge", `{"by":"somebody else"}`, 403, 204, 204},
		{"POST", "/api/v1/readings", `{"probe":"flat","celsius":60}`, 403, 201, 201},
		{"POST", "/api/v1/cooks/7/events", `{"kind":"lid"}`, 403, 201, 201},
		{"PATCH", "/api/v1/cooks/7", `{"piece":"flat","target_c":93}`, 403, 403, 200},
		{"POST", "/api/v1/cooks", `{}`, 403, 403, 400},
		{"POST", "/alarms/acknowledge", "", 403, 0, 0},
		{"POST", "/start", "", 403, 403, 0},
		{"POST", "/cooks/7/amend", "", 403, 403, 0},
		{"POST", "/cooks/7/end", "", 403, 403, 0},
		{"POST", "/settings", "", 303, 303, 303},
	} {
		for name, want := range map[string]int{"guest": c.guest, "mate": c.mate, "boss": c.boss} {
			if want == 0 {
				continue
			}
			r := webtest.Request(c.method, c.path, c.body)
			r.SetBasicAuth(name, password)
			if w := webtest.Send(server, r); w.Code != want {
				t.Errorf("%s: %s %s = %d, want %d: %s", name, c.method, c.path, w.Code, want, w.Body)
			}
		}
	}
	for _, act := range shelf.Acts {
		if strings.Contains(act, "somebody else") {
			t.Errorf("%q: who is logged in must stand there", act)
		}
	}
}

func TestWrongPasswords_AreSlowedDown(t *testing.T) {
	server, _, clock := newGuarded(t, nil)
	for i := range maxFailures {
		if w := login(server, "192.0.2.7:999", "boss", fmt.Sprint("guess", i)); w.Code != 401 {
			t.Fatalf("try %d = %d", i, w.Code)
		}
	}
	if w := login(server, "192.0.2.7:1000", "boss", password); w.Code != 429 || w.Header().Get("Retry-After") == "" {
		t.Errorf("after %d failures even the right password = %d, want 429", maxFailures, w.Code)
	}
	r := webtest.Request("GET", "/api/v1/snapshot", "")
	r.RemoteAddr = "192.0.2.7:1001"
	r.SetBasicAuth("boss", "guess")
	webtest.MustProblem(t, webtest.Send(server, r), 429)
	if w := login(server, "192.0.2.8:999", "boss", password); w.Code != 303 {
		t.Errorf("from another address = %d, want 303", w.Code)
	}
	clock.move(failureWindow + time.Second)
	if w := login(server, "192.0.2.7:999", "boss", password); w.Code != 303 {
		t.Errorf("after the wait = %d, want 303", w.Code)
	}
}

// Who was locked out while the clock was ahead is not when it is put back.
func TestWrongPasswords_TheClockIsPutBack(t *testing.T) {
	server, _, clock := newGuarded(t, nil)
	clock.move(5 * time.Hour)
	for range maxFailures {
		login(server, "192.0.2.7:999", "boss", "guess")
	}
	clock.move(-2 * time.Hour)
	if w := login(server, "192.0.2.7:999", "boss", password); w.Code != 303 {
		t.Errorf("two hours earlier = %d, want 303", w.Code)
	}
}

// Standing in line for the hash is no way around the limit.
func TestWrongPasswords_AtOnceAreSlowedDownToo(t *testing.T) {
	server, _, _ := newGuarded(t, nil)
	codes := make(chan int, 3*maxFailures)
	for range cap(codes) {
		go func() { codes <- login(server, "192.0.2.7:999", "boss", "guess").Code }()
	}
	tried := 0
	for range cap(codes) {
		if <-codes == 401 {
			tried++
		}
	}
	if tried != maxFailures {
		t.Errorf("%d passwords were tried at once, want %d", tried, maxFailures)
	}
}

// Behind a proxy the address is the one that the proxy saw; without one the header is a claim.
func TestAddress_IsNotForged(t *testing.T) {
	r := webtest.Request("GET", "/", "")
	r.RemoteAddr = "10.0.0.1:5"
	r.Header.Set("X-Forwarded-For", "203.0.113.9, 198.51.100.4")
	for proxy, want := range map[bool]string{false: "10.0.0.1/32", true: "198.51.100.4/32"} {
		if got := (&gate{proxy: proxy}).address(r).String(); got != want {
			t.Errorf("address behind proxy %v = %s, want %s", proxy, got, want)
		}
	}
	r.RemoteAddr = "[2001:db8:1:2:3:4:5:6]:5"
	if got := (&gate{}).address(r).String(); got != "2001:db8:1:2::/64" {
		t.Errorf("IPv6 address = %s, want its network", got)
	}
}

func TestNext_LeadsNowhereElse(t *testing.T) {
	for next, want := range map[string]string{"/?piece=1/core": "/?piece=1/core", "": "/", "https://example.com/": "/", "//example.com": "/", `/\example.com`: "/", "/a\r\nb": "/"} {
		if got := localPath(next); got != want {
			t.Errorf("localPath(%q) = %q, want %q", next, got, want)
		}
	}
}

func TestUsers_AreChecked(t *testing.T) {
	good := users(t)[0]
	weak, err := bcrypt.GenerateFromPassword([]byte(password), bcrypt.MinCost)
	if err != nil {
		t.Fatal(err)
	}
	for name, list := range map[string][]User{
		"plain password": {{"boss", visitor.Manage, password}}, "weak hash": {{"boss", visitor.Manage, string(weak)}}, "no such level": {{"boss", "owner", good.Hash}},
		"no name": {{"", visitor.Manage, good.Hash}}, "colon": {{"a:b", visitor.Manage, good.Hash}}, "twice": {good, good},
	} {
		o := optionsOf(t, webtest.NewNight(t))
		o.Users = list
		if _, err := New(o); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// A password longer than bcrypt looks at is never right, whatever it starts with.
func TestLongPasswords_AreWrong(t *testing.T) {
	word := strings.Repeat("x", maxPassword)
	hash, err := bcrypt.GenerateFromPassword([]byte(word), minCost)
	if err != nil {
		t.Fatal(err)
	}
	server := newServer(t, webtest.NewShelf(t), func(o *Options) { o.Users = []User{{"boss", visitor.Manage, string(hash)}} })
	if w := login(server, "192.0.2.1:1", "boss", word+"y"); w.Code != 401 {
		t.Errorf("longer password = %d, want 401", w.Code)
	}
	if w := login(server, "192.0.2.1:1", "boss", word); w.Code != 303 {
		t.Errorf("right password = %d, want 303", w.Code)
	}
}

func TestBasic_IsRememberedForAWhile(t *testing.T) {
	server, _, clock := newGuarded(t, nil)
	ask := func() {
		r := webtest.Request("GET", "/api/v1/alarms", "")
		r.SetBasicAuth("guest", password)
		if w := webtest.Send(server, r); w.Code != 200 {
			t.Fatalf("status %d", w.Code)
		}
	}
	ask()
	if n := len(server.gate.basic); n != 1 {
		t.Fatalf("%d passwords remembered, want 1", n)
	}
	server.gate.hashes <- struct{}{} // a hash would now wait for ever
	ask()
	<-server.gate.hashes
	clock.move(basicLife + time.Second)
	ask()
}

func TestSessions_OfOneUserAreBounded(t *testing.T) {
	server, _, clock := newGuarded(t, nil)
	first := server.gate.begin("mate")
	for range maxSessions {
		clock.move(time.Second)
		server.gate.begin("mate")
	}
	if _, ok := server.gate.bySession(first); ok {
		t.Error("the least used session is still open")
	}
	if n := len(server.gate.sessions); n != maxSessions {
		t.Errorf("%d sessions, want %d", n, maxSessions)
	}
}
