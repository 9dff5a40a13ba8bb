// Package web is the door: it listens, knows who comes in, sets what every answer carries, and hands each request to the API (internal/web/api)
// or the pages (internal/web/page). It decides nothing about cooks.
package web

import (
	"crypto/tls"
	"log/slog"
	"net/http"

	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
)

// Options are what the server needs.
type Options struct {
	shop.Shop
	Log      *slog.Logger
	Invented bool         // the demo: the pages say plainly that the data is invented
	Broker   string       // where probes publish to, such as "mqtt://127.0.0.1:1883"; the first-run page shows it
	Metrics  http.Handler // /metrics; nil = none
	Ready    func() error // /readyz: nil when the store and the intake work

	People      []Person    // who makes entries with initials and PIN
	Users       []User      // who may log in; none = no login, and only loopback names are answered
	TLS         *tls.Config // nil = plain HTTP
	BehindProxy bool        // a proxy in front speaks TLS with the people, names them in X-Forwarded-For, and without Users asks them to log in
}

// Person makes entries in the journal with initials and a PIN. Name is their login, if they have one: entries made by it bear the initials.
type Person struct {
	Initials string
	Name     string
	PINHash  string // bcrypt, of cost 10 or more
}

// User may log in. Hash is a bcrypt hash of the password, of cost 10 or more: bcrypt rather than argon2id, because the daemon
// may run on a board with little memory and argon2id takes tens of megabytes for each login.
type User struct {
	Name  string
	Level visitor.Level
	Hash  string
}
