package webtest

import (
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/web/problem"
)

// Request builds a request to the daemon's own name; a body is JSON.
func Request(method, path, body string) *http.Request {
	r := httptest.NewRequest(method, "http://localhost:8080"+path, strings.NewReader(body))
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	return r
}

// recorder lets handlers set deadlines, as a connection does.
type recorder struct{ *httptest.ResponseRecorder }

func (recorder) SetWriteDeadline(time.Time) error { return nil }

// Send gives the answer of a handler.
func Send(s http.Handler, r *http.Request) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	s.ServeHTTP(recorder{w}, r)
	return w
}

// MustProblem checks that the answer is a problem of the status and gives its detail.
func MustProblem(t testing.TB, w *httptest.ResponseRecorder, status int) string {
	t.Helper()
	var p problem.Document
	if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil {
		t.Fatalf("answer %d %q is no problem document: %v", w.Code, w.Body, err)
	}
	if w.Code != status || p.Status != status || p.Title == "" || p.Detail == "" || w.Header().Get("Content-Type") != "application/problem+json" {
		t.Fatalf("answer %d %s %q, want a problem of status %d", w.Code, w.Header().Get("Content-Type"), w.Body, status)
	}
	return p.Detail
}

// PostForm sends a form as a browser without script does.
func PostForm(t testing.TB, s http.Handler, path string, form url.Values) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequest("POST", "http://localhost:8080"+path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return Send(s, r)
}

// asRead is markup as a browser reads it: a line break within it is a space.
func asRead(markup string) string {
	return strings.Join(strings.FieldsFunc(markup, func(r rune) bool { return r == ' ' || r == '\n' }), " ") // not a no-break space
}

// MustSee checks the status of a page, and that it says every text, wherever its markup breaks lines.
func MustSee(t testing.TB, w *httptest.ResponseRecorder, status int, wanted ...string) {
	t.Helper()
	if w.Code != status {
		t.Fatalf("status %d, want %d: %s", w.Code, status, w.Body)
	}
	for _, text := range wanted {
		if !strings.Contains(asRead(w.Body.String()), text) {
			t.Errorf("the page does not say %q", text)
		}
	}
}

// Get reads a page, which must be there. Line breaks in its markup are given as spaces.
func Get(t *testing.T, server *httptest.Server, path string) string {
	t.Helper()
	answer, err := server.Client().Get(server.URL + path)
	if err != nil {
		t.Fatal(err)
	}
	body := Body(t, answer)
	if answer.StatusCode != http.StatusOK {
		t.Fatalf("GET %s = %s\n%s", path, answer.Status, body)
	}
	return asRead(body)
}

// Body reads what an answer says and closes it.
func Body(t *testing.T, answer *http.Response) string {
	t.Helper()
	body, err := io.ReadAll(answer.Body)
	if err := errors.Join(err, answer.Body.Close()); err != nil {
		t.Fatal(err)
	}
	return string(body)
}

// Post sends a form and gives the status and where it leads.
func Post(t *testing.T, server *httptest.Server, path string, form url.Values) (int, string) {
	t.Helper()
	client := *server.Client()
	client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	answer, err := client.PostForm(server.URL+path, form)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	return answer.StatusCode, answer.Header.Get("Location")
}

// Has checks that a page says every text.
func Has(t *testing.T, page string, want ...string) {
	t.Helper()
	page = strings.ReplaceAll(page, "\u00a0", " ")
	for _, w := range want {
		if !strings.Contains(page, w) {
			t.Errorf("page lacks %q", w)
		}
	}
}
