package page

import (
	"fmt"
	"time"

	"stallkeeper/internal/monitor"
)

// axis maps times to shares of a width: a cook from the lighting of the fire to its end.
type axis struct{ from, to time.Time }

// X is the place of a time, as an SVG length.
func (a axis) X(t time.Time) string { return fmt.Sprintf("%.2f%%", 100*a.share(t)) }

func (a axis) share(t time.Time) float64 {
	return min(max(t.Sub(a.from).Seconds()/a.to.Sub(a.from).Seconds(), 0), 1)
}

// bar is a stretch of a lane.
type bar struct {
	Class    string
	X, W     string
	Label    string // drawn inside when there is room
	Mid      string
	From, To time.Time
}

// flagRoom is the share of a phone's width that the words at the now line or the serving line need.
const flagRoom = 0.25

// reach is a stretch of the axis, in shares.
type reach struct{ from, to float64 }

// words is the stretch that the words at a line take.
func words(at float64, left bool) reach {
	if left {
		return reach{at - flagRoom, at}
	}
	return reach{at, at + flagRoom}
}

func (r reach) touches(o reach) bool { return r.from < o.to && o.from < r.to }

// labelRoom is the share of a phone's width that a letter takes.
const labelRoom = 0.027

func (a axis) bar(class, label string, from, to time.Time) bar {
	x, y := a.share(from), a.share(to)
	b := bar{Class: class, From: from, To: to, X: fmt.Sprintf("%.2f%%", 100*x), W: fmt.Sprintf("%.2f%%", 100*max(y-x, 0.004)),
		Mid: fmt.Sprintf("%.2f%%", 50*(x+y))}
	if y-x > labelRoom*float64(len(label)) {
		b.Label = label
	}
	return b
}

// tick is a label on the time axis.
type tick struct {
	X, Label string
	Wide     bool // only where there is room
	Day      bool // midnight
}

// ticks are at most seven hours that fall on round local times, and as many between them for wide screens.
func (a axis) ticks(in *time.Location) []tick {
	step := 1
	for _, s := range []int{1, 2, 3, 4, 6, 8, 12} {
		step = s
		if a.to.Sub(a.from) <= 6*time.Duration(s)*time.Hour {
			break
		}
	}
	start := a.from.In(in)
	at := time.Date(start.Year(), start.Month(), start.Day(), 0, 0, 0, 0, in)
	fine := max(step/2, 1)
	var out []tick
	for h := 0; ; h += fine {
		t := time.Date(at.Year(), at.Month(), at.Day(), h, 0, 0, 0, in)
		if t.After(a.to) {
			return out
		}
		share := a.share(t)
		if t.Before(a.from) || share > 0.97 || share < 0.03 {
			continue
		}
		k := tick{X: a.X(t), Label: t.Format("15"), Wide: h%step != 0}
		if t.Hour() == 0 {
			k.Label, k.Day, k.Wide = t.Format("Mon 2"), true, false
		}
		out = append(out, k)
	}
}

// window is a ready time with its bands, placed on the axis. An open end runs to the edge.
type window struct {
	Known      bool
	Wide, Half bar
	Median     string // "" when the middle lies beyond the horizon
	Cut        bool   // it goes on beyond the axis
}

func (a axis) window(q [7]time.Time) window {
	if q[1].IsZero() {
		return window{}
	}
	end := func(t time.Time) time.Time {
		if t.IsZero() {
			return a.to
		}
		return t
	}
	w := window{Known: true, Wide: a.bar("band80", "", q[1], end(q[5])), Cut: q[5].IsZero() || q[5].After(a.to)}
	if !q[2].IsZero() {
		w.Half = a.bar("band50", "", q[2], end(q[4]))
	}
	if !q[3].IsZero() && !q[3].After(a.to) {
		w.Median = a.X(q[3])
	}
	return w
}

// cookAxis spans from the lighting of the fire to the serving hour, or to where the last piece is probably ready if that
// is later. Without a serving hour it takes in the whole bands. What lies beyond is cut, and the lane says so.
func cookAxis(c *monitor.CookView, now time.Time) axis {
	a := axis{from: c.Stored.Started, to: now.Add(time.Hour)}
	later := func(t time.Time) {
		if t.After(a.to) {
			a.to = t
		}
	}
	later(c.Stored.ServeBy)
	for _, v := range c.Pieces {
		later(v.Forecast.Ready[3])
		if c.Stored.ServeBy.IsZero() {
			later(v.Forecast.Ready[5])
		}
	}
	if limit := now.Add(20 * time.Hour); a.to.After(limit) {
		a.to = limit
	}
	if a.from.After(now) {
		a.from = now
	}
	a.to = a.to.Add(a.to.Sub(a.from) / 16)
	return a
}
