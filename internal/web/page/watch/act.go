package watch

import (
	"net/http"
	"strconv"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/page/form"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/visitor"
)

// shelfTime is how long the page shelves an alarm for.
const shelfTime = 30 * time.Minute

// postAcknowledge acknowledges each alarm that the form names.
func (p *Set) postAcknowledge(w http.ResponseWriter, r *http.Request) error {
	for _, id := range r.PostForm["alarm"] {
		if err := p.Desk.Acknowledge(r.Context(), alarm.ID(id), visitor.By(r, visitor.OnPage)); err != nil {
			return err
		}
	}
	frame.ReturnTo(w, r)
	return nil
}

func (p *Set) postShelve(w http.ResponseWriter, r *http.Request) error {
	if err := p.Desk.Shelve(r.Context(), alarm.ID(r.FormValue("alarm")), p.Now().Add(shelfTime), visitor.By(r, visitor.OnPage)); err != nil {
		return err
	}
	frame.ReturnTo(w, r)
	return nil
}

// postEvent logs what was done, now or earlier; with "corrects" it replaces an entry, with "withdraw" it takes one back.
func (p *Set) postEvent(w http.ResponseWriter, r *http.Request) error {
	id, err := form.CookID(r.PathValue("id"))
	if err != nil {
		return err
	}
	see := p.reader(r)
	e, err := p.entry(r, see)
	if err != nil {
		return err
	}
	kept, err := p.LogEvent(r.Context(), id, e)
	if err != nil {
		return err
	}
	if e.Withdraw {
		frame.ReturnTo(w, r)
		return nil
	}
	frame.ReturnTo(w, r, "done", strconv.FormatInt(kept.ID, 10))
	return nil
}

func (p *Set) entry(r *http.Request, see reader) (cook.Entry, error) {
	at, err := form.TimeOrNow(r, p.Now(), p.Location)
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
	c, err := see.Parse(r.FormValue("degrees"))
	if err != nil {
		return 0, problem.Bad("%v", err)
	}
	return c, nil
}
