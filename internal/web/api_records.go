package web

import (
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

// exportTimeout bounds the export of all records. Choice of this project.
const exportTimeout = 5 * time.Minute

// signature is who makes an entry: logged in, or initials with a PIN, or a bare name where neither is set up.
type signature struct {
	By  string `json:"by,omitempty"`
	PIN string `json:"pin,omitempty"`
}

// newRecord is an entry as it is sent.
type newRecord struct {
	signature
	Lot      cook.LotID      `json:"lot,omitempty"`
	Kind     record.Kind     `json:"kind"`
	At       time.Time       `json:"at,omitzero"`
	Body     json.RawMessage `json:"body"`
	Corrects int64           `json:"corrects,omitempty"`
	Reason   string          `json:"reason,omitempty"`
}

// signed tells who signs, and how that is known.
func (s *Server) signed(r *http.Request, sig signature) (string, record.Auth, error) {
	sig.By = strings.TrimSpace(sig.By)
	if sig.PIN != "" {
		return s.signedByPIN(r, sig)
	}
	if name := personOf(r).name; name != "" {
		for _, p := range s.opts.People {
			if p.Name == name {
				return p.Initials, record.AuthLogin, nil
			}
		}
		return name, record.AuthLogin, nil
	}
	if len(s.opts.People) > 0 {
		return "", "", refused(http.StatusForbidden, "Not signed", "an entry needs your initials and your PIN: send by and pin")
	}
	if sig.By == "" {
		return "", "", bad("by is missing: say who makes the entry")
	}
	if strings.EqualFold(sig.By, "daemon") {
		return "", "", bad("by is the daemon's own name: give yours")
	}
	return sig.By, record.AuthSaid, nil
}

func (s *Server) signedByPIN(r *http.Request, sig signature) (string, record.Auth, error) {
	if len(s.opts.People) == 0 {
		return "", "", bad("no PINs are set up: leave pin out, or name people in the configuration")
	}
	i := slices.IndexFunc(s.opts.People, func(p Person) bool { return strings.EqualFold(p.Initials, sig.By) })
	known := max(i, 0)
	err := s.gate.compare(r, []byte(s.opts.People[known].PINHash), i >= 0, sig.PIN)
	if errors.Is(err, errNobody) {
		return "", "", refused(http.StatusForbidden, "Not signed", "initials and PIN do not belong together: try again")
	}
	return s.opts.People[known].Initials, record.AuthPIN, err
}

// recordError tells the sender what does not fit, in the words of those who know.
func recordError(err error) error {
	switch {
	case errors.Is(err, record.ErrDraft):
		return bad("%s", clipTo(strings.TrimPrefix(err.Error(), record.ErrDraft.Error()+": "), 2000))
	case errors.Is(err, cook.ErrNotFound):
		return refused(http.StatusNotFound, "Not found", clipTo(err.Error(), 500))
	case errors.Is(err, cook.ErrConflict):
		return refused(http.StatusConflict, "Conflict", clipTo(strings.TrimPrefix(err.Error(), cook.ErrConflict.Error()+": "), 500))
	}
	return err
}

func (s *Server) postRecord(w http.ResponseWriter, r *http.Request) error {
	var in newRecord
	if err := take(r, &in, false); err != nil {
		return err
	}
	if in.Kind == record.KindKey {
		return bad("a key is changed by POST /api/v1/records/key")
	}
	body, err := record.Decode(in.Kind, in.Body)
	if err != nil {
		return bad("%s", clipTo(err.Error(), 500))
	}
	who, auth, err := s.signed(r, in.signature)
	if err != nil {
		return err
	}
	entries, err := s.opts.Records.Append(r.Context(), record.Draft{Lot: in.Lot, At: in.At, By: who, Auth: auth, Body: body, Corrects: in.Corrects, Reason: in.Reason})
	if err != nil {
		return recordError(err)
	}
	w.Header().Set("Location", "/api/v1/records/"+strconv.FormatInt(entries[0].Seq, 10))
	return s.give(w, r, http.StatusCreated, entryDocOf(entries[0]))
}

// entryDoc is an entry, and how late it was made.
type entryDoc struct {
	record.Entry
	LateS int64 `json:"late_s,omitempty"` // seconds, where it was not made at its time
}

func entryDocOf(e record.Entry) entryDoc { return entryDoc{e, int64(e.Late() / time.Second)} }

func (s *Server) getRecords(w http.ResponseWriter, r *http.Request) error {
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
			q.fail("lot %s is not the name of a lot", clip(string(lot)))
		}
		ask.Lot = &lot
	}
	for _, k := range q.values["kind"] {
		if !slices.Contains(record.Kinds(), record.Kind(k)) {
			q.fail("kind %s is not known", clip(k))
		}
		ask.Kinds = append(ask.Kinds, record.Kind(k))
	}
	if err := q.err(); err != nil {
		return err
	}
	entries, err := s.opts.Records.Entries(r.Context(), ask)
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
	return s.give(w, r, http.StatusOK, answer)
}

