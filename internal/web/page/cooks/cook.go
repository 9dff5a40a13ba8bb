package cooks

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/page/curve"
	"stallkeeper/internal/web/page/form"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
	"stallkeeper/internal/when"
)

// cookView is one cook with everything that was said about it.
type cookView struct {
	Stored  *cook.Stored
	Running bool
	Pieces  []cookPiece
	Lines   []logLine
	Shown   *monitor.PieceView
	Rows    []curve.Row
	Probes  []cook.ProbeID
	PitPlan []planRow
}

// cookPiece is a line of the table of pieces.
type cookPiece struct {
	cook.Piece
	Href  string
	Shown bool
	Probe cook.ProbeID
	Ready string
	Said  string // what was forecast half-way, once the cook has ended
}

// logLine is an entry of the log and what became of it.
type logLine struct {
	cook.Entry
	What  string
	Late  string // how long after it happened it was told
	Fate  string // "" while it holds
	Holds bool
	Do    string // the value with which a form repeats it
}

func (p *Set) getCook(w http.ResponseWriter, r *http.Request) error {
	id, err := form.CookID(r.PathValue("id"))
	if err != nil {
		return err
	}
	stored, err := p.Library.Cook(r.Context(), id)
	if err != nil {
		return err
	}
	snap := p.View.Snapshot()
	see := p.readerAt(r, &snap)
	c := p.cookOf(&snap, stored)
	body := cookView{Stored: stored, Running: stored.Running(), Lines: see.log(stored), PitPlan: see.planRows(stored.Pit.Plan)}
	for i := range c.Pieces {
		v := &c.Pieces[i]
		line := cookPiece{Piece: v.Piece, Href: fmt.Sprintf("/cooks/%d?piece=%s", id, v.Piece.ID), Probe: v.Piece.ProbeIDs()[0]}
		if line.Ready, err = p.outcome(r.Context(), see, stored, v); err != nil {
			return err
		}
		if line.Said, err = p.lookBack(r.Context(), see, stored, v.Piece.ID); err != nil {
			return err
		}
		if string(v.Piece.ID) == r.FormValue("piece") || (body.Shown == nil && r.FormValue("piece") == "") {
			body.Shown, line.Shown = v, true
		}
		body.Pieces = append(body.Pieces, line)
	}
	if body.Shown == nil {
		return fmt.Errorf("piece %q: %w", r.FormValue("piece"), cook.ErrNotFound)
	}
	line, err := curve.Read(r.Context(), p.Shop, see.Reader, c, body.Shown, curve.Rows)
	if err != nil {
		return err
	}
	body.Rows = curve.Table(see.Reader, line)
	for _, probe := range snap.Probes {
		if !probe.ID.IsPit() {
			body.Probes = append(body.Probes, probe.ID)
		}
	}
	return p.Render(w, r, http.StatusOK, "cook", frame.View{Reader: see.Reader, Title: stored.Name, Here: "cooks", Body: body})
}

// cookOf gives the live view of a running cook, and a view without forecasts of a past one.
func (p *Set) cookOf(snap *monitor.Snapshot, stored *cook.Stored) *monitor.CookView {
	if c, ok := shop.Running(snap, stored.ID); ok {
		return c
	}
	c := &monitor.CookView{Stored: *stored}
	for _, piece := range stored.Pieces {
		c.Pieces = append(c.Pieces, monitor.PieceView{Piece: piece})
	}
	return c
}

// outcome says when a piece is or was ready: live while the cook runs, else from the last forecast kept.
func (p *Set) outcome(ctx context.Context, see reader, stored *cook.Stored, v *monitor.PieceView) (string, error) {
	if stored.Running() {
		if !v.Forecasted {
			return "no reading yet", nil
		}
		return see.Ready(v.Forecast), nil
	}
	kept, err := p.Library.Forecasts(ctx, stored.ID, v.Piece.ID, stored.Ended.Add(-lastWords), time.Time{})
	if err != nil {
		return "", err
	}
	if len(kept) == 0 {
		return "not known", nil
	}
	var f struct {
		State estimator.State `json:"state"`
		Ready struct {
			P50 *time.Time `json:"p50"`
		} `json:"ready"`
	}
	if err := json.Unmarshal(kept[len(kept)-1].JSON, &f); err != nil {
		return "", fmt.Errorf("read the last forecast of %s: %w", v.Piece.ID, err)
	}
	if (f.State == estimator.Ready || f.State == estimator.Cooling) && f.Ready.P50 != nil {
		return "reached it " + see.Date(*f.Ready.P50), nil
	}
	return "ended before it was reached", nil
}

