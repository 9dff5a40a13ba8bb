package watch

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/chart"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/when"
)

// lane is one piece from the fire to the serving hour.
type lane struct {
	Key      string // "1/core"
	Href     string
	Chosen   bool
	Name     string
	Cut      string
	State    string // in words
	Core     string
	Target   string
	Ready    string // in words
	Late     string // "" unless the serving hour is at risk
	Help     string // what would bring it there
	Bars     []chart.Bar
	Window   chart.Window
	If       *chart.Window // the band of a what-if
	Hold     *chart.Bar    // the hold of a what-if
	WrapAt   string
	WrapText string
	Alt      string
}

// lanes is a cook as the night view shows it.
type lanes struct {
	ID       cook.ID
	Name     string
	Fire     string
	Serve    time.Time
	ServeX   string
	ServeEnd bool // the label stands left of the line
	ServeLow bool // the label stands a row lower, clear of the other
	NowX     string
	NowEnd   bool
	Ticks    []chart.Tick
	Lanes    []lane
	All      chart.Window
	AllText  string
	AllBy    string // how likely all are ready by the serving hour
	Stale    string // "" while readings come
}

// staleAfter is the age of the newest reading from which the page says it.
const staleAfter = 3 * time.Minute

// cookAxis spans from the lighting of the fire to the serving hour, or to where the last piece is probably ready if that
// is later. Without a serving hour it takes in the whole bands. What lies beyond is cut, and the lane says so.
func cookAxis(c *monitor.CookView, now time.Time) chart.Axis {
	a := chart.Axis{From: c.Stored.Started, To: now.Add(time.Hour)}
	later := func(t time.Time) {
		if t.After(a.To) {
			a.To = t
		}
	}
	later(c.Stored.ServeBy)
	for _, v := range c.Pieces {
		later(v.Forecast.Ready[3])
		if c.Stored.ServeBy.IsZero() {
			later(v.Forecast.Ready[5])
		}
	}
	if limit := now.Add(20 * time.Hour); a.To.After(limit) {
		a.To = limit
	}
	if a.From.After(now) {
		a.From = now
	}
	a.To = a.To.Add(a.To.Sub(a.From) / 16)
	return a
}

func (s reader) lanesOf(c *monitor.CookView, chosen string, past map[cook.PieceID][]stretch) lanes {
	a := cookAxis(c, s.Now())
	out := lanes{ID: c.Stored.ID, Name: c.Stored.Name, Fire: c.Stored.Pit.Fire, Serve: c.Stored.ServeBy,
		NowX: a.X(s.Now()), NowEnd: a.Share(s.Now()) > 0.5, Ticks: a.Ticks(s.Zone()), All: a.Window(c.AllReady), AllText: s.allReady(c), AllBy: allBy(c)}
	if age := s.Now().Sub(c.NewestAt); !c.NewestAt.IsZero() && age > staleAfter {
		out.Stale = "The newest reading is " + when.Span(age) + " old."
	}
	if !c.Stored.ServeBy.IsZero() {
		serve, now := a.Share(c.Stored.ServeBy), a.Share(s.Now())
		out.ServeX, out.ServeEnd = a.X(c.Stored.ServeBy), serve > 0.5
		if serve > now && serve-now < 2*chart.FlagRoom && now > chart.FlagRoom {
			out.NowEnd = true
		}
		out.ServeLow = chart.FlagWords(serve, out.ServeEnd).Touches(chart.FlagWords(now, out.NowEnd))
	}
	for i := range c.Pieces {
		out.Lanes = append(out.Lanes, s.lane(a, c, &c.Pieces[i], chosen, past[c.Pieces[i].Piece.ID]))
	}
	return out
}

func (s reader) lane(a chart.Axis, c *monitor.CookView, v *monitor.PieceView, chosen string, past []stretch) lane {
	key := fmt.Sprintf("%d/%s", c.Stored.ID, v.Piece.ID)
	l := lane{Key: key, Href: "/?piece=" + key, Chosen: key == chosen, Name: string(v.Piece.ID), Cut: frame.CutName(v.Piece.Cut),
		Target: s.Mark(v.Piece.Target), Ready: "no reading yet", State: frame.StateName(estimator.Unknown)}
	if !v.Forecasted {
		l.Alt = fmt.Sprintf("%s: no usable reading yet.", l.Name)
		return l
	}
	f := v.Forecast
	l.State, l.Core, l.Ready, l.Window = frame.StateName(f.State), s.Degrees(f.Core), s.Ready(f), a.Window(f.Ready)
	l.Late = s.late(c.Stored.ServeBy, v)
	l.Help = s.help(l.Late, v.Advice)
	off := c.Stored.OffAt(v.Piece.ID)
	past = until(past, off)
	for _, t := range past {
		l.Bars = append(l.Bars, a.Bar(string(t.State), stageLabel(t.State), t.From, t.To))
	}
	if !off.IsZero() {
		l.State, l.Late, l.Help = "taken off "+s.Short(off), "", ""
		l.Alt = fmt.Sprintf("%s Taken off %s.", s.laneAlt(c, v, past), s.Clock(off))
		return l
	}
	l.Bars = append(l.Bars, s.expected(a, f)...)
	if at, with := plannedWrap(v); !at.IsZero() && at.After(s.Now()) {
		l.WrapAt, l.WrapText = a.X(at), with
	}
	l.Alt = s.laneAlt(c, v, past)
	return l
}

// until cuts stages at a time; zero leaves them whole.
func until(past []stretch, at time.Time) []stretch {
	if at.IsZero() {
		return past
	}
	var out []stretch
	for _, t := range past {
		if t.From.Before(at) {
			if t.To.After(at) {
				t.To = at
			}
			out = append(out, t)
		}
	}
	return out
}

