// Package smtptest is a small mail server for tests: it takes letters on loopback by SMTP (RFC 5321) and shows them. It can
// demand STARTTLS (RFC 3207) and a login (RFC 4616), refuse, and be taken down and brought back at the same address.
package smtptest

import (
	"crypto/tls"
	"encoding/base64"
	"fmt"
	"io"
	"net"
	"net/mail"
	"net/textproto"
	"strings"
	"sync"
)

// Letter is one that was taken.
type Letter struct {
	From   string
	To     []string
	Header mail.Header
	Body   string // as it came, transfer encoding included
}

// Server takes letters until it is closed.
type Server struct {
	addr  string
	tls   *tls.Config // nil: no STARTTLS
	login string      // user and password with a space between; empty: none is asked for
	work  sync.WaitGroup

	mu      sync.Mutex // guards the fields below
	ln      net.Listener
	conns   map[net.Conn]bool
	letters []Letter
	refuse  string // answer to every RCPT; empty takes all
	cut     bool   // break the connection instead of confirming the next letter
}

// Start listens on a free port of 127.0.0.1 and takes letters from anybody.
func Start() (*Server, error) { return StartGuarded(nil, "", "") }

// StartGuarded takes letters only after STARTTLS and the login, where they are given.
func StartGuarded(guard *tls.Config, user, password string) (*Server, error) {
	s := &Server{addr: "127.0.0.1:0", tls: guard, conns: map[net.Conn]bool{}}
	if user != "" {
		s.login = user + " " + password
	}
	return s, s.Up()
}

// Addr is where it listens, host and port.
func (s *Server) Addr() string { return s.addr }

// Up begins to listen, again at the address it had.
func (s *Server) Up() error {
	ln, err := net.Listen("tcp", s.addr)
	if err != nil {
		return fmt.Errorf("start mail server: %w", err)
	}
	s.mu.Lock()
	s.ln, s.addr = ln, ln.Addr().String()
	s.mu.Unlock()
	s.work.Go(func() {
		for {
			c, err := ln.Accept()
			if err != nil {
				return
			}
			s.mu.Lock()
			s.conns[c] = true
			s.mu.Unlock()
			s.work.Go(func() { s.talk(c) })
		}
	})
	return nil
}

// Down stops listening and breaks what is open; it returns when all is still.
func (s *Server) Down() error {
	s.mu.Lock()
	err := s.ln.Close()
	for c := range s.conns {
		_ = c.Close() // its own goroutine sees the error
	}
	s.mu.Unlock()
	s.work.Wait()
	return err
}

// Refuse answers every recipient with this line, such as "550 5.1.1 unknown"; empty takes them.
func (s *Server) Refuse(line string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.refuse = line
}

// CutNext takes the next letter and breaks the connection before saying so.
func (s *Server) CutNext() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.cut = true
}

// Letters gives what was taken, oldest first.
func (s *Server) Letters() []Letter {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]Letter(nil), s.letters...)
}

// talk serves one connection until it ends or breaks; what breaks it is the client's to see.
func (s *Server) talk(c net.Conn) {
	defer func() {
		_ = c.Close()
		s.mu.Lock()
		delete(s.conns, c)
		s.mu.Unlock()
	}()
	t := textproto.NewConn(c)
	if err := t.PrintfLine("220 test"); err != nil {
		return
	}
	d := &dialogue{s: s, secure: s.tls == nil, known: s.login == ""}
	for {
		line, err := t.ReadLine()
		if err != nil {
			return
		}
		verb, rest, _ := strings.Cut(line, " ")
		switch strings.ToUpper(verb) {
		case "STARTTLS":
			if s.tls == nil || t.PrintfLine("220 go on") != nil {
				return
			}
			t, d.secure = textproto.NewConn(tls.Server(c, s.tls)), true
		case "DATA":
			if !d.secure || !d.known || t.PrintfLine("354 go on") != nil || !s.data(t, d.letter) || t.PrintfLine("250 ok") != nil {
				return
			}
		case "QUIT":
			_ = t.PrintfLine("221 bye")
			return
		default:
			for _, answer := range d.answer(strings.ToUpper(verb), rest) {
				if t.PrintfLine("%s", answer) != nil {
					return
				}
			}
		}
	}
}

// dialogue is what one client has said so far.
type dialogue struct {
	s             *Server
	secure, known bool
	letter        Letter
}

func (d *dialogue) answer(verb, rest string) []string {
	switch verb {
	case "EHLO":
		out := []string{"250-test"}
		if d.s.tls != nil && !d.secure {
			out = append(out, "250-STARTTLS")
		}
		if d.s.login != "" && d.secure {
			out = append(out, "250-AUTH PLAIN")
		}
		return append(out, "250 8BITMIME")
	case "AUTH":
		said, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(rest, "PLAIN "))
		if d.known = err == nil && d.secure && strings.ReplaceAll(strings.TrimPrefix(string(said), "\x00"), "\x00", " ") == d.s.login; !d.known {
			return []string{"535 5.7.8 no"}
		}
		return []string{"235 2.7.0 yes"}
	case "MAIL":
		if !d.secure || !d.known {
			return []string{"530 5.7.0 not yet"}
		}
		d.letter = Letter{From: rest}
	case "RCPT":
		d.s.mu.Lock()
		defer d.s.mu.Unlock()
		if d.s.refuse != "" {
			return []string{d.s.refuse}
		}
		d.letter.To = append(d.letter.To, rest)
	}
	return []string{"250 ok"}
}

// data takes a letter's text and reports whether it is to be confirmed.
func (s *Server) data(t *textproto.Conn, letter Letter) bool {
	text, err := io.ReadAll(t.DotReader())
	if err != nil {
		return false
	}
	m, err := mail.ReadMessage(strings.NewReader(string(text)))
	if err != nil {
		return false
	}
	body, err := io.ReadAll(m.Body)
	if err != nil {
		return false
	}
	letter.Header, letter.Body = m.Header, string(body)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.letters = append(s.letters, letter)
	cut := s.cut
	s.cut = false
	return !cut
}
