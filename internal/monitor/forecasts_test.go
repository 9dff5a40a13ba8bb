package monitor

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
)

func TestForecasts_OneForEachMinuteOfReadingTime(t *testing.T) {
	n := newNight(t, supper(flat()))
	n.play(slices.Concat(mustRead(t, "pit", 25*time.Second, "107 hold 3m"), mustRead(t, "flat", 25*time.Second, "20 hold 3m")))
	// Readings at :00 :25 :50 1:15 1:40 2:05 2:30 2:55. The minute that ends at 20:00:00 has one, then three, two, three;
	// the last is not over before a later reading comes.
	same(t, "kept", n.forecasts(), []string{"20:00:00", "20:00:50", "20:01:40"})
	n.until(minute(5))
	if at := n.m.Snapshot().Cooks[0].Pieces[0].Forecast.At; !at.Equal(minute(2).Add(55 * time.Second)) {
		t.Errorf("after a pause the shown forecast is of %v, want the newest reading", at)
	}
	same(t, "kept after a pause", n.forecasts(), []string{"20:00:00", "20:00:50", "20:01:40"})
}

func TestForecasts_EqualThoseFromTheLog(t *testing.T) {
	e := estimator.New(estimator.DefaultPrior())
	p := flat()
	p.Probes = []cook.ProbeID{"tip", "point"}
	c := supper(p)
	log := cook.Log{Cook: c, Readings: slices.Concat(mustRead(t, "pit/left", 20*time.Second, "20 +5/min x18, 110 hold 20m"), mustRead(t, "pit/right", 30*time.Second, "25 +4/min x20, 105 hold 18m"),
		mustRead(t, "tip", 15*time.Second, "5 +0.3/min x38"), mustRead(t, "point", 20*time.Second, "6 +0.25/min x38"))}
	n := newNight(t, c)
	n.m = New(Options{Estimator: e, Settings: alarm.DefaultSettings(), Zone: time.UTC})
	n.do(n.m.CookChanged(n.cook, n.now))
	shuffled := slices.Clone(log.Readings)
	outlook.Sort(shuffled)
	rng := rand.New(rand.NewPCG(3, 4))
	for i := 0; i+6 <= len(shuffled); i += 6 { // out of order within some twenty seconds
		rng.Shuffle(6, func(a, b int) { shuffled[i+a], shuffled[i+b] = shuffled[i+b], shuffled[i+a] })
	}
	for i := 0; i < len(shuffled); i += 3 {
		n.arrive(shuffled[i:min(i+3, len(shuffled))]...)
	}
	checked := 0
	for _, effect := range n.heard {
		if effect.Forecast == nil || !effect.Forecast.Keep {
			continue
		}
		want, err := outlook.NewLine(p.ID, e.Forecast(outlook.FromLog(&log, p), effect.Forecast.At)).JSON()
		if err != nil {
			t.Fatal(err)
		}
		if string(effect.Forecast.JSON) != string(want) {
			t.Fatalf("live %s\nlog  %s", effect.Forecast.JSON, want)
		}
		checked++
	}
	if checked < 30 {
		t.Errorf("%d forecasts in 38 minutes", checked)
	}
}

func TestQuietUntil_IsTheFirstNeedAndSaysWhat(t *testing.T) {
	n := newNight(t, supper(flat(), cook.Piece{ID: "point", Cut: "brisket_packer", Target: 93, Intact: true}))
	n.play(slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 1h"), mustRead(t, "flat", 15*time.Second, "61 +0.2/min x60"), mustRead(t, "point", 15*time.Second, "58 +0.2/min x60")))
	n.until(minute(60).Add(30 * time.Second))
	q := n.m.Snapshot().QuietUntil
	// flat is at 73.0 after an hour (61 + 0.2 x 60, less one reading): 100 minutes to 93 on the line, 0.85 of it at the
	// tenth percentile of ten draws.
	if d := q.Until.Sub(minute(145)); !q.Known || d < -2*time.Minute || d > 2*time.Minute || !strings.Contains(q.Because, "flat may be ready") {
		t.Errorf("quiet until %+v, want about %v", q, minute(145))
	}
	n.until(minute(75)) // both probes have been silent for fifteen minutes
	if q := n.m.Snapshot().QuietUntil; q.Known || !strings.Contains(q.Because, "silent") {
		t.Errorf("quiet until %+v while probes are silent", q)
	}
}

func TestServeAtRisk_OneSlowFireIsOneMessage(t *testing.T) {
	c := supper(flat(), cook.Piece{ID: "point", Cut: "brisket_packer", Target: 93, Intact: true})
	c.ServeBy = minute(240)
	n := newNight(t, c)
	n.play(slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 2h"), mustRead(t, "flat", 15*time.Second, "40 hold 2h"), mustRead(t, "point", 15*time.Second, "38 hold 2h")))
	got := n.messages()
	if len(got) != 1 || !strings.Contains(got[0], "serve-at-risk/1/flat active") {
		t.Errorf("messages %q, want one", got)
	}
	if a := n.m.Snapshot().Alarms; len(a) != 2 {
		t.Errorf("%d alarms are listed, want both pieces", len(a))
	}
}

func TestServeAtRisk_NobodyIsWokenForWhatCanWait(t *testing.T) {
	c := supper(flat())
	c.ServeBy = minute(300)
	n := newNight(t, c)
	n.m = newTested()
	n.m.track = func(in estimator.Input, _ tracker) tracker { return &line{in: in, late: 0.4} }
	n.do(n.m.CookChanged(n.cook, n.now))
	n.play(slices.Concat(mustRead(t, "pit", 15*time.Second, "107 hold 3h"), mustRead(t, "flat", 15*time.Second, "40 hold 3h")))
	// On the line 40 to 93 °C takes 265 minutes; in foil and with the pit raised 133, in nine draws of ten at most 159. So
	// that helps until minute 141; advice is sought every ten minutes, and the on-delay is fifteen.
	got := n.messages()
	if len(got) != 1 || !strings.Contains(got[0], "serve-at-risk/1/flat active") || got[0] < "22:36" || got[0] > "22:48" {
		t.Errorf("messages %q, want one between 22:36 and 22:47", got)
	}
}
