package web

import (
	"strings"
	"testing"

	"golang.org/x/crypto/bcrypt"

	"stallkeeper/internal/web/visitor"
	"stallkeeper/internal/web/webtest"
)

// Who subscribes a browser reads what the path's person is told: so only that person may.
func TestSubscriptions_OnlyToOnesOwnPath(t *testing.T) {
	hash, err := bcrypt.GenerateFromPassword([]byte("open the lid"), minCost)
	if err != nil {
		t.Fatal(err)
	}
	users := []User{{Name: "pitmaster", Level: visitor.Work, Hash: string(hash)}, {Name: "other", Level: visitor.Manage, Hash: string(hash)}, {Name: "guest", Level: visitor.Watch, Hash: string(hash)}}
	room := &webtest.Counter{}
	server := newServer(t, webtest.NewShelf(t), func(o *Options) { o.Users, o.PostRoom = users, room })
	const body = `{"endpoint":"https://push.example.net/a","keys":{"p256dh":"AA","auth":"AA"}}`
	for _, c := range []struct {
		who, path string
		want      int
	}{{"pitmaster", "browser", 204}, {"other", "browser", 403}, {"guest", "browser", 403}, {"pitmaster", "mail", 403}, {"pitmaster", "none", 404}} {
		r := webtest.Request("POST", "/api/v1/paths/"+c.path+"/subscriptions", body)
		r.SetBasicAuth(c.who, "open the lid")
		if w := webtest.Send(server, r); w.Code != c.want {
			t.Errorf("%s to %s: %d, want %d: %s", c.who, c.path, w.Code, c.want, w.Body)
		}
	}
	if len(room.Subs) != 1 || room.Subs[0].By != "pitmaster" {
		t.Errorf("subscriptions %+v", room.Subs)
	}
}

func TestPathTest_NamesThePathsThereAre(t *testing.T) {
	server := newServer(t, webtest.NewShelf(t), func(o *Options) { o.PostRoom = &webtest.Counter{} })
	w := webtest.Send(server, webtest.Request("POST", "/api/v1/paths/post/test", ""))
	webtest.MustProblem(t, w, 404)
	if !strings.Contains(w.Body.String(), `no path of messages is called \"post\": there are \"`) {
		t.Errorf("answered %s", w.Body)
	}
}

func TestPushWorker_IsServedAtTheRoot(t *testing.T) {
	w := webtest.Send(newServer(t, webtest.NewShelf(t), nil), webtest.Request("GET", "/push-worker.js", ""))
	if w.Code != 200 || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/javascript") || !strings.Contains(w.Body.String(), "showNotification") {
		t.Errorf("%d %s", w.Code, w.Header())
	}
}
