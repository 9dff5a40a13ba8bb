// Package form is what the pages' forms have in common: times, weights, lengths and temperatures as people type them, what is proposed for
// each cut, and the rows of a form for several pieces.
package form

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/problem"
)

// MostPieces is how many pieces a form takes; more go in by the API.
const MostPieces = 6

// Form is a form for pieces of meat, with what was typed and, by the names of its fields, what is wrong with it.
type Form struct {
	Typed    url.Values
	Wrong    map[string]string
	Cautions map[string]string
	Rows     []int
	Cuts     []Cut
	See      frame.Reader
}

// New is a form in which nothing was typed yet.
func New(see frame.Reader) Form {
	f := Form{Wrong: map[string]string{}, Cautions: map[string]string{}, Cuts: Cuts(), See: see}
	for i := range MostPieces {
		f.Rows = append(f.Rows, i)
	}
	return f
}

// Get is what stands in a field.
func (f *Form) Get(name string) string { return f.Typed.Get(name) }

// At is the name of a piece's field.
func (f *Form) At(row int, field string) string { return fmt.Sprintf("p%d-%s", row, field) }

// Note keeps what is wrong with a field; nil is nothing.
func (f *Form) Note(field string, err error) {
	if err != nil {
		f.Wrong[field] = frame.Sentence(err.Error())
	}
}

// CookID reads the number of a cook, as an address has it; anything else is cook.ErrNotFound.
func CookID(text string) (cook.ID, error) {
	id, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return 0, fmt.Errorf("cook %q: %w", text, cook.ErrNotFound)
	}
	return cook.ID(id), nil
}

// TimeOrNow reads "ago" (minutes before now) or "at" (a local time); without either it is now.
func TimeOrNow(r *http.Request, now time.Time, in *time.Location) (time.Time, error) {
	if r.FormValue("at") != "" {
		return Time(r, in)
	}
	if text := r.FormValue("ago"); text != "" {
		minutes, err := strconv.Atoi(text)
		if err != nil || minutes < 0 || minutes > 48*60 {
			return time.Time{}, problem.Bad("%q is not a number of minutes between 0 and 2880", text)
		}
		return now.Add(-time.Duration(minutes) * time.Minute), nil
	}
	return now, nil
}

// Time reads "at", a local time; zero when it is empty.
func Time(r *http.Request, in *time.Location) (time.Time, error) {
	if text := r.FormValue("at"); text != "" {
		return LocalTime(text, in)
	}
	return time.Time{}, nil
}

// LocalTime reads a time as a form gives it, in the zone where it names none. One that the change of the clocks leaves out is refused.
func LocalTime(text string, in *time.Location) (time.Time, error) {
	for _, layout := range []string{"2006-01-02T15:04", "2006-01-02T15:04:05", time.RFC3339} {
		t, err := time.ParseInLocation(layout, text, in)
		if err != nil {
			continue
		}
		if layout != time.RFC3339 && t.Format(layout) != text {
			return t, problem.Bad("time %q does not exist here, where the clocks change: give another hour", text)
		}
		if err := cook.CheckSaid("the time", t); err != nil {
			return t, problem.Bad("%v", err)
		}
		return t, nil
	}
	return time.Time{}, problem.Bad("time %q: write it like 2026-05-02T20:00", problem.ClipTo(text, 40))
}

// Altitude reads an altitude in metres, or a length with its unit. It gives metres.
func Altitude(text string) (float64, error) {
	if m, err := strconv.ParseFloat(text, 64); err == nil {
		return m, nil
	}
	mm, err := cook.ParseLength(text)
	return mm / 1000, err
}

// Measure reads a length or mass; a bare number has the usual unit, nothing is unknown.
func Measure(text, unit string, parse func(string) (float64, error)) (float64, error) {
	if text == "" {
		return 0, nil
	}
	text = strings.ReplaceAll(text, ",", ".")
	if _, err := strconv.ParseFloat(text, 64); err == nil {
		text += unit
	}
	return parse(text)
}

// WithUnit gives a bare number its unit, and takes a decimal comma.
func WithUnit(text, unit string) string {
	text = Plain(text)
	if _, err := strconv.ParseFloat(text, 64); err == nil {
		return text + unit
	}
	return text
}

// Plain is a number with the decimal point and the minus that programs read, for what people and these pages write.
func Plain(text string) string {
	return strings.TrimSpace(strings.NewReplacer(",", ".", "−", "-").Replace(text))
}
