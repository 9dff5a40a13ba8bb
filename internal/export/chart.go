package export

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/record"
	"stallkeeper/internal/when"
)

// chart is the place of one curve on the page, and its scales.
type chart struct {
	*sheet
	Curve
	in              *time.Location
	x, y, wide, hig float64
	low, high       thermal.Celsius
}

const (
	chartHigh   = 78.0
	axisWide    = 11.0
	labelsWide  = 14.0
	seriesTotal = 5
)

// curves draws what the probes of each stage measured, with the limits that its entries name.
func (d *document) curves() error {
	d.heading("What was measured", 20)
	if len(d.Curves) == 0 {
		d.say("No stage of the lot names a probe, so there is no curve.")
		return nil
	}
	d.say(fmt.Sprintf("Good readings only, thinned so that every extreme stays; readings that were judged improbable are left out, and stand in the database with the reason. "+
		"A line breaks where no good reading came for more than about %d minutes: nothing is known there. Dashed and dotted lines across are the temperatures that the "+
		"critical limits of this stage name, grey spans are deviations with the number of their entry.", int(MaxSilence/time.Minute)))
	for _, c := range d.Curves {
		d.curve(c)
	}
	return nil
}

func (d *document) curve(c Curve) {
	title := "Stage " + string(c.Stage.Stage)
	if c.Stage.Piece != "" {
		title += " of piece " + string(c.Stage.Piece)
	}
	low, high, ok := c.extremes()
	if !ok {
		d.room(3 * lineHigh)
		d.paragraph(title+": NO good reading of "+names(c.Stage.Probes)+" is on record.", true)
		return
	}
	limits := limitLines(d.Lot, c.Stage)
	for _, l := range limits {
		low, high = min(low, l.at), max(high, l.at)
	}
	edge := max(1, (high-low)*0.06)
	d.room(chartHigh + 10 + lineHigh*float64(len(limits)+1+len(c.Lines)))
	d.paragraph(title+": "+d.when(c.Stage.From)+" to "+d.when(c.Until)+pick(c.Stage.Until.IsZero(), " (goes on)", ""), true)
	g := &chart{sheet: d.sheet, Curve: c, in: d.Location, x: margin + axisWide, y: d.pdf.GetY() + 2, wide: inner - axisWide - labelsWide, hig: chartHigh, low: low - edge, high: high + edge}
	g.spans(d.Lot)
	g.frame()
	for i, l := range limits {
		g.limit(l, i)
	}
	for i, l := range c.Lines {
		g.line(l, i)
	}
	d.pdf.SetAlpha(1, "Normal")
	d.pdf.SetDashPattern(nil, 0)
	d.pdf.SetXY(margin, g.y+g.hig+8)
	g.legend(limits)
}

// limitLine is a temperature that a critical limit names.
type limitLine struct {
	at    thermal.Celsius
	names []string
}

// limitLines finds the temperatures in the words of the limits that entries of the stage name.
func limitLines(l *record.Lot, stage record.StageRun) []limitLine {
	var out []limitLine
	add := func(p record.ControlPoint) {
		if p.Stage != "" && p.Stage != stage.Stage || p.Piece != "" && stage.Piece != "" && p.Piece != stage.Piece {
			return
		}
		name := strings.TrimPrefix(p.CCP+": "+p.Limit, ": ")
		for _, c := range temperaturesIn(p.Limit) {
			i := slices.IndexFunc(out, func(o limitLine) bool { return math.Abs(float64(o.at-c)) < 0.06 })
			if i < 0 {
				out = append(out, limitLine{at: c})
				i = len(out) - 1
			}
			if !slices.Contains(out[i].names, name) {
				out[i].names = append(out[i].names, name)
			}
		}
	}
	for _, m := range l.Monitoring {
		if m.Body.Stage == stage.Stage {
			add(m.Body.ControlPoint)
		}
	}
	for _, d := range l.Deviations {
		if d.Body.Stage == stage.Stage {
			add(d.Body.ControlPoint)
		}
	}
	slices.SortStableFunc(out, func(a, b limitLine) int { return int(math.Copysign(1, float64(b.at-a.at))) })
	return out
}

