package web

import (
	"bytes"
	"compress/gzip"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"mime"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"stallkeeper/internal/cook"
)

// openAPI describes what the API does; a test holds every answer against it.
//
//go:embed openapi.json
var openAPI []byte

// importPath may take more than other addresses.
const importPath = "/api/v1/cooks/import"

// APIOptions are what the API needs beside the shop.
type APIOptions struct {
	Shop
	Log      *slog.Logger
	Invented bool // the demo: the snapshot says plainly that the data is invented
	Login    bool // people log in
	Sign     sign // tells who makes an entry
	Tell     teller
}

// API answers everything under /api/v1, as openapi.json describes it. Who asks stands in the request's context.
type API struct {
	opts    APIOptions
	streams chan struct{} // one token for each live stream
	closing chan struct{} // closed by endStreams
	once    sync.Once
}

func newAPI(o APIOptions) *API {
	return &API{opts: o, streams: make(chan struct{}, maxStreams), closing: make(chan struct{})}
}

// endStreams ends the live streams, and those that are yet to be asked for. It may be called again.
func (api *API) endStreams() { api.once.Do(func() { close(api.closing) }) }

// handler answers a request or gives the error that the sender is told as a problem.
type handler func(http.ResponseWriter, *http.Request) error

// route is one address of the API and the level it needs.
type route struct {
	pattern string
	need    Level
	handle  handler
}

// register puts every address of the API on mux.
func (api *API) register(mux *http.ServeMux) {
	for _, r := range []route{
		{"GET /api/v1/probes", Watch, api.getProbes},
		{"GET /api/v1/probes/{probe...}", Watch, api.getProbe},
		{"GET /api/v1/readings", Watch, api.getReadings},
		{"POST /api/v1/readings", Work, api.postReading},
		{"GET /api/v1/series", Watch, api.getSeries},
		{"GET /api/v1/checks", Watch, api.getChecks},
		{"POST /api/v1/checks", Work, api.postCheck},
		{"GET /api/v1/compare", Watch, api.getCompare},
		{"GET /api/v1/quarantine", Watch, api.getQuarantine},
		{"GET /api/v1/cooks", Watch, api.getCooks},
		{"POST /api/v1/cooks", Manage, api.postCook},
		{"POST " + importPath, Manage, api.postImport},
		{"GET /api/v1/cooks/{id}", Watch, api.getCook},
		{"PATCH /api/v1/cooks/{id}", Manage, api.patchCook},
		{"POST /api/v1/cooks/{id}/end", Manage, api.postEnd},
		{"GET /api/v1/cooks/{id}/events", Watch, api.getCookEvents},
		{"POST /api/v1/cooks/{id}/events", Work, api.postEvent},
		{"GET /api/v1/cooks/{id}/log", Watch, api.getLog},
		{"GET /api/v1/cooks/{id}/pieces/{piece}", Watch, api.getPiece},
		{"GET /api/v1/cooks/{id}/pieces/{piece}/forecasts", Watch, api.getForecastHistory},
		{"GET /api/v1/cooks/{id}/pieces/{piece}/what-if", Watch, api.getWhatIf},
		{"GET /api/v1/pieces", Watch, api.getPieces},
		{"GET /api/v1/events", Watch, api.getEvents},
		{"GET /api/v1/forecasts", Watch, api.getForecasts},
		{"GET /api/v1/alarms", Watch, api.getAlarms},
		{"GET /api/v1/alarms/{id...}", Watch, api.getAlarm},
		{"POST /api/v1/alarms/{act...}", Work, api.postAlarm},
		{"GET /api/v1/plans", Watch, api.getPlans},
		{"POST /api/v1/plans", Work, api.postPlan},
		{"GET /api/v1/plans/{id}", Watch, api.getPlan},
		{"GET /api/v1/plans/{id}/now", Watch, api.getPlanNow},
		{"GET /api/v1/cooks/{id}/plan", Watch, api.getCookPlan},
		{"POST /api/v1/lots/{lot}/stage", Work, api.postLotStage},
		{"GET /api/v1/lots/{lot}/timeline", Watch, api.getLotTimeline},
		{"GET /api/v1/lots/{lot}/plan", Watch, api.getLotPlan},
		{"GET /api/v1/lots/{lot}/yield", Watch, api.getLotYield},
		{"GET /api/v1/stock", Watch, api.getStock},
		{"POST /api/v1/stock", Work, api.postStock},
		{"POST /api/v1/stock/take", Work, api.postStockTake},
		{"GET /api/v1/stock/standards", Watch, api.getLives},
		{"GET /api/v1/formulations", Watch, api.getFormulations},
		{"POST /api/v1/formulations", Work, api.postFormulation},
		{"GET /api/v1/formulations/{name}", Watch, api.getFormulation},
		{"DELETE /api/v1/formulations/{name}", Work, api.deleteFormulation},
		{"GET /api/v1/lots", Watch, api.getLots},
		{"POST /api/v1/lots", Work, api.postLot},
		{"GET /api/v1/lots/{lot}", Watch, api.getLot},
		{"GET /api/v1/lots/{lot}/export", Watch, api.getDocument},
		{"GET /api/v1/records", Watch, api.getRecords},
		{"POST /api/v1/records", Work, api.postRecord},
		{"GET /api/v1/records/{seq}", Watch, api.getRecord},
		{"GET /api/v1/records/checkpoints", Watch, api.getCheckpoints},
		{"POST /api/v1/records/checkpoints", Work, api.postCheckpoint},
		{"GET /api/v1/records/key", Watch, api.getKeys},
		{"POST /api/v1/records/key", Manage, api.postKey},
		{"GET /api/v1/records/export", Watch, api.getExport},
		{"GET /api/v1/paths", Watch, api.getPaths},
		{"POST /api/v1/paths/{path}/test", Work, api.postPathTest},
		{"POST /api/v1/paths/{path}/subscriptions", Work, api.postSubscription},
		{"DELETE /api/v1/paths/{path}/subscriptions", Work, api.deleteSubscription},
		{"GET /api/v1/snapshot", Watch, api.getSnapshot},
		{"GET /api/v1/live", Watch, api.getLive},
		{"GET /api/v1/openapi.json", Watch, api.getOpenAPI},
	} {
		mux.Handle(r.pattern, api.answering(r.need, r.handle))
	}
}

