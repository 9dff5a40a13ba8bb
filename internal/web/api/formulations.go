package api

import (
	"net/http"
	"net/url"

	"stallkeeper/internal/brine"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
)

// formulationDoc is a kept formulation with what it comes to.
type formulationDoc struct {
	cook.KeptFormulation
	Answer *brine.Answer `json:"answer"`
}

func (api *API) getFormulations(w http.ResponseWriter, r *http.Request) error {
	if err := queryOf(r, nil).err(); err != nil {
		return err
	}
	all, err := api.opts.Papers.Formulations(r.Context())
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, struct {
		Formulations []cook.KeptFormulation `json:"formulations"`
	}{append([]cook.KeptFormulation{}, all...)})
}

// postFormulation keeps a formulation under its name; one over its limit is refused nowhere, its answer says so.
func (api *API) postFormulation(w http.ResponseWriter, r *http.Request) error {
	var body struct {
		Name  string      `json:"name"`
		Sheet brine.Sheet `json:"sheet"`
	}
	if err := take(r, &body, false); err != nil {
		return err
	}
	kept, answer, err := api.opts.KeepFormulation(r.Context(), body.Name, body.Sheet, visitor.By(r, ""))
	if err != nil {
		return err
	}
	w.Header().Set("Location", "/api/v1/formulations/"+url.PathEscape(kept.Name))
	return api.give(w, r, http.StatusCreated, formulationDoc{kept, &answer})
}

// getFormulation gives a formulation worked out, for another weight of meat where the request says so.
func (api *API) getFormulation(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "for")
	if err := q.err(); err != nil {
		return err
	}
	kept, err := api.opts.Papers.Formulation(r.Context(), r.PathValue("name"))
	if err != nil {
		return err
	}
	sheet, err := shop.SheetOf(kept)
	if err != nil {
		return err
	}
	if text := q.values.Get("for"); text != "" {
		sheet.For = text
	}
	answer, err := sheet.Work()
	if err != nil {
		return problem.Bad("%s", problem.ClipTo(err.Error(), 2000))
	}
	return api.give(w, r, http.StatusOK, formulationDoc{kept, &answer})
}

func (api *API) deleteFormulation(w http.ResponseWriter, r *http.Request) error {
	drop := cook.KeptFormulation{Name: r.PathValue("name"), Made: cook.Instant(api.opts.Now()), By: visitor.By(r, "")}
	if err := api.opts.Papers.DropFormulation(r.Context(), drop); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}
