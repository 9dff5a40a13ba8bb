package web

import (
	"io"
	"net/http"
	"net/http/httptest"
	"testing"

	"stallkeeper/internal/web/webtest"
)

// newServer builds a server over the shelf; edit may change its options.
func newServer(t testing.TB, s *webtest.Shelf, edit func(*Options)) *Server {
	t.Helper()
	o := optionsOf(t, s.Night)
	o.Shop = s.Shop(t)
	o.Ready = func() error { return nil }
	o.Metrics = http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
		_, _ = io.WriteString(w, "# no metrics\n")
	})
	if edit != nil {
		edit(&o)
	}
	server, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return server
}

// optionsOf are those of a night.
func optionsOf(t testing.TB, n *webtest.Night) Options {
	return Options{Shop: n.Shop(t), Log: webtest.NoLog(), Broker: "mqtt://127.0.0.1:1883"}
}

// serveNight serves the pages of a night.
func serveNight(t testing.TB, n *webtest.Night, edit func(*Options)) *httptest.Server {
	t.Helper()
	o := optionsOf(t, n)
	if edit != nil {
		edit(&o)
	}
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(s)
	t.Cleanup(server.Close)
	return server
}
