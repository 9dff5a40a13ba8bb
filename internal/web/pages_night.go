package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
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

// quiet is the sentence at the top.
type quiet struct {
	Class string // "calm", "needed" or "unsure"
	Head  string
	Time  time.Time // set when Head ends with a time
	Why   string
}

func (s reader) quiet(snap *monitor.Snapshot) quiet {
	q := snap.QuietUntil
	soon := q.Until.Sub(s.now) < time.Minute
	if n := loud(snap.Alarms); n > 0 {
		out := quiet{Class: "needed", Head: "You are needed now", Why: "The alarm below says for what."}
		if n > 1 {
			out.Why = fmt.Sprintf("The %d alarms below say for what.", n)
		}
		if q.Known && !soon {
			out.Why += fmt.Sprintf(" After that, probably nothing until %s: %s", s.Clock(q.Until), ended(q.Because))
		}
		return out
	}
	switch {
	case allOff(snap.Cooks):
		return quiet{Class: "calm", Head: "Everything is off the fire", Why: "End the cook when you like: the watch stops then, the record stays."}
	case !q.Known:
		return quiet{Class: "unsure", Head: "No quiet time can be promised", Why: sentence(q.Because)}
	case soon:
		return quiet{Class: "needed", Head: "You may be needed any moment", Why: sentence(q.Because)}
	}
	return quiet{Class: "calm", Head: "Quiet until", Time: q.Until, Why: sentence(q.Because)}
}

// allOff reports whether cooks run and every piece of theirs has been taken off.
func allOff(cooks []monitor.CookView) bool {
	for i := range cooks {
		for _, v := range cooks[i].Pieces {
			if takenOff(&cooks[i].Stored, v.Piece.ID).IsZero() {
				return false
			}
		}
	}
	return len(cooks) > 0
}

// title is the sentence for the name of a browser's tab.
func (q quiet) title(see reader) string {
	if q.Time.IsZero() {
		return q.Head
	}
	return q.Head + " " + see.Hour(q.Time)
}

// loud counts the alarms that want somebody within minutes.
func loud(alarms []alarm.Alarm) int {
	n := 0
	for _, a := range alarms {
		if a.State == alarm.Active && (a.Priority == alarm.High || a.Priority == alarm.Medium) {
			n++
		}
	}
	return n
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
	Marks     []mark
	Rows      []curveRow
	CanRaise  bool
	Raised    thermal.Celsius
	WaterLost string
}

// mark is an event beside the curve.
type mark struct {
	Time time.Time
	What string
}

// asked is a what-if and its answer.
type asked struct {
	Label  string
	Do     string // the value that logs it
	Ready  string
	Likely time.Time
	Effect string
	Chance string
	Costs  string
	Failed string

	forecast estimator.Forecast
}

// logged is what a person just logged, so that it can be taken back.
type logged struct {
	Cook  cook.ID
	Entry int64
	What  string
}

func (p *pageSet) night(w http.ResponseWriter, r *http.Request) error {
	snap := p.View.Snapshot()
	see := readerOf(r, p.moment(&snap), p.Location)
	body := nightView{Quiet: see.quiet(&snap)}
	if snap.Intake.Trouble != "" {
		body.Trouble = append(body.Trouble, snap.Intake.Trouble)
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
		return p.render(w, r, http.StatusOK, "night", page{reader: see, Title: "Watch", Here: "watch", Body: body})
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
		body.showBand(key, cookAxis(c, see.now))
	}
	body.Done = see.logged(c, r.FormValue("done"))
	view := page{reader: see, Title: body.Quiet.title(see), Here: "watch", Back: "/?piece=" + key, Body: body}
	return p.render(w, r, http.StatusOK, "night", view)
}