func (s *Server) getRecord(w http.ResponseWriter, r *http.Request) error {
	seq, err := strconv.ParseInt(r.PathValue("seq"), 10, 64)
	if err != nil || seq < 1 {
		return bad("%s is not the number of an entry: use one that /api/v1/records lists", clip(r.PathValue("seq")))
	}
	e, err := s.opts.Records.Entry(r.Context(), seq)
	if err != nil {
		return recordError(err)
	}
	return s.give(w, r, http.StatusOK, entryDocOf(e))
}

func (s *Server) getCheckpoints(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "limit")
	limit := q.count("limit", 30, 1000)
	if err := q.err(); err != nil {
		return err
	}
	list, err := s.opts.Records.Checkpoints(r.Context(), limit)
	if err != nil {
		return err
	}
	return s.give(w, r, http.StatusOK, struct {
		Checkpoints []record.Checkpoint `json:"checkpoints"`
	}{append([]record.Checkpoint{}, list...)})
}

func (s *Server) postCheckpoint(w http.ResponseWriter, r *http.Request) error {
	c, err := s.opts.Records.Checkpoint(r.Context())
	if err != nil {
		return recordError(err)
	}
	return s.give(w, r, http.StatusOK, c)
}

// keyDoc is a key of the checkpoints.
type keyDoc struct {
	ID string `json:"id"`
	record.Key
}

func (s *Server) getKeys(w http.ResponseWriter, r *http.Request) error {
	keys, err := s.opts.Records.Keys(r.Context())
	if err != nil {
		return err
	}
	answer := struct {
		Keys []keyDoc `json:"keys"`
	}{[]keyDoc{}}
	for _, k := range keys {
		answer.Keys = append(answer.Keys, keyDoc{k.Public.ID(), k})
	}
	return s.give(w, r, http.StatusOK, answer)
}

func (s *Server) postKey(w http.ResponseWriter, r *http.Request) error {
	var sig signature
	if err := take(r, &sig, false); err != nil {
		return err
	}
	who, auth, err := s.signed(r, sig)
	if err != nil {
		return err
	}
	e, err := s.opts.Records.ChangeKey(r.Context(), who, auth)
	if err != nil {
		return recordError(err)
	}
	return s.give(w, r, http.StatusCreated, entryDocOf(e))
}

func (s *Server) getExport(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "lot")
	lot := cook.LotID(q.values.Get("lot"))
	if q.values.Has("lot") && record.CheckLotID(lot) != nil {
		q.fail("lot %s is not the name of a lot: leave it out for all", clip(string(lot)))
	}
	if err := q.err(); err != nil {
		return err
	}
	late, err := within(http.NewResponseController(w), exportTimeout)
	if err != nil {
		return err
	}
	defer late.Stop()
	x, err := s.opts.Records.Export(r.Context(), lot)
	if err != nil {
		return recordError(err)
	}
	body, err := x.JSON()
	if err != nil {
		return err
	}
	s.giveBytes(w, r, http.StatusOK, body)
	return nil
}
