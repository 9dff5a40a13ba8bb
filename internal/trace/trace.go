// Package trace reads temperature traces in a compact notation, so that a test's scenario is one line.
//
// A trace is a row of legs parted by commas. A leg may begin with the level it jumps to, and then says how it goes on:
//
//	20 +3/min x40     from 20 °C, rising by 3 °C a minute for 40 minutes
//	-0.5/min x20      from where it is, falling by 0.5 °C a minute for 20 minutes
//	68 hold 90m       at 68 °C for 90 minutes
//	to 95 in 10m      evenly to 95 °C within 10 minutes
//	gap 15m           nothing is read for 15 minutes
//
// Levels are Celsius. The package reads no clock and does no I/O; the same text gives the same trace.
package trace

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// Trace is a temperature over time, in legs.
type Trace struct{ legs []leg }

type leg struct {
	from, to float64
	d        time.Duration
	gap      bool
}

// Parse reads a trace. The first leg must begin with its level.
func Parse(text string) (Trace, error) {
	var t Trace
	level, known := 0.0, false
	for part := range strings.SplitSeq(text, ",") {
		words := strings.Fields(part)
		if len(words) > 0 {
			if v, err := strconv.ParseFloat(words[0], 64); err == nil {
				level, known, words = v, true, words[1:]
			}
		}
		if !known {
			return Trace{}, fmt.Errorf("trace %q: leg %q has no level to start from", text, part)
		}
		l, err := parseLeg(words, level)
		if err != nil {
			return Trace{}, fmt.Errorf("trace %q: leg %q: %w", text, part, err)
		}
		t.legs, level = append(t.legs, l), l.to
	}
	return t, nil
}

func parseLeg(words []string, level float64) (leg, error) {
	switch {
	case len(words) == 2 && (words[0] == "hold" || words[0] == "gap"):
		d, err := time.ParseDuration(words[1])
		return leg{level, level, d, words[0] == "gap"}, err
	case len(words) == 2 && strings.HasSuffix(words[0], "/min") && strings.HasPrefix(words[1], "x"):
		rate, err := strconv.ParseFloat(strings.TrimSuffix(words[0], "/min"), 64)
		if err != nil {
			return leg{}, err
		}
		minutes, err := strconv.ParseFloat(words[1][1:], 64)
		return leg{level, level + rate*minutes, time.Duration(minutes * float64(time.Minute)), false}, err
	case len(words) == 4 && words[0] == "to" && words[2] == "in":
		to, err := strconv.ParseFloat(words[1], 64)
		if err != nil {
			return leg{}, err
		}
		d, err := time.ParseDuration(words[3])
		return leg{level, to, d, false}, err
	}
	return leg{}, fmt.Errorf("write hold 90m, gap 15m, +3/min x40 or to 95 in 10m")
}

// Length is how long the trace lasts.
func (t Trace) Length() time.Duration {
	var d time.Duration
	for _, l := range t.legs {
		d += l.d
	}
	return d
}

// At gives the level a while after the start; false in a gap and behind the end.
func (t Trace) At(after time.Duration) (thermal.Celsius, bool) {
	for _, l := range t.legs {
		if after < l.d {
			return thermal.Celsius(l.from + (l.to-l.from)*float64(after)/float64(l.d)), !l.gap
		}
		after -= l.d
	}
	return 0, false
}

// Readings reads the trace with a probe at every interval from start, rounded to a tenth of a degree as sensors do.
func (t Trace) Readings(probe cook.ProbeID, start time.Time, every time.Duration) []cook.Reading {
	var out []cook.Reading
	for after := time.Duration(0); after < t.Length(); after += every {
		if c, ok := t.At(after); ok {
			out = append(out, cook.Reading{Probe: probe, Time: cook.Instant(start.Add(after)), Celsius: thermal.Celsius(math.Round(float64(c)*10) / 10), Quality: cook.Good, Clock: cook.DeviceClock})
		}
	}
	return out
}
