package daemon

import (
	"context"
	"log/slog"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/config"
	"stallkeeper/internal/testrig"
)

// An outside broker dies and comes again: meanwhile the daemon says so, and what to do; afterwards nothing of it stands any more,
// or the alarm "the fire is not watched" would, and the silence of a probe would be laid to the broker for ever.
func TestDaemon_ABrokerThatIsBackIsNoTrouble(t *testing.T) {
	m := testrig.StartMosquitto(t)
	t.Cleanup(m.Stop)
	cfg := config.Default()
	cfg.Data, cfg.HTTP.Listen, cfg.MQTT.URL = t.TempDir(), "127.0.0.1:0", m.URL()
	d, err := New(t.Context(), Options{Config: cfg, Log: slog.New(slog.DiscardHandler), Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- d.Run(ctx) }()
	within(t, "the connection", func() bool { return d.ready() == nil })
	m.Stop()
	within(t, "the trouble", func() bool {
		return strings.Contains(d.watch.Snapshot().Intake.Trouble, "does not answer, nothing listens there: start it")
	})
	m.Start()
	within(t, "the end of the trouble", func() bool {
		in := d.watch.Snapshot().Intake
		return in.Connected && in.Trouble == ""
	})
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}
