package api_test

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"unicode/utf8"

	"stallkeeper/internal/web/webtest"
)

// awkward are values that have broken servers before.
var awkward = []string{"", " ", "0", "-1", "1e9", "99999999999999999999", "NaN", "null", "true", "%00", "\x00", "\u202e", "\xff\xfe", "../..", "'; drop table readings; --",
	"<script>", "{{.}}", "2026-05-02", "2026-02-30T00:00:00Z", "2026-05-02T20:00:00", "0000-00-00T00:00:00Z", "9999-12-31T23:59:59.999999999Z", "2026-05-02T24:00:00Z",
	"2026-05-02T20:00:60Z", "0001-01-01T00:00:00Z", "-2026-05-02T20:00:00Z", "2026-05-02T20:00:00+99:00", strings.Repeat("a", 1<<20), strings.Repeat("9", 1<<16), strings.Repeat("/", 300)}

// mustAnswerWell checks what every answer owes: no fault of the daemon's own, JSON that is JSON, problems that are short.
func mustAnswerWell(t *testing.T, what string, w *httptest.ResponseRecorder) {
	t.Helper()
	if w.Code >= 500 {
		t.Errorf("%.200s: %d %.300s", what, w.Code, w.Body)
	}
	kind := w.Header().Get("Content-Type")
	if strings.Contains(kind, "json") && (!json.Valid(w.Body.Bytes()) || !utf8.Valid(w.Body.Bytes())) {
		t.Errorf("%.200s: the answer is no JSON: %.300q", what, w.Body)
	}
	if w.Code >= 400 {
		if kind != "application/problem+json" {
			t.Errorf("%.200s: %d is told as %q", what, w.Code, kind)
		}
		if w.Body.Len() > 8<<10 {
			t.Errorf("%.200s: the problem has %d bytes", what, w.Body.Len())
		}
	}
}

func TestQueries_TakeAnything(t *testing.T) {
	server := newServer(t, webtest.NewShelf(t), nil)
	for path, names := range map[string][]string{
		"/readings": {"probe", "from", "to", "limit", "after", "after_probe"}, "/series": {"probe", "from", "to", "points"},
		"/quarantine": {"before", "limit"}, "/cooks": {"before", "limit"}, "/events": {"cook"}, "/forecasts": {"cook", "piece"},
		"/alarms": {"history", "before", "limit"}, "/cooks/7/pieces/flat/forecasts": {"from", "to"}, "/cooks/7/pieces/flat/what-if": {"do"},
	} {
		for _, name := range names {
			for _, value := range awkward {
				q := "?" + name + "=" + url.QueryEscape(value)
				mustAnswerWell(t, path+q, webtest.Send(server, webtest.Request("GET", v1+path+q, "")))
			}
		}
		webtest.MustProblem(t, webtest.Send(server, webtest.Request("GET", v1+path+"?a;b=%zz", "")), 400)
	}
}

func TestPaths_TakeAnything(t *testing.T) {
	server := newServer(t, webtest.NewShelf(t), nil)
	for _, pattern := range []string{"GET /cooks/*", "GET /probes/*", "GET /alarms/*", "GET /cooks/*/log", "GET /cooks/7/pieces/*", "POST /alarms/*/acknowledge", "POST /cooks/*/events", "PATCH /cooks/*"} {
		method, path, _ := strings.Cut(pattern, " ")
		for _, value := range awkward {
			r := httptest.NewRequest(method, "http://localhost/", nil)
			r.URL = &url.URL{Scheme: "http", Host: "localhost", Path: v1 + strings.Replace(path, "*", value, 1), RawPath: v1 + strings.Replace(path, "*", url.PathEscape(value), 1)}
			mustAnswerWell(t, pattern+" "+value, webtest.Send(server, r))
		}
	}
}

// bodies names an address of every kind of body.
var bodies = []struct{ method, path string }{
	{"POST", "/readings"}, {"POST", "/cooks"}, {"PATCH", "/cooks/7"}, {"POST", "/cooks/7/events"}, {"POST", "/cooks/6/end"},
	{"POST", "/alarms/pit-falling/7/acknowledge"}, {"POST", "/alarms/pit-falling/7/shelve"}, {"POST", "/cooks/import"},
}

func TestBodies_TakeAnything(t *testing.T) {
	server := newServer(t, webtest.NewShelf(t), nil)
	for _, b := range bodies {
		for _, value := range awkward {
			quoted, err := json.Marshal(value)
			if err != nil {
				t.Fatal(err)
			}
			for _, body := range []string{value, string(quoted), "[" + string(quoted) + "]", `{"` + "probe" + `":` + string(quoted) + `}`, `{"by":` + string(quoted) + `}`,
				`{"name":` + string(quoted) + `,"started":` + string(quoted) + `}`, `{"kind":"lid","note":` + string(quoted) + `,"time":` + string(quoted) + `}`,
				`{` + string(quoted) + `:1}`, `{"pieces":` + strings.Repeat("[", 20000) + `}`, `{"until":` + string(quoted) + `}`, `{}{}`} {
				mustAnswerWell(t, b.method+" "+b.path+" "+body, webtest.Send(server, webtest.Request(b.method, v1+b.path, body)))
			}
		}
	}
}

func FuzzQuery(f *testing.F) {
	for _, q := range []string{"", "probe=flat&limit=3", "from=2026-05-02T20:00:00%2B02:00", "limit=-1", "a;b", "after=2026-05-02T20:00:00Z&after_probe=pit", "do=wrap%3Dfoil%40now"} {
		f.Add(q)
	}
	server := newServer(f, webtest.NewShelf(f), nil)
	f.Fuzz(func(t *testing.T, q string) {
		for _, path := range []string{"/readings", "/series", "/alarms", "/cooks/7/pieces/flat/what-if"} {
			r := httptest.NewRequest(http.MethodGet, "http://localhost"+v1+path, nil)
			r.URL.RawQuery = q
			mustAnswerWell(t, path+"?"+q, webtest.Send(server, r))
		}
	})
}

func FuzzBody(f *testing.F) {
	f.Add(`{"probe":"flat","celsius":60}`)
	f.Add(`{"name":"S","started":"2026-05-02T20:00:00Z","pit":{"setpoint_c":107},"pieces":[{"id":"core","cut":"other","target_c":90}]}`)
	f.Add(`{"kind":"wrap","piece":"flat","with":"foil"}`)
	f.Add(`{"until":"2026-11-26T09:00:00Z"}`)
	shelf := webtest.NewShelf(f)
	server := newServer(f, shelf, nil)
	f.Fuzz(func(t *testing.T, body string) {
		*shelf = *webtest.NewShelf(t)
		for _, b := range bodies {
			mustAnswerWell(t, b.method+" "+b.path+" "+body, webtest.Send(server, webtest.Request(b.method, v1+b.path, body)))
		}
	})
}
