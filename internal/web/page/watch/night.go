package watch

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/chart"
	"stallkeeper/internal/web/page/curve"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/when"
)

// nightView is the first page: what is needed, and when, and what can be done.
type nightView struct {
	Quiet   quiet
	Open    []alarm.Alarm // somebody has to look
	Over    []alarm.Alarm // came and went, nobody has looked
	Seen    []alarm.Alarm // acknowledged or shelved
	Cooks   []lanes
	Chosen  *chosen
	First   *firstRun // instead of the rest while no cook runs
	Done    *logged
	Asked   *asked
	Trouble []string
}

// chosen is the piece whose curve is shown.
type chosen struct {
	Cook      cook.ID
	Piece     cook.Piece
	Key       string
	Forecast  estimator.Forecast
	Known     bool
	Ready     string
	Wide      string // the band of 4 in 5, "" when it has no two ends
	Half      string // the band of 1 in 2
	Likely    time.Time
	Chance    string
	Serve     time.Time
	Danger    string
	SetPoint  thermal.Celsius
	PitNow    string
	Wrapped   bool
	Over      bool // ready or taken off: nothing left to ask
	Off       time.Time
	Marks     []chart.Mark
	Rows      []curve.Row
	CanRaise  bool
	Raised    thermal.Celsius
	WaterLost string
	Clocks    clocks
}

// logged is what a person just logged, so that it can be taken back.
type logged struct {
	Cook  cook.ID
	Entry int64
	What  string
}

func (p *Set) night(w http.ResponseWriter, r *http.Request) error {
	snap := p.View.Snapshot()
	see := p.readerAt(r, &snap)
	body := nightView{Quiet: see.quiet(&snap)}
	if snap.Intake.Trouble != "" {
		body.Trouble = append(body.Trouble, snap.Intake.Trouble)
	}
	if snap.Intake.Scarce != "" {
		body.Trouble = append(body.Trouble, snap.Intake.Scarce)
	}
	if snap.Intake.Late != "" {
		body.Trouble = append(body.Trouble, snap.Intake.Late)
	}
	if snap.Intake.Delivery != "" {
		body.Trouble = append(body.Trouble, "messages may not reach you: "+snap.Intake.Delivery)
	}
	for _, a := range snap.Alarms {
		switch a.State {
		case alarm.Active:
			body.Open = append(body.Open, a)
		case alarm.Returned:
			body.Over = append(body.Over, a)
		case alarm.Acked, alarm.Shelved:
			body.Seen = append(body.Seen, a)
		}
	}
	if len(snap.Cooks) == 0 {
		first, err := p.firstRun(r.Context(), see, &snap)
		if err != nil {
			return err
		}
		body.First = first
		return p.Render(w, r, http.StatusOK, "night", frame.View{Reader: see.Reader, Title: "Watch", Here: "watch", Body: body})
	}
	c, v := choose(&snap, r.FormValue("piece"))
	key := fmt.Sprintf("%d/%s", c.Stored.ID, v.Piece.ID)
	for i := range snap.Cooks {
		one, err := p.cookLanes(r.Context(), &snap.Cooks[i], see, key)
		if err != nil {
			return err
		}
		body.Cooks = append(body.Cooks, one)
	}
	var err error
	if body.Chosen, err = p.chosen(r.Context(), see, &snap, c, v); err != nil {
		return err
	}
	if body.Asked = p.ask(r.Context(), see, c, v, r.FormValue("if")); body.Asked != nil {
		body.showBand(key, cookAxis(c, see.Now()))
	}
	body.Done = see.logged(c, r.FormValue("done"))
	view := frame.View{Reader: see.Reader, Title: body.Quiet.title(see), Here: "watch", Back: "/?piece=" + key, Body: body}
	return p.Render(w, r, http.StatusOK, "night", view)
}

func (p *Set) cookLanes(ctx context.Context, c *monitor.CookView, see reader, key string) (lanes, error) {
	past := map[cook.PieceID][]stretch{}
	for _, v := range c.Pieces {
		stages, err := p.trails.of(ctx, p.Library, c.Stored.ID, v.Piece.ID, see.Now())
		if err != nil {
			return lanes{}, err
		}
		past[v.Piece.ID] = stages
	}
	return see.lanesOf(c, key, past), nil
}

