package page_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"stallkeeper/internal/web/page/pagetest"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/webtest"
)

func TestSettings_SayHowMessagesReachPeople(t *testing.T) {
	n := webtest.NewNight(t)
	server := pagetest.Serve(t, n, nil)
	text := webtest.Get(t, server, "/settings")
	for _, want := range []string{"<strong>mail</strong> by e-mail, to pitmaster", "Last delivered", "Last failed", "no route to host", "2 waiting since", "Fails since", "Send a test by siren",
		`data-push="BA1Hxzyi1RUM1b5wjxsn7nGxAszw2u61m164i3MrAIxHF6YK5h4SDYic-dRuU_RCPCfA5aq9ojSwk5Y2EmClBPs"`, `<button data-path="browser" hidden>`} {
		if !strings.Contains(text, want) {
			t.Errorf("the settings do not say %q", want)
		}
	}
	if strings.Contains(text, `data-path="mail"`) {
		t.Error("a browser may be subscribed to the mail")
	}
	for path, want := range map[string]string{"mail": "The test by mail was delivered.", "siren": "exit status 1", "browser": "waits behind other messages"} {
		if status, to := webtest.Post(t, server, "/settings/test", url.Values{"path": {path}, "back": {"/settings#messages"}}); status != 303 || !strings.Contains(webtest.Get(t, server, to), want) {
			t.Errorf("after a test by %s: %d to %s, which does not say %q", path, status, to, want)
		}
	}
	silent := pagetest.Serve(t, webtest.NewNight(t), func(o *shop.Shop) { o.PostRoom = nil })
	if text := webtest.Get(t, silent, "/settings"); !strings.Contains(text, "No message goes to anybody") || strings.Contains(text, "data-push") {
		t.Error("without a path the settings do not say so")
	}
}

func TestSettings_AreKeptInCookies(t *testing.T) {
	server := pagetest.Serve(t, webtest.NewNight(t), nil)
	client := *server.Client()
	client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	answer, err := client.PostForm(server.URL+"/settings", url.Values{"stallkeeper-light": {"red"}, "back": {"/settings"}})
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	if got := answer.Header.Get("Set-Cookie"); !strings.HasPrefix(got, "stallkeeper-light=red") {
		t.Errorf("Set-Cookie %q", got)
	}
}
