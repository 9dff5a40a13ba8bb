// Package durability holds tests only: brokers, ingest and store together, killed, fed with rubbish, and measured.
//
// The promise: a reading that the embedded broker has acknowledged is on disk, and what an outside broker has
// accepted gets there, each exactly once, whatever happens to the daemon's process in between.
package durability

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"stallkeeper/internal/broker"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/ingest"
	"stallkeeper/internal/store"
	"stallkeeper/internal/testrig"
)

func TestMain(m *testing.M) {
	if os.Getenv(childDir) != "" {
		os.Exit(child())
	}
	goleak.VerifyTestMain(m)
}

// sink is the store as ingest wants it.
type sink struct{ db *store.DB }

func (s sink) Put(ctx context.Context, r cook.Reading, done func(ingest.Outcome, error)) error {
	return s.db.Put(ctx, store.Item{Reading: r, Done: func(o store.Outcome, err error) { done(ingest.Outcome(o), err) }})
}

func (s sink) Quarantine(ctx context.Context, q cook.Quarantined, done func(error)) error {
	return s.db.Put(ctx, store.Item{Bad: &q, Done: func(_ store.Outcome, err error) { done(err) }})
}

// intake is a store with its intake and one of the brokers, as the daemon wires them.
type intake struct {
	db     *store.DB
	in     *ingest.Intake
	broker *broker.Broker // or
	client *ingest.Client
}

// settings choose the broker: embedded at listen, or the one at url.
type settings struct {
	dir, listen, url string
	log              io.Writer
}

func openIntake(ctx context.Context, s settings) (*intake, error) {
	log := slog.New(slog.NewTextHandler(s.log, &slog.HandlerOptions{Level: slog.LevelWarn}))
	db, err := store.Open(ctx, filepath.Join(s.dir, store.FileName), store.Options{Linger: store.DefaultLinger, Log: log, Now: time.Now})
	if err != nil {
		return nil, err
	}
	decoder, err := ingest.NewDecoder(nil, nil, nil)
	if err != nil {
		return nil, errors.Join(err, db.Close())
	}
	k := &intake{db: db, in: ingest.New(decoder, sink{db}, time.Now)}
	if s.url != "" {
		k.client, err = ingest.NewClient(ingest.ClientOptions{URL: s.url, ClientID: "stallkeeper", Log: log, Now: time.Now}, k.in)
	} else {
		k.broker, err = broker.New(broker.Options{Listen: s.listen, MaxClients: 100, Log: log, Now: time.Now, IsReading: k.in.Consumes,
			Consume: func(ctx context.Context, topic string, payload []byte, done func(error)) error {
				return k.in.Handle(ctx, ingest.Message{Topic: topic, Payload: payload}, done)
			}})
	}
	if err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return k, nil
}

// run ends the broker before the store, so that what the broker took in is still committed.
func (k *intake) run(ctx context.Context) error {
	storeCtx, stopStore := context.WithCancel(context.WithoutCancel(ctx))
	var wg sync.WaitGroup
	var storeErr error
	wg.Go(func() { storeErr = k.db.Run(storeCtx) })
	var err error
	if k.client != nil {
		err = k.client.Run(ctx)
	} else {
		err = k.broker.Run(ctx)
	}
	stopStore()
	wg.Wait()
	return errors.Join(err, storeErr, k.db.Close())
}

// startIntake runs an intake in this process until stop is called or the test ends.
func startIntake(tb testing.TB, s settings) (k *intake, stop func()) {
	tb.Helper()
	s.log = tb.Output()
	k, err := openIntake(tb.Context(), s)
	if err != nil {
		tb.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- k.run(ctx) }()
	var once sync.Once
	stop = func() {
		once.Do(func() {
			cancel()
			if err := <-ended; err != nil {
				tb.Error(err)
			}
		})
	}
	tb.Cleanup(stop)
	return k, stop
}

// count asks the database file itself.
func count(tb testing.TB, dir, query string) int {
	tb.Helper()
	n, err := tryCount(dir, query)
	if err != nil {
		tb.Fatalf("%s: %v", query, err)
	}
	return n
}

// tryCount fails while the daemon has not made the database yet.
func tryCount(dir, query string) (n int, err error) {
	db, err := sql.Open("sqlite3", "file:"+filepath.Join(dir, store.FileName)+"?mode=ro&_busy_timeout=10000")
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	err = db.QueryRow(query).Scan(&n)
	return n, err
}

func awaitCount(tb testing.TB, dir, query string, want int, limit time.Duration) {
	tb.Helper()
	got := -1
	for end := time.Now().Add(limit); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if got = count(tb, dir, query); got == want {
			return
		}
	}
	tb.Fatalf("%s = %d after %v, want %d", query, got, limit, want)
}

const (
	allReadings = "select count(*) from readings"
	allBad      = "select count(*) from quarantine"
)

// pub runs mosquitto_pub with the lines on its standard input, one message each.
func pub(tb testing.TB, addr, topic string, qos int, lines []string) {
	tb.Helper()
	host, port, err := net.SplitHostPort(addr)
	if err != nil {
		tb.Fatal(err)
	}
	cmd := exec.CommandContext(tb.Context(), testrig.Program(tb, "mosquitto_pub"), "-h", host, "-p", port, "-t", topic, "-q", fmt.Sprint(qos), "-l")
	cmd.Stdin = strings.NewReader(strings.Join(lines, "\n") + "\n")
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Run(); err != nil {
		tb.Fatalf("mosquitto_pub: %v: %s", err, out.String())
	}
}
