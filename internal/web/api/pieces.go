package api

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/outlook"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
)

// pieceDoc is a piece of a running cook with its newest forecast.
type pieceDoc struct {
	Cook       cook.ID         `json:"cook"`
	Piece      cook.Piece      `json:"piece"`
	Forecast   json.RawMessage `json:"forecast"` // the documented line; null until the first usable reading
	PServe     *float64        `json:"p_serve"`  // P(ready by serve_by); null without a serving hour
	DangerZone float64         `json:"danger_zone_seconds"`
	Unseen     float64         `json:"danger_zone_unseen_seconds"`
	WaterLost  *float64        `json:"water_lost_kg"`
	StallEnd   *time.Time      `json:"stall_end"`
	Path       *pathDoc        `json:"path,omitempty"`
}

// pathDoc is the fan of a forecast in columns: Unix seconds and degrees Celsius at each level.
type pathDoc struct {
	Time []float64  `json:"time"`
	P05  []*float64 `json:"p05"`
	P10  []*float64 `json:"p10"`
	P25  []*float64 `json:"p25"`
	P50  []*float64 `json:"p50"`
	P75  []*float64 `json:"p75"`
	P90  []*float64 `json:"p90"`
	P95  []*float64 `json:"p95"`
}

// finite is a value in JSON: null when it is not a finite number.
func finite[F ~float64](v F) *float64 {
	f := float64(v)
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return nil
	}
	return &f
}

// orNull is a time in JSON: null when there is none.
func orNull(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC()
	return &t
}

func pathDocOf(path []estimator.PathPoint) *pathDoc {
	d := &pathDoc{Time: make([]float64, 0, len(path))}
	columns := []*[]*float64{&d.P05, &d.P10, &d.P25, &d.P50, &d.P75, &d.P90, &d.P95}
	for _, c := range columns {
		*c = make([]*float64, 0, len(path))
	}
	for _, p := range path {
		d.Time = append(d.Time, unix(p.Time))
		for i, v := range []float64{float64(p.P05), float64(p.P10), float64(p.P25), float64(p.P50), float64(p.P75), float64(p.P90), float64(p.P95)} {
			*columns[i] = append(*columns[i], finite(math.Round(v*100)/100))
		}
	}
	return d
}

// pieceDocOf gives a piece for the API; withPath adds the fan.
func pieceDocOf(id cook.ID, p monitor.PieceView, withPath bool) (pieceDoc, error) {
	d := pieceDoc{Cook: id, Piece: p.Piece, PServe: finite(p.ServeChance), DangerZone: p.DangerZone.Seconds(), Unseen: p.DangerUnseen.Seconds()}
	if !p.Forecasted {
		return d, nil
	}
	line, err := outlook.NewLine(p.Piece.ID, p.Forecast).JSON()
	if err != nil {
		return pieceDoc{}, err
	}
	d.Forecast = line
	d.WaterLost, d.StallEnd = finite(p.Forecast.WaterKg), orNull(p.Forecast.StallEnd)
	if withPath {
		d.Path = pathDocOf(p.Forecast.Path)
	}
	return d, nil
}

// getPieces lists the pieces of the running cooks.
func (api *API) getPieces(w http.ResponseWriter, r *http.Request) error {
	snapshot := api.opts.View.Snapshot()
	answer := struct {
		Pieces []pieceDoc `json:"pieces"`
	}{[]pieceDoc{}}
	for _, c := range snapshot.Cooks {
		for _, p := range c.Pieces {
			d, err := pieceDocOf(c.Stored.ID, p, false)
			if err != nil {
				return err
			}
			answer.Pieces = append(answer.Pieces, d)
		}
	}
	return api.give(w, r, http.StatusOK, answer)
}

// runningPiece finds the piece that the path names among the running cooks.
func (api *API) runningPiece(r *http.Request) (cook.ID, monitor.PieceView, error) {
	id, err := pathCook(r)
	if err != nil {
		return 0, monitor.PieceView{}, err
	}
	snapshot := api.opts.View.Snapshot()
	c, ok := shop.Running(&snapshot, id)
	if !ok {
		return 0, monitor.PieceView{}, problem.New(http.StatusNotFound, "Not found", fmt.Sprintf("no running cook has the number %d: see /api/v1/cooks", id))
	}
	for _, p := range c.Pieces {
		if string(p.Piece.ID) == r.PathValue("piece") {
			return id, p, nil
		}
	}
	return 0, monitor.PieceView{}, problem.New(http.StatusNotFound, "Not found", fmt.Sprintf("cook %d has no piece %s: see /api/v1/pieces", id, problem.Clip(r.PathValue("piece"))))
}

