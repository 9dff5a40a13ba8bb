// Package page is what people see: the HTML pages, the forms that they post, and the styles and scripts that go with them. It asks the shop,
// not the API; in the browser its scripts listen to the live stream. Each subject is a room of its own below it (watch, cooks, lots,
// plans, probes), strangers to each other; what they share is beneath them (frame, form, curve).
//
// The rules of the pages are:
//   - Every page reads and acts without script; script only refreshes, draws the curve and saves a page load.
//   - An act is a form that is posted and answered with 303 to where the person was.
//   - No style or script stands in the markup, so that the content policy needs no exception.
//   - What is not known is said in words and never shown as a number.
package page

import (
	"embed"
	"net/http"

	"stallkeeper/internal/web/page/cooks"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/page/lots"
	"stallkeeper/internal/web/page/plans"
	"stallkeeper/internal/web/page/probes"
	"stallkeeper/internal/web/page/watch"
	"stallkeeper/internal/web/problem"
)

//go:embed templates/*.html
var files embed.FS

// Options are what the pages need beside the shop.
type Options = frame.Options

// Set is all pages.
type Set struct {
	*frame.Pages
	subjects []subject
}

// subject is the pages about one thing.
type subject interface {
	Handlers() map[string]frame.Handler
}

// New reads the templates and the assets that are built in; an error means that one of them is broken.
func New(o Options) (*Set, error) {
	p, err := frame.New(o, frame.Source{Files: files}, watch.Source(), cooks.Source(), lots.Source(), plans.Source(), probes.Source())
	if err != nil {
		return nil, err
	}
	return &Set{p, []subject{watch.New(p), cooks.New(p), lots.New(p), plans.New(p), probes.New(p)}}, nil
}

// Register puts the pages on mux.
func (p *Set) Register(mux *http.ServeMux) {
	mux.HandleFunc("GET /assets/{name...}", p.Asset)
	mux.HandleFunc("GET "+PushWorkerPath, p.pushWorker)
	mux.HandleFunc("GET /favicon.ico", func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "/assets/icon.svg", http.StatusMovedPermanently)
	})
	mux.Handle("GET /settings", p.Answering(p.getSettings))
	mux.Handle("POST /settings", p.Answering(p.postSettings))
	mux.Handle("POST /settings/test", p.Answering(p.postPathTest))
	for _, s := range p.subjects {
		for pattern, handle := range s.Handlers() {
			mux.Handle(pattern, p.Answering(handle))
		}
	}
}

// Missing answers for an address at which no page is.
func (p *Set) Missing(w http.ResponseWriter, r *http.Request) {
	p.Fail(w, r, problem.New(http.StatusNotFound, "Not found", "no page is at "+problem.Clip(r.URL.Path)+": choose one from the menu"))
}
