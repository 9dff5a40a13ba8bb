package web

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"

	"golang.org/x/crypto/bcrypt"

	"stallkeeper/internal/web/page"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/visitor"
)

// Bounds of logging in. Choices of this project.
const (
	sessionLife = 7 * 24 * time.Hour // since the last request
	maxSessions = 50                 // of one user; the least used goes first
	basicLife   = 10 * time.Minute   // how long a password found right is not hashed again
	maxBasic    = 256
	maxPassword = 72 // bytes that bcrypt looks at
	minCost     = 10
)

//go:embed login.html
var loginMarkup string

type session struct {
	user  string
	until time.Time
}

// gate knows who may come in and who is in. Sessions end with the process.
type gate struct {
	users  map[string]User
	dummy  []byte // hash compared for unknown names, so that they take as long
	proxy  bool
	secure bool // people reach the daemon over TLS
	now    func() time.Time
	page   *template.Template
	key    [32]byte      // of the memory of passwords found right
	hashes chan struct{} // one hash at a time: hashing must not take the machine

	mu       sync.Mutex // guards what follows
	sessions map[[32]byte]session
	basic    map[[32]byte]session
	failed   map[netip.Prefix]failures
}

func newGate(o Options) (*gate, error) {
	page, err := template.New("login").Parse(loginMarkup)
	if err != nil {
		return nil, fmt.Errorf("read login page: %w", err)
	}
	g := &gate{users: map[string]User{}, proxy: o.BehindProxy, secure: o.TLS != nil || o.BehindProxy, now: o.Now, page: page,
		hashes: make(chan struct{}, 1), sessions: map[[32]byte]session{}, basic: map[[32]byte]session{}, failed: map[netip.Prefix]failures{}}
	rand.Read(g.key[:]) // never fails
	for _, u := range o.Users {
		cost, err := bcrypt.Cost([]byte(u.Hash))
		switch {
		case err != nil || cost < minCost:
			return nil, fmt.Errorf("user %q: the password hash is not bcrypt of cost %d or more: make one with stallkeeper", u.Name, minCost)
		case u.Level != visitor.Watch && u.Level != visitor.Work && u.Level != visitor.Manage:
			return nil, fmt.Errorf("user %q: level %q is not watch, work or manage", u.Name, u.Level)
		case u.Name == "" || strings.ContainsAny(u.Name, ":\x00\r\n"):
			return nil, fmt.Errorf("user %q: a name needs a letter and no colon", u.Name)
		}
		if _, twice := g.users[u.Name]; twice {
			return nil, fmt.Errorf("user %q stands twice", u.Name)
		}
		g.users[u.Name] = u
		g.dummy = []byte(u.Hash)
	}
	for _, p := range o.People {
		if cost, err := bcrypt.Cost([]byte(p.PINHash)); err != nil || cost < minCost {
			return nil, fmt.Errorf("person %q: the PIN hash is not bcrypt of cost %d or more: make one with stallkeeper records pin", p.Initials, minCost)
		}
	}
	return g, nil
}

// open reports whether a path needs no login.
func open(path string) bool {
	return path == "/login" || path == "/healthz" || path == "/readyz" || path == "/favicon.ico" || path == page.PushWorkerPath || strings.HasPrefix(path, "/assets/")
}

// changes reports whether a request changes something that others see.
func changes(r *http.Request) bool {
	own := open(r.URL.Path) || r.URL.Path == "/logout" || r.URL.Path == "/settings"
	return r.Method != http.MethodGet && r.Method != http.MethodHead && !own
}

// guard lets those in who are logged in or send a password, and asks the others.
func (g *gate) guard(s *Server, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		who, err := g.who(r)
		if err != nil && !open(r.URL.Path) {
			g.ask(s, w, r, err)
			return
		}
		if changes(r) && !who.May(visitor.Work) {
			s.tell.Fail(w, r, visitor.TooLow(visitor.Work))
			return
		}
		next.ServeHTTP(w, r.WithContext(who.In(r.Context())))
	})
}

var errNobody = errors.New("nobody is logged in")

// who tells who asks, by the session or by HTTP Basic.
func (g *gate) who(r *http.Request) (visitor.Visitor, error) {
	if len(g.users) == 0 {
		return visitor.Visitor{Level: visitor.Manage}, nil
	}
	if c, err := r.Cookie(g.cookieName()); err == nil {
		if u, ok := g.bySession(c.Value); ok {
			return visitor.Visitor{Name: u.Name, Level: u.Level}, nil
		}
	}
	name, password, ok := r.BasicAuth()
	if !ok {
		return visitor.Visitor{}, errNobody
	}
	u, err := g.byBasic(r, name, password)
	return visitor.Visitor{Name: u.Name, Level: u.Level}, err
}

// ask sends a person to the login page and tells a program what it must send.
func (g *gate) ask(s *Server, w http.ResponseWriter, r *http.Request, err error) {
	var known *problem.Error
	if errors.As(err, &known) {
		s.tell.Fail(w, r, err)
		return
	}
	if r.Method == http.MethodGet && strings.Contains(r.Header.Get("Accept"), "text/html") {
		http.Redirect(w, r, "/login?next="+template.URLQueryEscaper(r.URL.RequestURI()), http.StatusSeeOther)
		return
	}
	if r.Header.Get("Sec-Fetch-Mode") == "" { // a browser would open a window of its own over the page
		w.Header().Set("WWW-Authenticate", `Basic realm="stallkeeper", charset="UTF-8"`)
	}
	s.tell.Fail(w, r, problem.New(http.StatusUnauthorized, "Login needed", "log in at /login, or send user and password by HTTP Basic"))
}

// byBasic checks user and password, with a short memory so that a scraper does not cost a hash each time.
func (g *gate) byBasic(r *http.Request, name, password string) (User, error) {
	sum := hmac.New(sha256.New, g.key[:])
	fmt.Fprintf(sum, "%d %s %s", len(name), name, password)
	key := [32]byte(sum.Sum(nil))
	now := g.now()
	g.mu.Lock()
	known, ok := g.basic[key]
	g.mu.Unlock()
	if ok && now.Before(known.until) {
		return g.users[known.user], nil
	}
	u, err := g.check(r, name, password)
	if err != nil {
		return User{}, err
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	if len(g.basic) >= maxBasic {
		clear(g.basic)
	}
	g.basic[key] = session{u.Name, now.Add(basicLife)}
	return u, nil
}

// check compares a password, unless the address has failed too often.
func (g *gate) check(r *http.Request, name, password string) (User, error) {
	u, known := g.users[name]
	hash := []byte(u.Hash)
	if !known {
		hash = g.dummy
	}
	if err := g.compare(r, hash, known, password); err != nil {
		return User{}, err
	}
	return u, nil
}

// compare holds a secret against its hash: errNobody if it is wrong or belongs to nobody known.
func (g *gate) compare(r *http.Request, hash []byte, known bool, secret string) error {
	from := g.address(r)
	if wait := g.mustWait(from); wait > 0 {
		return tooOften(wait)
	}
	select {
	case g.hashes <- struct{}{}:
	case <-r.Context().Done():
		return r.Context().Err()
	}
	defer func() { <-g.hashes }()
	if wait := g.mustWait(from); wait > 0 { // others of this address may have failed while this one stood in line
		return tooOften(wait)
	}
	if bcrypt.CompareHashAndPassword(hash, []byte(secret)) != nil || !known || len(secret) > maxPassword {
		g.failedAt(from)
		return errNobody
	}
	return nil
}
