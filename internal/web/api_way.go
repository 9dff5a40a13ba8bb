package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/plan"
	"stallkeeper/internal/record"
)

// stageMove ends what runs for a piece, or for the whole lot, and starts the next stage, in one step.
type stageMove struct {
	To     cook.Stage     `json:"to,omitempty"` // empty: only end what runs
	Piece  cook.PieceID   `json:"piece,omitempty"`
	At     time.Time      `json:"at,omitzero"`
	Probes []cook.ProbeID `json:"probes,omitempty"`
	Cook   cook.ID        `json:"cook,omitempty"`
	Note   string         `json:"note,omitempty"`
}

// movedDoc is what a move entered.
type movedDoc struct {
	Entries []entryDoc `json:"entries"`
	Warning string     `json:"warning,omitempty"`
}

func (api *API) postLotStage(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		signature
		stageMove
	}
	if err := take(r, &in, false); err != nil {
		return err
	}
	who, auth, err := api.opts.Sign(r, in.signature)
	if err != nil {
		return err
	}
	entries, warning, err := api.opts.moveStage(r.Context(), cook.LotID(r.PathValue("lot")), in.stageMove, who, auth)
	if err != nil {
		return err
	}
	doc := movedDoc{Warning: warning}
	for _, e := range entries {
		doc.Entries = append(doc.Entries, entryDocOf(e))
	}
	return api.give(w, r, http.StatusCreated, doc)
}

// moveStage enters the end of what runs and the beginning of the next stage, all or nothing. The warning is in words, and empty where all is well.
func (o Shop) moveStage(ctx context.Context, id cook.LotID, m stageMove, by string, auth record.Auth) (entries []record.Entry, warning string, err error) {
	lot, err := o.Records.Lot(ctx, id)
	if err != nil {
		return nil, "", recordError(err)
	}
	drafts, err := stageEnds(lot, m)
	if err != nil {
		return nil, "", err
	}
	if m.To != "" {
		start := record.StageStarted{Stage: m.To, Piece: m.Piece, Probes: m.Probes, Cook: m.Cook, Note: m.Note}
		if m.Cook != 0 {
			if start.Probes, err = o.cookProbes(ctx, lot, m); err != nil {
				return nil, "", err
			}
		}
		if len(start.Probes) == 0 {
			warning = "no probe watches this stage: name one, or enter its temperatures by hand"
		}
		drafts = append(drafts, record.Draft{Body: start})
	}
	if len(drafts) == 0 {
		return nil, "", refused(http.StatusConflict, "Conflict", "no stage runs that could be ended: say to which stage it goes")
	}
	for i := range drafts {
		drafts[i].Lot, drafts[i].At, drafts[i].By, drafts[i].Auth = id, m.At, by, auth
	}
	if entries, err = o.Records.Append(ctx, drafts...); err != nil {
		return nil, "", recordError(err)
	}
	return entries, warning, nil
}

// stageEnds are the ends of the stages that run: of the piece, or of everything in the lot.
func stageEnds(lot *record.Lot, m stageMove) ([]record.Draft, error) {
	var out []record.Draft
	for _, run := range lot.Stages {
		switch {
		case !run.Until.IsZero():
		case m.Piece != "" && run.Piece == "":
			return nil, refused(http.StatusConflict, "Conflict", fmt.Sprintf("stage %s runs for the whole lot: move the whole lot, or end it first and start stages by piece", run.Stage))
		case m.Piece == "" || run.Piece == m.Piece:
			out = append(out, record.Draft{Body: record.StageEnded{Stage: run.Stage, Piece: run.Piece}})
		}
	}
	return out, nil
}

// cookProbes are the probes of the cook that a smoking is, where none are named.
func (o Shop) cookProbes(ctx context.Context, lot *record.Lot, m stageMove) ([]cook.ProbeID, error) {
	stored, err := o.Library.Cook(ctx, m.Cook)
	if errors.Is(err, cook.ErrNotFound) {
		return nil, refused(http.StatusNotFound, "Not found", fmt.Sprintf("cook %d is not known: light the fire first, or leave the cook out", m.Cook))
	}
	if err != nil || len(m.Probes) > 0 {
		return m.Probes, err
	}
	var out []cook.ProbeID
	for i := range stored.Pieces {
		if p := &stored.Pieces[i]; inLot(lot, &stored.Cook, m.Piece, p.ID) {
			out = append(out, p.ProbeIDs()...)
		}
	}
	return out, nil
}