func (api *API) getPiece(w http.ResponseWriter, r *http.Request) error {
	id, p, err := api.runningPiece(r)
	if err != nil {
		return err
	}
	d, err := pieceDocOf(id, p, true)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, d)
}

type forecastsDoc struct {
	Forecasts []json.RawMessage `json:"forecasts"`
}

// getForecasts gives the newest forecast of each piece of the running cooks, or of one of them.
func (api *API) getForecasts(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "cook", "piece")
	id, piece := cook.ID(q.id("cook")), q.values.Get("piece")
	if err := q.err(); err != nil {
		return err
	}
	doc := forecastsDoc{[]json.RawMessage{}}
	for _, c := range api.opts.View.Snapshot().Cooks {
		if id != 0 && c.Stored.ID != id {
			continue
		}
		for _, p := range c.Pieces {
			if !p.Forecasted || (piece != "" && string(p.Piece.ID) != piece) {
				continue
			}
			line, err := outlook.NewLine(p.Piece.ID, p.Forecast).JSON()
			if err != nil {
				return err
			}
			doc.Forecasts = append(doc.Forecasts, line)
		}
	}
	return api.give(w, r, http.StatusOK, doc)
}

// Of a page of the forecast history: a cook of 36 hours has 2,160 of each piece.
const (
	historyPage = 1000
	historyMost = 5000
)

// getForecastHistory gives the forecasts of a piece as they were made.
func (api *API) getForecastHistory(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "from", "to", "limit")
	from, to := q.span()
	limit := q.count("limit", historyPage, historyMost)
	if err := q.err(); err != nil {
		return err
	}
	stored, err := api.storedCook(r)
	if err != nil {
		return err
	}
	piece := cook.PieceID(r.PathValue("piece"))
	if _, ok := stored.Piece(piece); !ok {
		return problem.New(http.StatusNotFound, "Not found", fmt.Sprintf("cook %d has no piece %s: see /api/v1/cooks", stored.ID, problem.Clip(string(piece))))
	}
	kept, err := api.opts.Library.Forecasts(r.Context(), stored.ID, piece, from, to)
	if err != nil {
		return err
	}
	doc := struct {
		Forecasts []json.RawMessage `json:"forecasts"`
		Next      *string           `json:"next"`
	}{Forecasts: []json.RawMessage{}}
	if len(kept) > limit {
		doc.Next = next(r, true, "limit", strconv.Itoa(limit), "from", kept[limit].At.UTC().Format(time.RFC3339Nano))
		kept = kept[:limit]
	}
	for _, k := range kept {
		doc.Forecasts = append(doc.Forecasts, k.JSON)
	}
	return api.give(w, r, http.StatusOK, doc)
}

// getWhatIf forecasts a piece as if something were done.
func (api *API) getWhatIf(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, []string{"do"})
	texts := q.values["do"]
	if len(texts) == 0 {
		q.fail("do is missing: say what is done, such as do=wrap%%3Dfoil%%40now or do=setpoint%%3D121C%%40%%2B30m")
	}
	if len(texts) > 8 {
		q.fail("do stands %d times: send at most 8", len(texts))
	}
	if err := q.err(); err != nil {
		return err
	}
	id, p, err := api.runningPiece(r)
	if err != nil {
		return err
	}
	if !p.Forecasted {
		return problem.New(http.StatusConflict, "Conflict", "there is no forecast of this piece yet: wait for its first readings")
	}
	var events []cook.Event
	for _, text := range texts {
		more, err := whatIfEvents(text, p)
		if err != nil {
			return err
		}
		events = append(events, more...)
	}
	f, err := api.opts.Desk.WhatIf(r.Context(), id, p.Piece.ID, events)
	if err != nil {
		return err
	}
	line := outlook.NewLine(p.Piece.ID, f)
	line.WhatIf = strings.Join(texts, ",")
	body, err := line.JSON()
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, json.RawMessage(body))
}

// whatIfEvents reads one text, as of the newest forecast's time.
func whatIfEvents(text string, p monitor.PieceView) ([]cook.Event, error) {
	if len(text) > 200 {
		return nil, problem.Bad("do is too long: write it like wrap=foil@now")
	}
	changes, err := outlook.ParseWhatIf(text, p.Forecast.At)
	if err != nil {
		return nil, problem.Bad("%s", problem.ClipTo(err.Error(), 300))
	}
	var events []cook.Event
	for _, c := range changes {
		e := cook.Event{Time: c.At, Kind: cook.EventKind(c.Kind), With: string(c.With), Celsius: c.Celsius}
		if c.AtCore != 0 {
			e.Time, e.Celsius = p.Forecast.At, c.AtCore
		}
		if c.Kind != estimator.SetPoint {
			e.Piece = p.Piece.ID
		}
		events = append(events, e)
	}
	return events, nil
}
