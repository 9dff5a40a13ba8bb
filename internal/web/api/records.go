package api

import (
	"encoding/json"
	"net/http"
	"slices"
	"strconv"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
)

// exportTimeout bounds the export of all records. Choice of this project.
const exportTimeout = 5 * time.Minute

// newRecord is an entry as it is sent.
type newRecord struct {
	visitor.Signature
	Lot      cook.LotID      `json:"lot,omitempty"`
	Kind     record.Kind     `json:"kind"`
	At       time.Time       `json:"at,omitzero"`
	Body     json.RawMessage `json:"body"`
	Corrects int64           `json:"corrects,omitempty"`
	Reason   string          `json:"reason,omitempty"`
}

func (api *API) postRecord(w http.ResponseWriter, r *http.Request) error {
	var in newRecord
	if err := take(r, &in, false); err != nil {
		return err
	}
	if in.Kind == record.KindKey {
		return problem.Bad("a key is changed by POST /api/v1/records/key")
	}
	body, err := record.Decode(in.Kind, in.Body)
	if err != nil {
		return problem.Bad("%s", problem.ClipTo(err.Error(), 500))
	}
	who, err := api.opts.Sign(r, in.Signature)
	if err != nil {
		return err
	}
	entries, err := api.opts.Records.Append(r.Context(), record.Draft{Lot: in.Lot, At: in.At, Maker: who, Body: body, Corrects: in.Corrects, Reason: in.Reason})
	if err != nil {
		return shop.RecordError(err)
	}
	w.Header().Set("Location", "/api/v1/records/"+strconv.FormatInt(entries[0].Seq, 10))
	return api.give(w, r, http.StatusCreated, entryDocOf(entries[0]))
}

// entryDoc is an entry, and how late it was made.
type entryDoc struct {
	record.Entry
	LateS int64 `json:"late_s,omitempty"` // seconds, where it was not made at its time
}

func entryDocOf(e record.Entry) entryDoc { return entryDoc{e, int64(e.Late() / time.Second)} }

func (api *API) getRecords(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, []string{"kind"}, "lot", "from", "to", "after", "before", "newest", "limit")
	limit := q.count("limit", 200, 1000)
	ask := record.Query{Newest: q.yes("newest"), Limit: limit + 1}
	ask.From, ask.To = q.span()
	page := "after"
	if ask.Newest {
		page = "before"
	}
	ask.After = q.id(page)
	if other := map[string]string{"after": "before", "before": "after"}[page]; q.values.Has(other) {
		q.fail("%s goes with newest=%t", other, !ask.Newest)
	}
	if q.values.Has("lot") {
		lot := cook.LotID(q.values.Get("lot"))
		if lot != "" && record.CheckLotID(lot) != nil {
			q.fail("lot %s is not the name of a lot", problem.Clip(string(lot)))
		}
		ask.Lot = &lot
	}
	for _, k := range q.values["kind"] {
		if !slices.Contains(record.Kinds(), record.Kind(k)) {
			q.fail("kind %s is not known", problem.Clip(k))
		}
		ask.Kinds = append(ask.Kinds, record.Kind(k))
	}
	if err := q.err(); err != nil {
		return err
	}
	entries, err := api.opts.Records.Entries(r.Context(), ask)
	if err != nil {
		return err
	}
	answer := struct {
		Records []entryDoc `json:"records"`
		Next    *string    `json:"next"`
	}{Records: []entryDoc{}}
	for _, e := range entries[:min(limit, len(entries))] {
		answer.Records = append(answer.Records, entryDocOf(e))
	}
	if len(entries) > limit {
		answer.Next = next(r, true, "limit", strconv.Itoa(limit), page, strconv.FormatInt(entries[limit-1].Seq, 10))
	}
	return api.give(w, r, http.StatusOK, answer)
}

func (api *API) getRecord(w http.ResponseWriter, r *http.Request) error {
	seq, err := strconv.ParseInt(r.PathValue("seq"), 10, 64)
	if err != nil || seq < 1 {
		return problem.Bad("%s is not the number of an entry: use one that /api/v1/records lists", problem.Clip(r.PathValue("seq")))
	}
	e, err := api.opts.Records.Entry(r.Context(), seq)
	if err != nil {
		return shop.RecordError(err)
	}
	return api.give(w, r, http.StatusOK, entryDocOf(e))
}

func (api *API) getCheckpoints(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "limit")
	limit := q.count("limit", 30, 1000)
	if err := q.err(); err != nil {
		return err
	}
	list, err := api.opts.Records.Checkpoints(r.Context(), limit)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, struct {
		Checkpoints []record.Checkpoint `json:"checkpoints"`
	}{append([]record.Checkpoint{}, list...)})
}

func (api *API) postCheckpoint(w http.ResponseWriter, r *http.Request) error {
	c, err := api.opts.Records.Checkpoint(r.Context())
	if err != nil {
		return shop.RecordError(err)
	}
	return api.give(w, r, http.StatusOK, c)
}

// keyDoc is a key of the checkpoints.
type keyDoc struct {
	ID string `json:"id"`
	record.Key
}

func (api *API) getKeys(w http.ResponseWriter, r *http.Request) error {
	keys, err := api.opts.Records.Keys(r.Context())
	if err != nil {
		return err
	}
	answer := struct {
		Keys []keyDoc `json:"keys"`
	}{[]keyDoc{}}
	for _, k := range keys {
		answer.Keys = append(answer.Keys, keyDoc{k.Public.ID(), k})
	}
	return api.give(w, r, http.StatusOK, answer)
}

func (api *API) postKey(w http.ResponseWriter, r *http.Request) error {
	var sig visitor.Signature
	if err := take(r, &sig, false); err != nil {
		return err
	}
	who, err := api.opts.Sign(r, sig)
	if err != nil {
		return err
	}
	e, err := api.opts.Records.ChangeKey(r.Context(), who)
	if err != nil {
		return shop.RecordError(err)
	}
	return api.give(w, r, http.StatusCreated, entryDocOf(e))
}

func (api *API) getExport(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "lot")
	lot := cook.LotID(q.values.Get("lot"))
	if q.values.Has("lot") && record.CheckLotID(lot) != nil {
		q.fail("lot %s is not the name of a lot: leave it out for all", problem.Clip(string(lot)))
	}
	if err := q.err(); err != nil {
		return err
	}
	late, err := within(http.NewResponseController(w), exportTimeout)
	if err != nil {
		return err
	}
	defer late.Stop()
	x, err := api.opts.Records.Export(r.Context(), lot)
	if err != nil {
		return shop.RecordError(err)
	}
	body, err := x.JSON()
	if err != nil {
		return err
	}
	api.giveBytes(w, r, http.StatusOK, body)
	return nil
}
