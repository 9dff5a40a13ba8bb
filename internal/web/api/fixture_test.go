package api_test

import (
	"io"
	"net/http"
	"testing"

	"go.uber.org/goleak"

	"stallkeeper/internal/web"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/webtest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// newServer builds the whole server over the shelf; edit may change its ports.
func newServer(t testing.TB, s *webtest.Shelf, edit func(*shop.Shop)) *web.Server {
	t.Helper()
	o := web.Options{Shop: s.Shop(t), Log: webtest.NoLog(), Ready: func() error { return nil }}
	o.Metrics = http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
		_, _ = io.WriteString(w, "# no metrics\n")
	})
	if edit != nil {
		edit(&o.Shop)
	}
	server, err := web.New(o)
	if err != nil {
		t.Fatal(err)
	}
	return server
}
