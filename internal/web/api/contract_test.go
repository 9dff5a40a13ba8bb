package api_test

import (
	"archive/zip"
	"bytes"
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"

	"stallkeeper/internal/testrig"
	"stallkeeper/internal/web/webtest"
)

// call is one request to the API, the address it falls under in the OpenAPI document, and the status it gets.
type call struct {
	golden         string // name of the file with the answer; empty = none is kept
	method, path   string
	template       string // path in the document; empty = path itself up to "?"
	body           string
	kind           string // Content-Type; empty = JSON where there is a body
	status         int
	undocumentedIn bool // the request breaks the document on purpose
}

const v1 = "/api/v1"

var calls = []call{
	{golden: "probes", method: "GET", path: v1 + "/probes", status: 200},
	{golden: "probe", method: "GET", path: v1 + "/probes/flat", template: v1 + "/probes/{probe}", status: 200},
	{method: "GET", path: v1 + "/probes/none", template: v1 + "/probes/{probe}", status: 404},
	{golden: "readings", method: "GET", path: v1 + "/readings", status: 200},
	{golden: "readings-page", method: "GET", path: v1 + "/readings?probe=pit&from=2026-11-26T02:00:15Z&to=2026-11-26T02:02:00Z&limit=3", status: 200},
	{golden: "readings-bad", method: "GET", path: v1 + "/readings?from=yesterday&limit=0&prob=pit", status: 400, undocumentedIn: true},
	{golden: "reading-kept", method: "POST", path: v1 + "/readings", body: `{"probe":"flat","celsius":67.5,"time":"2026-11-26T07:30:00Z"}`, status: 201},
	{golden: "reading-conflict", method: "POST", path: v1 + "/readings", body: `{"probe":"flat","celsius":50,"time":"2026-11-26T02:00:00Z"}`, status: 409},
	{golden: "reading-unknown-key", method: "POST", path: v1 + "/readings", body: `{"probe":"flat","celcius":50}`, status: 400, undocumentedIn: true},
	{method: "POST", path: v1 + "/readings", body: `{"probe":"flat","celsius":50}`, kind: "text/csv", status: 415, undocumentedIn: true},
	{golden: "series", method: "GET", path: v1 + "/series?probe=flat&points=4", status: 200},
	{golden: "check-kept", method: "POST", path: v1 + "/checks", status: 201,
		body: `{"probe":"flat","by":"KM","time":"2026-11-26T01:00:00Z","points":[{"true_c":0,"read_c":0.4},{"true_c":98.98,"read_c":99.3}],"altitude_m":300}`},
	{golden: "check-bad", method: "POST", path: v1 + "/checks", body: `{"probe":"flat","by":"","points":[{"true_c":0,"read_c":0.4}]}`, status: 400},
	{method: "POST", path: v1 + "/checks", body: `{"probe":"flat","by":"KM","points":[]}`, status: 400, undocumentedIn: true},
	{golden: "checks", method: "GET", path: v1 + "/checks?probe=flat", status: 200},
	{golden: "checks-none", method: "GET", path: v1 + "/checks?probe=pit", status: 200},
	{golden: "compare", method: "GET", path: v1 + "/compare?probe=pit&with=flat&from=2026-11-26T02:00:00Z&to=2026-11-26T02:02:00Z&within=5", status: 200},
	{golden: "compare-none", method: "GET", path: v1 + "/compare?probe=pit&with=none", status: 200},
	{method: "GET", path: v1 + "/compare?probe=pit&with=pit", status: 400},
	{golden: "quarantine", method: "GET", path: v1 + "/quarantine", status: 200},
	{golden: "quarantine-page", method: "GET", path: v1 + "/quarantine?limit=1&before=3", status: 200},
	{golden: "cooks", method: "GET", path: v1 + "/cooks", status: 200},
	{method: "GET", path: v1 + "/cooks?limit=1", status: 200},
	{golden: "cook", method: "GET", path: v1 + "/cooks/7", template: v1 + "/cooks/{id}", status: 200},
	{method: "GET", path: v1 + "/cooks/99", template: v1 + "/cooks/{id}", status: 404},
	{method: "GET", path: v1 + "/cooks/seven", template: v1 + "/cooks/{id}", status: 400, undocumentedIn: true},
	{golden: "cook-started", method: "POST", path: v1 + "/cooks", status: 201,
		body: `{"name":"Sunday","started":"2026-11-26T02:00:00Z","pit":{"setpoint_c":107},"pieces":[{"id":"core","cut":"pork_shoulder","target_c":94}]}`},
	{golden: "cook-bad", method: "POST", path: v1 + "/cooks", status: 400, undocumentedIn: true,
		body: `{"name":"","started":"2026-11-26T02:00:00Z","pit":{"setpoint_c":10},"pieces":[]}`},
	{golden: "cook-amended", method: "PATCH", path: v1 + "/cooks/7", template: v1 + "/cooks/{id}", body: `{"piece":"flat","target_c":94,"by":"KM"}`, status: 200},
	{method: "PATCH", path: v1 + "/cooks/7", template: v1 + "/cooks/{id}", body: `{}`, status: 400},
	{golden: "events", method: "GET", path: v1 + "/events", status: 200},
	{method: "GET", path: v1 + "/events?cook=6", status: 200},
	{method: "GET", path: v1 + "/cooks/7/events", template: v1 + "/cooks/{id}/events", status: 200},
	{golden: "event-late", method: "POST", path: v1 + "/cooks/7/events", template: v1 + "/cooks/{id}/events", status: 201,
		body: `{"time":"2026-11-26T07:50:00Z","kind":"wrap","piece":"flat","with":"foil","by":"KM","note":"20 minutes ago"}`},
	{golden: "event-withdrawn", method: "POST", path: v1 + "/cooks/7/events", template: v1 + "/cooks/{id}/events", body: `{"corrects":2,"withdraw":true}`, status: 201},
	{method: "POST", path: v1 + "/cooks/7/events", template: v1 + "/cooks/{id}/events", body: `{"kind":"wrap","piece":"flat"}`, status: 400},
	{method: "POST", path: v1 + "/cooks/7/events", template: v1 + "/cooks/{id}/events", body: `{"kind":"lid","corrects":77}`, status: 400},
	{golden: "log", method: "GET", path: v1 + "/cooks/7/log", template: v1 + "/cooks/{id}/log", status: 200},
	{golden: "piece", method: "GET", path: v1 + "/cooks/7/pieces/flat", template: v1 + "/cooks/{id}/pieces/{piece}", status: 200},
	{golden: "forecast-history-page", method: "GET", path: v1 + "/cooks/7/pieces/flat/forecasts?limit=1", template: v1 + "/cooks/{id}/pieces/{piece}/forecasts", status: 200},
	{golden: "forecast-history", method: "GET", path: v1 + "/cooks/7/pieces/flat/forecasts?from=2026-11-26T03:00:00Z", template: v1 + "/cooks/{id}/pieces/{piece}/forecasts", status: 200},
	{golden: "what-if", method: "GET", path: v1 + "/cooks/7/pieces/flat/what-if?do=wrap%3Dfoil%40now&do=setpoint%3D121C%40%2B30m", template: v1 + "/cooks/{id}/pieces/{piece}/what-if", status: 200},
	{method: "GET", path: v1 + "/cooks/7/pieces/flat/what-if?do=pray", template: v1 + "/cooks/{id}/pieces/{piece}/what-if", status: 400},
	{method: "GET", path: v1 + "/cooks/6/pieces/flat/what-if?do=wrap%3Dfoil%40now", template: v1 + "/cooks/{id}/pieces/{piece}/what-if", status: 404},
	{golden: "pieces", method: "GET", path: v1 + "/pieces", status: 200},
	{golden: "forecasts", method: "GET", path: v1 + "/forecasts", status: 200},
	{golden: "alarms", method: "GET", path: v1 + "/alarms", status: 200},
	{golden: "alarm-history", method: "GET", path: v1 + "/alarms?history=true&limit=2", status: 200},
	{golden: "alarm", method: "GET", path: v1 + "/alarms/piece-ready%2F7%2Fbreast", template: v1 + "/alarms/{id}", status: 200},
	{method: "POST", path: v1 + "/alarms/pit-falling%2F7/acknowledge", template: v1 + "/alarms/{id}/acknowledge", status: 204},
	{method: "POST", path: v1 + "/alarms/nothing%2F7/acknowledge", template: v1 + "/alarms/{id}/acknowledge", status: 404},
	{method: "POST", path: v1 + "/alarms/piece-ready%2F7%2Fbreast/shelve", template: v1 + "/alarms/{id}/shelve", body: `{"until":"2026-11-26T09:00:00Z","by":"KM"}`, status: 204},
	{golden: "plan-kept", method: "POST", path: v1 + "/plans", status: 201,
		body: `{"name":"Sunday table","serve":"2026-12-13T18:00:00+01:00","zone":"Europe/Berlin","pit_c":107,"cure_days":7,"pieces":[{"cut":"brisket_flat_cured","mass_kg":2.5,"thickness_mm":50,"target_c":92}]}`},
	{golden: "plan-impossible", method: "POST", path: v1 + "/plans", status: 201,
		body: `{"serve":"2026-11-26T18:00:00+01:00","pit_c":107,"pieces":[{"cut":"pork_shoulder","mass_kg":4,"target_c":95,"frozen":true}],"lot":"26-11-25-shoulder","cook":7}`},
	{method: "POST", path: v1 + "/plans", status: 201,
		body: `{"serve":"2026-11-26T16:00:00-06:00","pit_c":110,"pieces":[{"id":"flat","cut":"brisket_flat","mass_kg":3.1,"target_c":92.5}],"cook":7}`},
	{golden: "plan-bad", method: "POST", path: v1 + "/plans", status: 400,
		body: `{"serve":"2026-11-25T18:00:00+01:00","pit_c":1070,"pieces":[{"cut":"pork_shoulder","mass_kg":0,"target_c":95}]}`},
	{method: "POST", path: v1 + "/plans", status: 400, body: `{"serve":"2026-12-13T18:00:00+01:00","pit_c":107,"pieces":[{"cut":"steak","mass_kg":2,"target_c":60}]}`},
	{golden: "plans", method: "GET", path: v1 + "/plans?limit=1", status: 200},
	{method: "GET", path: v1 + "/plans?lot=26-11-25-shoulder&cook=7", status: 200},
	{golden: "plan", method: "GET", path: v1 + "/plans/1", template: v1 + "/plans/{id}", status: 200},
	{golden: "plan-calendar", method: "GET", path: v1 + "/plans/1?format=ics", template: v1 + "/plans/{id}", status: 200},
	{golden: "plan-text", method: "GET", path: v1 + "/plans/1?format=text", template: v1 + "/plans/{id}", status: 200},
	{method: "GET", path: v1 + "/plans/1?format=pdf", template: v1 + "/plans/{id}", status: 400, undocumentedIn: true},
	{method: "GET", path: v1 + "/plans/9", template: v1 + "/plans/{id}", status: 404},
	{golden: "plan-now", method: "GET", path: v1 + "/plans/3/now", template: v1 + "/plans/{id}/now", status: 200},
	{golden: "cook-plan", method: "GET", path: v1 + "/cooks/7/plan?serve=2026-11-26T22:00:00Z", template: v1 + "/cooks/{id}/plan", status: 200},
	{method: "GET", path: v1 + "/cooks/99/plan", template: v1 + "/cooks/{id}/plan", status: 404},
	{golden: "formulation-kept", method: "POST", path: v1 + "/formulations", status: 201,
		body: `{"name":"pastrami brine","sheet":{"meat":"3kg","water":"4kg","ice":"2kg","salt":"400g","sugar":"200g","cure_nitrite":"6.25%","method":"immersion-equilibrium","want_ppm":"120","thickness":"50mm","flat":true}}`},
	{golden: "formulation-bad", method: "POST", path: v1 + "/formulations", status: 400, body: `{"name":"pastrami brine","sheet":{"meat":"3","method":"pumped"}}`},
	{method: "POST", path: v1 + "/formulations", status: 400, body: `{"name":"a/b","sheet":{"meat":"3kg","method":"dry"}}`},
	{golden: "formulations", method: "GET", path: v1 + "/formulations", status: 200},
	{golden: "formulation", method: "GET", path: v1 + "/formulations/pastrami%20brine?for=5kg", template: v1 + "/formulations/{name}", status: 200},
	{method: "GET", path: v1 + "/formulations/none", template: v1 + "/formulations/{name}", status: 404},
	{method: "DELETE", path: v1 + "/formulations/pastrami%20brine", template: v1 + "/formulations/{name}", status: 204},
	{method: "DELETE", path: v1 + "/formulations/pastrami%20brine", template: v1 + "/formulations/{name}", status: 404},
	{golden: "paths", method: "GET", path: v1 + "/paths", status: 200},
	{golden: "path-tested", method: "POST", path: v1 + "/paths/mail/test", template: v1 + "/paths/{path}/test", status: 200},
	{golden: "path-not-tested", method: "POST", path: v1 + "/paths/siren/test", template: v1 + "/paths/{path}/test", status: 200},
	{method: "POST", path: v1 + "/paths/none/test", template: v1 + "/paths/{path}/test", status: 404},
	{method: "POST", path: v1 + "/paths/browser/subscriptions", template: v1 + "/paths/{path}/subscriptions", status: 204,
		body: `{"endpoint":"https://push.example.net/a","keys":{"p256dh":"BAEC","auth":"AQID"}}`},
	{golden: "subscription-bad", method: "POST", path: v1 + "/paths/browser/subscriptions", template: v1 + "/paths/{path}/subscriptions", status: 400,
		body: `{"endpoint":"https://127.0.0.1/","keys":{"p256dh":"BAEC","auth":"AQID"}}`},
	{method: "DELETE", path: v1 + "/paths/browser/subscriptions", template: v1 + "/paths/{path}/subscriptions", status: 204, body: `{"endpoint":"https://push.example.net/a"}`},
	{golden: "snapshot", method: "GET", path: v1 + "/snapshot", status: 200},
	{method: "GET", path: v1 + "/openapi.json", status: 200},
	{method: "GET", path: "/healthz", status: 200},
	{method: "GET", path: "/readyz", status: 200},
	{method: "GET", path: "/metrics", status: 200},
	{golden: "cook-ended", method: "POST", path: v1 + "/cooks/7/end", template: v1 + "/cooks/{id}/end", body: `{"at":"2026-11-26T08:00:00Z"}`, status: 200},
}

