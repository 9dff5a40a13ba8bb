// Package api is the JSON API under /api/v1, as openapi.json describes it: one file for each kind of resource, and the live stream. Temperatures
// are degrees Celsius, times RFC 3339 in UTC; what is not known is null, never 0. A handler gives its answer or an error, and the error
// becomes a problem document. It makes no page.
package api

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
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
)

// openAPI describes what the API does; a test holds every answer against it.
//
//go:embed openapi.json
var openAPI []byte

// ImportPath may take more than other addresses; LivePath stays open.
const (
	ImportPath = "/api/v1/cooks/import"
	LivePath   = "/api/v1/live"
)

// Options are what the API needs beside the shop.
type Options struct {
	shop.Shop
	Log      *slog.Logger
	Invented bool         // the demo: the snapshot says plainly that the data is invented
	Login    bool         // people log in
	Sign     visitor.Sign // tells who makes an entry
	Tell     problem.Teller
}

// API answers everything under /api/v1, as openapi.json describes it. Who asks stands in the request's context.
type API struct {
	opts    Options
	streams chan struct{} // one token for each live stream
	imports chan struct{} // one token: for the cook log that is being taken in
	closing chan struct{} // closed by EndStreams
	once    sync.Once
	packers sync.Pool // *gzip.Writer
}

// New makes the API; Register puts it on a mux.
func New(o Options) *API {
	return &API{opts: o, streams: make(chan struct{}, maxStreams), imports: make(chan struct{}, 1), closing: make(chan struct{})}
}

// EndStreams ends the live streams, and those that are yet to be asked for. It may be called again.
func (api *API) EndStreams() { api.once.Do(func() { close(api.closing) }) }

// handler answers a request or gives the error that the sender is told as a problem.
type handler func(http.ResponseWriter, *http.Request) error

// route is one address of the API and the level it needs.
type route struct {
	pattern string
	need    visitor.Level
	handle  handler
}

// Register puts every address of the API on mux.
func (api *API) Register(mux *http.ServeMux) {
	for _, r := range []route{
		{"GET /api/v1/probes", visitor.Watch, api.getProbes},
		{"GET /api/v1/probes/{probe...}", visitor.Watch, api.getProbe},
		{"GET /api/v1/readings", visitor.Watch, api.getReadings},
		{"POST /api/v1/readings", visitor.Work, api.postReading},
		{"GET /api/v1/series", visitor.Watch, api.getSeries},
		{"GET /api/v1/checks", visitor.Watch, api.getChecks},
		{"POST /api/v1/checks", visitor.Work, api.postCheck},
		{"GET /api/v1/compare", visitor.Watch, api.getCompare},
		{"GET /api/v1/quarantine", visitor.Watch, api.getQuarantine},
		{"GET /api/v1/cooks", visitor.Watch, api.getCooks},
		{"POST /api/v1/cooks", visitor.Manage, api.postCook},
		{"POST " + ImportPath, visitor.Manage, api.postImport},
		{"GET /api/v1/cooks/{id}", visitor.Watch, api.getCook},
		{"PATCH /api/v1/cooks/{id}", visitor.Manage, api.patchCook},
		{"POST /api/v1/cooks/{id}/end", visitor.Manage, api.postEnd},
		{"GET /api/v1/cooks/{id}/events", visitor.Watch, api.getCookEvents},
		{"POST /api/v1/cooks/{id}/events", visitor.Work, api.postEvent},
		{"GET /api/v1/cooks/{id}/log", visitor.Watch, api.getLog},
		{"GET /api/v1/cooks/{id}/pieces/{piece}", visitor.Watch, api.getPiece},
		{"GET /api/v1/cooks/{id}/pieces/{piece}/forecasts", visitor.Watch, api.getForecastHistory},
		{"GET /api/v1/cooks/{id}/pieces/{piece}/what-if", visitor.Watch, api.getWhatIf},
		{"GET /api/v1/pieces", visitor.Watch, api.getPieces},
		{"GET /api/v1/events", visitor.Watch, api.getEvents},
		{"GET /api/v1/forecasts", visitor.Watch, api.getForecasts},
		{"GET /api/v1/alarms", visitor.Watch, api.getAlarms},
		{"GET /api/v1/alarms/{id...}", visitor.Watch, api.getAlarm},
		{"POST /api/v1/alarms/{act...}", visitor.Work, api.postAlarm},
		{"GET /api/v1/plans", visitor.Watch, api.getPlans},
		{"POST /api/v1/plans", visitor.Work, api.postPlan},
		{"GET /api/v1/plans/{id}", visitor.Watch, api.getPlan},
		{"GET /api/v1/plans/{id}/now", visitor.Watch, api.getPlanNow},
		{"GET /api/v1/cooks/{id}/plan", visitor.Watch, api.getCookPlan},
		{"POST /api/v1/lots/{lot}/stage", visitor.Work, api.postLotStage},
		{"GET /api/v1/lots/{lot}/timeline", visitor.Watch, api.getLotTimeline},
		{"GET /api/v1/lots/{lot}/plan", visitor.Watch, api.getLotPlan},
		{"GET /api/v1/lots/{lot}/yield", visitor.Watch, api.getLotYield},
		{"GET /api/v1/stock", visitor.Watch, api.getStock},
		{"POST /api/v1/stock", visitor.Work, api.postStock},
		{"POST /api/v1/stock/take", visitor.Work, api.postStockTake},
		{"GET /api/v1/stock/standards", visitor.Watch, api.getLives},
		{"GET /api/v1/formulations", visitor.Watch, api.getFormulations},
		{"POST /api/v1/formulations", visitor.Work, api.postFormulation},
		{"GET /api/v1/formulations/{name}", visitor.Watch, api.getFormulation},
		{"DELETE /api/v1/formulations/{name}", visitor.Work, api.deleteFormulation},
		{"GET /api/v1/lots", visitor.Watch, api.getLots},
		{"POST /api/v1/lots", visitor.Work, api.postLot},
		{"GET /api/v1/lots/{lot}", visitor.Watch, api.getLot},
		{"GET /api/v1/lots/{lot}/export", visitor.Watch, api.getDocument},
		{"GET /api/v1/records", visitor.Watch, api.getRecords},
		{"POST /api/v1/records", visitor.Work, api.postRecord},
		{"GET /api/v1/records/{seq}", visitor.Watch, api.getRecord},
		{"GET /api/v1/records/checkpoints", visitor.Watch, api.getCheckpoints},
		{"POST /api/v1/records/checkpoints", visitor.Work, api.postCheckpoint},
		{"GET /api/v1/records/key", visitor.Watch, api.getKeys},
		{"POST /api/v1/records/key", visitor.Manage, api.postKey},
		{"GET /api/v1/records/export", visitor.Watch, api.getExport},
		{"GET /api/v1/paths", visitor.Watch, api.getPaths},
		{"POST /api/v1/paths/{path}/test", visitor.Work, api.postPathTest},
		{"POST /api/v1/paths/{path}/subscriptions", visitor.Work, api.postSubscription},
		{"DELETE /api/v1/paths/{path}/subscriptions", visitor.Work, api.deleteSubscription},
		{"GET /api/v1/snapshot", visitor.Watch, api.getSnapshot},
		{"GET " + LivePath, visitor.Watch, api.getLive},
		{"GET /api/v1/openapi.json", visitor.Watch, api.getOpenAPI},
	} {
		mux.Handle(r.pattern, api.answering(r.need, r.handle))
	}
}

