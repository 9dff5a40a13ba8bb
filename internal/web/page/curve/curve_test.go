package curve

import (
	"context"
	"math"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/webtest"
)

// The stretch that begins with the fire has 16 minutes; what it ended with must not stand at its beginning.
func TestCurve_StampsAValueWhereItWasMeasured(t *testing.T) {
	n := webtest.NewNight(t)
	see := frame.ReaderOf(httptest.NewRequest(http.MethodGet, "/", nil), n.Snap.Now, webtest.Zone(t))
	line, err := Read(t.Context(), n.Shop(t), see, &n.Snap.Cooks[0], &n.Snap.Cooks[0].Pieces[0], Rows)
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range line.Core {
		if want := webtest.Courses["flat"](b.At.Sub(n.Start).Hours()); math.Abs(float64(b.Last-want)) > 0.2 {
			t.Errorf("at %s the table says %v, measured were %v", b.At.Format("15:04"), b.Last, want)
		}
	}
	if last := line.Core[len(line.Core)-1].At; last.After(n.Snap.Now) {
		t.Errorf("the last value stands at %s, in the future", last)
	}
}

// inHours gives a series as the store does over days: in whole hours, whatever the span divided by the points is.
type inHours struct{ shop.Library }

func (inHours) Series(_ context.Context, _ cook.ProbeID, from, to time.Time, _ int) (out []cook.Bucket, err error) {
	for at := from.Truncate(time.Hour); at.Before(to); at = at.Add(2 * time.Hour) {
		out = append(out, cook.Bucket{Time: at.Add(time.Minute), Until: at.Add(2 * time.Hour), Min: 20, Max: 21, Last: 21})
	}
	return out, nil
}

func TestCurve_StretchesEndWhereTheLibrarySays(t *testing.T) {
	n := webtest.NewNight(t)
	lib := inHours{n.Shop(t).Library}
	from := time.Date(2026, 11, 25, 20, 40, 0, 0, time.UTC)
	got, err := Series(t.Context(), lib, "flat", from, from.Add(17*time.Hour), Rows)
	if err != nil || len(got) != 9 {
		t.Fatalf("%d stretches, %v", len(got), err)
	}
	for i, want := range map[int]string{0: "22:00", 1: "00:00", 8: "13:40"} { // the last ends with the span
		if clock := got[i].At.Format("15:04"); clock != want {
			t.Errorf("stretch %d ends at %s, want %s", i, clock, want)
		}
	}
}
