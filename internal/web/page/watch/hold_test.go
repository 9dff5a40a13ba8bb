package watch_test

import (
	"testing"

	"stallkeeper/internal/monitor"
	"stallkeeper/internal/web/page/pagetest"
	"stallkeeper/internal/web/webtest"
)

func TestWatch_HoldSaysHowLongItStaysHot(t *testing.T) {
	n := webtest.NewNight(t)
	server := pagetest.Serve(t, n, nil)
	page := webtest.Get(t, server, "/?piece=7/flat&if=hold")
	webtest.Has(t, page, "If it is held in an insulated box once it is ready", "it stays above 60 °C for", "9 times in 10", "until ",
		"Ready by the serving hour and still hot then", `class="bar hold"`, "Nothing is done yet", "below 57 °C", "only what was measured counts")
	if got := len(n.Asked); got != 0 {
		t.Errorf("a hold asked the monitor %d times, want 0: it changes no forecast", got)
	}
	page = webtest.Get(t, server, "/?piece=7/breast") // ready: nothing to wrap, but it can be held
	webtest.Has(t, page, "hold it now")
	webtest.Has(t, webtest.Get(t, server, "/?piece=7/breast&if=hold"), "I have done it: log it", `value="piece-off"`)
}

func TestWatch_SaysWhatWouldHelpALatePiece(t *testing.T) {
	n := webtest.NewNight(t)
	n.Snap.Cooks[0].Pieces[0].ServeChance = 0.41
	n.Snap.Cooks[0].Pieces[0].Advice = monitor.Advice{Wrap: "foil", SetPoint: 121, Chance: 0.93}
	server := pagetest.Serve(t, n, nil)
	webtest.Has(t, webtest.Get(t, server, "/"), "probably too late: 41 % by 12:00", "What would help now: wrap it in foil and set the pit to 121 °C, then 93 % by that hour",
		"All ready together", "by the serving hour")
}
