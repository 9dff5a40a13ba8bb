package api

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/problem"
)

// query reads the parameters of an address strictly: one that is not known, or stands twice, is an error.
type query struct {
	values url.Values
	errs   []error
}

// queryOf reads the parameters named; those in many may stand several times.
func queryOf(r *http.Request, many []string, names ...string) *query {
	values, err := url.ParseQuery(r.URL.RawQuery)
	q := &query{values: values}
	if err != nil {
		q.errs = append(q.errs, problem.Bad("the parameters cannot be read: percent-encode them (RFC 3986)"))
		return q
	}
	for name, all := range values {
		switch {
		case slices.Contains(many, name):
		case !slices.Contains(names, name):
			q.fail("parameter %s is not known: use %s", problem.Clip(name), strings.Join(append(slices.Clone(names), many...), ", "))
		case len(all) > 1:
			q.fail("%s stands %d times: send it once", name, len(all))
		}
	}
	return q
}

func (q *query) fail(format string, a ...any) { q.errs = append(q.errs, problem.Bad(format, a...)) }

// err gives everything that is wrong as one bad request.
func (q *query) err() error {
	if len(q.errs) == 0 {
		return nil
	}
	texts := make([]string, 0, len(q.errs))
	for _, e := range q.errs {
		texts = append(texts, e.Error())
	}
	slices.Sort(texts)
	return problem.Bad("%s", strings.Join(slices.Compact(texts), "; "))
}

// time reads an RFC 3339 time; zero when absent. A "+" of an offset that came unescaped, as a space, is mended.
func (q *query) time(name string) time.Time {
	text := q.values.Get(name)
	if text == "" {
		if q.values.Has(name) {
			q.fail("%s is empty: leave it out or write it as RFC 3339, such as 2026-05-02T20:00:00Z", name)
		}
		return time.Time{}
	}
	if n := len(text); n > 6 && text[n-6] == ' ' {
		text = text[:n-6] + "+" + text[n-5:]
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil || t.Year() < 1 || t.IsZero() {
		q.fail("%s %s is not a time: write it as RFC 3339, such as 2026-05-02T20:00:00Z", name, problem.Clip(text))
		return time.Time{}
	}
	return t.UTC()
}

// span reads from and to.
func (q *query) span() (from, to time.Time) {
	from, to = q.time("from"), q.time("to")
	if !from.IsZero() && !to.IsZero() && to.Before(from) {
		q.fail("to is before from: swap them")
	}
	return from, to
}

// count reads a number from 1 on; a larger one than most is lowered to it.
func (q *query) count(name string, absent, most int) int {
	if !q.values.Has(name) {
		return absent
	}
	text := q.values.Get(name)
	n, err := strconv.ParseUint(text, 10, 63)
	if errors.Is(err, strconv.ErrRange) {
		return most
	}
	if err != nil || n < 1 {
		q.fail("%s %s is not a whole number from 1 to %d", name, problem.Clip(text), most)
		return absent
	}
	return int(min(n, uint64(most)))
}

// id reads a positive number; 0 when absent.
func (q *query) id(name string) int64 {
	if !q.values.Has(name) {
		return 0
	}
	n, err := strconv.ParseInt(q.values.Get(name), 10, 64)
	if err != nil || n < 1 {
		q.fail("%s %s is not a number from 1 on", name, problem.Clip(q.values.Get(name)))
		return 0
	}
	return n
}

// probe reads a probe name; "" when absent.
func (q *query) probe(name string) cook.ProbeID {
	id := cook.ProbeID(q.values.Get(name))
	if !q.values.Has(name) {
		return ""
	}
	if err := id.CheckKept(); err != nil {
		q.fail("%s: %s", name, problem.ClipTo(err.Error(), 200))
		return ""
	}
	return id
}

// yes reads true or false; false when absent.
func (q *query) yes(name string) bool {
	switch text := q.values.Get(name); {
	case !q.values.Has(name), text == "false":
		return false
	case text == "true":
		return true
	default:
		q.fail("%s %s is not true or false", name, problem.Clip(text))
		return false
	}
}

// next is the relative URL of the same address with some parameters set; nil when there is no further page.
func next(r *http.Request, more bool, set ...string) *string {
	if !more {
		return nil
	}
	values := r.URL.Query()
	for i := 0; i+1 < len(set); i += 2 {
		values.Set(set[i], set[i+1])
	}
	u := r.URL.EscapedPath() + "?" + values.Encode()
	return &u
}