// temperaturesIn reads the temperatures of a text, such as "50 to 130 °F (10 to 54.4 °C)": those in Fahrenheit where there are any, because
// rules are written in them and the Celsius beside is rounded.
func temperaturesIn(text string) []thermal.Celsius {
	found := regexp.MustCompile(`([-−]?\d+(?:\.\d+)?)(?:\s*(?:to|-|–|→|->|and|or)\s*([-−]?\d+(?:\.\d+)?))?\s*°\s*([CF])`).FindAllStringSubmatch(text, -1)
	fahrenheit := slices.ContainsFunc(found, func(m []string) bool { return m[3] == "F" })
	var out []thermal.Celsius
	for _, m := range found {
		if fahrenheit != (m[3] == "F") {
			continue
		}
		for _, digits := range m[1:3] {
			v, err := strconv.ParseFloat(strings.Replace(digits, "−", "-", 1), 64)
			if err != nil { // no second number
				continue
			}
			c := thermal.Celsius(v)
			if fahrenheit {
				c = thermal.FromFahrenheit(v)
			}
			if !slices.Contains(out, c) {
				out = append(out, c)
			}
		}
	}
	return out
}

func (g *chart) at(t time.Time) float64 {
	share := float64(t.Sub(g.Stage.From)) / float64(max(g.Until.Sub(g.Stage.From), time.Minute))
	return g.x + g.wide*min(max(share, 0), 1)
}

func (g *chart) level(c thermal.Celsius) float64 {
	return g.y + g.hig*float64((g.high-c)/(g.high-g.low))
}

// spans shades the deviations of the stage.
func (g *chart) spans(l *record.Lot) {
	for _, one := range l.Deviations {
		b := one.Body
		if b.From.IsZero() {
			b.From = one.At // a moment is all that is known
		}
		if b.Stage != "" && b.Stage != g.Stage.Stage || b.Until.Before(g.Stage.From) && b.From.Before(g.Stage.From) || b.From.After(g.Until) {
			continue
		}
		until := b.Until
		if until.IsZero() {
			until = b.From
		}
		left := g.at(b.From)
		g.pdf.SetFillColor(205, 205, 205)
		g.pdf.Rect(left, g.y, max(g.at(until)-left, 0.5), g.hig, "F")
		g.font(7, true)
		g.pdf.SetXY(left, g.y-3.4)
		g.pdf.CellFormat(20, 3, fmt.Sprintf("dev. %d", one.Seq), "", 0, "L", false, 0, "")
	}
}

// frame draws the axes: local hours below, both scales at the sides.
func (g *chart) frame() {
	g.font(7, false)
	g.pdf.SetLineWidth(0.15)
	step := niceStep(float64(g.high-g.low), 8)
	for c := math.Ceil(float64(g.low)/step)*step + 0; c <= float64(g.high); c += step {
		y := g.level(thermal.Celsius(c))
		g.pdf.SetDrawColor(215, 215, 215)
		g.pdf.Line(g.x, y, g.x+g.wide, y)
		g.pdf.SetXY(g.x-axisWide, y-1.6)
		g.pdf.CellFormat(axisWide-1, 3.2, fmt.Sprintf("%g °C", c+0), "", 0, "R", false, 0, "")
		g.pdf.SetXY(g.x+g.wide+1, y-1.6)
		g.pdf.CellFormat(labelsWide-1, 3.2, fmt.Sprintf("%.0f °F", thermal.Celsius(c).Fahrenheit()), "", 0, "L", false, 0, "")
	}
	every := tickEvery(g.Until.Sub(g.Stage.From))
	for i, t := range ticks(g.Stage.From.In(g.in), g.Until, every) {
		x := g.at(t)
		g.pdf.SetDrawColor(215, 215, 215)
		g.pdf.Line(x, g.y, x, g.y+g.hig)
		text := when.Clock(t, g.in)
		if every >= 24*time.Hour {
			text = t.Format("2 Jan")
		} else if i == 0 || t.Hour() < int(every/time.Hour) && t.Minute() == 0 {
			text += "\n" + t.Format("2 Jan")
		}
		for n, line := range strings.Split(text, "\n") {
			g.pdf.SetXY(x-9, g.y+g.hig+0.6+float64(n)*3)
			g.pdf.CellFormat(18, 3, line, "", 0, "C", false, 0, "")
		}
	}
	g.pdf.SetDrawColor(0, 0, 0)
	g.pdf.Rect(g.x, g.y, g.wide, g.hig, "D")
}

