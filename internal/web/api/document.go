package api

import (
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
)

// documentTimeout bounds how long a document of a lot may take. Choice of this project.
const documentTimeout = 2 * time.Minute

// getDocument sends a lot as PDF, CSV or JSON.
func (api *API) getDocument(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "format")
	format := q.values.Get("format")
	types := map[string]string{"pdf": "application/pdf", "csv": "text/csv; charset=utf-8", "json": "application/json"}
	if types[format] == "" {
		q.fail("format %s is not pdf, csv or json", problem.Clip(format))
	}
	if err := q.err(); err != nil {
		return err
	}
	late, err := within(http.NewResponseController(w), documentTimeout)
	if err != nil {
		return err
	}
	defer late.Stop()
	lot := cook.LotID(r.PathValue("lot"))
	if record.CheckLotID(lot) != nil {
		return problem.New(http.StatusNotFound, "Not found", "lot "+problem.Clip(string(lot))+" is not the name of a lot")
	}
	data, err := api.opts.Documents.Document(r.Context(), lot, format)
	if err != nil {
		return shop.RecordError(err)
	}
	h := w.Header()
	h.Set("Content-Type", types[format])
	h.Set("Content-Disposition", `attachment; filename="`+url.PathEscape(string(lot))+"."+format+`"`)
	h.Set("Content-Length", strconv.Itoa(len(data)))
	if _, err := w.Write(data); err != nil && !errors.Is(err, http.ErrHandlerTimeout) {
		api.opts.Log.Debug("document not taken", "lot", lot, "error", err)
	}
	return nil
}
