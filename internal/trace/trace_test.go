package trace

import (
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
)

func TestParse_LegsFollowEachOther(t *testing.T) {
	tr, err := Parse("20 +3/min x4, 68 hold 2m, to 60 in 4m, gap 5m, -1/min x10")
	if err != nil {
		t.Fatal(err)
	}
	if tr.Length() != 25*time.Minute {
		t.Errorf("length %v, want 25 minutes", tr.Length())
	}
	for minute, want := range map[int]thermal.Celsius{0: 20, 2: 26, 4: 68, 5: 68, 8: 64, 15: 60, 20: 55} {
		if got, ok := tr.At(time.Duration(minute) * time.Minute); !ok || got != want {
			t.Errorf("minute %d: %v %v, want %v", minute, got, ok, want)
		}
	}
	if _, ok := tr.At(12 * time.Minute); ok {
		t.Error("minute 12 lies in the gap and was read")
	}
	readings := tr.Readings("core", time.Unix(0, 0), 30*time.Second)
	if len(readings) != 40 || readings[1].Celsius != 21.5 {
		t.Errorf("%d readings, second %v; want 40 and 21.5", len(readings), readings[1].Celsius)
	}
}

func TestParse_RejectsWhatItDoesNotKnow(t *testing.T) {
	for _, text := range []string{"", "hold 5m", "20", "20 hold", "20 hold five", "20 +x/min x3", "20 +3/min x", "20 to in 5m", "20 to 30 in", "20 swing 3"} {
		if tr, err := Parse(text); err == nil {
			t.Errorf("Parse(%q) = %v, want an error", text, tr)
		}
	}
}