// choose finds the piece asked for, else the one that is ready last: it holds up the meal.
func choose(snap *monitor.Snapshot, key string) (*monitor.CookView, *monitor.PieceView) {
	var c *monitor.CookView
	var v *monitor.PieceView
	for i := range snap.Cooks {
		for j := range snap.Cooks[i].Pieces {
			ci, vj := &snap.Cooks[i], &snap.Cooks[i].Pieces[j]
			if fmt.Sprintf("%d/%s", ci.Stored.ID, vj.Piece.ID) == key {
				return ci, vj
			}
			if v == nil || later(vj.Forecast.Ready[3], v.Forecast.Ready[3]) {
				c, v = ci, vj
			}
		}
	}
	return c, v
}

// later reports whether ready time a comes after b; never comes last.
func later(a, b time.Time) bool {
	if a.IsZero() || b.IsZero() {
		return a.IsZero() && !b.IsZero()
	}
	return a.After(b)
}

func (p *Set) chosen(ctx context.Context, see reader, snap *monitor.Snapshot, c *monitor.CookView, v *monitor.PieceView) (*chosen, error) {
	f := v.Forecast
	out := &chosen{Cook: c.Stored.ID, Piece: v.Piece, Key: fmt.Sprintf("%d/%s", c.Stored.ID, v.Piece.ID), Forecast: f, Known: v.Forecasted,
		Ready: "no usable reading yet", Serve: c.Stored.ServeBy, SetPoint: c.Stored.SetPointAt(see.Now()), Off: c.Stored.OffAt(v.Piece.ID)}
	out.Over = f.State == estimator.Ready || !out.Off.IsZero()
	out.PitNow = pitNow(see, snap, c)
	out.Clocks = see.clocksOf(snap, c.Stored.ID, v.Piece.ID)
	out.Raised, out.CanRaise = out.SetPoint+raise, out.SetPoint+raise <= hottest
	for _, e := range c.Stored.Events {
		if e.Piece == "" || e.Piece == v.Piece.ID {
			out.Marks = append(out.Marks, chart.Mark{Time: e.Time, What: see.EventName(e)})
			out.Wrapped = (out.Wrapped || e.Kind == cook.EventWrap) && e.Kind != cook.EventUnwrap
		}
	}
	if v.DangerZone > 0 && len(out.Clocks.Live) == 0 {
		out.Danger = when.Span(v.DangerZone)
	}
	if !v.Forecasted {
		return out, nil
	}
	out.Ready, out.Likely = see.Ready(f), f.Ready[3]
	if !f.Ready[1].IsZero() && !f.Ready[5].IsZero() {
		out.Wide = see.Range(f.Ready[1], f.Ready[5])
	}
	if !f.Ready[2].IsZero() && !f.Ready[4].IsZero() {
		out.Half = see.Range(f.Ready[2], f.Ready[4])
	}
	out.Chance = frame.Percent(v.ServeChance)
	if !math.IsNaN(f.WaterKg) && f.WaterKg > 0 {
		out.WaterLost = fmt.Sprintf("%.2f kg", f.WaterKg)
	}
	line, err := curve.Read(ctx, p.Shop, see.Reader, c, v, curve.Rows)
	if err != nil {
		return nil, err
	}
	out.Rows = curve.Table(see.Reader, line)
	return out, nil
}

func pitNow(see reader, snap *monitor.Snapshot, c *monitor.CookView) string {
	for _, probe := range snap.Probes {
		if c.Stored.Pit.OwnsProbe(probe.ID) && probe.Last.Quality == cook.Good && !probe.Silent {
			return see.Temp(probe.Last.Celsius)
		}
	}
	return ""
}

// logged finds the entry that the last form made.
func (s reader) logged(c *monitor.CookView, done string) *logged {
	id, err := strconv.ParseInt(done, 10, 64)
	if err != nil {
		return nil
	}
	i := slices.IndexFunc(c.Stored.Entries, func(e cook.Entry) bool { return e.ID == id })
	if i < 0 {
		return nil
	}
	e := c.Stored.Entries[i]
	what := s.EventName(e.Event)
	if e.Piece != "" {
		what = string(e.Piece) + " " + what
	}
	return &logged{Cook: c.Stored.ID, Entry: id, What: what + ", " + s.Clock(e.Time)}
}
