// Package problem is how a request is told that it went wrong: an error with its status, its words and, on the API, a problem document
// (RFC 9457). Words are for the sender and say what to send instead; nothing of an error inside the daemon reaches them.
package problem

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"stallkeeper/internal/cook"
)

// Document is an error as clients see it (RFC 9457). Its type is always "about:blank": title and status say the kind.
type Document struct {
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail"`
}

// Error is an error of the request, with the answer it gets. Its text is for the sender and says what to send.
type Error struct {
	Document
	Header http.Header // what the answer carries beside the document, such as Retry-After
}

// Error gives the detail.
func (e *Error) Error() string { return e.Detail }

// New makes an error of the request. The title says the kind in two or three words, the detail ends with what to do.
func New(status int, title, detail string) *Error {
	return &Error{Document: Document{Title: title, Status: status, Detail: detail}}
}

// Bad is a request that cannot be understood: 400.
func Bad(format string, a ...any) error {
	return New(http.StatusBadRequest, "Bad request", fmt.Sprintf(format, a...))
}

// Saying gives a conflict words that say what to do; other errors stay as they are.
func Saying(err error, detail string) error {
	if errors.Is(err, cook.ErrConflict) {
		return New(http.StatusConflict, "Conflict", detail)
	}
	return err
}

// Of chooses status and words from an error. Nothing of an error inside the daemon reaches the sender.
func Of(err error) Document {
	var request *Error
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &request):
		return request.Document
	case errors.As(err, &large):
		return Document{"Too large", http.StatusRequestEntityTooLarge, fmt.Sprintf("the body is larger than %d bytes: send less", large.Limit)}
	case errors.Is(err, cook.ErrNotFound):
		return Document{"Not found", http.StatusNotFound, missing(err) + ": look at the list it should be in"}
	case errors.Is(err, cook.ErrConflict):
		return Document{"Conflict", http.StatusConflict, "this cannot be done in the present state: look at it again"}
	case errors.Is(err, context.DeadlineExceeded):
		return Document{"Too slow", http.StatusServiceUnavailable, "the daemon did not get it done in time: try again"}
	case errors.Is(err, context.Canceled):
		return Document{"Interrupted", http.StatusServiceUnavailable, "the request was given up: send it again"}
	}
	return Document{"Internal error", http.StatusInternalServerError, "something went wrong inside the daemon: its log says what"}
}

// missing names what was not found. The error that wraps cook.ErrNotFound directly does so, as in "cook 99: not found"; what stands around
// it is the daemon's own.
func missing(err error) string {
	if name, ok := named(err); ok {
		return ClipTo(name, 100) + " is not known here"
	}
	return "there is no such thing"
}

func named(err error) (string, bool) {
	switch e := err.(type) {
	case interface{ Unwrap() error }:
		if e.Unwrap() == cook.ErrNotFound {
			return strings.CutSuffix(err.Error(), ": "+cook.ErrNotFound.Error())
		}
		return named(e.Unwrap())
	case interface{ Unwrap() []error }:
		for _, one := range e.Unwrap() {
			if name, ok := named(one); ok {
				return name, true
			}
		}
	}
	return "", false
}

// Clip quotes what the sender sent, shortened to 60 bytes, for repeating it to them.
func Clip(s string) string { return strconv.Quote(ClipTo(s, 60)) }

// ClipTo shortens a text to n bytes, without breaking a letter, and marks that with an ellipsis.
func ClipTo(s string, n int) string {
	if len(s) <= n {
		return s
	}
	return strings.ToValidUTF8(s[:n], "") + "…"
}
