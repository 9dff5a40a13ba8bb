package page

import (
	"net/http"

	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
)

// settingsView is who is here and how messages reach people.
type settingsView struct {
	Who    string
	Paths  []shop.Path
	Hear   []string // paths that this browser may be subscribed to
	Key    string
	Tested string // what became of a test just now
}

func (p *Set) getSettings(w http.ResponseWriter, r *http.Request) error {
	who := visitor.Of(r)
	body := settingsView{Who: who.Name, Tested: r.FormValue("tested")}
	if p.PostRoom != nil {
		var err error
		if body.Paths, err = p.PostRoom.Paths(r.Context()); err != nil {
			return err
		}
		body.Key = p.PostRoom.PushKey()
	}
	for _, path := range body.Paths {
		if who.May(visitor.Work) && shop.MayHear(who.Name, path, p.Login) {
			body.Hear = append(body.Hear, path.Name)
		}
	}
	return p.Render(w, r, http.StatusOK, "settings", frame.View{Title: "Settings", Here: "settings", Body: body})
}

// postPathTest sends a test message and says what became of it.
func (p *Set) postPathTest(w http.ResponseWriter, r *http.Request) error {
	_, said, err := shop.TestPath(r.Context(), p.PostRoom, r.FormValue("path"), visitor.By(r, "somebody on the page"))
	if err != nil {
		return err
	}
	frame.ReturnTo(w, r, "tested", said)
	return nil
}

// PushWorkerPath is where the service worker lies. It holds nothing that must be kept from anybody.
const PushWorkerPath = "/push-worker.js"

// pushWorker serves the service worker at the root, so that its scope is the whole site.
func (p *Set) pushWorker(w http.ResponseWriter, r *http.Request) {
	r.SetPathValue("name", "push-worker.js")
	p.Asset(w, r)
}

// postSettings keeps a choice in a cookie of this browser.
func (p *Set) postSettings(w http.ResponseWriter, r *http.Request) error {
	for name, values := range map[string][]string{frame.UnitCookie: {"c", "f"}, frame.LightCookie: {"system", "dark", "light", "red"}} {
		for _, v := range values {
			if r.FormValue(name) == v {
				http.SetCookie(w, &http.Cookie{Name: name, Value: v, Path: "/", MaxAge: 400 * 24 * 3600, SameSite: http.SameSiteLaxMode, HttpOnly: true})
			}
		}
	}
	frame.ReturnTo(w, r)
	return nil
}
