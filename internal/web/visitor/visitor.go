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

// May reports whether the person has the level or a higher one.
func (p Visitor) May(need Level) bool {
	order := []Level{Watch, Work, Manage}
	return slices.Index(order, p.Level) >= slices.Index(order, need)
}

type key struct{}

// Of gives who asks; the guard has put it there.
func Of(r *http.Request) Visitor {
	p, _ := r.Context().Value(key{}).(Visitor)
	return p
}

// In gives a context that knows the person; personOf finds them there.
func (p Visitor) In(ctx context.Context) context.Context {
	return context.WithValue(ctx, key{}, p)
}

func TooLow(need Level) error {
	return problem.New(http.StatusForbidden, "Not allowed", fmt.Sprintf("this needs the level %q: log in as somebody who has it", need))
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
