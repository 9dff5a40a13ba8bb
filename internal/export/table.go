package export

import "math"

// column is one column of a table; widths are shares of the page.
type column struct {
	name  string
	share float64
}

// cell is one field of a row.
type cell struct {
	text string
	bold bool
}

func plain(texts ...string) []cell {
	out := make([]cell, 0, len(texts))
	for _, t := range texts {
		out = append(out, cell{text: t})
	}
	return out
}

// table writes rows under a head that stands again on each page. A row stays on one page; only one that is higher than a page goes
// on, and says so.
func (s *sheet) table(columns []column, rows [][]cell) {
	widths := make([]float64, len(columns))
	sum := 0.0
	for _, c := range columns {
		sum += c.share
	}
	for i, c := range columns {
		widths[i] = inner * c.share / sum
	}
	head := func() { s.tableHead(columns, widths) }
	if len(rows) > 0 {
		_, high := s.wrapped(rows[0], widths)
		s.room(math.Min(7+high, bottom-top))
	}
	head()
	s.again = head
	for _, row := range rows {
		s.row(row, widths)
	}
	s.again = nil
	s.pdf.SetY(s.pdf.GetY() + 2)
}

func (s *sheet) tableHead(columns []column, widths []float64) {
	s.font(bodySize-0.7, true)
	names := make([][]string, len(columns))
	most := 1
	for i, c := range columns {
		names[i] = s.lines(c.name, widths[i]-2*pad)
		most = max(most, len(names[i]))
	}
	high := float64(most)*lineHigh + 2*pad
	y := s.pdf.GetY()
	s.pdf.SetFillColor(230, 230, 230)
	s.pdf.Rect(margin, y, inner, high, "F")
	x := margin
	for i := range columns {
		s.write(names[i], x+pad, y+pad, widths[i])
		x += widths[i]
	}
	s.pdf.SetXY(margin, y+high)
}

// wrapped breaks a row's texts into lines and gives the height they need.
func (s *sheet) wrapped(row []cell, widths []float64) (texts [][]string, high float64) {
	texts = make([][]string, len(row))
	most := 1
	for i, c := range row {
		s.font(bodySize, c.bold)
		texts[i] = s.lines(c.text, widths[i]-2*pad)
		most = max(most, len(texts[i]))
	}
	return texts, float64(most)*lineHigh + 2*pad
}

func (s *sheet) row(row []cell, widths []float64) {
	texts, high := s.wrapped(row, widths)
	if s.pdf.GetY()+high > bottom {
		s.turn()
	}
	for {
		left := int((bottom - s.pdf.GetY() - 2*pad) / lineHigh)
		rest, more := s.strip(row, texts, widths, left)
		if !more {
			return
		}
		texts = rest
		s.turn()
	}
}

// strip writes at most so many lines of a row, and gives what is left of it.
func (s *sheet) strip(row []cell, texts [][]string, widths []float64, most int) (rest [][]string, more bool) {
	y, x, high := s.pdf.GetY(), margin, 0
	for _, t := range texts {
		more = more || len(t) > most
	}
	rest = make([][]string, len(row))
	for i, c := range row {
		lines := texts[i]
		if len(lines) > most {
			rest[i] = append([]string{"(continued)"}, lines[most-1:]...)
			lines = append(lines[:most-1:most-1], "(continued on the next page)")
		}
		s.font(bodySize, c.bold)
		s.write(lines, x+pad, y+pad, widths[i])
		high = max(high, len(lines))
		x += widths[i]
	}
	end := y + float64(high)*lineHigh + 2*pad
	s.pdf.SetDrawColor(190, 190, 190)
	s.pdf.SetLineWidth(0.1)
	s.pdf.Line(margin, end, margin+inner, end)
	s.pdf.SetXY(margin, end)
	return rest, more
}

func (s *sheet) write(lines []string, x, y, width float64) {
	for i, line := range lines {
		s.pdf.SetXY(x, y+float64(i)*lineHigh)
		s.pdf.CellFormat(width-2*pad, lineHigh, line, "", 0, "L", false, 0, "")
	}
}

// facts writes names and values side by side.
func (s *sheet) facts(list [][2]string) {
	const nameWide = 42.0
	for _, f := range list {
		s.font(bodySize, false)
		lines := s.lines(f[1], inner-nameWide)
		s.font(bodySize, true)
		names := s.lines(f[0], nameWide-2)
		for len(lines) < len(names) {
			lines = append(lines, "")
		}
		s.room(math.Min(float64(len(lines))*lineHigh, bottom-top))
		for i, line := range lines {
			s.room(lineHigh)
			if i < len(names) {
				s.font(bodySize, true)
				s.pdf.SetX(margin)
				s.pdf.CellFormat(nameWide, lineHigh, names[i], "", 0, "L", false, 0, "")
			}
			s.font(bodySize, false)
			s.pdf.SetX(margin + nameWide)
			s.pdf.CellFormat(inner-nameWide, lineHigh, line, "", 0, "L", false, 0, "")
			s.pdf.SetY(s.pdf.GetY() + lineHigh)
		}
	}
	s.pdf.SetY(s.pdf.GetY() + 1.5)
}
