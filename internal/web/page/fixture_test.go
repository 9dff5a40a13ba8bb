package page_test

import (
	"net/http/httptest"
	"testing"

	"go.uber.org/goleak"

	"stallkeeper/internal/web"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/webtest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// newServer builds the whole server over a shop; edit may change its ports.
func newServer(t testing.TB, s shop.Shop, edit func(*shop.Shop)) *web.Server {
	t.Helper()
	if edit != nil {
		edit(&s)
	}
	server, err := web.New(web.Options{Shop: s, Log: webtest.NoLog(), Broker: "mqtt://127.0.0.1:1883"})
	if err != nil {
		t.Fatal(err)
	}
	return server
}

// serveNight serves the pages of a night.
func serveNight(t testing.TB, n *webtest.Night, edit func(*shop.Shop)) *httptest.Server {
	t.Helper()
	server := httptest.NewServer(newServer(t, n.Shop(t), edit))
	t.Cleanup(server.Close)
	return server
}
