package daemon

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/store"
)

// A watch that never gets to the end of its readings: a probe that died is told all the same, one that speaks is not, and that they come in
// too fast is told too. Before, nobody was told anything.
func TestWatch_ThatNeverCatchesUp(t *testing.T) {
	b := newBench(t)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- b.db.Run(ctx) }()
	defer func() { cancel(); <-ended }()
	b.now = supperTime
	if _, err := b.db.CreateCook(ctx, supper(), b.now); err != nil {
		t.Fatal(err)
	}
	if err := b.w.restore(ctx); err != nil {
		t.Fatal(err)
	}
	for b.w.countOn(ctx) {
	}
	for minute := range 40 {
		b.now = supperTime.Add(time.Duration(minute) * time.Minute)
		b.put("pit", 107)
		if minute < 3 {
			b.put("flat", 5)
		}
		if minute < 10 {
			for b.w.step(ctx) {
			}
		}
		b.w.passTime(ctx, minute < 10)
	}
	b.w.show()
	var active []string
	for _, a := range b.w.Snapshot().Alarms {
		if a.State == alarm.Active {
			active = append(active, fmt.Sprintf("%s %s", a.Raised.Format("15:04"), a.ID))
		}
	}
	slices.Sort(active)
	if want := []string{"18:18 probe-silent/flat", "18:21 intake/late"}; !slices.Equal(active, want) {
		t.Errorf("alarms %q, want %q", active, want)
	}
	if s := b.w.Snapshot().Intake; s.Waiting != 30 || !strings.Contains(s.Late, "the newest that is judged came in at 18:09") {
		t.Errorf("intake %+v", s)
	}
	if err := b.w.wellWithReadings(); err == nil || !strings.Contains(err.Error(), "faster than this machine") {
		t.Errorf("ready: %v", err)
	}
}

// put keeps a reading that comes now.
func (b *bench) put(probe cook.ProbeID, c thermal.Celsius) {
	b.t.Helper()
	kept := make(chan error, 1)
	r := cook.Reading{Probe: probe, Time: b.now, Celsius: c, Quality: cook.Good, Clock: cook.DeviceClock, Arrived: b.now}
	if err := b.db.Put(b.t.Context(), store.Item{Reading: r, Done: func(_ store.Outcome, err error) { kept <- err }}); err != nil {
		b.t.Fatal(err)
	}
	if err := <-kept; err != nil {
		b.t.Fatal(err)
	}
}