// answering asks for the level and turns an error into a problem.
func (api *API) answering(need visitor.Level, handle handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !visitor.Of(r).May(need) {
			api.opts.Tell.Fail(w, r, visitor.TooLow(need))
			return
		}
		if err := handle(w, r); err != nil {
			api.opts.Tell.Fail(w, r, err)
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
		api.pack(&packed, body)
		h.Set("Content-Encoding", "gzip")
		body = packed.Bytes()
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	w.WriteHeader(status)
	if _, err := w.Write(body); err != nil {
		api.opts.Log.Debug("answer not taken", "path", r.URL.Path, "error", err)
	}
}

// pack compresses. A compressor takes nearly a megabyte: it is used again, unless memory has been collected twice meanwhile.
func (api *API) pack(out *bytes.Buffer, body []byte) {
	z := api.packer(out)
	defer api.packers.Put(z)
	_, err := z.Write(body)
	if err = errors.Join(err, z.Close()); err != nil {
		panic("api: memory takes every byte: " + err.Error())
	}
}

// packer gives a compressor; put it back into api.packers when it is closed.
func (api *API) packer(out io.Writer) *gzip.Writer {
	z, ok := api.packers.Get().(*gzip.Writer)
	if !ok {
		return gzip.NewWriter(out)
	}
	z.Reset(out)
	return z
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
		return problem.Bad("the body is empty: send JSON")
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
	return problem.Bad("the body broke off: send it again")
}

// mustBe asks for a media type; no Content-Type at all is taken for it.
func mustBe(r *http.Request, want string) error {
	given := r.Header.Get("Content-Type")
	if given == "" {
		return nil
	}
	kind, _, err := mime.ParseMediaType(given)
	if err != nil || kind != want {
		return problem.New(http.StatusUnsupportedMediaType, "Unsupported media type", fmt.Sprintf("the body is %s: send it with the header Content-Type: %s", problem.Clip(given), want))
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
		return problem.Bad("%s: %s does not fit here: see /api/v1/openapi.json", problem.Clip(kind.Field), problem.Clip(kind.Value))
	case errors.As(err, &when):
		return problem.Bad("%s is not a time: write it as RFC 3339, such as 2026-05-02T20:00:00Z", problem.Clip(when.Value))
	}
	return problem.Bad("%s", problem.ClipTo(err.Error(), 500))
}

func (api *API) getOpenAPI(w http.ResponseWriter, r *http.Request) error {
	api.giveBytes(w, r, http.StatusOK, openAPI)
	return nil
}