// lastWords is how long before its end a cook's last forecasts are looked for.
const lastWords = 30 * time.Minute

func (s reader) log(stored *cook.Stored) []logLine {
	fate := map[int64]string{}
	for _, e := range stored.Entries {
		if e.Corrects != 0 {
			fate[e.Corrects] = "replaced below"
			if e.Withdraw {
				fate[e.Corrects] = "did not happen"
			}
		}
	}
	var out []logLine
	for _, e := range stored.Entries {
		if e.Withdraw {
			continue
		}
		l := logLine{Entry: e, What: s.EventName(e.Event), Fate: fate[e.ID], Do: string(e.Kind)}
		l.Holds = l.Fate == ""
		switch e.Kind {
		case cook.EventWrap:
			l.Do += " " + e.With
		case cook.EventSetPoint:
			l.Do += " " + strconv.FormatFloat(float64(e.Celsius), 'f', -1, 64)
		}
		if late := e.Logged.Sub(e.Time); late > 2*time.Minute {
			l.Late = when.Span(late) + " late"
		}
		out = append(out, l)
	}
	return out
}

func (p *Set) postEnd(w http.ResponseWriter, r *http.Request) error {
	if err := visitor.Need(r, visitor.Manage); err != nil {
		return err
	}
	id, err := form.CookID(r.PathValue("id"))
	if err != nil {
		return err
	}
	if err := p.Desk.EndCook(r.Context(), id, cook.Instant(p.Now())); err != nil {
		return err
	}
	http.Redirect(w, r, fmt.Sprintf("/cooks/%d", id), http.StatusSeeOther)
	return nil
}

// cooksView is the list of cooks, newest first.
type cooksView struct {
	Cooks []cook.Stored
	Older cook.ID // 0 = none
	Good  []qualityLine
}

const cooksPerPage = 25

func (p *Set) getCooks(w http.ResponseWriter, r *http.Request) error {
	var before cook.ID
	if text := r.FormValue("before"); text != "" {
		var err error
		if before, err = form.CookID(text); err != nil {
			return err
		}
	}
	cooks, err := p.Library.Cooks(r.Context(), before, cooksPerPage+1)
	if err != nil {
		return err
	}
	body := cooksView{Cooks: cooks}
	if len(cooks) > cooksPerPage {
		body.Cooks = cooks[:cooksPerPage]
		body.Older = body.Cooks[cooksPerPage-1].ID
	}
	if body.Good, err = p.quality(r.Context(), body.Cooks); err != nil {
		return err
	}
	return p.Render(w, r, http.StatusOK, "cooks", frame.View{Title: "Cooks", Here: "cooks", Body: body})
}

func (p *Set) getCurve(w http.ResponseWriter, r *http.Request) error {
	snap := p.View.Snapshot()
	see := p.readerAt(r, &snap)
	id, err := form.CookID(r.PathValue("cook"))
	if err != nil {
		return err
	}
	stored, err := p.Library.Cook(r.Context(), id)
	if err != nil {
		return err
	}
	c := p.cookOf(&snap, stored)
	for i := range c.Pieces {
		if string(c.Pieces[i].Piece.ID) == r.PathValue("piece") {
			data, err := curve.Read(r.Context(), p.Shop, see.Reader, c, &c.Pieces[i], curve.Points)
			if err != nil {
				return err
			}
			return p.GiveJSON(w, r, data.Figures(see.Unit(), see.Zone(), see.Number))
		}
	}
	return fmt.Errorf("piece %q: %w", r.PathValue("piece"), cook.ErrNotFound)
}
