package store

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"sync"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// killChild tells the child of the next test its file and its round.
const killChild = "STALLKEEPER_KILL_CHILD"

// A child stores readings as fast as a shop with many probes sends them, and is killed at a random moment. Everything whose Done
// said that it is stored must be there, once.
func TestKill_LosesNothingAcknowledged(t *testing.T) {
	if task := os.Getenv(killChild); task != "" {
		storeUntilKilled(t, task)
		return
	}
	kills := 10
	if os.Getenv("STALLKEEPER_SOAK") != "" {
		kills = 100
	}
	const seed = 20260502
	random := rand.New(rand.NewPCG(seed, seed))
	path := fileOf(t)
	total := 0
	for round := range kills {
		acked := killAfter(t, path, round, time.Duration(20+random.IntN(400))*time.Millisecond)
		mustHold(t, path, round, acked)
		total += len(acked)
		if t.Failed() {
			t.Fatalf("round %d, seed %d", round, seed)
		}
	}
	t.Logf("%d kills, %d readings acknowledged before them", kills, total)
	if total == 0 {
		t.Error("nothing was acknowledged before any kill: the kills come too early to show anything")
	}
}

// Killed while it makes the file, or brings it up to date, the store opens the next time all the same.
func TestKill_WhileOpening(t *testing.T) {
	const seed = 20260503
	random := rand.New(rand.NewPCG(seed, seed))
	for round := range 10 {
		path := fileOf(t)
		child := exec.Command(os.Args[0], "-test.run", "^TestKill_LosesNothingAcknowledged$")
		child.Env = append(os.Environ(), killChild+"="+strconv.Itoa(round)+" "+path)
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		for !exists(path + ".lock") { // it is about to open
			time.Sleep(time.Millisecond)
		}
		time.Sleep(time.Duration(random.IntN(40)) * time.Millisecond)
		if err := child.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		if err := child.Wait(); err == nil {
			t.Fatal("the child ended by itself")
		}
		s := mustOpen(t, path)
		s.mustPut(t, reading("after", round, 60))
	}
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// killAfter runs a child for so long after its first acknowledgement and gives what it was promised.
func killAfter(t *testing.T, path string, round int, after time.Duration) []string {
	t.Helper()
	child := exec.Command(os.Args[0], "-test.run", "^TestKill_LosesNothingAcknowledged$")
	child.Env = append(os.Environ(), killChild+"="+strconv.Itoa(round)+" "+path)
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	var acked []string
	var timer *time.Timer
	lines := bufio.NewReader(out)
	for {
		line, err := lines.ReadString('\n')
		if err != nil {
			if !errors.Is(err, io.EOF) {
				t.Error(err)
			}
			break // a line cut off by the kill was written before it was promised to anybody
		}
		if timer == nil {
			timer = time.AfterFunc(after, func() { _ = child.Process.Kill() }) // it may have ended by itself, which Wait tells
		}
		acked = append(acked, line[:len(line)-1])
	}
	if timer != nil {
		timer.Stop()
	}
	var exit *exec.ExitError
	if err := child.Wait(); !errors.As(err, &exit) || exit.Exited() {
		t.Fatalf("the child ended by itself: %v, %q", err, acked)
	}
	return acked
}

// storeUntilKilled puts device readings, each twice, arrival-timed ones and bad payloads, some 4,000 items a second, and prints what was
// promised.
func storeUntilKilled(t *testing.T, task string) {
	var round int
	var path string
	if _, err := fmt.Sscan(task, &round, &path); err != nil {
		t.Fatal(err)
	}
	db, err := Open(t.Context(), path, Options{Linger: 10 * time.Millisecond, Log: slog.New(slog.DiscardHandler), Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	var all sync.WaitGroup
	all.Go(func() {
		if err := db.Run(t.Context()); err != nil {
			t.Error(err)
		}
	})
	for worker := range 4 {
		all.Go(func() {
			for i := 0; ; i++ {
				if err := putFour(t.Context(), db, round, worker, i); err != nil {
					t.Error(err)
					return
				}
				time.Sleep(4 * time.Millisecond)
			}
		})
	}
	all.Wait()
}

func putFour(ctx context.Context, db *DB, round, worker, i int) error {
	probe := cook.ProbeID(fmt.Sprintf("probe-%d-%d", round, worker))
	promise := func(kind string) func(Outcome, error) {
		return func(o Outcome, err error) {
			if err == nil {
				fmt.Printf("%s %s %d %d\n", kind, probe, i, o)
			}
		}
	}
	timed := reading(probe, i, thermal.Celsius(i%97))
	arrived := reading("timeless/"+probe, i, thermal.Celsius(i%97))
	arrived.Clock = cook.ArrivalClock
	bad := &cook.Quarantined{Time: epoch, Topic: string(probe), Payload: []byte(strconv.Itoa(i)), Reason: "bad"}
	for _, item := range []Item{
		{Reading: timed, Done: promise("timed")},
		{Reading: timed, Done: promise("again")},
		{Reading: arrived, Done: promise("arrived")},
		{Bad: bad, Done: promise("bad")},
	} {
		if err := db.Put(ctx, item); err != nil {
			return err
		}
	}
	return nil
}

// mustHold looks for everything that was promised in a round.
func mustHold(t *testing.T, path string, round int, acked []string) {
	t.Helper()
	s := mustOpen(t, path)
	defer func() {
		if err := s.stop(); err != nil {
			t.Error(err)
		}
	}()
	mustBeWhole(t, path)
	have := map[string]int{}
	for worker := range 4 {
		probe := cook.ProbeID(fmt.Sprintf("probe-%d-%d", round, worker))
		for _, r := range mustRead(t, s, cook.ReadingQuery{Probe: probe, Limit: 1e6}) {
			have[fmt.Sprintf("%s %d", probe, r.Time.Sub(epoch)/time.Second)]++
		}
		for _, r := range mustRead(t, s, cook.ReadingQuery{Probe: "timeless/" + probe, Limit: 1e6}) {
			have[fmt.Sprintf("timeless/%s %d", probe, r.Time.Sub(epoch)/time.Second)]++
		}
	}
	kept, err := s.Quarantine(t.Context(), 0, 1e6)
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range kept {
		have[fmt.Sprintf("bad/%s %s", q.Topic, q.Payload)]++
	}
	for _, line := range acked {
		var kind, probe string
		var i, outcome int
		if _, err := fmt.Sscan(line, &kind, &probe, &i, &outcome); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		what := map[string]string{"timed": "", "again": "", "arrived": "timeless/", "bad": "bad/"}[kind] + probe
		if n := have[fmt.Sprintf("%s %d", what, i)]; n != 1 {
			t.Errorf("%q was promised and is there %d times", line, n)
		}
	}
}
