package problem

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"unicode/utf8"

	"stallkeeper/internal/cook"
)

func TestOf_TellsNothingOfTheInside(t *testing.T) {
	for _, tc := range []struct {
		err    error
		status int
	}{
		{Bad("send %s", "kg"), 400},
		{fmt.Errorf("read form: %w", New(422, "Odd", "send it again")), 422},
		{cook.ErrNotFound, 404},
		{fmt.Errorf("read store: %w", fmt.Errorf("cook 99: %w", cook.ErrNotFound)), 404},
		{fmt.Errorf("store: %w", cook.ErrConflict), 409},
		{Saying(cook.ErrConflict, "end it first"), 409},
		{&http.MaxBytesError{Limit: 7}, 413},
		{context.DeadlineExceeded, 503},
		{errors.New("open /var/lib/secret: disk on fire"), 500},
	} {
		d := Of(tc.err)
		if d.Status != tc.status || d.Title == "" || d.Detail == "" || strings.Contains(d.Detail, "secret") || strings.Contains(d.Detail, "store") {
			t.Errorf("Of(%v) = %+v, want status %d and words for the sender", tc.err, d, tc.status)
		}
	}
}

func TestClip_BreaksNoLetter(t *testing.T) {
	long := strings.Repeat("é", 100)
	if got := ClipTo(long, 61); !utf8.ValidString(got) || len(got) > 61+len("…") || !strings.HasSuffix(got, "…") {
		t.Errorf("ClipTo = %q", got)
	}
	if got := Clip("a\nb"); got != `"a\nb"` {
		t.Errorf("Clip = %s", got)
	}
}

// A fault that the daemon knows of, such as a full disk, is told in its words, and to nobody else.
func TestTeller_TellsATroubleThatIsKnown(t *testing.T) {
	for trouble, status := range map[string]int{"": 500, "the disk is full: make room": 503} {
		w := httptest.NewRecorder()
		tell := Teller{Log: slog.New(slog.DiscardHandler), Trouble: func(*http.Request) string { return trouble }}
		tell.Fail(w, httptest.NewRequest("GET", "/", nil), errors.New("write page 7: no space left"))
		if w.Code != status || !strings.Contains(w.Body.String(), trouble) || strings.Contains(w.Body.String(), "page 7") || w.Header().Get("Content-Type") != "application/problem+json" {
			t.Errorf("with trouble %q: %d %s", trouble, w.Code, w.Body)
		}
	}
}
