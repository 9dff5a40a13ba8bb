// Package frame is what every page is made with: the frame around it with the navigation, how one person sees figures (Reader), the trade's
// names of things in words, the answer to an error, and the styles and scripts that are built in. It knows no page: each subject
// gives its templates as a Source and its addresses as handlers.
package frame

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"log/slog"
	"maps"
	"net/http"
	"net/url"
	"strings"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
	"stallkeeper/internal/when"
)

//go:embed templates/*.html
var own embed.FS

// Handler answers a request, or returns the error that Answering shows as a page.
type Handler = func(http.ResponseWriter, *http.Request) error

// Source is what a subject adds to the set of templates: files templates/page_NAME.html and templates/part_NAME.html, and the functions that
// only they need.
type Source struct {
	Files fs.FS
	Funcs template.FuncMap
}

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

// Pages is what the subjects share: the shop, the templates and the assets.
type Pages struct {
	Options
	views  *template.Template
	assets map[string]asset
}

// View is what every template gets.
type View struct {
	Reader
	Title    string
	Here     string // the navigation entry
	Back     string // where a form on this page leads back to
	Invented bool
	MayWork  bool // may log and acknowledge
	May      bool // may start, change and end cooks
	Body     any
}

// Sign says how people sign entries here.
type Sign struct {
	Login string // who is logged in and signs by that
	PIN   bool   // initials and a PIN are asked for
}

// New reads the templates of all subjects and the assets that are built in; an error means that one of them is broken.
func New(o Options, subjects ...Source) (*Pages, error) {
	p := &Pages{Options: o}
	var err error
	if p.views, err = readViews(subjects); err != nil {
		return nil, fmt.Errorf("read page templates: %w", err)
	}
	if p.assets, err = readAssets(); err != nil {
		return nil, err
	}
	return p, nil
}

// readViews puts all templates into one set, where each is held once: frame and parts by their names, head and body of a page as
// "head of NAME" and "body of NAME".
func readViews(subjects []Source) (*template.Template, error) {
	funcs := template.FuncMap{
		"percent": Percent, "sentence": Sentence, "cutName": CutName, "stateName": StateName, "span": when.Span,
		"inc": func(n int) int { return n + 1 }, "priorityName": alarm.Priority.Words, "qualityName": QualityName, "roleName": roleName, "findingName": findingName, "dict": dict,
		"times100": func(v float64) float64 { return 100 * v }, "deref": func(v *float64) float64 { return *v }, "by": byWhom, "pathKind": pathKind,
	}
	for _, s := range subjects {
		maps.Copy(funcs, s.Funcs)
	}
	set := template.New("").Funcs(funcs)
	for _, s := range append([]Source{{Files: own}}, subjects...) {
		if err := addViews(set, s.Files, funcs); err != nil {
			return nil, err
		}
	}
	return set, nil
}

func addViews(set *template.Template, files fs.FS, funcs template.FuncMap) error {
	names, err := fs.Glob(files, "templates/*.html")
	if err != nil {
		return err
	}
	for _, file := range names {
		one, err := template.New("").Funcs(funcs).ParseFS(files, file)
		if err != nil {
			return err
		}
		page, isPage := strings.CutPrefix(strings.TrimSuffix(file, ".html"), "templates/page_")
		for _, t := range one.Templates() {
			name := t.Name()
			switch {
			case t.Tree == nil || strings.HasSuffix(name, ".html"):
				continue // the file, which is only its definitions
			case isPage && (name == "head" || name == "body"):
				name += " of " + page
			}
			if set.Lookup(name) != nil {
				return fmt.Errorf("%s: a template %q is there already: give it another name", file, name)
			}
			if _, err := set.AddParseTree(name, t.Tree); err != nil {
				return err
			}
		}
	}
	return nil
}

// fill puts the frame around a page.
func (p *Pages) fill(out *bytes.Buffer, name string, view View) error {
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

// Answering reads the form that a person posts, and turns an error of a page into a page that says it.
func (p *Pages) Answering(handle Handler) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		var err error
		if r.Method == http.MethodPost {
			err = r.ParseForm()
		}
		if err != nil {
			err = problem.Bad("the form cannot be read: %v", err)
		} else {
			err = handle(w, r)
		}
		if err != nil {
			p.Fail(w, r, err)
		}
	}
}

// Refused tells what is wrong with a form that was not accepted, for the page that shows it again with what was typed, the PIN left out. What
// the daemon is to blame for comes back as an error.
func Refused(r *http.Request, err error) (problem.Document, error) {
	said := problem.Of(err)
	if said.Status >= 500 {
		return said, err
	}
	r.PostForm.Del("pin")
	return said, nil
}

// Fail shows an error as a page, and logs what the daemon is to blame for.
func (p *Pages) Fail(w http.ResponseWriter, r *http.Request, err error) {
	said := problem.Of(err)
	if said.Status >= 500 && r.Context().Err() == nil {
		p.Log.Error("answer page", "method", r.Method, "path", r.URL.Path, "status", said.Status, "error", err)
	}
	view := View{Title: said.Title, Body: said.Detail, Back: backTo(r.Header.Get("Referer"))}
	if err := p.Render(w, r, said.Status, "fail", view); err != nil {
		p.Log.Error("answer page", "path", r.URL.Path, "error", err)
		http.Error(w, "the page could not be made: the daemon's log says why", http.StatusInternalServerError)
	}
}

// Render fills a page and sends it whole, or not at all.
func (p *Pages) Render(w http.ResponseWriter, r *http.Request, status int, name string, view View) error {
	if view.now.IsZero() {
		view.Reader = p.Reader(r)
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
	_, err := w.Write(view.shown(out.Bytes()))
	if err != nil {
		p.Log.Debug("page not taken", "path", r.URL.Path, "error", err)
	}
	return nil
}

// GiveJSON answers a script of a page. A client that has hung up is nobody's error.
func (p *Pages) GiveJSON(w http.ResponseWriter, r *http.Request, v any) error {
	data, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("write answer: %w", err)
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	if _, err := w.Write(data); err != nil {
		p.Log.Debug("answer not taken", "path", r.URL.Path, "error", err)
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

// ReturnTo answers a posted form: it leads back to where its field "back" says, with the pairs of names and values added to the query.
func ReturnTo(w http.ResponseWriter, r *http.Request, add ...string) {
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

// Reader is the person who asks, at this moment.
func (p *Pages) Reader(r *http.Request) Reader { return ReaderOf(r, p.Now(), p.Location) }

// ReaderAt is the person who asks, at the moment that the live state is of; at this moment while there is none yet.
func (p *Pages) ReaderAt(r *http.Request, s *monitor.Snapshot) Reader {
	if s.Now.IsZero() {
		return p.Reader(r)
	}
	return ReaderOf(r, s.Now, p.Location)
}

// Signed tells who makes the entry that a posted form asks for. A PIN in an address is not looked at.
func (p *Pages) Signed(r *http.Request) (record.Maker, error) {
	return p.Sign(r, visitor.Signature{By: r.PostFormValue("by"), PIN: r.PostFormValue("pin")})
}

// Signing says how the person who asks signs entries.
func (p *Pages) Signing(r *http.Request) Sign { return Sign{Login: visitor.Of(r).Name, PIN: p.PINs} }
