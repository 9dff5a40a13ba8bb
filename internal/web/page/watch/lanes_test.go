package watch

import (
	"testing"
	"time"

	"stallkeeper/internal/web/chart"
	"stallkeeper/internal/web/webtest"
)

func TestLanes_LabelsNeverTouch(t *testing.T) {
	n := webtest.NewNight(t)
	for h := 0.5; h < 17; h += 0.25 {
		at := n.Start.Add(time.Duration(h * float64(time.Hour)))
		see := seeing(at, webtest.Zone(t))
		c := n.Snap.Cooks[0]
		out := see.lanesOf(&c, "", nil)
		a := cookAxis(&c, see.Now())
		if touch := chart.FlagWords(a.Share(c.Stored.ServeBy), out.ServeEnd).Touches(chart.FlagWords(a.Share(at), out.NowEnd)); touch && !out.ServeLow {
			t.Errorf("after %v h the words at now and at the serving hour overlap", h)
		}
	}
}
