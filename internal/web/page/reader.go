package page

import (
	"net/http"
	"strconv"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// reader is how one person sees figures: unit, local time, and the moment that "today" and "ago" refer to.
type reader struct {
	Fahrenheit bool
	Light      string // "", "dark", "light" or "red"; empty follows the system
	now        time.Time
	in         *time.Location
}

// The cookies that keep a person's choice.
const (
	unitCookie  = "stallkeeper-unit"
	lightCookie = "stallkeeper-light"
)

func readerOf(r *http.Request, now time.Time, in *time.Location) reader {
	see := reader{now: now.In(in), in: in}
	if c, err := r.Cookie(unitCookie); err == nil {
		see.Fahrenheit = c.Value == "f"
	}
	if c, err := r.Cookie(lightCookie); err == nil {
		switch c.Value {
		case "dark", "light", "red":
			see.Light = c.Value
		}
	}
	return see
}

// Unit is the unit's sign.
func (s reader) Unit() string {
	if s.Fahrenheit {
		return "°F"
	}
	return "°C"
}

// Degrees is a temperature as a bare number in the reader's unit; "" when there is none.
func (s reader) Degrees(c thermal.Celsius) string {
	if !c.Finite() {
		return ""
	}
	return strings.Replace(strconv.FormatFloat(s.number(c), 'f', 1, 64), "-", "−", 1)
}

// Round is Degrees without a needless ".0", for fields and buttons.
func (s reader) Round(c thermal.Celsius) string { return strings.TrimSuffix(s.Degrees(c), ".0") }

func (s reader) number(c thermal.Celsius) float64 {
	if s.Fahrenheit {
		return c.Fahrenheit()
	}
	return float64(c)
}

// Temp is a temperature with its unit.
func (s reader) Temp(c thermal.Celsius) string {
	if !c.Finite() {
		return "no value"
	}
	return s.Degrees(c) + "\u00a0" + s.Unit()
}

// Mark is Temp without a needless ".0".
func (s reader) Mark(c thermal.Celsius) string {
	if !c.Finite() {
		return "no value"
	}
	return s.Round(c) + "\u00a0" + s.Unit()
}

// numberReader takes what people and this page write for a decimal point and a minus.
var numberReader = strings.NewReplacer(",", ".", "−", "-")

// parse reads a number typed in the reader's unit, or a temperature that carries its own.
func (s reader) parse(text string) (thermal.Celsius, error) {
	text = strings.TrimSpace(numberReader.Replace(text))
	if _, err := strconv.ParseFloat(text, 64); err == nil {
		text += strings.TrimPrefix(s.Unit(), "°")
	}
	return cook.ParseTemperature(text)
}

// Clock is the local time, with the date when it is not today.
func (s reader) Clock(t time.Time) string {
	if t.IsZero() {
		return "never"
	}
	return when.Near(t, s.now, s.in)
}

// Range is two local times, the date said once where they share it.
func (s reader) Range(a, b time.Time) string {
	if when.SameDay(a, b, s.in) {
		return s.Clock(a) + "–" + s.Hour(b)
	}
	return s.Clock(a) + " – " + when.Day(b, s.in)
}

// Now is the moment the page is of.
func (s reader) Now() time.Time { return s.now }

// Short is a local time for a narrow place: with the weekday when it is not today.
func (s reader) Short(t time.Time) string { return when.Short(t, s.now, s.in) }

// brief is a range for a narrow place: the weekday stands for the date, which the axis above shows.
func (s reader) brief(a, b time.Time) string {
	if when.SameDay(a, b, s.in) {
		return s.Short(a) + "–" + s.Hour(b)
	}
	return s.Short(a) + " – " + b.In(s.in).Format("Mon 15:04")
}

// Day is the tomorrow behind a time, said out loud; "" when it is today.
func (s reader) Day(t time.Time) string {
	t = t.In(s.in)
	switch {
	case when.SameDay(t, s.now, s.in):
		return ""
	case when.SameDay(t, s.now.In(s.in).AddDate(0, 0, 1), s.in):
		return "tomorrow, " + t.Format("Mon 2 Jan")
	}
	return t.Format("Mon 2 Jan")
}

// Hour is the bare local time.
func (s reader) Hour(t time.Time) string { return when.Clock(t, s.in) }

// Date is the local date and time in full.
func (s reader) Date(t time.Time) string { return t.In(s.in).Format("Mon 2 Jan 2006, 15:04") }

// Stamp is for machines.
func (reader) Stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// Field is a time as a form field wants it.
func (s reader) Field(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.In(s.in).Format("2006-01-02T15:04")
}

// Ago is the time since t in words.
func (s reader) Ago(t time.Time) string {
	d := s.now.Sub(t)
	if d < 0 {
		return "just now"
	}
	return when.Span(d) + " ago"
}

// Since is how long ago t was; In how long it is until then.
func (s reader) Since(t time.Time) string { return when.Span(max(s.now.Sub(t), 0)) }

// In is how long it is until t.
func (s reader) In(t time.Time) string { return when.Span(max(t.Sub(s.now), 0)) }
