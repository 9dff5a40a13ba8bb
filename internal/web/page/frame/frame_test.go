package frame

import (
	"bytes"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"syscall"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
)

func TestBackTo_StaysOnThisServer(t *testing.T) {
	for raw, want := range map[string]string{
		"/?piece=1/core": "/?piece=1/core", "": "/", "//evil.invalid/x": "/x", "https://evil.invalid/x?y=1": "/x?y=1",
		"javascript:alert(1)": "/", `/\evil.invalid`: "/",
	} {
		if got := backTo(raw); got != want {
			t.Errorf("backTo(%q) = %q, want %q", raw, got, want)
		}
	}
}

// hungUp is a client that is gone.
type hungUp struct{ http.ResponseWriter }

func (hungUp) Write([]byte) (int, error) { return 0, syscall.EPIPE }

func TestGiveJSON_AClientThatHungUpIsNoError(t *testing.T) {
	var log bytes.Buffer
	p := &Pages{Options: Options{Log: slog.New(slog.NewTextHandler(&log, nil))}}
	if err := p.GiveJSON(hungUp{httptest.NewRecorder()}, httptest.NewRequest("GET", "/curve", nil), []int{1}); err != nil || log.Len() > 0 {
		t.Errorf("error %v, log %q", err, &log)
	}
}

// An alarm that was raised at 02:13 and is read at 04:00 says of when its figures are.
func TestThen(t *testing.T) {
	at := time.Date(2026, 11, 26, 2, 13, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		alarm alarm.Alarm
		now   time.Time
		want  string
	}{
		"just now":           {alarm.Alarm{Raised: at, Said: at}, at.Add(2 * time.Minute), ""},
		"at 04:00":           {alarm.Alarm{Raised: at, Said: at}, at.Add(107 * time.Minute), "At 02:13: "},
		"more urgent now":    {alarm.Alarm{Raised: at, Said: at.Add(time.Hour)}, at.Add(time.Hour), ""},
		"of an old database": {alarm.Alarm{Raised: at}, at.Add(time.Hour), "At 02:13: "},
	} {
		if got := (Reader{now: c.now, in: time.UTC}).Then(c.alarm); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}
