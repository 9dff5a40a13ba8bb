package problem

import (
	"encoding/json"
	"errors"
	"log/slog"
	"maps"
	"net/http"
	"strconv"
)

// Teller answers requests of programs with what went wrong.
type Teller struct {
	Log     *slog.Logger
	Trouble func(*http.Request) string // what is wrong with the daemon, in words for who asks; "" = nothing, or nothing that they may see
}

// Fail answers with the problem that the error is, and logs what the daemon is to blame for: not what it refuses with purpose, such as one
// live stream too many, or whoever asks for it again and again would fill the log. A trouble that the daemon
// knows of, such as a full disk, is told in the words in which the page tells it.
func (t Teller) Fail(w http.ResponseWriter, r *http.Request, err error) {
	p := Of(err)
	var request *Error
	meant := errors.As(err, &request)
	if p.Status >= 500 && !meant && r.Context().Err() == nil {
		t.Log.Error("answer http", "method", r.Method, "path", r.URL.Path, "status", p.Status, "error", err)
	}
	if text := t.Trouble(r); p.Status == http.StatusInternalServerError && text != "" {
		p = Of(New(http.StatusServiceUnavailable, "In trouble", text))
	}
	if meant {
		maps.Copy(w.Header(), request.Header)
	}
	body, err := json.Marshal(p)
	if err != nil {
		panic("problem: a document is plain text: " + err.Error())
	}
	h := w.Header()
	h.Set("Content-Type", "application/problem+json")
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Length", strconv.Itoa(len(body)))
	h.Del("Content-Encoding")
	w.WriteHeader(p.Status)
	if _, err := w.Write(body); err != nil {
		t.Log.Debug("answer not taken", "path", r.URL.Path, "error", err)
	}
}