// Every answer is held against the OpenAPI document and, where it has a golden file, against that. The calls run in
// their order on one night.
func TestAPI_AnswersAsDocumented(t *testing.T) {
	for _, kind := range []string{"text/calendar", "text/csv", "application/pdf"} {
		openapi3filter.RegisterBodyDecoder(kind, openapi3filter.FileBodyDecoder)
	}
	doc := mustDocument(t)
	server := newServer(t, webtest.NewShelf(t), webtest.Books(t))
	for _, c := range slices.Concat(calls, recordCalls, wayCalls) {
		t.Run(strings.TrimPrefix(c.method+" "+c.path, v1), func(t *testing.T) {
			r := webtest.Request(c.method, c.path, c.body)
			if c.kind != "" {
				r.Header.Set("Content-Type", c.kind)
			}
			w := webtest.Send(server, r)
			if w.Code != c.status {
				t.Fatalf("status %d, want %d: %s", w.Code, c.status, w.Body)
			}
			mustFit(t, doc, c, w)
			if c.golden != "" {
				mustMatchGolden(t, c.golden, w)
			}
		})
	}
}

func mustDocument(t testing.TB) *openapi3.T {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromFile("openapi.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := doc.Validate(t.Context()); err != nil {
		t.Fatal(err)
	}
	return doc
}