func niceStep(span, most float64) float64 {
	raw := span / most
	scale := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5} {
		if m*scale >= raw {
			return m * scale
		}
	}
	return 10 * scale
}

func tickEvery(span time.Duration) time.Duration {
	for _, d := range []time.Duration{15 * time.Minute, 30 * time.Minute, time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour, 24 * time.Hour, 48 * time.Hour} {
		if span/d <= 10 {
			return d
		}
	}
	return span / 8
}

// ticks are round local times between two moments; on days when the clock is turned they are round again after it.
func ticks(from, until time.Time, every time.Duration) []time.Time {
	day := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, from.Location())
	var out []time.Time
	for n := 0; ; n++ {
		t := day.Add(time.Duration(n) * every)
		if every >= 24*time.Hour {
			t = day.AddDate(0, 0, n*int(every/(24*time.Hour)))
		}
		if t.After(until) {
			return out
		}
		if !t.Before(from) {
			out = append(out, t)
		}
	}
}

func (g *chart) limit(l limitLine, i int) {
	y := g.level(l.at)
	g.pdf.SetDrawColor(0, 0, 0)
	g.pdf.SetLineWidth(0.3)
	g.pdf.SetDashPattern([][]float64{{2.5, 1}, {0.6, 0.8}, {4, 1, 0.6, 1}, {1.2, 1.2}}[i%4], 0)
	g.pdf.Line(g.x, y, g.x+g.wide, y)
	g.pdf.SetDashPattern(nil, 0)
	g.font(6.5, true)
	label := fmt.Sprintf("L%d", i+1)
	g.pdf.SetFillColor(255, 255, 255)
	g.pdf.SetXY(g.x+1+float64(i%4)*7, y-1.5)
	g.pdf.CellFormat(5, 3, label, "", 0, "C", true, 0, "")
}

// colours are those of Okabe and Ito, told apart by the colour-blind; marks tell lines apart in black and white.
func colours() [seriesTotal][3]int {
	return [seriesTotal][3]int{{0, 114, 178}, {213, 94, 0}, {0, 158, 115}, {204, 121, 167}, {86, 86, 86}}
}

// line draws the buckets of one probe: the span from lowest to highest of each, and a line through their last values.
func (g *chart) line(l Line, i int) {
	c := colours()[i%seriesTotal]
	g.pdf.SetDrawColor(c[0], c[1], c[2])
	gap := MaxSilence + bucketSpan(g.Stage.From, g.Until)
	for k, b := range l.Trace {
		x := g.at(b.Time)
		g.pdf.SetLineWidth(0.2)
		g.pdf.Line(x, g.level(b.Max), x, g.level(b.Min))
		if k > 0 && b.Time.Sub(l.Trace[k-1].Time) <= gap {
			g.pdf.SetLineWidth(0.35)
			g.pdf.Line(g.at(l.Trace[k-1].Time), g.level(l.Trace[k-1].Last), x, g.level(b.Last))
		}
	}
	for k := markEvery(len(l.Trace)) / 2; k < len(l.Trace); k += markEvery(len(l.Trace)) {
		g.mark(i, g.at(l.Trace[k].Time), g.level(l.Trace[k].Last))
	}
}

func markEvery(n int) int { return max(n/7, 1) }

