package frame

import (
	"cmp"
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/sense"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
)

// Percent is a probability in words that never claim certainty.
func Percent(p float64) string {
	switch {
	case math.IsNaN(p):
		return ""
	case p > 0.99:
		return "over 99 %"
	case p < 0.01:
		return "under 1 %"
	}
	return fmt.Sprintf("%.0f %%", p*100)
}

// Sentence gives text a capital and a full stop.
func Sentence(text string) string {
	text = Ended(text)
	if text == "" {
		return ""
	}
	first, size := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(first)) + text[size:]
}

// Ended gives text a full stop.
func Ended(text string) string {
	text = strings.TrimSpace(text)
	if text == "" || strings.ContainsAny(text[len(text)-1:], ".!?") {
		return text
	}
	return text + "."
}

// CutName is a cut in words.
func CutName(cut string) string { return cook.CutName(cut) }

// StateName is what a piece does, in words.
func StateName(s estimator.State) string {
	switch s {
	case estimator.Warming:
		return "warming"
	case estimator.Stall:
		return "in the stall"
	case estimator.Climbing:
		return "climbing"
	case estimator.Wrapped:
		return "wrapped"
	case estimator.Ready:
		return "ready"
	case estimator.Cooling:
		return "cooling"
	}
	return "not known yet"
}

// QualityName is what is wrong with a reading, in words.
func QualityName(q cook.Quality) string {
	switch q {
	case cook.Good:
		return "good"
	case cook.PowerUp:
		return "power-up value (85 °C before the first conversion)"
	case cook.Open:
		return "no contact"
	case cook.OutOfRange:
		return "out of any range"
	case cook.Spike:
		return "a jump that cannot be"
	case cook.Stuck:
		return "stuck"
	case cook.Suspect:
		return "probe failed its check"
	}
	return string(q)
}

func findingName(k sense.Kind) string {
	switch k {
	case sense.Faulty:
		return "Gives no temperature"
	case sense.Jumpy:
		return "Loses contact now and then"
	case sense.Stuck:
		return "Stands still"
	case sense.Noisy:
		return "Noise has grown"
	case sense.TooHot:
		return "Hotter than meat"
	case sense.OutOfMeat:
		return "Out of the meat?"
	case sense.Shallow:
		return "Too shallow"
	case sense.Apart:
		return "Far from its neighbour"
	case sense.Swapped:
		return "Swapped"
	case sense.ColdPit:
		return "Colder than the meat"
	}
	return string(k)
}

func roleName(r cook.Role) string {
	if r == cook.RoleCO {
		return "carbon monoxide"
	}
	return cmp.Or(string(r), "not assigned")
}

// pathKind says how a path of messages works.
func pathKind(kind string) string {
	switch kind {
	case "email":
		return "by e-mail"
	case "webhook":
		return "by webhook"
	case "alertmanager":
		return "to the Alertmanager"
	case "command":
		return "by a program of this machine"
	case shop.BrowserPath:
		return "by browser notifications"
	}
	return kind
}

// byWhom says who did something.
func byWhom(name string) string {
	switch name {
	case "":
		return "by somebody"
	case visitor.OnPage:
		return "on the page"
	}
	return "by " + name
}

// EventName says what was done.
func (s Reader) EventName(e cook.Event) string {
	switch e.Kind {
	case cook.EventWrap:
		return "wrapped in " + e.With
	case cook.EventUnwrap:
		return "unwrapped"
	case cook.EventLid:
		return "lid opened"
	case cook.EventSpritz:
		return "spritzed"
	case cook.EventSetPoint:
		return "pit set to " + s.Mark(e.Celsius)
	case cook.EventFuel:
		return "fuel added"
	case cook.EventProbeMoved:
		return "probe moved"
	case cook.EventPieceOff:
		return "taken off"
	}
	return string(e.Kind)
}

// Ready says when a piece is ready, in one breath.
func (s Reader) Ready(f estimator.Forecast) string {
	switch {
	case f.State == estimator.Unknown && f.Ready[1].IsZero():
		return "cannot be said yet"
	case f.State == estimator.Ready || f.State == estimator.Cooling:
		if f.Ready[3].IsZero() {
			return "ready"
		}
		return "ready since " + s.Short(f.Ready[3])
	case f.Ready[1].IsZero():
		return fmt.Sprintf("will probably not reach %s as things are", s.Mark(f.Target))
	case f.Ready[5].IsZero():
		return "ready after " + s.Short(f.Ready[1]) + ", end open"
	}
	return "ready " + s.Brief(f.Ready[1], f.Ready[5])
}
