// Package visitor says who asks and what they may do. The door of internal/web puts the visitor into the context of each request; the API and
// the pages find them there.
package visitor

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"

	"stallkeeper/internal/web/problem"
)

// Level is what a person may do. Each level includes those before it.
type Level string

// The levels.
const (
	Watch  Level = "watch"  // see everything
	Work   Level = "work"   // log events and readings, acknowledge and shelve alarms
	Manage Level = "manage" // start, change, end and import cooks
)

// Visitor is who asks. Without users everybody is a manager without a name.
type Visitor struct {
	Name  string // "" = nobody has to log in
	Level Level
}

// May reports whether the visitor has the level or a higher one.
func (v Visitor) May(need Level) bool {
	order := []Level{Watch, Work, Manage}
	return slices.Index(order, v.Level) >= slices.Index(order, need)
}

type key struct{}

// Of gives who asks. One whom nobody has let in has no level and may do nothing.
func Of(r *http.Request) Visitor {
	v, _ := r.Context().Value(key{}).(Visitor)
	return v
}

// In gives a context that knows the visitor; Of finds them there.
func (v Visitor) In(ctx context.Context) context.Context {
	return context.WithValue(ctx, key{}, v)
}

// TooLow is the refusal of what needs a higher level: 403.
func TooLow(need Level) error {
	return problem.New(http.StatusForbidden, "Not allowed", fmt.Sprintf("this needs the level %q: log in as somebody who has it", need))
}

// Need refuses whoever does not have the level.
func Need(r *http.Request, level Level) error {
	if !Of(r).May(level) {
		return TooLow(level)
	}
	return nil
}

// By is who did it: who is logged in, or else who the request says.
func By(r *http.Request, said string) string {
	if name := Of(r).Name; name != "" {
		return name
	}
	return said
}

// OnPage stands in the log for a person without a name.
const OnPage = "page"

// LoopbackHost reports whether a Host header names the machine itself: localhost, a name below it, or a loopback address, with or without a port.
func LoopbackHost(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	name = strings.ToLower(strings.TrimSuffix(strings.Trim(name, "[]"), "."))
	if ip, err := netip.ParseAddr(name); err == nil {
		return ip.Unmap().IsLoopback()
	}
	return name == "localhost" || strings.HasSuffix(name, ".localhost") // RFC 6761, section 6.3
}
