package lots

import (
	"net/http"
	"slices"
	"strconv"
	"strings"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/page/form"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
)

// formMaker makes the forms of one page, and puts what was typed back into the one that was not accepted.
type formMaker struct {
	lot   cook.LotID
	sign  frame.Sign
	tried *entryForm
	see   reader
}

func (p *Set) forms(r *http.Request, see reader, lot cook.LotID, tried *entryForm) formMaker {
	return formMaker{lot, p.Signing(r), tried, see}
}

// of makes an empty form, or gives the one that was not accepted.
func (m formMaker) of(id string, k record.Kind) entryForm {
	f := entryForm{ID: id, Lot: m.lot, Kind: k, Inputs: inputsOf(k), Sign: m.sign, see: m.see, Send: "Enter it"}
	switch k {
	case record.KindReview:
		f.Send = "Sign the review"
	case record.KindVerification:
		f.Send = "Sign the verification"
	case record.KindCorrectiveAction:
		f.Send = "Sign the corrective action"
	case record.KindClosed:
		f.Send = "Close the lot"
	}
	return m.again(f)
}

// again puts what was typed back.
func (m formMaker) again(f entryForm) entryForm {
	if m.tried != nil && m.tried.ID == f.ID {
		f.Typed, f.Wrong = m.tried.Typed, m.tried.Wrong
	}
	return f
}

func (m formMaker) list(kinds ...record.Kind) []entryForm {
	out := make([]entryForm, 0, len(kinds))
	for _, k := range kinds {
		out = append(out, m.of(string(k), k))
	}
	return out
}

// correcting makes the forms that correct and withdraw an entry.
func (m formMaker) correcting(e record.Entry) (correct, withdraw *entryForm) {
	n := strconv.FormatInt(e.Seq, 10)
	c := entryForm{ID: "correct" + n, Lot: e.Lot, Kind: e.Kind, Corrects: e.Seq, Inputs: inputsOf(e.Kind), Sign: m.sign, see: m.see, Typed: m.see.typedOf(e.Kind, e.Body), Send: "Enter the correction"}
	c.Typed.Set("at", e.At.In(m.see.Zone()).Format("2006-01-02T15:04:05"))
	x := entryForm{ID: "withdraw" + n, Lot: e.Lot, Kind: record.KindWithdrawal, Corrects: e.Seq, Sign: m.sign, see: m.see, Send: "It never happened"}
	c, x = m.again(c), m.again(x)
	return &c, &x
}

// postEntry makes an entry of a form. What is not accepted comes back with what was typed.
func (p *Set) postEntry(w http.ResponseWriter, r *http.Request) error {
	seq, err := p.enter(r)
	if err == nil {
		frame.ReturnTo(w, r, "done", strconv.FormatInt(seq, 10))
		return nil
	}
	said, err := frame.Refused(r, err)
	if err != nil {
		return err
	}
	tried := &entryForm{ID: r.PostForm.Get("form"), Typed: r.PostForm, Wrong: inLabels(record.Kind(r.PostForm.Get("kind")), said.Detail)}
	if n, err := strconv.ParseInt(r.PostForm.Get("corrects"), 10, 64); err == nil {
		tried.Corrects = n
	}
	if lot := r.PostForm.Get("lot"); lot != "" && strings.HasPrefix(r.PostForm.Get("back"), "/lots/") {
		r.SetPathValue("lot", lot)
		return p.lot(w, r, said.Status, tried, false)
	}
	return p.records(w, r, said.Status, tried)
}

func (p *Set) enter(r *http.Request) (int64, error) {
	typed, kind := r.PostForm, record.Kind(r.PostForm.Get("kind"))
	see := p.reader(r)
	d := record.Draft{Lot: cook.LotID(typed.Get("lot")), Reason: strings.TrimSpace(typed.Get("reason"))}
	var old record.Entry
	if text := typed.Get("corrects"); text != "" && text != "0" {
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			return 0, problem.Bad("entry %q is not a number", problem.Clip(text))
		}
		if old, err = p.Records.Entry(r.Context(), n); err != nil {
			return 0, shop.RecordError(err)
		}
		d.Corrects, d.At, d.Lot = n, old.At, old.Lot
	}
	if kind == record.KindKey {
		return 0, problem.Bad("a key is changed by stallkeeper records key --change")
	}
	body, err := see.bodyFrom(kind, typed, old.Body)
	if kind == record.KindWithdrawal {
		body, err = &record.Withdrawal{}, nil
	}
	if err != nil {
		return 0, err
	}
	d.Body = body
	if text := typed.Get("at"); text != "" {
		at, err := form.LocalTime(text, p.Location)
		if err != nil {
			return 0, err
		}
		if old.Seq == 0 || text != old.At.In(p.Location).Format("2006-01-02T15:04:05") { // not touched: the exact moment stays
			d.At = at
		}
	}
	if d.Maker, err = p.Signed(r); err != nil {
		return 0, err
	}
	entries, err := p.Records.Append(r.Context(), d)
	if err != nil {
		return 0, shop.RecordError(err)
	}
	return entries[0].Seq, nil
}

