// Package cooks is the pages of the cooks: the form that lights a fire, with what can be forecast before it burns, a cook with its log and
// its curve, what is changed in it, all cooks with how good their forecasts were, and several laid over each other.
package cooks

import (
	"embed"
	"net/http"

	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/page/frame"
)

//go:embed templates/*.html
var files embed.FS

// Source is the subject's templates.
func Source() frame.Source { return frame.Source{Files: files} }

// Set is the pages of the subject.
type Set struct {
	*frame.Pages
}

// New makes the pages.
func New(p *frame.Pages) *Set { return &Set{Pages: p} }

// Handlers are the pages by their patterns.
func (p *Set) Handlers() map[string]frame.Handler {
	return map[string]frame.Handler{
		"GET /start":                p.getStart,
		"POST /start":               p.postStart,
		"GET /cooks":                p.getCooks,
		"GET /cooks/{id}":           p.getCook,
		"POST /cooks/{id}/amend":    p.postAmend,
		"POST /cooks/{id}/end":      p.postEnd,
		"GET /overlay":              p.getOverlay,
		"GET /overlay/curves":       p.getOverlayCurves,
		"GET /curve/{cook}/{piece}": p.getCurve,
	}
}

// reader is the person who asks, as these pages put things to them.
type reader struct{ frame.Reader }

func (p *Set) reader(r *http.Request) reader { return reader{p.Reader(r)} }

func (p *Set) readerAt(r *http.Request, s *monitor.Snapshot) reader { return reader{p.ReaderAt(r, s)} }
