// Package lots is the pages of the records: lots with their entries, deviations and reviews, the journal, a lot's way from the brine to the
// freezer, the stock, and labels. What people enter is made of the same fields everywhere (forms.go) and signed.
package lots

import (
	"embed"
	"html/template"
	"net/http"

	"stallkeeper/internal/web/page/frame"
)

//go:embed templates/*.html
var files embed.FS

// Source is the subject's templates.
func Source() frame.Source {
	return frame.Source{Files: files, Funcs: template.FuncMap{"choiceName": choiceName, "enterName": enterName}}
}

// Set is the pages of the subject.
type Set struct {
	*frame.Pages
}

// New makes the pages.
func New(p *frame.Pages) *Set { return &Set{Pages: p} }

// Handlers are the pages by their patterns.
func (p *Set) Handlers() map[string]frame.Handler {
	return map[string]frame.Handler{
		"GET /lots":                    p.getLots,
		"POST /lots":                   p.postLot,
		"GET /lots/{lot}":              p.getLot,
		"POST /lots/{lot}/verify":      p.postVerify,
		"GET /records":                 p.getRecords,
		"POST /records":                p.postEntry,
		"GET /lots/{lot}/way":          p.getWay,
		"POST /lots/{lot}/stage":       p.postWayStage,
		"POST /lots/{lot}/planned":     p.postWayPlan,
		"POST /lots/{lot}/stock":       p.postWayStock,
		"POST /lots/{lot}/formulation": p.postWayFormulation,
		"GET /stock":                   p.getStock,
		"POST /stock/take":             p.postStockTake,
		"GET /lots/{lot}/labels":       p.getLabels,
		"GET /lots/{lot}/qr.svg":       p.getQR,
	}
}

// reader is the person who asks, as these pages put things to them.
type reader struct{ frame.Reader }

func (p *Set) reader(r *http.Request) reader { return reader{p.Reader(r)} }
