package web

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"net/http"
	"strings"

	"stallkeeper/internal/web/problem"
)

// cookieName has the prefix with which browsers insist on a secure cookie of this host (RFC 6265bis, section 4.1.3.2).
func (g *gate) cookieName() string {
	if g.secure {
		return "__Host-stallkeeper"
	}
	return "stallkeeper"
}

// bySession finds the user of a session and prolongs it. Only the hash of a token is kept.
func (g *gate) bySession(token string) (User, bool) {
	key, now := sha256.Sum256([]byte(token)), g.now()
	g.mu.Lock()
	defer g.mu.Unlock()
	s, ok := g.sessions[key]
	if !ok || !now.Before(s.until) {
		delete(g.sessions, key)
		return User{}, false
	}
	s.until = now.Add(sessionLife)
	g.sessions[key] = s
	return g.users[s.user], true
}

// begin makes a session and gives its token.
func (g *gate) begin(user string) string {
	token := rand.Text()
	now := g.now()
	g.mu.Lock()
	defer g.mu.Unlock()
	var oldest [32]byte
	n := 0
	for key, s := range g.sessions {
		if !now.Before(s.until) {
			delete(g.sessions, key)
			continue
		}
		if s.user != user {
			continue
		}
		if n == 0 || s.until.Before(g.sessions[oldest].until) {
			oldest = key
		}
		n++
	}
	if n >= maxSessions {
		delete(g.sessions, oldest)
	}
	g.sessions[sha256.Sum256([]byte(token))] = session{user, now.Add(sessionLife)}
	return token
}

func (g *gate) end(token string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.sessions, sha256.Sum256([]byte(token)))
}

func (g *gate) cookie(token string, maxAge int) *http.Cookie {
	return &http.Cookie{Name: g.cookieName(), Value: token, Path: "/", MaxAge: maxAge, HttpOnly: true, Secure: g.secure, SameSite: http.SameSiteStrictMode}
}

// loginPage is what the login template gets.
type loginPage struct {
	Next, Name, Trouble string
}

func (s *Server) showLogin(w http.ResponseWriter, r *http.Request, status int, p loginPage) error {
	var out bytes.Buffer
	if err := s.gate.page.Execute(&out, p); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	if _, err := w.Write(out.Bytes()); err != nil {
		s.opts.Log.Debug("answer not taken", "path", r.URL.Path, "error", err)
	}
	return nil
}

func (s *Server) getLogin(w http.ResponseWriter, r *http.Request) error {
	next := localPath(r.URL.Query().Get("next"))
	if _, err := s.gate.who(r); err == nil {
		http.Redirect(w, r, next, http.StatusSeeOther)
		return nil
	}
	return s.showLogin(w, r, http.StatusOK, loginPage{Next: next})
}

func (s *Server) postLogin(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			return err
		}
		return problem.Bad("the form cannot be read: send name and password as a form")
	}
	p := loginPage{Next: localPath(r.PostForm.Get("next")), Name: r.PostForm.Get("name")}
	if len(s.gate.users) == 0 {
		http.Redirect(w, r, p.Next, http.StatusSeeOther)
		return nil
	}
	u, err := s.gate.check(r, p.Name, r.PostForm.Get("password"))
	var often *problem.Error
	switch {
	case errors.As(err, &often):
		w.Header().Set("Retry-After", often.Header.Get("Retry-After"))
		p.Trouble = "Too many wrong passwords came from here. Wait a few minutes, then try again."
		return s.showLogin(w, r, often.Status, p)
	case errors.Is(err, errNobody):
		p.Trouble = "This name and this password do not belong together. Check both."
		return s.showLogin(w, r, http.StatusUnauthorized, p)
	case err != nil:
		return err
	}
	http.SetCookie(w, s.gate.cookie(s.gate.begin(u.Name), int(sessionLife.Seconds())))
	http.Redirect(w, r, p.Next, http.StatusSeeOther)
	return nil
}

func (s *Server) postLogout(w http.ResponseWriter, r *http.Request) error {
	if c, err := r.Cookie(s.gate.cookieName()); err == nil {
		s.gate.end(c.Value)
	}
	http.SetCookie(w, s.gate.cookie("", -1))
	http.Redirect(w, r, "/login", http.StatusSeeOther)
	return nil
}

// localPath keeps a way back on this server.
func localPath(next string) string {
	if !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\r\n\t") {
		return "/"
	}
	return next
}