// inLot reports whether a piece of a cook is the one that a stage names, or one of the lot where it names none. A cook of one piece, and one
// whose pieces bear other names than the lot's, is all of it.
func inLot(lot *record.Lot, c *cook.Cook, named, id cook.PieceID) bool {
	if named != "" {
		return id == named || len(c.Pieces) == 1
	}
	shared := slices.ContainsFunc(c.Pieces, func(p cook.Piece) bool { _, ok := lot.Piece(p.ID); return ok })
	_, ok := lot.Piece(id)
	return ok || !shared
}

// Moment is one line of a lot's timeline.
type Moment struct {
	At    time.Time    `json:"at"`
	Until *time.Time   `json:"until,omitempty"`
	What  string       `json:"what"`
	Text  string       `json:"text"`
	Piece cook.PieceID `json:"piece,omitempty"`
	By    string       `json:"by,omitempty"`
	Entry int64        `json:"entry,omitempty"` // of the journal
	Cook  cook.ID      `json:"cook,omitempty"`  // where it was logged in a cook
}

// timeline is the whole way of a lot, from its opening to the freezer: the entries that hold, and what was logged in its cooks.
func (o Shop) timeline(ctx context.Context, lot *record.Lot) ([]Moment, error) {
	var out []Moment
	for _, e := range lot.Entries {
		if lot.Replaced(e.Seq) != 0 || e.Kind == record.KindWithdrawal || e.Kind == record.KindStageEnded {
			continue
		}
		body, err := e.Decode()
		if err != nil {
			return nil, err
		}
		m := Moment{At: e.At.UTC(), What: e.Kind.KindName(), By: e.By, Entry: e.Seq}
		if start, ok := body.(*record.StageStarted); ok {
			m.What, m.Piece, m.Cook = string(start.Stage), start.Piece, start.Cook
			m.Until = stageUntil(lot, e.Seq)
		}
		for i, said := range record.Tell(body, o.Location) {
			if i > 0 {
				m.Text += "; "
			}
			m.Text += said.Name + " " + said.Text
		}
		out = append(out, m)
	}
	for _, run := range lot.Stages {
		if run.Cook == 0 {
			continue
		}
		events, err := o.cookMoments(ctx, lot, run)
		if err != nil {
			return nil, err
		}
		out = append(out, events...)
	}
	slices.SortStableFunc(out, func(a, b Moment) int { return a.At.Compare(b.At) })
	return out, nil
}

func stageUntil(lot *record.Lot, seq int64) *time.Time {
	for _, run := range lot.Stages {
		if run.Seq == seq {
			return orNull(run.Until)
		}
	}
	return nil
}

// cookMoments are the events of a cook that concern the meat of the stage.
func (o Shop) cookMoments(ctx context.Context, lot *record.Lot, run record.StageRun) ([]Moment, error) {
	stored, err := o.Library.Cook(ctx, run.Cook)
	if errors.Is(err, cook.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var out []Moment
	for _, e := range stored.Events {
		if e.Piece == "" || inLot(lot, &stored.Cook, run.Piece, e.Piece) {
			out = append(out, Moment{At: e.Time.UTC(), What: string(e.Kind), Text: eventText(e), Piece: e.Piece, Cook: run.Cook})
		}
	}
	return out, nil
}

func eventText(e cook.Event) string {
	switch e.Kind {
	case cook.EventWrap:
		return "wrapped in " + e.With
	case cook.EventSetPoint:
		return "pit set to " + record.Degrees(e.Celsius)
	}
	return ""
}

func (api *API) getLotTimeline(w http.ResponseWriter, r *http.Request) error {
	lot, err := api.opts.Records.Lot(r.Context(), cook.LotID(r.PathValue("lot")))
	if err != nil {
		return err
	}
	rows, err := api.opts.timeline(r.Context(), lot)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, struct {
		Timeline []Moment `json:"timeline"`
	}{append([]Moment{}, rows...)})
}

