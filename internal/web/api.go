package web

import (
	"bytes"
	"compress/gzip"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/cook"
)

// openAPI describes what the API does; a test holds every answer against it.
//
//go:embed openapi.json
var openAPI []byte

// importPath may take more than other addresses.
const importPath = "/api/v1/cooks/import"

// handler answers a request or gives the error that the sender is told as a problem.
type handler func(http.ResponseWriter, *http.Request) error

// route is one address of the API and the level it needs.
type route struct {
	pattern string
	need    Level
	handle  handler
}

// routes puts everything but the pages on mux.
func (s *Server) routes(mux *http.ServeMux) {
	for _, r := range []route{
		{"GET /api/v1/probes", Watch, s.getProbes},
		{"GET /api/v1/probes/{probe...}", Watch, s.getProbe},
		{"GET /api/v1/readings", Watch, s.getReadings},
		{"POST /api/v1/readings", Work, s.postReading},
		{"GET /api/v1/series", Watch, s.getSeries},
		{"GET /api/v1/checks", Watch, s.getChecks},
		{"POST /api/v1/checks", Work, s.postCheck},
		{"GET /api/v1/compare", Watch, s.getCompare},
		{"GET /api/v1/quarantine", Watch, s.getQuarantine},
		{"GET /api/v1/cooks", Watch, s.getCooks},
		{"POST /api/v1/cooks", Manage, s.postCook},
		{"POST " + importPath, Manage, s.postImport},
		{"GET /api/v1/cooks/{id}", Watch, s.getCook},
		{"PATCH /api/v1/cooks/{id}", Manage, s.patchCook},
		{"POST /api/v1/cooks/{id}/end", Manage, s.postEnd},
		{"GET /api/v1/cooks/{id}/events", Watch, s.getCookEvents},
		{"POST /api/v1/cooks/{id}/events", Work, s.postEvent},
		{"GET /api/v1/cooks/{id}/log", Watch, s.getLog},
		{"GET /api/v1/cooks/{id}/pieces/{piece}", Watch, s.getPiece},
		{"GET /api/v1/cooks/{id}/pieces/{piece}/forecasts", Watch, s.getForecastHistory},
		{"GET /api/v1/cooks/{id}/pieces/{piece}/what-if", Watch, s.getWhatIf},
		{"GET /api/v1/pieces", Watch, s.getPieces},
		{"GET /api/v1/events", Watch, s.getEvents},
		{"GET /api/v1/forecasts", Watch, s.getForecasts},
		{"GET /api/v1/alarms", Watch, s.getAlarms},
		{"GET /api/v1/alarms/{id...}", Watch, s.getAlarm},
		{"POST /api/v1/alarms/{act...}", Work, s.postAlarm},
		{"GET /api/v1/plans", Watch, s.getPlans},
		{"POST /api/v1/plans", Work, s.postPlan},
		{"GET /api/v1/plans/{id}", Watch, s.getPlan},
		{"GET /api/v1/plans/{id}/now", Watch, s.getPlanNow},
		{"GET /api/v1/cooks/{id}/plan", Watch, s.getCookPlan},
		{"POST /api/v1/lots/{lot}/stage", Work, s.postLotStage},
		{"GET /api/v1/lots/{lot}/timeline", Watch, s.getLotTimeline},
		{"GET /api/v1/lots/{lot}/plan", Watch, s.getLotPlan},
		{"GET /api/v1/lots/{lot}/yield", Watch, s.getLotYield},
		{"GET /api/v1/stock", Watch, s.getStock},
		{"POST /api/v1/stock", Work, s.postStock},
		{"POST /api/v1/stock/take", Work, s.postStockTake},
		{"GET /api/v1/stock/standards", Watch, s.getLives},
		{"GET /api/v1/formulations", Watch, s.getFormulations},
		{"POST /api/v1/formulations", Work, s.postFormulation},
		{"GET /api/v1/formulations/{name}", Watch, s.getFormulation},
		{"DELETE /api/v1/formulations/{name}", Work, s.deleteFormulation},
		{"GET /api/v1/lots", Watch, s.getLots},
		{"POST /api/v1/lots", Work, s.postLot},
		{"GET /api/v1/lots/{lot}", Watch, s.getLot},
		{"GET /api/v1/lots/{lot}/export", Watch, s.getDocument},
		{"GET /api/v1/records", Watch, s.getRecords},
		{"POST /api/v1/records", Work, s.postRecord},
		{"GET /api/v1/records/{seq}", Watch, s.getRecord},
		{"GET /api/v1/records/checkpoints", Watch, s.getCheckpoints},
		{"POST /api/v1/records/checkpoints", Work, s.postCheckpoint},
		{"GET /api/v1/records/key", Watch, s.getKeys},
		{"POST /api/v1/records/key", Manage, s.postKey},
		{"GET /api/v1/records/export", Watch, s.getExport},
		{"GET /api/v1/paths", Watch, s.getPaths},
		{"POST /api/v1/paths/{path}/test", Work, s.postPathTest},
		{"POST /api/v1/paths/{path}/subscriptions", Work, s.postSubscription},
		{"DELETE /api/v1/paths/{path}/subscriptions", Work, s.deleteSubscription},
		{"GET /api/v1/snapshot", Watch, s.getSnapshot},
		{"GET /api/v1/live", Watch, s.getLive},
		{"GET /api/v1/openapi.json", Watch, s.getOpenAPI},
		{"GET /login", Watch, s.getLogin},
		{"POST /login", Watch, s.postLogin},
		{"POST /logout", Watch, s.postLogout},
	} {
		mux.Handle(r.pattern, s.answering(r.need, r.handle))
	}
	if s.opts.Metrics != nil {
		mux.Handle("GET /metrics", s.opts.Metrics)
	}
	mux.HandleFunc("GET /healthz", s.getHealth)
	mux.Handle("GET /readyz", s.answering(Watch, s.getReady))
}

