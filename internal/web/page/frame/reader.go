package frame

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/when"
)

// Reader is how one person sees figures: unit, local time, and the moment that "today" and "ago" refer to.
type Reader struct {
	Fahrenheit bool
	Light      string // "", "dark", "light" or "red"; empty follows the system
	now        time.Time
	in         *time.Location
}

// The cookies that keep a person's choice.
const (
	UnitCookie  = "stallkeeper-unit"
	LightCookie = "stallkeeper-light"
)

// ReaderOf is the person whose browser sends a request, as its cookies say.
func ReaderOf(r *http.Request, now time.Time, in *time.Location) Reader {
	see := Reader{now: now.In(in), in: in}
	if c, err := r.Cookie(UnitCookie); err == nil {
		see.Fahrenheit = c.Value == "f"
	}
	if c, err := r.Cookie(LightCookie); err == nil {
		switch c.Value {
		case "dark", "light", "red":
			see.Light = c.Value
		}
	}
	return see
}

// Unit is the unit's sign.
func (s Reader) Unit() string {
	if s.Fahrenheit {
		return "°F"
	}
	return "°C"
}

// Degrees is a temperature as a bare number in the reader's unit; "" when there is none.
func (s Reader) Degrees(c thermal.Celsius) string {
	if !c.Finite() {
		return ""
	}
	return strings.Replace(strconv.FormatFloat(s.Number(c), 'f', 1, 64), "-", "−", 1)
}

// Round is Degrees without a needless ".0", for fields and buttons.
func (s Reader) Round(c thermal.Celsius) string { return strings.TrimSuffix(s.Degrees(c), ".0") }

// Number is a temperature in the reader's unit.
func (s Reader) Number(c thermal.Celsius) float64 {
	if s.Fahrenheit {
		return c.Fahrenheit()
	}
	return float64(c)
}

// Temp is a temperature with its unit.
func (s Reader) Temp(c thermal.Celsius) string {
	if !c.Finite() {
		return "no value"
	}
	return s.Degrees(c) + "\u00a0" + s.Unit()
}

// Shown is what a probe measures now: "no value" where it has not spoken, or gave what cannot be; parts per million of a gas.
func (s Reader) Shown(v monitor.ProbeView) string {
	if v.Last.Time.IsZero() || v.Last.Quality != cook.Good {
		return "no value"
	}
	return s.Sent(v)
}

// Sent is what a probe said last, whether or not it can be.
func (s Reader) Sent(v monitor.ProbeView) string {
	if v.Role == cook.RoleCO {
		return fmt.Sprintf("%.0f\u00a0ppm", float64(v.Last.Celsius))
	}
	return s.Temp(v.Last.Celsius)
}

// Mark is Temp without a needless ".0".
func (s Reader) Mark(c thermal.Celsius) string {
	if !c.Finite() {
		return "no value"
	}
	return s.Round(c) + "\u00a0" + s.Unit()
}

// Parse reads a number typed in the reader's unit, or a temperature that carries its own. It takes a decimal comma.
func (s Reader) Parse(text string) (thermal.Celsius, error) {
	text = strings.TrimSpace(strings.NewReplacer(",", ".", "−", "-").Replace(text))
	if _, err := strconv.ParseFloat(text, 64); err == nil {
		text += strings.TrimPrefix(s.Unit(), "°")
	}
	return cook.ParseTemperature(text)
}

// Clock is the local time, with the date when it is not today.
func (s Reader) Clock(t time.Time) string {
	if t.IsZero() {
		return "never"
	}
	return when.Near(t, s.now, s.in)
}

// goesOn is how old the figures of an alarm may be before it is said of when they are. Choice of this project.
const goesOn = 5 * time.Minute

// Then begins the text of an alarm whose figures are not of now: "At 02:13: ".
func (s Reader) Then(a alarm.Alarm) string {
	if at := a.SaidAt(); s.now.Sub(at) > goesOn {
		return "At " + s.Clock(at) + ": "
	}
	return ""
}

// Range is two local times, the date said once where they share it.
func (s Reader) Range(a, b time.Time) string {
	if when.SameDay(a, b, s.in) {
		return s.Clock(a) + "–" + s.Hour(b)
	}
	return s.Clock(a) + " – " + when.Day(b, s.in)
}

// Now is the moment the page is of, in the reader's zone.
func (s Reader) Now() time.Time { return s.now }

// Zone is where the reader's clock is.
func (s Reader) Zone() *time.Location { return s.in }

// Short is a local time for a narrow place: with the weekday when it is not today.
func (s Reader) Short(t time.Time) string { return when.Short(t, s.now, s.in) }

// Brief is a range for a narrow place: the weekday stands for the date, which the axis above shows.
func (s Reader) Brief(a, b time.Time) string {
	if when.SameDay(a, b, s.in) {
		return s.Short(a) + "–" + s.Hour(b)
	}
	return s.Short(a) + " – " + b.In(s.in).Format("Mon 15:04")
}

// Day is the tomorrow behind a time, said out loud; "" when it is today.
func (s Reader) Day(t time.Time) string {
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
func (s Reader) Hour(t time.Time) string { return when.Clock(t, s.in) }

// Date is the local date and time in full.
func (s Reader) Date(t time.Time) string { return when.Date(t, s.in) }

// Calendar is the local day in full, for what lasts until its end.
func (s Reader) Calendar(t time.Time) string { return when.Calendar(t, s.in) }

// ZoneName names the zone of all times on the page.
func (s Reader) ZoneName() string { return when.Zone(s.in, s.now) }

// Stamp is for machines.
func (Reader) Stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// Field is a time as a form field wants it.
func (s Reader) Field(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.In(s.in).Format("2006-01-02T15:04")
}

// Ago is the time since t in words.
func (s Reader) Ago(t time.Time) string {
	d := s.now.Sub(t)
	if d < 0 {
		return "just now"
	}
	return when.Span(d) + " ago"
}

// Since is how long ago t was; In how long it is until then.
func (s Reader) Since(t time.Time) string { return when.Span(max(s.now.Sub(t), 0)) }

// In is how long it is until t.
func (s Reader) In(t time.Time) string { return when.Span(max(t.Sub(s.now), 0)) }

// Battery says what a battery has left and when it said so.
func (s Reader) Battery(b cook.Battery) string {
	of := "Battery"
	if b.Board {
		of = "Battery of board " + b.Device
	}
	at := "at an unknown time"
	if !b.At.IsZero() {
		at = s.Ago(b.At)
	}
	return fmt.Sprintf("%s %s %%, %s", of, strconv.FormatFloat(b.Percent, 'f', -1, 64), at)
}
