// Package watch is the first page, for the night: what is needed and when, each piece from the fire to the serving hour, the clocks of its limits,
// what would come of a wrap or a hotter pit, and the acts that are logged from there.
package watch

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
	trails *trails
}

// New makes the pages.
func New(p *frame.Pages) *Set { return &Set{Pages: p, trails: newTrails()} }

// Handlers are the pages by their patterns.
func (p *Set) Handlers() map[string]frame.Handler {
	return map[string]frame.Handler{
		"GET /{$}":                 p.night,
		"POST /cooks/{id}/events":  p.postEvent,
		"POST /alarms/acknowledge": p.postAcknowledge,
		"POST /alarms/shelve":      p.postShelve,
	}
}

// reader is the person who asks, as these pages put things to them.
type reader struct{ frame.Reader }

func (p *Set) reader(r *http.Request) reader { return reader{p.Reader(r)} }

func (p *Set) readerAt(r *http.Request, s *monitor.Snapshot) reader { return reader{p.ReaderAt(r, s)} }
