package web

import (
	"net/url"
	"strings"
	"testing"

	"golang.org/x/crypto/bcrypt"
)

func TestSettings_SayHowMessagesReachPeople(t *testing.T) {
	n := newNight(t)
	server := serveNight(t, n, nil)
	text := get(t, server, "/settings")
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
		if status, to := post(t, server, "/settings/test", url.Values{"path": {path}, "back": {"/settings#messages"}}); status != 303 || !strings.Contains(get(t, server, to), want) {
			t.Errorf("after a test by %s: %d to %s, which does not say %q", path, status, to, want)
		}
	}
	silent := serveNight(t, newNight(t), func(o *Options) { o.PostRoom = nil })
	if text := get(t, silent, "/settings"); !strings.Contains(text, "No message goes to anybody") || strings.Contains(text, "data-push") {
		t.Error("without a path the settings do not say so")
	}
}

// Who subscribes a browser reads what the path's person is told: so only that person may.
func TestSubscriptions_OnlyToOnesOwnPath(t *testing.T) {
	hash, err := bcrypt.GenerateFromPassword([]byte("open the lid"), minCost)
	if err != nil {
		t.Fatal(err)
	}
	users := []User{{Name: "pitmaster", Level: Work, Hash: string(hash)}, {Name: "other", Level: Manage, Hash: string(hash)}, {Name: "guest", Level: Watch, Hash: string(hash)}}
	room := &counter{}
	server := newServer(t, newShelf(t), func(o *Options) { o.Users, o.PostRoom = users, room })
	const body = `{"endpoint":"https://push.example.net/a","keys":{"p256dh":"AA","auth":"AA"}}`
	for _, c := range []struct {
		who, path string
		want      int
	}{{"pitmaster", "browser", 204}, {"other", "browser", 403}, {"guest", "browser", 403}, {"pitmaster", "mail", 403}, {"pitmaster", "none", 404}} {
		r := request("POST", v1+"/paths/"+c.path+"/subscriptions", body)
		r.SetBasicAuth(c.who, "open the lid")
		if w := send(server, r); w.Code != c.want {
			t.Errorf("%s to %s: %d, want %d: %s", c.who, c.path, w.Code, c.want, w.Body)
		}
	}
	if len(room.subs) != 1 || room.subs[0].By != "pitmaster" {
		t.Errorf("subscriptions %+v", room.subs)
	}
}

func TestPushWorker_IsServedAtTheRoot(t *testing.T) {
	w := send(newServer(t, newShelf(t), nil), request("GET", "/push-worker.js", ""))
	if w.Code != 200 || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/javascript") || !strings.Contains(w.Body.String(), "showNotification") {
		t.Errorf("%d %s", w.Code, w.Header())
	}
}