// lotProgress notes how far the pieces of an order have come by the stages of its lot. Where a piece smokes, its cook is
// given back, if the stage names one.
func lotProgress(lot *record.Lot, order plan.Order, now time.Time, progress map[cook.PieceID]plan.Progress) (smokes cook.ID) {
	named := order.Named()
	for _, p := range named {
		var newest *record.StageRun
		for i := range lot.Stages {
			run := &lot.Stages[i]
			same := run.Piece == "" || run.Piece == p.ID || len(named) == 1 && len(lot.Pieces) <= 1
			if same && !run.From.After(now) && (newest == nil || !run.From.Before(newest.From)) {
				newest = run
			}
		}
		if newest == nil {
			continue
		}
		if newest.Stage == cook.StageSmoke && newest.Cook != 0 {
			smokes = newest.Cook
		}
		progress[p.ID] = plan.OfStage(newest.Stage, newest.From)
		if !newest.Until.IsZero() && !newest.Until.After(now) {
			progress[p.ID] = plan.AfterStage(newest.Stage, newest.Until)
		}
	}
	return smokes
}

// planOfLot plans what is left of a lot: by the plan that its journal names, or the newest that was kept for it.
func (o Shop) planOfLot(ctx context.Context, lot *record.Lot, serve time.Time) (plan.Plan, error) {
	order, err := o.orderOfLot(ctx, lot)
	if err != nil {
		return plan.Plan{}, err
	}
	if !serve.IsZero() {
		order.Serve = serve
	}
	return o.standing(ctx, order)
}

func (o Shop) orderOfLot(ctx context.Context, lot *record.Lot) (order plan.Order, err error) {
	var kept cook.KeptPlan
	if n := len(lot.Plans); n > 0 {
		if kept, err = o.Papers.Plan(ctx, lot.Plans[n-1].Body.Plan); err != nil {
			return order, err
		}
	} else {
		plans, err := o.Papers.Plans(ctx, cook.PlanQuery{Lot: lot.ID, Limit: 1})
		if err != nil {
			return order, err
		}
		if len(plans) == 0 {
			return order, refused(http.StatusNotFound, "Not found", "no plan is kept for this lot: make one and name the lot in it")
		}
		kept = plans[0]
	}
	order, err = orderOf(kept)
	order.Lot = lot.ID
	return order, err
}

func (api *API) getLotPlan(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "serve", "format")
	serve, format := q.time("serve"), q.values.Get("format")
	if err := q.err(); err != nil {
		return err
	}
	lot, err := api.opts.Records.Lot(r.Context(), cook.LotID(r.PathValue("lot")))
	if err != nil {
		return err
	}
	made, err := api.opts.planOfLot(r.Context(), lot, serve)
	if err != nil {
		return err
	}
	return api.answerPlan(w, r, format, string(lot.ID), made)
}

// yieldDoc is the yield of a lot, with what others printed and what earlier lots of the product gave.
type yieldDoc struct {
	record.Yield
	Published []record.Published `json:"published"`
	History   *historyDoc        `json:"history"` // null when no earlier lot of the product was weighed
}

// historyDoc is the range of an own history: cooked over trimmed, and the last step over raw.
type historyDoc struct {
	Lots    int     `json:"lots"`
	Low     float64 `json:"low"`
	Median  float64 `json:"median"`
	High    float64 `json:"high"`
	Against string  `json:"against"`
}

// historyLots is how many earlier lots are looked at.
const historyLots = 100

func (o Shop) yieldOf(ctx context.Context, lot *record.Lot) (yieldDoc, error) {
	doc := yieldDoc{Yield: lot.Yield(), Published: []record.Published{}}
	for _, p := range lot.Pieces {
		if list := record.PublishedYields(p.Cut); len(doc.Published) == 0 {
			doc.Published = append(doc.Published, list...)
		}
	}
	others, _, err := o.Records.Lots(ctx, 0, historyLots, false)
	if err != nil {
		return doc, err
	}
	from, to := record.WhenTrimmed, record.WhenSmoked
	if doc.Of(from, to) == 0 {
		from, to = record.WhenRaw, doc.Last
	}
	var shares []float64
	for _, l := range others {
		if l.ID != lot.ID && l.Product == lot.Product {
			if of := l.Yield().Of(from, to); of > 0 {
				shares = append(shares, of)
			}
		}
	}
	if n := len(shares); n > 0 {
		slices.Sort(shares)
		doc.History = &historyDoc{n, shares[0], shares[n/2], shares[n-1], fmt.Sprintf("%s over %s", to, from)}
	}
	return doc, nil
}

func (api *API) getLotYield(w http.ResponseWriter, r *http.Request) error {
	lot, err := api.opts.Records.Lot(r.Context(), cook.LotID(r.PathValue("lot")))
	if err != nil {
		return err
	}
	doc, err := api.opts.yieldOf(r.Context(), lot)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, doc)
}

// orNull is a time in JSON: null when there is none.
func orNull(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC()
	return &t
}
