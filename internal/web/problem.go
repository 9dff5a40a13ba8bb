package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net/http"
	"strconv"

	"stallkeeper/internal/cook"
)

// problem is an error as clients see it (RFC 9457). Its type is always "about:blank": title and status say the kind.
type problem struct {
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail"`
}

// requestError is an error of the request, with the answer it gets. Its text is for the sender and says what to send.
type requestError struct {
	status int
	title  string
	detail string
	header http.Header
}

func (e *requestError) Error() string { return e.detail }

func refused(status int, title, detail string) *requestError {
	return &requestError{status: status, title: title, detail: detail}
}

// bad is a request that cannot be understood.
func bad(format string, a ...any) error {
	return refused(http.StatusBadRequest, "Bad request", fmt.Sprintf(format, a...))
}

// saying gives a conflict words that say what to do; other errors stay as they are.
func saying(err error, detail string) error {
	if errors.Is(err, cook.ErrConflict) {
		return refused(http.StatusConflict, "Conflict", detail)
	}
	return err
}

// problemOf chooses status and words from an error. Nothing of an error inside the daemon reaches the sender.
func problemOf(err error) problem {
	var request *requestError
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &request):
		return problem{request.title, request.status, request.detail}
	case errors.As(err, &large):
		return problem{"Too large", http.StatusRequestEntityTooLarge, fmt.Sprintf("the body is larger than %d bytes: send less", large.Limit)}
	case errors.Is(err, cook.ErrNotFound):
		return problem{"Not found", http.StatusNotFound, "there is no such thing: look at the list it should be in"}
	case errors.Is(err, cook.ErrConflict):
		return problem{"Conflict", http.StatusConflict, "this cannot be done in the present state: look at it again"}
	case errors.Is(err, context.DeadlineExceeded):
		return problem{"Too slow", http.StatusServiceUnavailable, "the daemon did not get it done in time: try again"}
	case errors.Is(err, context.Canceled):
		return problem{"Interrupted", http.StatusServiceUnavailable, "the request was given up: send it again"}
	}
	return problem{"Internal error", http.StatusInternalServerError, "something went wrong inside the daemon: its log says what"}
}

// teller answers requests with what went wrong.
type teller struct {
	Log     *slog.Logger
	Trouble func(*http.Request) string // what is wrong with the daemon, in words for who asks; "" = nothing, or nothing that they may see
}

// fail answers with the problem that the error is, and logs what the daemon is to blame for. A trouble that the daemon
// knows of, such as a full disk, is told in the words in which the page tells it.
func (t teller) fail(w http.ResponseWriter, r *http.Request, err error) {
	p := problemOf(err)
	if p.Status >= 500 && r.Context().Err() == nil {
		t.Log.Error("answer http", "method", r.Method, "path", r.URL.Path, "status", p.Status, "error", err)
	}
	if text := t.Trouble(r); p.Status == http.StatusInternalServerError && text != "" {
		p = problemOf(refused(http.StatusServiceUnavailable, "In trouble", text))
	}
	var request *requestError
	if errors.As(err, &request) {
		maps.Copy(w.Header(), request.header)
	}
	body, err := json.Marshal(p)
	if err != nil {
		panic("web: a problem is plain text: " + err.Error())
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