// recordsView is the journal with what is open.
type recordsView struct {
	Open    []deviationView
	Waiting []lotLine // closed, and nobody has reviewed them since
	Entries []entryView
	Older   int64
	Lot     string
	Kind    string
	Kinds   []record.Kind
	Add     []entryForm
	Signed  signedView
	Tried   *entryForm // what was not accepted
	Done    int64
	Keys    []record.Key
}

const recordsPage = 50

func (p *Set) getRecords(w http.ResponseWriter, r *http.Request) error {
	return p.records(w, r, http.StatusOK, nil)
}

func (p *Set) records(w http.ResponseWriter, r *http.Request, status int, tried *entryForm) error {
	see := p.reader(r)
	f := p.forms(r, see, "", tried)
	v := recordsView{Tried: tried, Kinds: record.Kinds(), Lot: strings.TrimSpace(r.URL.Query().Get("lot")), Kind: r.URL.Query().Get("kind")}
	if done, err := strconv.ParseInt(r.URL.Query().Get("done"), 10, 64); err == nil {
		v.Done = done
	}
	if err := p.openDeviations(r, &v, f); err != nil {
		return err
	}
	lots, _, err := p.Records.Lots(r.Context(), 0, 30, false)
	if err != nil {
		return err
	}
	for _, l := range lots {
		if line := lotLineOf(l); !l.Running() && !line.Reviewed {
			v.Waiting = append(v.Waiting, line)
		}
	}
	if err := p.journal(r, &v, f, tried); err != nil {
		return err
	}
	if v.Signed, err = p.signed(r.Context(), &record.Lot{}); err != nil {
		return err
	}
	if v.Keys, err = p.Records.Keys(r.Context()); err != nil {
		return err
	}
	v.Add = f.list(record.KindMonitoring, record.KindDeviation, record.KindNote)
	return p.Render(w, r, status, "records", frame.View{Reader: see.Reader, Title: "Records", Here: "records", Back: "/records", Body: v})
}

// openDeviations finds every deviation without an answer, of every lot and of the shop. Few kinds suffice to tell.
func (p *Set) openDeviations(r *http.Request, v *recordsView, f formMaker) error {
	lots, err := p.FoldByLot(r.Context(), record.KindDeviation, record.KindCorrectiveAction, record.KindWithdrawal)
	if err != nil {
		return err
	}
	for _, l := range lots {
		f.lot = l.ID
		for _, d := range l.OpenDeviations() {
			one := deviationViewOf(d, f, p.Location)
			v.Open = append(v.Open, one)
		}
	}
	slices.SortFunc(v.Open, func(a, b deviationView) int { return int(a.Seq - b.Seq) })
	return nil
}

// journal reads one page of entries, newest first.
func (p *Set) journal(r *http.Request, v *recordsView, f formMaker, tried *entryForm) error {
	ask := record.Query{Newest: true, Limit: recordsPage + 1}
	if v.Lot != "" {
		id := cook.LotID(v.Lot)
		ask.Lot = &id
	}
	if v.Kind != "" {
		if !slices.Contains(record.Kinds(), record.Kind(v.Kind)) {
			return problem.Bad("kind %q is not known", problem.Clip(v.Kind))
		}
		ask.Kinds = []record.Kind{record.Kind(v.Kind)}
	}
	if text := r.URL.Query().Get("before"); text != "" {
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			return problem.Bad("before is not a number")
		}
		ask.After = n
	}
	entries, err := p.Records.Entries(r.Context(), ask)
	if err != nil {
		return err
	}
	if len(entries) > recordsPage {
		entries = entries[:recordsPage]
		v.Older = entries[recordsPage-1].Seq
	}
	replaced, err := p.replacedOf(r, entries)
	if err != nil {
		return err
	}
	v.Entries, err = entryViews(replaced, entries, f, correctAsked(r, tried), p.Location)
	return err
}

// replacedOf knows which of the entries later ones correct: corrections stand behind what they correct.
func (p *Set) replacedOf(r *http.Request, entries []record.Entry) (*record.Lot, error) {
	if len(entries) == 0 {
		return &record.Lot{}, nil
	}
	var later []record.Entry
	after := entries[len(entries)-1].Seq
	for {
		list, err := p.Records.Entries(r.Context(), record.Query{After: after, Limit: 1000})
		if err != nil {
			return nil, err
		}
		for _, e := range list {
			if e.Corrects != 0 {
				later = append(later, e)
			}
		}
		if len(list) < 1000 {
			break
		}
		after = list[len(list)-1].Seq
	}
	return record.Fold(later)
}
