package frame

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"stallkeeper/estimator/thermal"
)

// Verdicts, alarms and advice are written once, for everybody, mostly in the scale of the rule that they name. A page adds the reader's scale
// where a temperature stands in the other one alone: "under 60 °C" is shown as "under 60 °C (140 °F)" where °F are wanted.

var (
	// temperature is a number or a range of two with the scale; what stands before and behind decides whether it is a difference.
	temperature = regexp.MustCompile(`([-−]?\d+(?:\.\d+)?)([ \x{a0}](?:to|and|or|–)[ \x{a0}]([-−]?\d+(?:\.\d+)?))?[ \x{a0}]°([CF])`)
	// differenceBehind and differenceBefore tell a difference, which is not converted like a temperature.
	differenceBehind = regexp.MustCompile(`^[ \x{a0}](?:under its|over its|under the|over the|above|below|lower|higher|hotter|colder|warmer|cooler|faster|slower|in the last|in \d|per|an hour|a minute|off|apart|too|of error|for every|for the instrument|more|less)\b`)
	differenceBefore = regexp.MustCompile(`(?:±|\+|&#43;|\bby|\bwithin|\bplus|\bz|\bdiffer|\bevery|\brose|\bfell|\bof error)[ \x{a0}]?$`)
)

// inBothScales adds the reader's scale to the temperatures of a text that stand in the other one alone.
func (s Reader) inBothScales(text string) string {
	if !strings.Contains(text, "°") {
		return text
	}
	other, mine := "F", "C"
	if s.Fahrenheit {
		other, mine = mine, other
	}
	var out strings.Builder
	last := 0
	for _, m := range temperature.FindAllStringSubmatchIndex(text, -1) {
		before, behind := text[:m[0]], text[m[1]:]
		if text[m[8]:m[9]] != other || strings.HasPrefix(behind, "/") || differenceBehind.MatchString(behind) || differenceBefore.MatchString(before) || paired(before, behind, mine) {
			continue
		}
		added := s.converted(text[m[2]:m[3]])
		if m[6] >= 0 {
			added += text[m[4]:m[6]] + s.converted(text[m[6]:m[7]])
		}
		out.WriteString(text[last:m[1]])
		fmt.Fprintf(&out, " (%s\u00a0°%s)", added, mine)
		last = m[1]
	}
	out.WriteString(text[last:])
	return out.String()
}

// paired reports whether the other scale stands beside a temperature already, in brackets behind it or with it in brackets.
func paired(before, behind, mine string) bool {
	if inner, ok := strings.CutPrefix(behind, " ("); ok {
		if end := strings.IndexAny(inner, ")("); end >= 0 && strings.Contains(inner[:end], "°"+mine) {
			return true
		}
	}
	open := strings.LastIndexByte(before, '(')
	return open >= 0 && !strings.Contains(before[open:], ")") && strings.HasSuffix(strings.TrimRight(before[:open], " \u00a0"), "°"+mine)
}

// converted writes a number of the other scale in the reader's, with as many places as it came with.
func (s Reader) converted(digits string) string {
	v, err := strconv.ParseFloat(strings.Replace(digits, "−", "-", 1), 64)
	if err != nil { // the pattern takes numbers alone
		return digits
	}
	_, places, _ := strings.Cut(digits, ".")
	if s.Fahrenheit {
		v = thermal.Celsius(v).Fahrenheit()
	} else {
		v = float64(thermal.FromFahrenheit(v))
	}
	return strings.Replace(rounded(v, len(places)), "-", "−", 1)
}

// rounded writes a number with so many places, and a zero without a sign.
func rounded(v float64, places int) string {
	scale := math.Pow(10, float64(places))
	return strconv.FormatFloat(math.Round(v*scale)/scale+0, 'f', places, 64)
}