func (p *pageSet) cookLanes(ctx context.Context, c *monitor.CookView, see reader, key string) (lanes, error) {
	past := map[cook.PieceID][]stretch{}
	for _, v := range c.Pieces {
		stages, err := p.trails.of(ctx, p.Library, c.Stored.ID, v.Piece.ID, see.now)
		if err != nil {
			return lanes{}, err
		}
		past[v.Piece.ID] = stages
	}
	return p.lanesOf(c, see, key, past), nil
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

// raise is how much hotter the what-if sets the pit, and hottest the setpoint above which it is not offered.
const (
	raise   thermal.Celsius = 10
	hottest thermal.Celsius = 150
)

func (p *pageSet) chosen(ctx context.Context, see reader, snap *monitor.Snapshot, c *monitor.CookView, v *monitor.PieceView) (*chosen, error) {
	f := v.Forecast
	out := &chosen{Cook: c.Stored.ID, Piece: v.Piece, Key: fmt.Sprintf("%d/%s", c.Stored.ID, v.Piece.ID), Forecast: f, Known: v.Forecasted,
		Ready: "no usable reading yet", Serve: c.Stored.ServeBy, SetPoint: c.Stored.SetPointAt(see.now), Off: takenOff(&c.Stored, v.Piece.ID)}
	out.Over = f.State == estimator.Ready || !out.Off.IsZero()
	out.PitNow = pitNow(see, snap, c)
	out.Raised, out.CanRaise = out.SetPoint+raise, out.SetPoint+raise <= hottest
	for _, e := range c.Stored.Events {
		if e.Piece == "" || e.Piece == v.Piece.ID {
			out.Marks = append(out.Marks, mark{Time: e.Time, What: see.eventName(e)})
			out.Wrapped = (out.Wrapped || e.Kind == cook.EventWrap) && e.Kind != cook.EventUnwrap
		}
	}
	if v.DangerZone > 0 {
		out.Danger = span(v.DangerZone)
	}
	if !v.Forecasted {
		return out, nil
	}
	out.Ready, out.Likely = see.ready(f), f.Ready[3]
	if !f.Ready[1].IsZero() && !f.Ready[5].IsZero() {
		out.Wide = see.Range(f.Ready[1], f.Ready[5])
	}
	if !f.Ready[2].IsZero() && !f.Ready[4].IsZero() {
		out.Half = see.Range(f.Ready[2], f.Ready[4])
	}
	out.Chance = percent(v.ServeChance)
	if !math.IsNaN(f.WaterKg) && f.WaterKg > 0 {
		out.WaterLost = fmt.Sprintf("%.2f kg", f.WaterKg)
	}
	curve, err := p.readCurve(ctx, see, c, v, tableRows)
	if err != nil {
		return nil, err
	}
	out.Rows = curve.rows(see)
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

// ask answers a what-if; nil when nothing was asked.
func (p *pageSet) ask(ctx context.Context, see reader, c *monitor.CookView, v *monitor.PieceView, what string) *asked {
	e := cook.Event{Time: cook.Instant(p.Now()), Piece: v.Piece.ID}
	a := asked{}
	switch what {
	case "foil", "paper":
		e.Kind, e.With = cook.EventWrap, what
		a.Label, a.Do = "it is wrapped in "+what+" now", "wrap "+what
		a.Costs = "A wrap softens the bark and cannot be undone."
	case "hotter":
		e.Kind, e.Celsius, e.Piece = cook.EventSetPoint, c.Stored.SetPointAt(see.now)+raise, ""
		if e.Celsius > hottest {
			return nil
		}
		a.Label, a.Do = "the pit is set to "+see.Mark(e.Celsius)+" now", "setpoint "+strconv.FormatFloat(float64(e.Celsius), 'f', -1, 64)
		a.Costs = "A hotter pit dries the surface more, and every piece on it feels it."
	default:
		return nil
	}
	f, err := p.Desk.WhatIf(ctx, c.Stored.ID, v.Piece.ID, []cook.Event{e})
	if err != nil {
		a.Failed = sentence(err.Error())
		return &a
	}
	a.Ready, a.Likely = see.ready(f), f.Ready[3]
	a.Effect = effect(v.Forecast.Ready[3], f.Ready[3])
	a.Chance = percent(chanceBy(f, c.Stored.ServeBy))
	a.forecast = f
	return &a
}

// showBand draws the asked band into the piece's lane.
func (n *nightView) showBand(key string, a axis) {
	for i := range n.Cooks {
		for j := range n.Cooks[i].Lanes {
			if l := &n.Cooks[i].Lanes[j]; l.Key == key && n.Asked.Failed == "" {
				w := a.window(n.Asked.forecast.Ready)
				l.If = &w
			}
		}
	}
}

func effect(now, then time.Time) string {
	if now.IsZero() || then.IsZero() {
		return ""
	}
	d := now.Sub(then)
	switch {
	case d > 5*time.Minute:
		return "about " + span(d) + " sooner"
	case d < -5*time.Minute:
		return "about " + span(-d) + " later"
	}
	return "hardly any change"
}

// chanceBy is the share of scenarios that are ready by t; not a number without t or scenarios.
func chanceBy(f estimator.Forecast, t time.Time) float64 {
	if t.IsZero() || len(f.Draws) == 0 {
		return math.NaN()
	}
	n := 0
	for _, d := range f.Draws {
		if !d.Ready.IsZero() && !d.Ready.After(t) {
			n++
		}
	}
	return float64(n) / float64(len(f.Draws))
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
	what := s.eventName(e.Event)
	if e.Piece != "" {
		what = string(e.Piece) + " " + what
	}
	return &logged{Cook: c.Stored.ID, Entry: id, What: what + ", " + s.Clock(e.Time)}
}

// firstRun is what a person sees who has not started a cook: what arrives, what does not, and what to do.
type firstRun struct {
	Broker     string
	Host, Port string
	Intake     monitor.IntakeView
	Verdict    string
	Probes     []monitor.ProbeView
	Refused    []cook.Quarantined
}

func (p *pageSet) firstRun(ctx context.Context, see reader, snap *monitor.Snapshot) (*firstRun, error) {
	refused, err := p.Library.Quarantine(ctx, 0, 5)
	if err != nil {
		return nil, err
	}
	f := &firstRun{Broker: p.Broker, Intake: snap.Intake, Probes: snap.Probes, Refused: refused}
	if at, err := url.Parse(p.Broker); err == nil {
		f.Broker, f.Host, f.Port = at.Scheme+"://"+at.Host, at.Hostname(), at.Port() // without user and password
	}
	f.Verdict = verdict(snap.Intake, len(snap.Probes), len(refused))
	return f, nil
}

// verdict says what is wrong while nothing arrives.
func verdict(in monitor.IntakeView, probes, refused int) string {
	switch {
	case in.Trouble != "":
		return sentence(in.Trouble)
	case !in.Connected:
		return "The broker does not answer: nothing can arrive until it does."
	case probes > 0:
		return ""
	case refused > 0:
		return "Messages come, but none could be read. The reasons stand below."
	case in.Clients == 0:
		return "No client has connected yet. Publish the line above from this machine."
	}
	return "A client is connected but has published nothing under stallkeeper/reading/. Check its topic."
}