// answering asks for the level and turns an error into a problem.
func (s *Server) answering(need Level, handle handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !open(r.URL.Path) && !personOf(r).may(need) {
			s.fail(w, r, tooLow(need))
			return
		}
		if err := handle(w, r); err != nil {
			s.fail(w, r, err)
		}
	})
}

// gzipFrom is the size from which an answer is worth compressing, in bytes.
const gzipFrom = 2 << 10

// give answers with JSON.
func (s *Server) give(w http.ResponseWriter, r *http.Request, status int, v any) error {
	var body bytes.Buffer
	out := json.NewEncoder(&body)
	out.SetEscapeHTML(false) // it is never read as HTML: see the type and nosniff
	if err := out.Encode(v); err != nil {
		return fmt.Errorf("write answer: %w", err)
	}
	s.giveBytes(w, r, status, body.Bytes())
	return nil
}

func (s *Server) giveBytes(w http.ResponseWriter, r *http.Request, status int, body []byte) {
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
		s.opts.Log.Debug("answer not taken", "path", r.URL.Path, "error", err)
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

func (s *Server) getOpenAPI(w http.ResponseWriter, r *http.Request) error {
	s.giveBytes(w, r, http.StatusOK, openAPI)
	return nil
}

func (s *Server) getHealth(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	if _, err := io.WriteString(w, "ok\n"); err != nil {
		s.opts.Log.Debug("answer not taken", "path", "/healthz", "error", err)
	}
}

func (s *Server) getReady(w http.ResponseWriter, r *http.Request) error {
	if err := s.opts.Ready(); err != nil {
		s.opts.Log.Warn("not ready", "error", err)
		if detail := s.trouble(r); detail != "" {
			return refused(http.StatusServiceUnavailable, "Not ready", detail)
		}
		return refused(http.StatusServiceUnavailable, "Not ready", "the store or the way in does not work: the daemon's log says what to do")
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, err := io.WriteString(w, "ready\n")
	if err != nil {
		s.opts.Log.Debug("answer not taken", "path", "/readyz", "error", err)
	}
	return nil
}