func mustFit(t testing.TB, doc *openapi3.T, c call, w *httptest.ResponseRecorder) {
	t.Helper()
	template := c.template
	if template == "" {
		template, _, _ = strings.Cut(c.path, "?")
	}
	item := doc.Paths.Value(template)
	if item == nil || item.GetOperation(c.method) == nil {
		t.Fatalf("%s %s is not in the OpenAPI document", c.method, template)
	}
	r := webtest.Request(c.method, c.path, c.body)
	if c.kind != "" {
		r.Header.Set("Content-Type", c.kind)
	}
	in := &openapi3filter.RequestValidationInput{Request: r, PathParams: pathParams(template, c.path), QueryParams: r.URL.Query(),
		Route:   &routers.Route{Spec: doc, Path: template, PathItem: item, Method: c.method, Operation: item.GetOperation(c.method)},
		Options: &openapi3filter.Options{AuthenticationFunc: openapi3filter.NoopAuthenticationFunc, IncludeResponseStatus: true}}
	if err := openapi3filter.ValidateRequest(context.Background(), in); (err != nil) != c.undocumentedIn {
		t.Errorf("request against the document: %v", err)
	}
	out := &openapi3filter.ResponseValidationInput{RequestValidationInput: in, Status: w.Code, Header: w.Header(), Body: io.NopCloser(bytes.NewReader(w.Body.Bytes())), Options: in.Options}
	if err := openapi3filter.ValidateResponse(context.Background(), out); err != nil {
		t.Errorf("answer against the document: %v", err)
	}
}

