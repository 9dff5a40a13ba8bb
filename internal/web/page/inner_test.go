package page

import (
	"context"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/chart"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/webtest"
)

func TestCutDefaults_NoTargetBelowPublishedLimit(t *testing.T) {
	seen := map[string]bool{}
	for _, d := range cutDefaults {
		seen[d.Cut] = true
		if d.Target < leastFor(d, true) {
			t.Errorf("%s: usual target %v below %v", d.Cut, d.Target, leastFor(d, true))
		}
		// FDA Food Code 3-401.11: 145 °F whole meat and fish, 165 °F poultry.
		if poultry := strings.HasPrefix(d.Cut, "turkey") || strings.HasPrefix(d.Cut, "chicken") || d.Cut == "other"; poultry && d.Target.Fahrenheit() < 165 {
			t.Errorf("%s: usual target %v °F below 165 °F", d.Cut, d.Target.Fahrenheit())
		}
		if d.Target.Fahrenheit() < 145 {
			t.Errorf("%s: usual target %v °F below 145 °F", d.Cut, d.Target.Fahrenheit())
		}
	}
	for _, c := range cook.Cuts() {
		if !seen[c] {
			t.Errorf("cut %s has no usual target", c)
		}
	}
}

func TestBackTo_StaysOnThisServer(t *testing.T) {
	for raw, want := range map[string]string{
		"/?piece=1/core": "/?piece=1/core", "": "/", "//evil.invalid/x": "/x", "https://evil.invalid/x?y=1": "/x?y=1",
		"javascript:alert(1)": "/", `/\evil.invalid`: "/",
	} {
		if got := backTo(raw); got != want {
			t.Errorf("backTo(%q) = %q, want %q", raw, got, want)
		}
	}
}

// The stretch that begins with the fire has 16 minutes; what it ended with must not stand at its beginning.
func TestCurve_StampsAValueWhereItWasMeasured(t *testing.T) {
	n := webtest.NewNight(t)
	see := readerOf(httptest.NewRequest(http.MethodGet, "/", nil), n.Snap.Now, webtest.Zone(t))
	p, err := New(Options{Shop: n.Shop(t), Log: webtest.NoLog()})
	if err != nil {
		t.Fatal(err)
	}
	line, err := p.readCurve(t.Context(), see, &n.Snap.Cooks[0], &n.Snap.Cooks[0].Pieces[0], tableRows)
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
	at := n.Shop(t)
	at.Library = inHours{at.Library}
	p, err := New(Options{Shop: at, Log: webtest.NoLog()})
	if err != nil {
		t.Fatal(err)
	}
	from := time.Date(2026, 11, 25, 20, 40, 0, 0, time.UTC)
	got, err := p.series(t.Context(), "flat", from, from.Add(17*time.Hour), tableRows)
	if err != nil || len(got) != 9 {
		t.Fatalf("%d stretches, %v", len(got), err)
	}
	for i, want := range map[int]string{0: "22:00", 1: "00:00", 8: "13:40"} { // the last ends with the span
		if clock := got[i].At.Format("15:04"); clock != want {
			t.Errorf("stretch %d ends at %s, want %s", i, clock, want)
		}
	}
}

func TestLanes_LabelsNeverTouch(t *testing.T) {
	n := webtest.NewNight(t)
	p, err := New(Options{Shop: n.Shop(t), Log: webtest.NoLog()})
	if err != nil {
		t.Fatal(err)
	}
	for h := 0.5; h < 17; h += 0.25 {
		at := n.Start.Add(time.Duration(h * float64(time.Hour)))
		see := reader{now: at.In(webtest.Zone(t)), in: webtest.Zone(t)}
		c := n.Snap.Cooks[0]
		out := p.lanesOf(&c, see, "", nil)
		a := cookAxis(&c, see.now)
		if touch := chart.FlagWords(a.Share(c.Stored.ServeBy), out.ServeEnd).Touches(chart.FlagWords(a.Share(at), out.NowEnd)); touch && !out.ServeLow {
			t.Errorf("after %v h the words at now and at the serving hour overlap", h)
		}
	}
}

// In Chicago the clocks went from 02:00 to 03:00 on 8 March 2026 (Energy Policy Act of 2005, section 110).
func TestLocalTime_RefusesAnHourThatWasLeftOut(t *testing.T) {
	in := webtest.Zone(t)
	for text, ok := range map[string]bool{"2026-03-08T01:59": true, "2026-03-08T02:30": false, "2026-03-08T02:30:00": false, "2026-03-08T03:00": true, "2026-03-08T02:30:00Z": true, "soon": false, "": false} {
		if at, err := localTime(text, in); (err == nil) != ok {
			t.Errorf("localTime(%q) = %v, %v", text, at, err)
		}
	}
}
