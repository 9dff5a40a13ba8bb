package store

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// On a full disk nothing is promised that is not there, the store says what to do, and goes on when there is room again.
func TestPut_OnAFullDisk(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	s.mustPut(t, reading("core", 0, 60))
	mustExecWriter(t, s, "pragma max_page_count = 60") // SQLite then reports a full disk
	stored := map[int]bool{0: true}
	var full error
	for i := 1; full == nil; i++ {
		_, errs := s.put(t, Item{Reading: reading("core", 2*i, 60)}, Item{Reading: reading("core", 2*i+1, 60)},
			Item{Bad: &cook.Quarantined{Time: epoch, Topic: "x", Payload: make([]byte, 4000), Reason: "bad"}})
		if full = errs[0]; full == nil {
			stored[2*i], stored[2*i+1] = true, true
			continue
		}
		for _, err := range errs {
			if err == nil || !strings.Contains(err.Error(), "free some space in") {
				t.Errorf("an item of the failed batch got %v, want an error that says what to do", err)
			}
		}
	}
	if !strings.Contains(s.Trouble(), "full") || !strings.Contains(s.Trouble(), "free some space") {
		t.Errorf("Trouble = %q", s.Trouble())
	}
	if err := s.KeepValue(t.Context(), "big", make([]byte, 1<<20)); err == nil || !strings.Contains(err.Error(), "free some space") {
		t.Errorf("another write on the full disk: %v", err)
	}
	if got := mustRead(t, s, cook.ReadingQuery{Limit: 1000}); len(got) != len(stored) {
		t.Errorf("%d readings are there, %d were promised", len(got), len(stored))
	}
	mustExecWriter(t, s, "pragma max_page_count = 1000000")
	if got := s.mustPut(t, reading("core", 1, 60), reading("core", -1, 60)); got[1] != Stored {
		t.Errorf("after making room: %v", got)
	}
	if s.Trouble() != "" {
		t.Errorf("Trouble = %q after making room", s.Trouble())
	}
}

// The committer finds out by itself that there is room again, so that /readyz does not wait for the next reading.
func TestRun_TriesAStoreInTroubleWhileNothingComes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		db, err := Open(t.Context(), fileOf(t), testOptions(t))
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- db.Run(ctx) }()
		var pages int
		if err := db.writer.QueryRow("pragma max_page_count = 1").Scan(&pages); err != nil {
			t.Fatal(err)
		}
		if err := db.KeepValue(t.Context(), "big", make([]byte, 1<<20)); err == nil {
			t.Fatal("a full disk took a megabyte")
		}
		if err := db.writer.QueryRow("pragma max_page_count = 100000").Scan(&pages); err != nil {
			t.Fatal(err)
		}
		time.Sleep(probation + time.Second)
		synctest.Wait()
		if got := db.Trouble(); got != "" {
			t.Errorf("Trouble = %q after %v", got, probation+time.Second)
		}
		cancel()
		if err := errors.Join(<-ended, db.Close()); err != nil {
			t.Error(err)
		}
	})
}

// A real disk of a megabyte that fills up, and gets room again.
func TestPut_OnASmallDisk(t *testing.T) {
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=1m"); err != nil {
		t.Skip("this machine lets tests mount nothing: ", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Error(err)
		}
	})
	ballast := filepath.Join(dir, "ballast")
	if err := os.WriteFile(ballast, make([]byte, 400_000), 0o600); err != nil {
		t.Fatal(err)
	}
	s := mustOpen(t, filepath.Join(dir, FileName))
	stored := 0
	for i := 0; s.Trouble() == ""; i++ {
		if _, errs := s.put(t, Item{Reading: reading("core", i, 60)}); errs[0] == nil {
			stored++
		}
	}
	if !strings.Contains(s.Trouble(), "free") {
		t.Errorf("Trouble = %q, want it to say what to do", s.Trouble())
	}
	if got := len(mustRead(t, s, cook.ReadingQuery{Limit: 1e6})); got != stored {
		t.Errorf("%d readings are there, %d were promised", got, stored)
	}
	err := Backup(t.Context(), s.path, filepath.Join(dir, "backup.db"))
	if err == nil || !strings.Contains(err.Error(), "free some space there") {
		t.Errorf("backup to the full disk = %v", err)
	}
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	s.mustPut(t, reading("later", 0, 60))
	if s.Trouble() != "" {
		t.Errorf("Trouble = %q with room again", s.Trouble())
	}
}

// A disk that others fill: what was kept back lets alarms be kept, the trouble stands until there is room, and then the room is kept back again.
func TestReserve_LetsAlarmsBeKeptOnAFullDisk(t *testing.T) {
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=40m"); err != nil {
		t.Skip("this machine lets tests mount nothing: ", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Error(err)
		}
	})
	s := mustOpen(t, filepath.Join(dir, FileName))
	s.mustPut(t, reading("core", 0, 60))
	others := filepath.Join(dir, "others")
	if err := os.WriteFile(others, make([]byte, 64<<20), 0o600); !errors.Is(err, syscall.ENOSPC) {
		t.Fatalf("filling the disk: %v", err)
	}
	for i := 1; !strings.Contains(s.Scarce(), "in use"); i++ {
		s.put(t, Item{Reading: reading("core", i, 60)})
		if i > 10_000 {
			t.Fatalf("the reserve is not given up; trouble %q", s.Trouble())
		}
	}
	if err := s.KeepValue(t.Context(), "an alarm", make([]byte, 100_000)); err != nil {
		t.Errorf("nothing can be kept although room was kept back: %v", err)
	}
	if s.Trouble() != "" || !strings.Contains(s.Scarce(), "the disk is full") {
		t.Errorf("Trouble = %q, Scarce = %q after a write into the reserve", s.Trouble(), s.Scarce())
	}
	if err := os.Remove(others); err != nil {
		t.Fatal(err)
	}
	s.retry(t.Context())
	if s.Scarce() != "" {
		t.Errorf("Scarce = %q with room again", s.Scarce())
	}
	if stands, err := os.Stat(filepath.Join(dir, "reserve")); err != nil || stands.Size() != reserveBytes {
		t.Errorf("the room is not kept back again: %v", err)
	}
}