// late says how likely a piece misses the serving hour; "" when it probably does not.
func (s reader) late(serve time.Time, v *monitor.PieceView) string {
	switch p := v.ServeChance; {
	case serve.IsZero() || math.IsNaN(p) || p >= 0.895 || v.Forecast.State == estimator.Ready:
		return ""
	case p < 0.5:
		return fmt.Sprintf("probably too late: %s by %s", frame.Percent(p), s.Hour(serve))
	default:
		return fmt.Sprintf("may be late: %s by %s", frame.Percent(p), s.Hour(serve))
	}
}

// help says what would bring a late piece to its hour; "" when nothing was found or it is not late.
func (s reader) help(late string, a monitor.Advice) string {
	var do []string
	if a.Wrap != "" {
		do = append(do, "wrap it in "+a.Wrap)
	}
	if a.SetPoint > 0 {
		do = append(do, "set the pit to "+s.Mark(a.SetPoint))
	}
	if late == "" || len(do) == 0 {
		return ""
	}
	return fmt.Sprintf("What would help now: %s, then %s by that hour", strings.Join(do, " and "), frame.Percent(a.Chance))
}

// expected is what is still to come before the ready time.
func (s reader) expected(a chart.Axis, f estimator.Forecast) []chart.Bar {
	if f.State == estimator.Ready || f.State == estimator.Cooling || f.State == estimator.Unknown {
		return nil
	}
	var out []chart.Bar
	at := s.Now()
	if f.State == estimator.Stall && f.StallEnd.After(at) {
		out = append(out, a.Bar("stall later", "stall", at, f.StallEnd))
		at = f.StallEnd
	}
	end := f.Ready[3]
	if end.IsZero() {
		end = a.To
	}
	if end.After(at) {
		out = append(out, a.Bar("later", "", at, end))
	}
	return out
}

func stageLabel(s estimator.State) string {
	if s == estimator.Unknown {
		return ""
	}
	return string(s)
}

// plannedWrap is when the planned wrap will probably come: the middle of the scenarios that have one.
func plannedWrap(v *monitor.PieceView) (time.Time, string) {
	if v.Piece.Plan == nil || v.Forecast.State == estimator.Wrapped || v.Forecast.State == estimator.Ready {
		return time.Time{}, ""
	}
	if !v.Piece.Plan.At.IsZero() {
		return v.Piece.Plan.At, v.Piece.Plan.Wrap
	}
	var at []time.Time
	for _, d := range v.Forecast.Draws {
		if !d.Wrap.IsZero() {
			at = append(at, d.Wrap)
		}
	}
	if len(at) == 0 {
		return time.Time{}, ""
	}
	slices.SortFunc(at, time.Time.Compare)
	return at[len(at)/2], v.Piece.Plan.Wrap
}

func (s reader) allReady(c *monitor.CookView) string {
	q := c.AllReady
	switch {
	case len(c.Pieces) < 2 || q[1].IsZero():
		return ""
	case q[0].Equal(q[6]):
		return "since " + s.Short(q[0])
	case q[5].IsZero():
		return "not before " + s.Short(q[1])
	}
	return s.Brief(q[1], q[5])
}

// allBy is the probability that all pieces are ready by the serving hour, in words; "" for one piece or when one is unknown.
func allBy(c *monitor.CookView) string {
	if len(c.Pieces) < 2 || c.Stored.ServeBy.IsZero() {
		return ""
	}
	var all []estimator.Forecast
	for _, v := range c.Pieces {
		if !v.Forecasted {
			return ""
		}
		if v.Forecast.State == estimator.Ready || c.Stored.OffAt(v.Piece.ID).IsZero() {
			all = append(all, v.Forecast)
		}
	}
	if len(all) == 0 {
		return ""
	}
	return frame.Percent(estimator.AllReadyBy(all, c.Stored.ServeBy))
}

// laneAlt is the whole lane in words, for those who do not see it.
func (s reader) laneAlt(c *monitor.CookView, v *monitor.PieceView, past []stretch) string {
	f := v.Forecast
	var text strings.Builder
	text.WriteString(fmt.Sprintf("%s, %s: ", v.Piece.ID, frame.CutName(v.Piece.Cut)))
	for i, t := range past {
		if i > 0 {
			text.WriteString(", ")
		}
		text.WriteString(fmt.Sprintf("%s from %s", frame.StateName(t.State), s.Clock(t.From)))
	}
	text.WriteString(fmt.Sprintf(". Now %s of %s. ", s.Temp(f.Core), s.Mark(v.Piece.Target)))
	if f.State == estimator.Stall && !f.StallEnd.IsZero() {
		text.WriteString(fmt.Sprintf("The stall probably ends at %s. ", s.Clock(f.StallEnd)))
	}
	if at, with := plannedWrap(v); !at.IsZero() {
		text.WriteString(fmt.Sprintf("Wrap in %s planned, about %s. ", with, s.Clock(at)))
	}
	text.WriteString(frame.Sentence(s.Ready(f)))
	if f.State != estimator.Ready && !f.Ready[3].IsZero() {
		text.WriteString(fmt.Sprintf(" Most likely %s.", s.Clock(f.Ready[3])))
	}
	if !c.Stored.ServeBy.IsZero() {
		text.WriteString(fmt.Sprintf(" Serving hour %s. %s", s.Clock(c.Stored.ServeBy), frame.Sentence(s.late(c.Stored.ServeBy, v))))
		if help := s.help(s.late(c.Stored.ServeBy, v), v.Advice); help != "" {
			text.WriteString(" " + frame.Sentence(help))
		}
	}
	return text.String()
}
