package page

import (
	"net/http"
	"strconv"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/visitor"
)

// shelfTime is how long the page shelves an alarm for.
const shelfTime = 30 * time.Minute

// postAcknowledge acknowledges each alarm that the form names.
func (p *Set) postAcknowledge(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return problem.Bad("the form cannot be read: %v", err)
	}
	for _, id := range r.PostForm["alarm"] {
		if err := p.Desk.Acknowledge(r.Context(), alarm.ID(id), visitor.By(r, visitor.OnPage)); err != nil {
			return err
		}
	}
	returnTo(w, r)
	return nil
}

func (p *Set) postShelve(w http.ResponseWriter, r *http.Request) error {
	if err := p.Desk.Shelve(r.Context(), alarm.ID(r.FormValue("alarm")), p.Now().Add(shelfTime), visitor.By(r, visitor.OnPage)); err != nil {
		return err
	}
	returnTo(w, r)
	return nil
}

// postEvent logs what was done, now or earlier; with "corrects" it replaces an entry, with "withdraw" it takes one back.
func (p *Set) postEvent(w http.ResponseWriter, r *http.Request) error {
	id, err := cookID(r.PathValue("id"))
	if err != nil {
		return err
	}
	see := readerOf(r, p.Now(), p.Location)
	e, err := p.entry(r, see)
	if err != nil {
		return err
	}
	kept, err := p.LogEvent(r.Context(), id, e)
	if err != nil {
		return err
	}
	if e.Withdraw {
		returnTo(w, r)
		return nil
	}
	returnTo(w, r, "done", strconv.FormatInt(kept.ID, 10))
	return nil
}

func (p *Set) entry(r *http.Request, see reader) (cook.Entry, error) {
	at, err := p.when(r)
	if err != nil {
		return cook.Entry{}, err
	}
	e := cook.Entry{By: visitor.By(r, visitor.OnPage), Note: strings.TrimSpace(r.FormValue("note"))}
	e.Time = cook.Instant(at)
	e.Withdraw = r.FormValue("withdraw") != ""
	if text := r.FormValue("corrects"); text != "" {
		if e.Corrects, err = strconv.ParseInt(text, 10, 64); err != nil {
			return e, problem.Bad("entry %q is not a number", text)
		}
	}
	if e.Withdraw {
		return e, nil
	}
	kind, with, _ := strings.Cut(r.FormValue("do"), " ")
	e.Kind = cook.EventKind(kind)
	switch e.Kind {
	case cook.EventWrap:
		e.With, e.Piece = with, cook.PieceID(r.FormValue("piece"))
	case cook.EventUnwrap, cook.EventProbeMoved, cook.EventPieceOff:
		e.Piece = cook.PieceID(r.FormValue("piece"))
	case cook.EventSetPoint:
		if e.Celsius, err = setPoint(r, see, with); err != nil {
			return e, err
		}
	}
	return e, nil
}

func setPoint(r *http.Request, see reader, celsius string) (thermal.Celsius, error) {
	if celsius != "" {
		v, err := strconv.ParseFloat(celsius, 64)
		if err != nil {
			return 0, problem.Bad("setpoint %q is not a number", celsius)
		}
		return thermal.Celsius(v), nil
	}
	c, err := see.parse(r.FormValue("degrees"))
	if err != nil {
		return 0, problem.Bad("%v", err)
	}
	return c, nil
}

// when reads "ago" (minutes before now) or "at" (a local time); without either it is now.
func (p *Set) when(r *http.Request) (time.Time, error) {
	if text := r.FormValue("at"); text != "" {
		return localTime(text, p.Location)
	}
	if text := r.FormValue("ago"); text != "" {
		minutes, err := strconv.Atoi(text)
		if err != nil || minutes < 0 || minutes > 48*60 {
			return time.Time{}, problem.Bad("%q is not a number of minutes between 0 and 2880", text)
		}
		return p.Now().Add(-time.Duration(minutes) * time.Minute), nil
	}
	return p.Now(), nil
}

// formTime is the time that a form gives; zero for now.
func (p *Set) formTime(r *http.Request) (time.Time, error) {
	if text := r.FormValue("at"); text != "" {
		return localTime(text, p.Location)
	}
	return time.Time{}, nil
}

// localTime reads a time as a form gives it, in the zone where it names none. One that the change of the clocks leaves out is refused.
func localTime(text string, in *time.Location) (time.Time, error) {
	for _, layout := range []string{"2006-01-02T15:04", "2006-01-02T15:04:05", time.RFC3339} {
		t, err := time.ParseInLocation(layout, text, in)
		if err != nil {
			continue
		}
		if layout != time.RFC3339 && t.Format(layout) != text {
			return t, problem.Bad("time %q does not exist here, where the clocks change: give another hour", text)
		}
		return t, nil
	}
	return time.Time{}, problem.Bad("time %q: write it like 2026-05-02T20:00", problem.ClipTo(text, 40))
}

// postSettings keeps a choice in a cookie of this browser.
func (p *Set) postSettings(w http.ResponseWriter, r *http.Request) error {
	for name, values := range map[string][]string{unitCookie: {"c", "f"}, lightCookie: {"system", "dark", "light", "red"}} {
		for _, v := range values {
			if r.FormValue(name) == v {
				http.SetCookie(w, &http.Cookie{Name: name, Value: v, Path: "/", MaxAge: 400 * 24 * 3600, SameSite: http.SameSiteLaxMode, HttpOnly: true})
			}
		}
	}
	returnTo(w, r)
	return nil
}
