// Package pagetest serves all pages of an invented shop, for the tests of each subject.
package pagetest

import (
	"net/http/httptest"
	"testing"

	"stallkeeper/internal/web"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/webtest"
)

// NewServer builds the whole server over a shop; edit, which may be nil, may change its ports.
func NewServer(t testing.TB, s shop.Shop, edit func(*shop.Shop)) *web.Server {
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

// Serve serves the pages of a night until the test ends; edit as in NewServer.
func Serve(t testing.TB, n *webtest.Night, edit func(*shop.Shop)) *httptest.Server {
	t.Helper()
	server := httptest.NewServer(NewServer(t, n.Shop(t), edit))
	t.Cleanup(server.Close)
	return server
}
