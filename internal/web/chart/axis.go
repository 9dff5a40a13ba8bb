// Package chart places times and temperatures on a drawing, for the templates and scripts that draw them: the axis of a night with its bars,
// ticks and bands, and the figures of a curve. It knows no unit and no words: whoever asks brings both. It is pure.
package chart

import (
	"fmt"
	"time"
)

// Axis maps times to shares of a width: a cook from the lighting of the fire to its end.
type Axis struct{ From, To time.Time }

// X is the place of a time, as an SVG length.
func (a Axis) X(t time.Time) string { return fmt.Sprintf("%.2f%%", 100*a.Share(t)) }

// Share is the place of a time between 0 and 1, at an edge where it lies beyond.
func (a Axis) Share(t time.Time) float64 {
	return min(max(t.Sub(a.From).Seconds()/a.To.Sub(a.From).Seconds(), 0), 1)
}

// Bar is a stretch of a lane.
type Bar struct {
	Class    string
	X, W     string
	Label    string // drawn inside when there is room
	Mid      string
	From, To time.Time
}

// FlagRoom is the share of a phone's width that the words at the now line or the serving line need.
const FlagRoom = 0.25

// Reach is a stretch of the axis, in shares.
type Reach struct{ from, to float64 }

// FlagWords is the stretch that the words at a line take.
func FlagWords(at float64, left bool) Reach {
	if left {
		return Reach{at - FlagRoom, at}
	}
	return Reach{at, at + FlagRoom}
}

// Touches reports whether two stretches overlap.
func (r Reach) Touches(o Reach) bool { return r.from < o.to && o.from < r.to }

// labelRoom is the share of a phone's width that a letter takes.
const labelRoom = 0.027

// Bar draws a stretch, at least a hair wide; the label stays away where there is no room for it.
func (a Axis) Bar(class, label string, from, to time.Time) Bar {
	x, y := a.Share(from), a.Share(to)
	b := Bar{Class: class, From: from, To: to, X: fmt.Sprintf("%.2f%%", 100*x), W: fmt.Sprintf("%.2f%%", 100*max(y-x, 0.004)),
		Mid: fmt.Sprintf("%.2f%%", 50*(x+y))}
	if y-x > labelRoom*float64(len(label)) {
		b.Label = label
	}
	return b
}

// Tick is a label on the time axis.
type Tick struct {
	X, Label string
	Wide     bool // only where there is room
	Day      bool // midnight
}

// Ticks are at most seven hours that fall on round local times, and as many between them for wide screens.
func (a Axis) Ticks(in *time.Location) []Tick {
	step := 1
	for _, s := range []int{1, 2, 3, 4, 6, 8, 12} {
		step = s
		if a.To.Sub(a.From) <= 6*time.Duration(s)*time.Hour {
			break
		}
	}
	start := a.From.In(in)
	at := time.Date(start.Year(), start.Month(), start.Day(), 0, 0, 0, 0, in)
	fine := max(step/2, 1)
	var out []Tick
	for h := 0; ; h += fine {
		t := time.Date(at.Year(), at.Month(), at.Day(), h, 0, 0, 0, in)
		if t.After(a.To) {
			return out
		}
		share := a.Share(t)
		if t.Before(a.From) || share > 0.97 || share < 0.03 {
			continue
		}
		k := Tick{X: a.X(t), Label: t.Format("15"), Wide: h%step != 0}
		if t.Hour() == 0 {
			k.Label, k.Day, k.Wide = t.Format("Mon 2"), true, false
		}
		out = append(out, k)
	}
}

// Window is a ready time with its bands, placed on the axis. An open end runs to the edge.
type Window struct {
	Known      bool
	Wide, Half Bar
	Median     string // "" when the middle lies beyond the horizon
	Cut        bool   // it goes on beyond the axis
}

// Window places a ready time, given at 5, 10, 25, 50, 75, 90 and 95 %; a zero time lies beyond what can be said.
func (a Axis) Window(q [7]time.Time) Window {
	if q[1].IsZero() {
		return Window{}
	}
	end := func(t time.Time) time.Time {
		if t.IsZero() {
			return a.To
		}
		return t
	}
	w := Window{Known: true, Wide: a.Bar("band80", "", q[1], end(q[5])), Cut: q[5].IsZero() || q[5].After(a.To)}
	if !q[2].IsZero() {
		w.Half = a.Bar("band50", "", q[2], end(q[4]))
	}
	if !q[3].IsZero() && !q[3].After(a.To) {
		w.Median = a.X(q[3])
	}
	return w
}