// answering asks for the level and turns an error into a problem.
func (api *API) answering(need Level, handle handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !personOf(r).may(need) {
			api.opts.Tell.fail(w, r, tooLow(need))
			return
		}
		if err := handle(w, r); err != nil {
			api.opts.Tell.fail(w, r, err)
		}
	})
}

// gzipFrom is the size from which an answer is worth compressing, in bytes.
const gzipFrom = 2 << 10

// give answers with JSON.
func (api *API) give(w http.ResponseWriter, r *http.Request, status int, v any) error {
	var body bytes.Buffer
	out := json.NewEncoder(&body)
	out.SetEscapeHTML(false) // it is never read as HTML: see the type and nosniff
	if err := out.Encode(v); err != nil {
		return fmt.Errorf("write answer: %w", err)
	}
	api.giveBytes(w, r, status, body.Bytes())
	return nil
}

func (api *API) giveBytes(w http.ResponseWriter, r *http.Request, status int, body []byte) {
	h := w.Header()
	h.Set("Content-Type", "application/json")
	h.Set("Cache-Control", "no-store")
	h.Set("Vary", "Accept-Encoding")
	if len(body) >= gzipFrom && takesGzip(r) {
		var packed bytes.Buffer
		z := gzip.NewWriter(&packed)
		_, err := z.Write(body)
		if err = errors.Join(err, z.Close()); err != nil {
			panic("web: memory takes every byte: " + err.Error())
		}
		h.Set("Content-Encoding", "gzip")
		body = packed.Bytes()
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	w.WriteHeader(status)
	if _, err := w.Write(body); err != nil {
		api.opts.Log.Debug("answer not taken", "path", r.URL.Path, "error", err)
	}
}

// takesGzip reports whether the sender takes gzip; a quality of 0 means no.
func takesGzip(r *http.Request) bool {
	for part := range strings.SplitSeq(r.Header.Get("Accept-Encoding"), ",") {
		name, quality, _ := strings.Cut(strings.TrimSpace(part), ";")
		if strings.EqualFold(strings.TrimSpace(name), "gzip") {
			q, err := strconv.ParseFloat(strings.TrimPrefix(strings.TrimSpace(quality), "q="), 64)
			return err != nil || q > 0
		}
	}
	return false
}

// take reads a JSON body strictly into v. An empty body leaves v as it is where optional.
func take(r *http.Request, v any, optional bool) error {
	data, err := io.ReadAll(r.Body)
	if err != nil {
		return bodyError(err)
	}
	if len(bytes.TrimSpace(data)) == 0 {
		if optional {
			return nil
		}
		return bad("the body is empty: send JSON")
	}
	if err := mustBe(r, "application/json"); err != nil {
		return err
	}
	return decode(data, v)
}

// bodyError tells a body that is too large from one that broke off.
func bodyError(err error) error {
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		return err
	}
	return bad("the body broke off: send it again")
}

// mustBe asks for a media type; no Content-Type at all is taken for it.
func mustBe(r *http.Request, want string) error {
	given := r.Header.Get("Content-Type")
	if given == "" {
		return nil
	}
	kind, _, err := mime.ParseMediaType(given)
	if err != nil || kind != want {
		return refused(http.StatusUnsupportedMediaType, "Unsupported media type", fmt.Sprintf("the body is %s: send it with the header Content-Type: %s", clip(given), want))
	}
	return nil
}

func decode(data []byte, v any) error {
	err := cook.DecodeStrict(data, v)
	var kind *json.UnmarshalTypeError
	var when *time.ParseError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &kind):
		return bad("%s: %s does not fit here: see /api/v1/openapi.json", clip(kind.Field), clip(kind.Value))
	case errors.As(err, &when):
		return bad("%s is not a time: write it as RFC 3339, such as 2026-05-02T20:00:00Z", clip(when.Value))
	}
	return bad("%s", clipTo(err.Error(), 500))
}

// clip shortens what the sender sent, for repeating it to him.
func clip(s string) string { return strconv.Quote(clipTo(s, 60)) }

func clipTo(s string, n int) string {
	if len(s) <= n {
		return s
	}
	return strings.ToValidUTF8(s[:n], "") + "…"
}

func (api *API) getOpenAPI(w http.ResponseWriter, r *http.Request) error {
	api.giveBytes(w, r, http.StatusOK, openAPI)
	return nil
}
