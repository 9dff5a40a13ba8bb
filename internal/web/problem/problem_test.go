package problem

import (
	"bytes"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"

	"stallkeeper/internal/cook"
)

func TestOf_NamesWhatWasNotFoundAndNothingElse(t *testing.T) {
	missing := fmt.Errorf("cook 99: %w", cook.ErrNotFound)
	for _, test := range []struct {
		err  error
		want string
	}{
		{missing, "cook 99 is not known here: look at the list it should be in"},
		{fmt.Errorf("read cook from /somewhere: %w", errors.Join(missing, errors.New("rollback failed"))), "cook 99 is not known here: look at the list it should be in"},
		{cook.ErrNotFound, "there is no such thing: look at the list it should be in"},
		{fmt.Errorf("lot x: %w: open it first", cook.ErrNotFound), "there is no such thing: look at the list it should be in"},
	} {
		if got := Of(test.err); got.Status != http.StatusNotFound || got.Detail != test.want {
			t.Errorf("%v became %d %q, want %q", test.err, got.Status, got.Detail, test.want)
		}
	}
}

// What is refused with purpose does not fill the log; what the daemon is to blame for stands in it.
func TestFail_LogsItsOwnFaultsOnly(t *testing.T) {
	var log bytes.Buffer
	tell := Teller{Log: slog.New(slog.NewTextHandler(&log, nil)), Trouble: func(*http.Request) string { return "" }}
	r := httptest.NewRequest("GET", "/api/v1/live", nil)
	tell.Fail(httptest.NewRecorder(), r, New(http.StatusServiceUnavailable, "Too many live streams", "close some"))
	if log.Len() > 0 {
		t.Errorf("a refusal is logged: %s", log.String())
	}
	tell.Fail(httptest.NewRecorder(), r, errors.New("disk on fire"))
	if !bytes.Contains(log.Bytes(), []byte("disk on fire")) {
		t.Errorf("the daemon's own fault is not logged: %q", log.String())
	}
}