// pathParams reads the values that stand for the names in braces.
func pathParams(template, path string) map[string]string {
	path, _, _ = strings.Cut(path, "?")
	out := map[string]string{}
	parts := strings.Split(path, "/")
	for i, name := range strings.Split(template, "/") {
		if strings.HasPrefix(name, "{") {
			out[strings.Trim(name, "{}")] = strings.ReplaceAll(parts[i], "%2F", "/")
		}
	}
	return out
}

// mustMatchGolden compares what the client sees: status, type and body; the files of an archive.
func mustMatchGolden(t testing.TB, name string, w *httptest.ResponseRecorder) {
	t.Helper()
	got := w.Body.String()
	if w.Header().Get("Content-Type") == "application/zip" {
		got = unzipped(t, w.Body.Bytes())
	}
	testrig.Golden(t, name+".golden", got)
}

func unzipped(t testing.TB, data []byte) string {
	t.Helper()
	archive, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for _, f := range archive.File {
		in, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(in)
		if err != nil {
			t.Fatal(err)
		}
		b.WriteString("== " + f.Name + "\n" + string(text))
	}
	return b.String()
}

// Every address of the API is in the document with its methods, and every address of the document has a call above.
func TestOpenAPI_KnowsEveryAddress(t *testing.T) {
	doc := mustDocument(t)
	called := map[string]bool{
		"GET " + v1 + "/live":          true, // live_test.go
		"POST " + v1 + "/cooks/import": true, // api_log_test.go
	}
	for _, c := range slices.Concat(calls, recordCalls, wayCalls) {
		template := c.template
		if template == "" {
			template, _, _ = strings.Cut(c.path, "?")
		}
		if c.status < 300 {
			called[c.method+" "+template] = true
		}
	}
	for path, item := range doc.Paths.Map() {
		for method := range item.Operations() {
			if !called[method+" "+path] {
				t.Errorf("%s %s is in the document but nothing calls it", method, path)
			}
			if method == http.MethodGet && item.Get.Summary == "" {
				t.Errorf("%s has no summary", path)
			}
		}
	}
}
