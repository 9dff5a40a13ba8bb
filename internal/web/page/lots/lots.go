package lots

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
)

// lotsView is the list of lots, and the form that opens one.
type lotsView struct {
	Lots    []lotLine
	Older   int64
	Running bool // only those whose work goes on
	Open    openForm
}

// lotLine is a lot at a glance.
type lotLine struct {
	*record.Lot
	Open     int // deviations without an answer
	Reviewed bool
	Stays    bool // the review says that it does not leave
}

func lotLineOf(l *record.Lot) lotLine {
	review, holds := l.Review()
	return lotLine{l, len(l.OpenDeviations()), holds, holds && !review.Body.Ship}
}

// openForm opens a lot.
type openForm struct {
	Typed   url.Values
	Wrong   string
	Sign    frame.Sign
	Classes []string
	Cuts    []string
}

// Get is what was typed.
func (f openForm) Get(name string) string { return f.Typed.Get(name) }

func (p *Set) getLots(w http.ResponseWriter, r *http.Request) error {
	return p.lots(w, r, http.StatusOK, openForm{})
}

func (p *Set) lots(w http.ResponseWriter, r *http.Request, status int, f openForm) error {
	before, err := strconv.ParseInt("0"+r.URL.Query().Get("before"), 10, 64)
	if err != nil {
		return problem.Bad("before is not a number")
	}
	v := lotsView{Running: r.URL.Query().Get("running") != "", Open: f}
	v.Open.Sign, v.Open.Classes, v.Open.Cuts = p.Signing(r), classes(), cook.Cuts()
	lots, older, err := p.Records.Lots(r.Context(), before, 30, v.Running)
	if err != nil {
		return err
	}
	v.Older = older
	for _, l := range lots {
		v.Lots = append(v.Lots, lotLineOf(l))
	}
	return p.Render(w, r, status, "lots", frame.View{Title: "Lots", Here: "lots", Body: v})
}

// postLot opens a lot.
func (p *Set) postLot(w http.ResponseWriter, r *http.Request) error {
	id, err := p.openLot(r)
	if err == nil {
		http.Redirect(w, r, "/lots/"+url.PathEscape(string(id)), http.StatusSeeOther)
		return nil
	}
	said, err := frame.Refused(r, err)
	if err != nil {
		return err
	}
	return p.lots(w, r, said.Status, openForm{Typed: r.PostForm, Wrong: said.Detail})
}

func (p *Set) openLot(r *http.Request) (cook.LotID, error) {
	see := p.reader(r)
	body := record.Opened{Product: r.FormValue("product"), Code: r.FormValue("code"), Class: record.Class(r.FormValue("class")), Note: r.FormValue("note")}
	if id := r.FormValue("piece"); id != "" {
		piece, err := see.bodyFrom(record.KindPiece, url.Values{"id": {id}, "cut": {r.FormValue("cut")}, "thickness_mm": {r.FormValue("thickness_mm")}, "intact": {r.FormValue("intact")}}, nil)
		if err != nil {
			return "", err
		}
		if one, ok := piece.(*record.Piece); ok {
			body.Pieces = append(body.Pieces, *one)
		}
	}
	who, err := p.Signed(r)
	if err != nil {
		return "", err
	}
	draft := record.Draft{Lot: cook.LotID(strings.TrimSpace(r.FormValue("id"))), Maker: who, Body: body}
	return p.OpenLot(r.Context(), draft, body.Product, p.Now())
}

// lotView is everything about one lot.
type lotView struct {
	*record.Lot
	Line     lotLine
	Standing []record.Point
	Answers  []deviationView
	Said     []entryView
	Add      []entryForm
	Second   []entryForm // what somebody else than the makers enters
	Signed   signedView
	Verified *record.Report // of a verification that was just asked for
	Tried    *entryForm     // what was not accepted
	Done     int64
	Keep     time.Time
}

// deviationView is a deviation, what answers it, or the form that asks for that.
type deviationView struct {
	record.DeviationState
	What   []record.Said
	Answer []record.Said
	Form   *entryForm
}

// entryView is an entry in words.
type entryView struct {
	record.Entry
	Said     []record.Said
	Replaced int64
	Correct  *entryForm // asked for
	Withdraw *entryForm
	May      bool // it can be corrected
}

// signedView says how far the newest checkpoint reaches.
type signedView struct {
	Known      bool
	Checkpoint record.Checkpoint
	Behind     int // entries of the lot that it does not cover yet
}

func (p *Set) getLot(w http.ResponseWriter, r *http.Request) error {
	return p.lot(w, r, http.StatusOK, nil, false)
}