// mark draws the sign of the numbered line: dot, square, triangle, diamond, ring.
func (g *chart) mark(i int, x, y float64) {
	const r = 1.1
	c := colours()[i%seriesTotal]
	g.pdf.SetFillColor(c[0], c[1], c[2])
	g.pdf.SetDrawColor(c[0], c[1], c[2])
	switch i % seriesTotal {
	case 0:
		g.pdf.Circle(x, y, r*0.9, "F")
	case 1:
		g.pdf.Rect(x-r*0.85, y-r*0.85, 1.7*r, 1.7*r, "F")
	case 2:
		g.pdf.Polygon([]fpdf.PointType{{X: x, Y: y - r}, {X: x + r, Y: y + r}, {X: x - r, Y: y + r}}, "F")
	case 3:
		g.pdf.Polygon([]fpdf.PointType{{X: x, Y: y - 1.3*r}, {X: x + 1.3*r, Y: y}, {X: x, Y: y + 1.3*r}, {X: x - 1.3*r, Y: y}}, "F")
	default:
		g.pdf.Circle(x, y, r*0.9, "D")
	}
}

// legend names the lines and the limits, with what each probe measured at its ends.
func (g *chart) legend(limits []limitLine) {
	for i, l := range g.Lines {
		g.mark(i, margin+2, g.pdf.GetY()+lineHigh/2)
		g.font(bodySize-0.7, false)
		g.pdf.SetX(margin + 6)
		text := string(l.Probe) + pick(l.Pit, " (pit)", "") + ": no good reading"
		if n := len(l.Trace); n > 0 {
			low, high, _ := Curve{Lines: []Line{l}}.extremes()
			text = fmt.Sprintf("%s%s: lowest %s, highest %s, last %s", l.Probe, pick(l.Pit, " (pit)", ""), record.Degrees(low), record.Degrees(high), record.Degrees(l.Trace[n-1].Last))
		}
		g.hanging(text + g.silences(l))
	}
	for i, l := range limits {
		g.hanging(fmt.Sprintf("L%d = %.1f °C (%.1f °F): %s", i+1, float64(l.at), l.at.Fahrenheit(), strings.Join(l.names, " | ")))
	}
	g.pdf.SetY(g.pdf.GetY() + 3)
}

// hanging writes a line of the legend, wrapped.
func (g *chart) hanging(text string) {
	g.font(bodySize-0.7, false)
	for _, line := range g.lines(text, inner-6) {
		g.room(lineHigh)
		g.font(bodySize-0.7, false)
		g.pdf.SetX(margin + 6)
		g.pdf.CellFormat(inner-6, lineHigh, line, "", 0, "L", false, 0, "")
		g.pdf.SetY(g.pdf.GetY() + lineHigh)
	}
}

// silences says when a probe gave no good reading within the stage: at most five times in full.
func (g *chart) silences(l Line) string {
	const most = 5
	gap := MaxSilence + bucketSpan(g.Stage.From, g.Until)
	var found []string
	last := g.Stage.From
	note := func(until time.Time) {
		if until.Sub(last) > gap {
			found = append(found, fmt.Sprintf("%s for about %s", when.Date(last, g.in), when.Span(until.Sub(last))))
		}
		last = until
	}
	for _, b := range l.Trace {
		note(b.Time)
	}
	note(g.Until)
	switch {
	case len(found) == 0:
		return "; no silence over 30 min"
	case len(found) > most:
		return fmt.Sprintf("; SILENT %d times, first from %s, and %d more", len(found), strings.Join(found[:most], ", "), len(found)-most)
	}
	return "; SILENT from " + strings.Join(found, ", from ")
}

// CurvePoints is into how many buckets a curve of such a length is to be thinned: enough to see a gap of MaxSilence.
func CurvePoints(span time.Duration) int {
	return min(max(int(span/(10*time.Minute)), 600), 6000)
}

func bucketSpan(from, until time.Time) time.Duration {
	span := until.Sub(from)
	return span / time.Duration(CurvePoints(span))
}