// fileLimitChild is set in the child of the next test.
const fileLimitChild = "STALLKEEPER_FILE_LIMIT_CHILD"

// A real limit of the kernel: a child process may not write files beyond 600 kB.
func TestPut_AtTheKernelsFileLimit(t *testing.T) {
	if path := os.Getenv(fileLimitChild); path != "" {
		fillUntilRefused(t, path)
		return
	}
	path := fileOf(t)
	child := exec.Command(os.Args[0], "-test.run", "^TestPut_AtTheKernelsFileLimit$", "-test.v")
	child.Env = append(os.Environ(), fileLimitChild+"="+path)
	if out, err := child.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	mustBeWhole(t, path)
	s := mustOpen(t, path) // with room again
	got := mustRead(t, s, cook.ReadingQuery{Limit: 100000})
	if len(got) < 10 {
		t.Errorf("%d readings, want those that fitted", len(got))
	}
	s.mustPut(t, reading("later", 0, 60))
}

func fillUntilRefused(t *testing.T, path string) {
	s := mustOpen(t, path)
	limit := syscall.Rlimit{Cur: 600_000, Max: 600_000}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
		t.Fatal(err)
	}
	stored := 0
	for i := 0; s.Trouble() == ""; i++ {
		_, errs := s.put(t, Item{Reading: reading("core", i, thermal.Celsius(i%100))})
		if errs[0] == nil {
			stored++
		} else if !strings.Contains(errs[0].Error(), "free") {
			t.Errorf("refused with %v, want it to say what to do", errs[0])
		}
	}
	t.Log(s.Trouble())
	if got := mustRead(t, s, cook.ReadingQuery{Limit: 100000}); len(got) != stored {
		t.Errorf("%d readings are there, %d were promised", len(got), stored)
	}
}

func TestPut_WaitsWhileTheQueueIsFullAndHonoursItsContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		db, err := Open(t.Context(), fileOf(t), testOptions(t)) // nobody commits
		if err != nil {
			t.Fatal(err)
		}
		refused := 0
		item := Item{Reading: reading("core", 0, 60), Done: func(_ Outcome, err error) {
			if errors.Is(err, ErrStopped) {
				refused++
			}
		}}
		for range queueSize {
			if err := db.Put(t.Context(), item); err != nil {
				t.Fatal(err)
			}
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		if err := db.Put(ctx, item); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("Put into a full queue = %v, want it to end with its context", err)
		}
		waiting := make(chan error, 1)
		go func() { waiting <- db.Put(t.Context(), item) }()
		synctest.Wait()
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
		if err := <-waiting; !errors.Is(err, ErrStopped) {
			t.Errorf("Put that waited for a closing store = %v, want %v", err, ErrStopped)
		}
		if err := db.Put(t.Context(), item); !errors.Is(err, ErrStopped) {
			t.Errorf("Put into a closed store = %v, want %v", err, ErrStopped)
		}
		if refused != queueSize {
			t.Errorf("%d of %d waiting items were answered", refused, queueSize)
		}
	})
}

func TestRun_CommitsWhatIsWaitingWhenItIsStopped(t *testing.T) {
	path := fileOf(t)
	db, err := Open(t.Context(), path, testOptions(t))
	if err != nil {
		t.Fatal(err)
	}
	var order []int
	var want []int
	for i := range queueSize { // more than one batch
		done := func(_ Outcome, err error) {
			if err != nil {
				t.Error(err)
			}
			order = append(order, i)
		}
		want = append(want, i)
		if err := db.Put(t.Context(), Item{Reading: reading("core", i, 60), Done: done}); err != nil {
			t.Fatal(err)
		}
	}
	stopped, cancel := context.WithCancel(t.Context())
	cancel()
	if err := errors.Join(db.Run(stopped), db.Close()); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, order); diff != "" {
		t.Error("Done was not called once for each, in order:", diff)
	}
	if got := mustRead(t, mustOpen(t, path), cook.ReadingQuery{Limit: 10000}); len(got) != queueSize {
		t.Errorf("%d readings, want all that were put", len(got))
	}
}

func TestRun_GathersForTheLingerTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := testOptions(t)
		o.Linger = 2 * time.Second
		db, err := Open(t.Context(), fileOf(t), o)
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- db.Run(ctx) }()
		began := time.Now()
		var answered []time.Duration
		var wg sync.WaitGroup
		for i := range 4 { // at 0, 0.7, 1.4 and 2.1 s: the last comes too late for the first commit
			wg.Add(1)
			done := func(Outcome, error) { answered = append(answered, time.Since(began)); wg.Done() }
			if err := db.Put(t.Context(), Item{Reading: reading("core", i, 60), Done: done}); err != nil {
				t.Fatal(err)
			}
			time.Sleep(700 * time.Millisecond)
		}
		wg.Wait()
		cancel()
		if err := errors.Join(<-ended, db.Close()); err != nil {
			t.Fatal(err)
		}
		want := []time.Duration{2 * time.Second, 2 * time.Second, 2 * time.Second, 4100 * time.Millisecond}
		if diff := cmp.Diff(want, answered); diff != "" {
			t.Error(diff)
		}
	})
}
