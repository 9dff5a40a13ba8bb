package export

import (
	"fmt"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// The page is as wide as A4 and as high as US Letter, so that it prints on both without being scaled. Lengths are millimetres.
const (
	pageWidth  = 210.0
	pageHeight = 279.0
	margin     = 15.0
	top        = 24.0
	bottom     = pageHeight - 17.0
	inner      = pageWidth - 2*margin
	bodySize   = 8.5 // points
	lineHigh   = 3.9
	pad        = 1.0
)

// sheet writes down a page and on to the next.
type sheet struct {
	pdf   *fpdf.Fpdf
	shown *shown
	head  string
	foot  string
	again func() // writes the head of the table that goes on, nil outside tables
}

// newSheet begins a document whose dates are those of what it shows.
func newSheet(title, head, foot string, at time.Time) (*sheet, error) {
	shown, err := newShown()
	if err != nil {
		return nil, err
	}
	pdf := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: pageWidth, Ht: pageHeight}})
	s := &sheet{pdf: pdf, shown: shown, head: head, foot: foot}
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(at.UTC())
	pdf.SetModificationDate(at.UTC())
	pdf.SetProducer("stallkeeper", true)
	pdf.SetTitle(title, true)
	pdf.SetLang("en")
	pdf.AddUTF8FontFromBytes("text", "", textFont)
	pdf.AddUTF8FontFromBytes("text", "B", boldFont)
	pdf.SetMargins(margin, top, margin)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetCellMargin(0)
	pdf.AliasNbPages("{pages}")
	pdf.SetHeaderFunc(s.header)
	pdf.SetFooterFunc(s.footer)
	pdf.AddPage()
	return s, pdf.Error()
}

func (s *sheet) header() {
	s.font(8, false)
	s.pdf.SetTextColor(80, 80, 80)
	s.pdf.SetXY(margin, 11)
	s.pdf.CellFormat(inner-32, 5, s.fit(s.head, inner-32), "", 0, "L", false, 0, "")
	s.pdf.SetXY(pageWidth-margin-30, 11)
	s.pdf.CellFormat(30, 5, fmt.Sprintf("page %d of {pages}", s.pdf.PageNo()), "", 0, "L", false, 0, "")
	s.pdf.SetDrawColor(150, 150, 150)
	s.pdf.SetLineWidth(0.2)
	s.pdf.Line(margin, 17, pageWidth-margin, 17)
	s.pdf.SetTextColor(0, 0, 0)
	s.pdf.SetXY(margin, top)
}

func (s *sheet) footer() {
	s.font(6.8, false)
	s.pdf.SetTextColor(80, 80, 80)
	s.pdf.SetXY(margin, pageHeight-12)
	s.pdf.CellFormat(inner, 4, s.fit(s.foot, inner), "", 0, "L", false, 0, "")
	s.pdf.SetTextColor(0, 0, 0)
}

func (s *sheet) font(size float64, bold bool) {
	style := ""
	if bold {
		style = "B"
	}
	s.pdf.SetFont("text", style, size)
}

// fit shortens a text to a width.
func (s *sheet) fit(text string, width float64) string {
	text = strings.ReplaceAll(s.shown.text(text), "\n", " ")
	if s.pdf.GetStringWidth(text) <= width {
		return text
	}
	runes := []rune(text)
	for len(runes) > 0 && s.pdf.GetStringWidth(string(runes)+"…") > width {
		runes = runes[:len(runes)-1]
	}
	return string(runes) + "…"
}

// lines wraps a text to a width in the font that is set.
func (s *sheet) lines(text string, width float64) []string {
	var out []string
	for part := range strings.SplitSeq(s.shown.text(text), "\n") {
		got := s.pdf.SplitText(part, width)
		if len(got) == 0 {
			got = []string{""}
		}
		out = append(out, got...)
	}
	return out
}

// room turns to a new page unless so much height is left.
func (s *sheet) room(height float64) {
	if s.pdf.GetY()+height > bottom {
		s.turn()
	}
}

func (s *sheet) turn() {
	s.pdf.AddPage()
	if s.again != nil {
		s.again()
	}
}

// heading begins a part; so much of what follows stays on its page.
func (s *sheet) heading(text string, keep float64) {
	s.pdf.SetY(s.pdf.GetY() + 3)
	s.room(8 + keep)
	s.font(11.5, true)
	s.pdf.SetX(margin)
	s.pdf.Bookmark(s.shown.text(text), 0, -1)
	s.pdf.CellFormat(inner, 6, s.fit(text, inner), "", 0, "L", false, 0, "")
	s.pdf.SetY(s.pdf.GetY() + 7)
}

// say writes a paragraph.
func (s *sheet) say(text string) { s.paragraph(text, false) }

func (s *sheet) paragraph(text string, bold bool) {
	s.font(bodySize, bold)
	for _, line := range s.lines(text, inner) {
		s.room(lineHigh)
		s.font(bodySize, bold)
		s.pdf.SetX(margin)
		s.pdf.CellFormat(inner, lineHigh, line, "", 0, "L", false, 0, "")
		s.pdf.SetY(s.pdf.GetY() + lineHigh)
	}
	s.pdf.SetY(s.pdf.GetY() + 1)
}
