// Package page is what people see: the HTML pages, the forms that they post, and the styles and scripts that go with them. It asks the shop,
// not the API; in the browser its scripts listen to the live stream.
//
// The rules of the pages are:
//   - Every page reads and acts without script; script only refreshes, draws the curve and saves a page load.
//   - An act is a form that is posted and answered with 303 to where the person was.
//   - No style or script stands in the markup, so that the content policy needs no exception.
//   - What is not known is said in words and never shown as a number.
package page

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
	"stallkeeper/internal/when"
)

//go:embed templates/*.html
var templateFiles embed.FS

// Options are what the pages need beside the shop.
type Options struct {
	shop.Shop
	Log      *slog.Logger
	Invented bool         // the demo: every page says plainly that the data is invented
	Broker   string       // where probes publish to; the first-run page shows it
	Login    bool         // people log in
	PINs     bool         // entries are signed with initials and a PIN
	Secure   bool         // people reach the daemon over TLS
	Sign     visitor.Sign // tells who makes an entry
}

// Set is the pages with what they are made from.
type Set struct {
	Options
	views  *template.Template
	trails *trails
	chills chills
	assets map[string]asset
}

// frame is what every template gets.
type frame struct {
	reader
	Title    string
	Here     string // the navigation entry
	Back     string // where a form on this page leads back to
	Invented bool
	MayWork  bool // may log and acknowledge
	May      bool // may start, change and end cooks
	Body     any
}

// New reads the templates and the assets that are built in; an error means that one of them is broken.
func New(o Options) (*Set, error) {
	p := &Set{Options: o, trails: newTrails()}
	var err error
	if p.views, err = readViews(); err != nil {
		return nil, fmt.Errorf("read page templates: %w", err)
	}
	if p.assets, err = readAssets(); err != nil {
		return nil, err
	}
	return p, nil
}

// readViews puts all templates into one set, where each is held once: frame and parts by their names, head and body of a page as
// "head of NAME" and "body of NAME".
func readViews() (*template.Template, error) {
	funcs := template.FuncMap{
		"percent": percent, "sentence": sentence, "cutName": cutName, "stateName": stateName, "span": when.Span,
		"inc": func(n int) int { return n + 1 }, "priorityName": priorityName, "qualityName": qualityName, "roleName": roleName, "findingName": findingName, "dict": dict,
		"times100": func(v float64) float64 { return 100 * v }, "deref": func(v *float64) float64 { return *v }, "by": byWhom, "pathKind": pathKind, "choiceName": choiceName, "enterName": enterName,
	}
	set, err := template.New("").Funcs(funcs).ParseFS(templateFiles, "templates/frame.html", "templates/part_*.html")
	if err != nil {
		return nil, err
	}
	files, err := fs.Glob(templateFiles, "templates/page_*.html")
	if err != nil {
		return nil, err
	}
	for _, file := range files {
		own, err := template.New("").Funcs(funcs).ParseFS(templateFiles, file)
		if err != nil {
			return nil, err
		}
		page := strings.TrimSuffix(strings.TrimPrefix(file, "templates/page_"), ".html")
		for _, t := range own.Templates() {
			name := t.Name()
			switch {
			case t.Tree == nil || strings.HasSuffix(name, ".html"):
				continue // the file, which is only its definitions
			case name == "head" || name == "body":
				name += " of " + page
			case set.Lookup(name) != nil:
				return nil, fmt.Errorf("%s: a template %q is there already: give it another name", file, name)
			}
			if _, err := set.AddParseTree(name, t.Tree); err != nil {
				return nil, err
			}
		}
	}
	return set, nil
}

// fill puts the frame around a page.
func (p *Set) fill(out *bytes.Buffer, name string, view frame) error {
	for _, part := range []string{"frame-begin", "head of " + name, "frame-middle", "body of " + name, "frame-end"} {
		if strings.HasPrefix(part, "head") && p.views.Lookup(part) == nil {
			continue
		}
		if err := p.views.ExecuteTemplate(out, part, view); err != nil {
			return fmt.Errorf("fill page %s: %w", name, err)
		}
	}
	return nil
}

// dict hands several named values to a template part.
func dict(pairs ...any) (map[string]any, error) {
	if len(pairs)%2 != 0 {
		return nil, errors.New("dict: a name without a value")
	}
	out := map[string]any{}
	for i := 0; i < len(pairs); i += 2 {
		name, ok := pairs[i].(string)
		if !ok {
			return nil, fmt.Errorf("dict: %v is not a name", pairs[i])
		}
		out[name] = pairs[i+1]
	}
	return out, nil
}