// postVerify looks at the lot's records as they would be exported, and shows what it found.
func (p *Set) postVerify(w http.ResponseWriter, r *http.Request) error {
	return p.lot(w, r, http.StatusOK, nil, true)
}

// lot shows a lot; tried is a form that was not accepted.
func (p *Set) lot(w http.ResponseWriter, r *http.Request, status int, tried *entryForm, verify bool) error {
	l, err := p.Records.Lot(r.Context(), cook.LotID(r.PathValue("lot")))
	if err != nil {
		return err
	}
	see := p.reader(r)
	v := lotView{Lot: l, Tried: tried, Line: lotLineOf(l), Standing: l.Standing(p.Location), Keep: l.KeepUntil(p.KeepYears)}
	if done, err := strconv.ParseInt(r.URL.Query().Get("done"), 10, 64); err == nil {
		v.Done = done
	}
	if v.Signed, err = p.signed(r.Context(), l); err != nil {
		return err
	}
	if verify {
		if v.Verified, err = p.verify(r.Context(), l.ID); err != nil {
			return err
		}
	}
	f := p.forms(r, see, l.ID, tried)
	for _, d := range l.Deviations {
		v.Answers = append(v.Answers, deviationViewOf(d, f, p.Location))
	}
	if v.Said, err = entryViews(l, l.Entries, f, correctAsked(r, tried), p.Location); err != nil {
		return err
	}
	v.Add = f.list(record.KindMonitoring, record.KindDeviation, record.KindWeighed, record.KindRawMaterial, record.KindPiece, record.KindNote, record.KindChanged)
	if l.Running() {
		v.Add = append(v.Add, f.of("closed", record.KindClosed))
	} else {
		v.Add = slicesWithout(v.Add, record.KindPiece)
	}
	v.Second = f.list(record.KindVerification, record.KindReview)
	return p.Render(w, r, status, "lot", frame.View{Reader: see.Reader, Title: "Lot " + string(l.ID), Here: "lots", Back: "/lots/" + url.PathEscape(string(l.ID)), Body: v})
}

func slicesWithout(list []entryForm, k record.Kind) []entryForm {
	var out []entryForm
	for _, f := range list {
		if f.Kind != k {
			out = append(out, f)
		}
	}
	return out
}

// correctAsked is the number of the entry whose form is to be shown.
func correctAsked(r *http.Request, tried *entryForm) int64 {
	if tried != nil && tried.Corrects != 0 {
		return tried.Corrects
	}
	n, err := strconv.ParseInt(r.URL.Query().Get("correct"), 10, 64)
	if err != nil {
		return 0
	}
	return n
}

func deviationViewOf(d record.DeviationState, f formMaker, in *time.Location) deviationView {
	v := deviationView{DeviationState: d, What: record.Tell(&d.Body, in)}
	if d.Action != nil {
		v.Answer = record.Tell(&d.Action.Body, in)
		return v
	}
	form := f.of("answer"+strconv.FormatInt(d.Seq, 10), record.KindCorrectiveAction)
	form.Deviation = d.Seq
	v.Form = &form
	return v
}

// entryViews puts entries into words, and the form that corrects one of them under it.
func entryViews(l *record.Lot, entries []record.Entry, f formMaker, correct int64, in *time.Location) ([]entryView, error) {
	out := make([]entryView, 0, len(entries))
	for _, e := range entries {
		body, err := e.Decode()
		if err != nil {
			return nil, err
		}
		v := entryView{Entry: e, Said: record.Tell(body, in), Replaced: l.Replaced(e.Seq)}
		v.May = v.Replaced == 0 && e.Kind != record.KindWithdrawal && e.Kind != record.KindKey
		if v.May && correct == e.Seq {
			v.Correct, v.Withdraw = f.correcting(e)
		}
		out = append(out, v)
	}
	return out, nil
}

// signed says how far checkpoints cover a lot.
func (p *Set) signed(ctx context.Context, l *record.Lot) (signedView, error) {
	list, err := p.Records.Checkpoints(ctx, 1)
	if err != nil || len(list) == 0 {
		return signedView{}, err
	}
	v := signedView{Known: true, Checkpoint: list[len(list)-1]}
	for _, e := range l.Entries {
		if e.Seq > v.Checkpoint.Seq {
			v.Behind++
		}
	}
	return v, nil
}

func (p *Set) verify(ctx context.Context, id cook.LotID) (*record.Report, error) {
	x, err := p.Records.Export(ctx, id)
	if err != nil {
		return nil, shop.RecordError(err)
	}
	return x.Verify(nil)
}
