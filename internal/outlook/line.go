package outlook

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// Line is one forecast in the documented shape: one JSON object on one line.
type Line struct {
	Piece    cook.PieceID
	Forecast estimator.Forecast
	WhatIf   string  // what was assumed; empty for the forecast itself
	Action   *Action // nil when nobody asked
}

// NewLine is the line of a piece's forecast.
func NewLine(piece cook.PieceID, f estimator.Forecast) Line { return Line{Piece: piece, Forecast: f} }

// levelNames are the keys of estimator.Levels.
var levelNames = [len(estimator.Levels)]string{"p05", "p10", "p25", "p50", "p75", "p90", "p95"}

type wire struct {
	Piece  cook.PieceID    `json:"piece"`
	At     string          `json:"at"`
	Core   *float64        `json:"core_c"`
	Target float64         `json:"target_c"`
	State  estimator.State `json:"state"`
	Since  *string         `json:"since"`
	PNever float64         `json:"p_never"`
	Ready  quantiles       `json:"ready"`
	Why    string          `json:"because"`
	WhatIf string          `json:"what_if,omitempty"`
	Action json.RawMessage `json:"action,omitempty"`
}

type quantiles [len(estimator.Levels)]*string

// MarshalJSON writes the levels in ascending order.
func (q quantiles) MarshalJSON() ([]byte, error) {
	var b strings.Builder
	for i, t := range q {
		sep := ","
		if i == 0 {
			sep = "{"
		}
		if t == nil {
			fmt.Fprintf(&b, "%s%q:null", sep, levelNames[i])
		} else {
			fmt.Fprintf(&b, "%s%q:%q", sep, levelNames[i], *t)
		}
	}
	b.WriteByte('}')
	return []byte(b.String()), nil
}

// JSON gives the line without its newline. A quantile is null exactly where its level is above 1 − p_never.
func (l Line) JSON() ([]byte, error) {
	f := l.Forecast
	w := wire{
		Piece: l.Piece, At: f.At.UTC().Format(time.RFC3339Nano), Target: float64(f.Target), State: f.State,
		Since: instant(f.Since), PNever: f.PNever, Why: f.Because, WhatIf: l.WhatIf,
	}
	if core := float64(f.Core); !math.IsNaN(core) {
		core = math.Round(core*100) / 100
		w.Core = &core
	}
	for i, t := range f.Ready {
		if estimator.Levels[i] <= 1-f.PNever {
			w.Ready[i] = instant(t)
		}
	}
	if l.Action != nil {
		data, err := json.Marshal(l.Action)
		if err != nil {
			return nil, err
		}
		w.Action = data
	}
	return json.Marshal(w)
}

// instant writes a time to the second; nil for none.
func instant(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	s := t.UTC().Round(time.Second).Format(time.RFC3339)
	return &s
}

// Text is the line as people read it in a terminal, times in the given zone.
func (l Line) Text(zone *time.Location) string {
	var b strings.Builder
	b.WriteString(string(l.Piece))
	if l.WhatIf != "" {
		fmt.Fprintf(&b, " if %s", l.WhatIf)
	}
	f := l.Forecast
	core := "no reading"
	if !math.IsNaN(float64(f.Core)) {
		core = f.Core.String()
	}
	fmt.Fprintf(&b, ": %s, %s of %s. %s", f.State, core, f.Target, readyText(f, zone))
	if f.Because != "" {
		fmt.Fprintf(&b, " %s.", strings.TrimSuffix(capital(f.Because), "."))
	}
	if l.Action != nil {
		fmt.Fprintf(&b, " %s", l.Action.text())
	}
	return b.String()
}

func capital(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(first)) + s[size:]
}

// Indexes of the levels that people are told.
const (
	level10 = 1
	level50 = 3
	level90 = 5
)

func readyText(f estimator.Forecast, zone *time.Location) string {
	early, mid, late := f.Ready[level10], f.Ready[level50], f.Ready[level90]
	show := func(t time.Time) string { return when.Near(t, f.At, zone) }
	switch {
	case f.State == estimator.Ready && !mid.IsZero():
		return fmt.Sprintf("Ready since %s.", show(mid))
	case mid.IsZero() && early.IsZero():
		return "Not forecast to be ready within 36 hours."
	case mid.IsZero():
		return fmt.Sprintf("Ready at %s at the earliest, more likely not within 36 hours.", show(early))
	case late.IsZero():
		return fmt.Sprintf("Ready about %s, perhaps at %s, perhaps not within 36 hours.", show(mid), show(early))
	}
	return fmt.Sprintf("Ready about %s, between %s and %s in four cases of five.", show(mid), show(early), show(late))
}
