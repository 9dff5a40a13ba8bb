package daemon

import (
	"encoding/json"
	"io"
	"net"
	"net/http"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"stallkeeper/internal/notify"
)

// hook is a receiver of webhooks that can be down, and can take a message and die before it says so.
type hook struct {
	mu   sync.Mutex // guards the fields below
	down bool
	got  []string // "status summary", as they came
	ids  []string
	took func() // called once a message is taken
	came int    // requests
}

func (h *hook) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.came++
	if h.down {
		w.WriteHeader(http.StatusBadGateway)
		return
	}
	body, err := io.ReadAll(r.Body)
	var m struct {
		Alerts []struct {
			Status      string
			Annotations map[string]string
		}
	}
	if err != nil || json.Unmarshal(body, &m) != nil || r.Header.Get(notify.SignatureHeader) != notify.Sign([]byte("a long random text"), body) {
		w.WriteHeader(http.StatusBadRequest)
		return
	}
	for _, a := range m.Alerts {
		h.got = append(h.got, a.Annotations["reason"]+": "+a.Annotations["summary"])
	}
	h.ids = append(h.ids, r.Header.Get(notify.MessageHeader))
	if h.took != nil {
		h.took()
	}
}

func (h *hook) taken() []string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.Clone(h.got)
}

func (h *hook) tries() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.came
}

func writeFile(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func same(t *testing.T, what string, got, want []string) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("%s:\n got %q\nwant %q", what, got, want)
	}
}

// deadAddr is an address of this machine at which nobody listens.
func deadAddr(t *testing.T) string {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	if err := ln.Close(); err != nil {
		t.Fatal(err)
	}
	return ln.Addr().String()
}

func within(t *testing.T, what string, f func() bool) {
	t.Helper()
	for end := time.Now().Add(30 * time.Second); !f(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%s did not come within 30 s", what)
		}
	}
}
