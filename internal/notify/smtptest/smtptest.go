// Package smtptest is a small mail server for tests: it takes letters on loopback by SMTP (RFC 5321) and shows them. It
// speaks no TLS and asks for no login, can be told to refuse, and can be taken down and brought back at the same address.
package smtptest

import (
	"bufio"
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
	addr string
	work sync.WaitGroup

	mu      sync.Mutex // guards the fields below
	ln      net.Listener
	conns   map[net.Conn]bool
	letters []Letter
	refuse  string // answer to every RCPT; empty takes all
	cut     bool   // break the connection instead of confirming the next letter
}

// Start listens on a free port of 127.0.0.1.
func Start() (*Server, error) {
	s := &Server{addr: "127.0.0.1:0", conns: map[net.Conn]bool{}}
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
	t := textproto.NewConn(struct {
		io.Reader
		io.Writer
		io.Closer
	}{bufio.NewReader(c), c, c})
	var letter Letter
	if err := t.PrintfLine("220 test"); err != nil {
		return
	}
	for {
		line, err := t.ReadLine()
		if err != nil {
			return
		}
		verb, rest, _ := strings.Cut(line, " ")
		answer := "250 ok"
		switch strings.ToUpper(verb) {
		case "MAIL":
			letter = Letter{From: rest}
		case "RCPT":
			s.mu.Lock()
			if s.refuse != "" {
				answer = s.refuse
			}
			s.mu.Unlock()
			letter.To = append(letter.To, rest)
		case "DATA":
			if t.PrintfLine("354 go on") != nil || !s.data(t, letter) {
				return
			}
		case "QUIT":
			_ = t.PrintfLine("221 bye")
			return
		}
		if t.PrintfLine("%s", answer) != nil {
			return
		}
	}
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
