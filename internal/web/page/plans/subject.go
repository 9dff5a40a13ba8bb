// Package plans is the pages on which people reckon before anything is cooked: back from a serving hour, a brine, a chill.
package plans

import (
	"embed"

	"stallkeeper/internal/web/page/frame"
)

//go:embed templates/*.html
var files embed.FS

// Source is the subject's templates.
func Source() frame.Source { return frame.Source{Files: files} }

// Set is the pages of the subject.
type Set struct {
	*frame.Pages
	chills chills
}

// New makes the pages.
func New(p *frame.Pages) *Set { return &Set{Pages: p} }

// Handlers are the pages by their patterns.
func (p *Set) Handlers() map[string]frame.Handler {
	return map[string]frame.Handler{
		"GET /plan":        p.getPlanForm,
		"POST /plan":       p.postPlan,
		"GET /plan/{id}":   p.getPlanned,
		"GET /brine":       p.getBrine,
		"POST /brine/keep": p.postBrineKeep,
		"POST /brine/drop": p.postBrineDrop,
		"GET /chill":       p.getChill,
	}
}
