package monitor

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
)

func TestNight_LidWakesNobodyAFadingFireDoesOnce(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.play(nightReadings(t))
	same(t, "messages", n.messages(), []string{"00:01 danger-zone/1/flat active", "02:12 danger-zone/1/flat returned",
		"02:43 pit-falling/1 active", "03:37 pit-falling/1 returned"})
}

func TestCookChanged_EventsTargetsAndEnd(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.play(slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 1h"), mustRead(t, "flat", 15*time.Second, "60 +0.5/min x60")))
	n.cook.Pieces = []cook.Piece{flat()}
	n.cook.Pieces[0].Target = 80
	n.do(n.m.CookChanged(n.cook, n.now))
	if got := n.messages(); len(got) != 1 || !strings.Contains(got[0], "piece-ready/1/flat active") {
		t.Errorf("a lower target: %q", got)
	}
	n.cook.Events = []cook.Event{{Time: n.now.Add(-time.Minute), Kind: cook.EventPieceOff, Piece: "flat"}}
	n.do(n.m.CookChanged(n.cook, n.now))
	if a := n.m.Snapshot().Alarms; len(a) != 0 {
		t.Errorf("alarms of a piece that is off: %+v", a)
	}
	n.cook.Ended = n.now
	n.do(n.m.CookChanged(n.cook, n.now))
	s := n.m.Snapshot()
	if len(s.Cooks) != 0 || s.QuietUntil.Known || s.QuietUntil.Because != "Nothing is on the fire." {
		t.Errorf("after the end: %+v", s)
	}
	n.until(n.now.Add(3 * time.Hour))
	same(t, "messages after the end", n.messages()[1:], nil)
}

func TestCommands_RefuseWhatIsNotThere(t *testing.T) {
	n := newNight(t, supper(flat()))
	if _, err := n.m.Acknowledge("pit-low/9", "", n.now); !errors.Is(err, cook.ErrNotFound) {
		t.Error(err)
	}
	if _, err := n.m.WhatIf(2, "flat", nil); !errors.Is(err, cook.ErrNotFound) {
		t.Error(err)
	}
	if _, err := n.m.WhatIf(1, "ham", nil); !errors.Is(err, cook.ErrNotFound) {
		t.Error(err)
	}
	if _, err := n.m.WhatIf(1, "flat", nil); !errors.Is(err, cook.ErrConflict) {
		t.Error(err)
	}
	n.play(slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 5m"), mustRead(t, "flat", 15*time.Second, "60 hold 5m")))
	if _, err := n.m.WhatIf(1, "flat", []cook.Event{{Time: n.now, Kind: cook.EventSpritz}}); err == nil {
		t.Error("a spritz was tried")
	}
	plain := n.m.Snapshot().Cooks[0].Pieces[0].Forecast
	foil, err := n.m.WhatIf(1, "flat", []cook.Event{{Time: n.now, Kind: cook.EventWrap, With: "foil"}})
	if err != nil || !foil.Ready[3].Before(plain.Ready[3]) {
		t.Errorf("in foil %v (%v), bare %v", foil.Ready[3], err, plain.Ready[3])
	}
}

func TestPlaces_CoolerAndAirSpeakForThemselves(t *testing.T) {
	m := New(Options{Settings: alarm.DefaultSettings(), Zone: time.UTC, Roles: map[cook.ProbeID]cook.Role{"cooler": cook.RoleCooler, "shed": cook.RoleCO}})
	n := &night{tb: t, m: m, now: start, lag: time.Second}
	readings := slices.Concat(mustRead(t, "cooler", time.Minute, "3 hold 1h, 8 hold 1h"), mustRead(t, "shed", time.Minute, "2 hold 100m, 300 hold 20m"))
	for i := range readings {
		if readings[i].Celsius == 300 {
			readings[i].Quality = cook.OutOfRange // as a temperature it would be
		}
	}
	n.play(readings)
	same(t, "messages", n.messages(), []string{"21:32 cooler-warm/cooler active", "21:40 co/shed active"})
}

func TestSlippedProbe_IsNotReady(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.play(slices.Concat(mustRead(t, "pit", 15*time.Second, "96 hold 3h"), mustRead(t, "flat", 15*time.Second, "60 hold 1h, to 96 in 2m, 96 hold 20m, to 60 in 2m, 60 hold 90m")))
	for _, m := range n.messages() {
		if strings.Contains(m, "piece-ready") {
			t.Errorf("a probe in the pit's air was told as a ready piece: %q", n.messages())
		}
	}
}

func TestReadyPiece_PullingItsProbeIsNoFault(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.play(slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 3h"), mustRead(t, "flat", 15*time.Second, "85 +0.2/min x60, to 30 in 2m, 25 hold 1h")))
	for _, m := range n.messages() {
		if strings.Contains(m, "probe-suspect") {
			t.Errorf("taking a ready piece off was told as a fault of its probe: %q", n.messages())
		}
	}
}

func TestTwoCooksOnOnePit_OneMessage(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.do(n.m.CookChanged(cook.Stored{ID: 2, Cook: supper(cook.Piece{ID: "wings", Cut: "other", Target: 80})}, n.now))
	n.play(slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 1h, to 60 in 15m, 60 hold 1h"), mustRead(t, "flat", 15*time.Second, "60 hold 135m"), mustRead(t, "wings", 15*time.Second, "60 hold 135m")))
	if got := n.messages(); len(got) != 1 || !strings.Contains(got[0], "pit-falling/1 active") {
		t.Errorf("messages %q, want one", got)
	}
}

func TestPlannedWrap_IsCalledForOnceAndEndsWithTheLog(t *testing.T) {
	p := flat()
	p.Plan = &cook.WrapPlan{Wrap: "foil", AtC: 70}
	n := newNight(t, supper(p))
	readings := slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 2h"), mustRead(t, "flat", 15*time.Second, "67 +0.1/min x120"))
	outlook.Sort(readings)
	half := slices.IndexFunc(readings, func(r cook.Reading) bool { return r.Time.After(minute(60)) })
	n.play(readings[:half])
	for _, e := range []cook.Event{{Time: minute(58), Kind: cook.EventWrap, Piece: "flat", With: "foil"}, {Time: minute(90), Kind: cook.EventUnwrap, Piece: "flat"}} {
		n.cook.Events = append(slices.Clone(n.cook.Events), e)
	}
	n.do(n.m.CookChanged(n.cook, n.now))
	n.play(readings[half:])
	same(t, "messages", n.messages(), []string{"20:32 wrap-due/1/flat active", "21:00 wrap-due/1/flat returned"})
}

// The probes' findings come from readings alone: the same whether they came in order or were counted again.
func TestFindings_AreShownAndSurviveARecount(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.play(slices.Concat(mustRead(t, "pit", 30*time.Second, "107 hold 90m"),
		mustRead(t, "flat", 30*time.Second, "20 +0.4/min x60, 107 hold 30m")))
	finding := func() string {
		var all []string
		for _, p := range n.m.Snapshot().Probes {
			for _, f := range p.Findings {
				all = append(all, string(p.ID)+" "+string(f.Kind)+" "+f.Since.UTC().Format("15:04")+" "+f.Because)
			}
		}
		return strings.Join(all, "\n")
	}
	live := finding()
	if !strings.Contains(live, "flat too-hot 21:01") || !strings.Contains(live, "flat out-of-meat 21:01 It changed by +63 K") || strings.Count(live, "\n") != 1 {
		t.Errorf("findings = %s, want too-hot and out-of-meat soon after 21:00", live)
	}
	n.recount(n.cook.ID)
	if again := finding(); again != live {
		t.Errorf("after a recount %q, before %q", again, live)
	}
}
