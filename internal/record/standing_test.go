package record

import (
	"strings"
	"testing"
	"time"
)

// A limit that was met by a thermometer nobody has checked is not told like one that was checked.
func TestStanding_SaysWhichLimitsRestOnUncheckedInstruments(t *testing.T) {
	met := func(instrument string, check int64) *Monitoring {
		return &Monitoring{Verdict: Met, Instrument: instrument, LastCheck: check}
	}
	l := &Lot{}
	for _, m := range []*Monitoring{met("flat", 0), met("cooler", 16), met("", 0), {Verdict: Missed, Instrument: "flat"}} {
		l.Monitoring = append(l.Monitoring, Kept[Monitoring]{Body: *m})
	}
	if got, want := l.uncheckedPoint(), "Of the limits met, 1 rests on an instrument that had NO CHECK on record then."; got.Text != want || !got.Open {
		t.Errorf("unchecked = %+v, want %q", got, want)
	}
	l.Monitoring = l.Monitoring[1:3]
	for _, p := range l.Standing(time.UTC) {
		if strings.Contains(p.Text, "NO CHECK") {
			t.Errorf("all were checked or need none: %q", p.Text)
		}
	}
}
