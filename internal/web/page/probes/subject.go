// Package probes is the pages of the probes: which there are and how they are, the one that somebody holds in a hand, readings typed in, and checks in
// ice and boiling water.
package probes

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
}

// New makes the pages.
func New(p *frame.Pages) *Set { return &Set{Pages: p} }

// Handlers are the pages by their patterns.
func (p *Set) Handlers() map[string]frame.Handler {
	return map[string]frame.Handler{
		"GET /probes":          p.getProbes,
		"GET /probes/{id...}":  p.getProbePage,
		"POST /probes/reading": p.postReading,
		"POST /probes/check":   p.postCheck,
	}
}