// Register puts the pages on mux.
func (p *Set) Register(mux *http.ServeMux) {
	mux.HandleFunc("GET /assets/{name...}", p.asset)
	mux.HandleFunc("GET "+PushWorkerPath, p.pushWorker)
	mux.HandleFunc("GET /favicon.ico", func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "/assets/icon.svg", http.StatusMovedPermanently)
	})
	for pattern, handle := range map[string]func(http.ResponseWriter, *http.Request) error{
		"GET /{$}":                  p.night,
		"GET /start":                p.getStart,
		"POST /start":               p.postStart,
		"GET /cooks":                p.getCooks,
		"GET /cooks/{id}":           p.getCook,
		"POST /cooks/{id}/amend":    p.postAmend,
		"POST /cooks/{id}/end":      p.postEnd,
		"GET /overlay":              p.getOverlay,
		"GET /overlay/curves":       p.getOverlayCurves,
		"GET /probes":               p.getProbes,
		"GET /probes/{id...}":       p.getProbePage,
		"POST /probes/reading":      p.postReading,
		"POST /probes/check":        p.postCheck,
		"GET /settings":             p.getSettings,
		"GET /curve/{cook}/{piece}": p.curve,
		"POST /cooks/{id}/events":   p.postEvent,
		"POST /alarms/acknowledge":  p.postAcknowledge,
		"POST /alarms/shelve":       p.postShelve,
		"POST /settings":            p.postSettings,
		"GET /lots":                 p.getLots,
		"POST /lots":                p.postLot,
		"GET /lots/{lot}":           p.getLot,
		"POST /lots/{lot}/verify":   p.postVerify,
		"GET /records":              p.getRecords,
		"POST /records":             p.postEntry,
		"GET /plan":                 p.getPlanForm,
		"POST /plan":                p.postPlan,
		"GET /plan/{id}":            p.getPlanned,
		"GET /brine":                p.getBrine,
		"POST /brine/keep":          p.postBrineKeep,
		"POST /brine/drop":          p.postBrineDrop,
		"POST /settings/test":       p.postPathTest,
	} {
		mux.Handle(pattern, p.answering(handle))
	}
	for pattern, handle := range p.wayPages() {
		mux.Handle(pattern, p.answering(handle))
	}
}

// answering turns an error of a page into a page that says it.
func (p *Set) answering(handle func(http.ResponseWriter, *http.Request) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if err := handle(w, r); err != nil {
			p.fail(w, r, err)
		}
	}
}

// fail shows an error as a page, and logs what the daemon is to blame for.
func (p *Set) fail(w http.ResponseWriter, r *http.Request, err error) {
	said := problem.Of(err)
	if said.Status >= 500 && r.Context().Err() == nil {
		p.Log.Error("answer page", "method", r.Method, "path", r.URL.Path, "status", said.Status, "error", err)
	}
	view := frame{Title: said.Title, Body: said.Detail, Back: backTo(r.Header.Get("Referer"))}
	if err := p.render(w, r, said.Status, "fail", view); err != nil {
		p.Log.Error("answer page", "path", r.URL.Path, "error", err)
		http.Error(w, "the page could not be made: the daemon's log says why", http.StatusInternalServerError)
	}
}

// Missing answers for an address at which no page is.
func (p *Set) Missing(w http.ResponseWriter, r *http.Request) {
	p.fail(w, r, problem.New(http.StatusNotFound, "Not found", "no page is at "+problem.Clip(r.URL.Path)+": choose one from the menu"))
}

// render fills a page and sends it whole, or not at all.
func (p *Set) render(w http.ResponseWriter, r *http.Request, status int, name string, view frame) error {
	if view.now.IsZero() {
		view.reader = readerOf(r, p.Now(), p.Location)
	}
	view.Invented = p.Invented
	view.MayWork, view.May = visitor.Of(r).May(visitor.Work), visitor.Of(r).May(visitor.Manage)
	if view.Back == "" {
		view.Back = r.URL.RequestURI()
	}
	var out bytes.Buffer
	w.Header().Add("Vary", "Cookie")
	if err := p.fill(&out, name, view); err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, err := w.Write(out.Bytes())
	if err != nil {
		p.Log.Debug("page not taken", "path", r.URL.Path, "error", err)
	}
	return nil
}

// backTo gives the local path of a URL, so that no form leads off this server.
func backTo(raw string) string {
	u, err := url.Parse(raw)
	if err != nil || !strings.HasPrefix(u.Path, "/") || strings.HasPrefix(u.Path, "//") || strings.ContainsAny(u.Path, "\\\r\n") {
		return "/"
	}
	return (&url.URL{Path: u.Path, RawQuery: u.RawQuery, Fragment: u.Fragment}).String()
}

// returnTo answers a posted form.
func returnTo(w http.ResponseWriter, r *http.Request, add ...string) {
	back, err := url.Parse(backTo(r.FormValue("back")))
	if err != nil {
		back = &url.URL{Path: "/"}
	}
	q := back.Query()
	q.Del("if")
	q.Del("done")
	for i := 0; i+1 < len(add); i += 2 {
		q.Set(add[i], add[i+1])
	}
	back.RawQuery = q.Encode()
	http.Redirect(w, r, back.String(), http.StatusSeeOther)
}

func cookID(text string) (cook.ID, error) {
	id, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return 0, fmt.Errorf("cook %q: %w", text, cook.ErrNotFound)
	}
	return cook.ID(id), nil
}

// moment is the page's now: the live state's, or the clock's while there is none yet.
func (p *Set) moment(s *monitor.Snapshot) time.Time {
	if s.Now.IsZero() {
		return p.Now()
	}
	return s.Now
}
