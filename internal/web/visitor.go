package web

import (
	"context"
	"fmt"
	"net/http"
	"slices"

	"stallkeeper/internal/record"
)

// Level is what a person may do. Each level includes those before it.
type Level string

// The levels.
const (
	Watch  Level = "watch"  // see everything
	Work   Level = "work"   // log events and readings, acknowledge and shelve alarms
	Manage Level = "manage" // start, change, end and import cooks
)

// person is who asks. Without users everybody is a manager without a name.
type person struct {
	name  string // "" = nobody has to log in
	level Level
}

// may reports whether the person has the level or a higher one.
func (p person) may(need Level) bool {
	order := []Level{Watch, Work, Manage}
	return slices.Index(order, p.level) >= slices.Index(order, need)
}

type personKey struct{}

// personOf gives who asks; the guard has put it there.
func personOf(r *http.Request) person {
	p, _ := r.Context().Value(personKey{}).(person)
	return p
}

// in gives a context that knows the person; personOf finds them there.
func (p person) in(ctx context.Context) context.Context {
	return context.WithValue(ctx, personKey{}, p)
}

func tooLow(need Level) error {
	return refused(http.StatusForbidden, "Not allowed", fmt.Sprintf("this needs the level %q: log in as somebody who has it", need))
}

// by is who did it: who is logged in, or else who the request says.
func by(r *http.Request, said string) string {
	if name := personOf(r).name; name != "" {
		return name
	}
	return said
}

// onPage stands in the log for a person without a name.
const onPage = "page"

// signature is who makes an entry: logged in, or initials with a PIN, or a bare name where neither is set up.
type signature struct {
	By  string `json:"by,omitempty"`
	PIN string `json:"pin,omitempty"`
}

// sign tells who makes an entry, from the person logged in and what the request says: their initials or name, and how that is known.
// Its errors are for the sender.
type sign func(r *http.Request, said signature) (by string, auth record.Auth, err error)
