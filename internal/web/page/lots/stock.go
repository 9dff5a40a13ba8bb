package lots

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/larder"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/when"
)

// stockView is the stock page.
type stockView struct {
	Stock    []larder.Lot
	Products []string
	Sign     frame.Sign
	Taken    []shop.Drawn
	Wrong    string
	Typed    url.Values
	Lives    []larder.Life
}

// Get is what was typed.
func (v *stockView) Get(name string) string { return v.Typed.Get(name) }

func (p *Set) getStock(w http.ResponseWriter, r *http.Request) error {
	return p.stockPage(w, r, http.StatusOK, &stockView{})
}

func (p *Set) stockPage(w http.ResponseWriter, r *http.Request, status int, v *stockView) error {
	stock, err := p.Stock(r.Context())
	if err != nil {
		return err
	}
	v.Stock, v.Sign, v.Lives = stock, p.Signing(r), larder.Lives()
	for _, l := range stock {
		if !slices.Contains(v.Products, l.Product) {
			v.Products = append(v.Products, l.Product)
		}
	}
	return p.Render(w, r, status, "stock", frame.View{Title: "Stock", Here: "lots", Back: "/stock", Body: v})
}

// postStockTake takes portions out, the oldest first, and says from which places.
func (p *Set) postStockTake(w http.ResponseWriter, r *http.Request) error {
	who, err := p.Signed(r)
	if err == nil {
		out := shop.StockOut{Product: r.FormValue("product"), Kept: r.FormValue("kept"), Why: strings.TrimSpace(r.FormValue("why")), Discard: r.FormValue("discard") != ""}
		if out.Portions, err = strconv.Atoi(strings.TrimSpace(r.FormValue("portions"))); err != nil {
			err = problem.Bad("portions %s is not a number: enter how many, such as 3", problem.Clip(r.FormValue("portions")))
		} else {
			var drawn []shop.Drawn
			if drawn, err = p.TakeOut(r.Context(), out, who); err == nil {
				return p.stockPage(w, r, http.StatusOK, &stockView{Taken: drawn})
			}
		}
	}
	said, err := frame.Refused(r, err)
	if err != nil {
		return err
	}
	return p.stockPage(w, r, said.Status, &stockView{Wrong: said.Detail, Typed: r.PostForm})
}

// labelsView is a sheet of labels of a lot.
type labelsView struct {
	Lot    *record.Lot
	Labels []label
	QR     string
	Caps   []string
}

// label is one sticker.
type label struct {
	Product, Piece, Mass, Kept, In, UseBy, Standard, Words string
	Number, Of                                             int
	Quality                                                bool // the date is for quality alone
}

// maxLabels is how many labels one sheet takes.
const maxLabels = 200

// getLabels gives a printable sheet: a label for each portion that is left of the lot, or of the one entry that is asked for.
func (p *Set) getLabels(w http.ResponseWriter, r *http.Request) error {
	lot, err := p.Records.Lot(r.Context(), cook.LotID(r.PathValue("lot")))
	if err != nil {
		return err
	}
	see := p.reader(r)
	v := labelsView{Lot: lot, QR: "/lots/" + url.PathEscape(string(lot.ID)) + "/qr.svg"}
	only := r.URL.Query().Get("entry")
	for _, b := range lot.Stock {
		if only != "" && only != strconv.FormatInt(b.Seq, 10) {
			continue
		}
		for n := range b.Left {
			if len(v.Labels) < maxLabels {
				v.Labels = append(v.Labels, labelOf(lot, b, n+1, see.Zone()))
			}
		}
	}
	return p.Render(w, r, http.StatusOK, "labels", frame.View{Reader: see.Reader, Title: "Labels of " + string(lot.ID), Here: "lots", Body: v})
}

func labelOf(lot *record.Lot, b record.Batch, n int, in *time.Location) label {
	l := label{Product: lot.Product, Piece: string(b.Body.Piece), Kept: b.Body.Kept, In: when.Calendar(b.At, in), Standard: b.Body.Standard, Number: n, Of: b.Left,
		Quality: b.Body.Kept == record.InFreezer}
	if b.Body.MassKg > 0 {
		l.Mass = fmt.Sprintf("%.0f g", 1000*b.Body.MassKg)
	}
	if !b.Body.UseBy.IsZero() {
		l.UseBy = when.Calendar(b.Body.UseBy, in)
	}
	l.Words = "Keep at 5 °C (41 °F) or below."
	if l.Quality {
		l.Words = "Keep at -18 °C (0 °F). Thaw in the cooler, then use within 1 to 2 days."
	}
	return l
}
