package backlog

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func mustOpen(tb testing.TB, folder string, most int) *Queue {
	tb.Helper()
	q, bad, err := Open(folder, most)
	if err != nil || bad != 0 {
		tb.Fatal(err, bad)
	}
	return q
}

func add(q *Queue, from, to int) {
	for i := from; i < to; i++ {
		q.Add(Record{Probe: "core", Unix: int64(i), Celsius: float64(i) / 10, Seq: int64(i)})
	}
}

func times(q *Queue) []int64 {
	var out []int64
	for _, r := range q.After(0, 1<<30) {
		out = append(out, r.Unix)
	}
	return out
}

func TestQueue_SurvivesARestartInOrder(t *testing.T) {
	folder := t.TempDir()
	q := mustOpen(t, folder, 1000)
	add(q, 1, 51)
	if err := q.Spill(); err != nil {
		t.Fatal(err)
	}
	add(q, 51, 61)
	if err := q.Spill(); err != nil {
		t.Fatal(err)
	}
	add(q, 61, 70) // never spilled: a power cut takes these
	again := mustOpen(t, folder, 1000)
	if got := times(again); len(got) != 60 || got[0] != 1 || got[59] != 60 {
		t.Errorf("after the restart %v", got)
	}
	add(again, 70, 72)
	again.Done(again.After(0, 60)[59].ID())
	if got := fmt.Sprint(times(again)); got != "[70 71]" {
		t.Errorf("after the acknowledgement of 60: %s", got)
	}
	again.Done(again.After(0, 2)[1].ID())
	if err := again.Spill(); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(filepath.Join(folder, fileName)); err != nil || info.Size() != 0 {
		t.Errorf("an empty queue left %v, %v", info, err)
	}
}

func TestQueue_SkipsWhatAPowerCutDamaged(t *testing.T) {
	folder := t.TempDir()
	text := `{"p":"core","t":1,"c":20}` + "\n" + `{"p":"core","t":2,"c":` + "\x00\x00\n" + `{"p":"core","t":3,"c":21}` + "\n" + `{"p":"core","t":4,`
	if err := os.WriteFile(filepath.Join(folder, fileName), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	q, bad, err := Open(folder, 100)
	if err != nil || bad != 1 {
		t.Errorf("bad = %d, %v; want the damaged line in the middle, not the cut one at the end", bad, err)
	}
	if got := fmt.Sprint(times(q)); got != "[1 3]" {
		t.Errorf("kept %s", got)
	}
}

// A week without a broker: memory and disk stay bounded, the newest readings are complete, the oldest thinned and there.
func TestQueue_ThinsTheOldest(t *testing.T) {
	const most, all = 1000, 20000
	folder := t.TempDir()
	q := mustOpen(t, folder, most)
	for i := range all {
		q.Add(Record{Probe: []string{"pit", "core"}[i%2], Unix: int64(i + 1), Celsius: 107})
		if i%200 == 0 {
			if err := q.Spill(); err != nil {
				t.Fatal(err)
			}
		}
		if info, err := os.Stat(filepath.Join(folder, fileName)); err == nil && info.Size() > 2*most*110 {
			t.Fatalf("the file has %d bytes", info.Size())
		}
	}
	got := times(q)
	if len(got) > most || int64(all-len(got)) != q.Thinned() {
		t.Fatalf("%d kept and %d thinned of %d", len(got), q.Thinned(), all)
	}
	for i := range most / 4 {
		if got[len(got)-1-i] != int64(all-i) {
			t.Fatalf("the newest readings have a gap at %d", got[len(got)-1-i])
		}
	}
	if got[0] > 2 {
		t.Errorf("the first reading is gone: %d", got[0])
	}
}

func TestQueue_SaysWhenTheDiskIsFull(t *testing.T) {
	folder := t.TempDir()
	q := mustOpen(t, folder, 100)
	add(q, 1, 5)
	q.path = filepath.Join(folder, "missing", "x") // stands for any failing write
	if err := q.Spill(); err == nil || !strings.HasPrefix(err.Error(), "write backlog") {
		t.Errorf("error %v", err)
	}
	q.path = filepath.Join(folder, fileName)
	if err := q.Spill(); err != nil {
		t.Fatal(err)
	}
	if got := times(mustOpen(t, folder, 100)); len(got) != 4 {
		t.Errorf("after the disk came back: %v", got)
	}
}

// Whatever the order of adding, acknowledging, spilling and restarting: order is kept, nothing un-acknowledged is lost
// that was spilled, and nothing comes twice within one run.
func TestQueue_Model(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		folder, err := os.MkdirTemp("", "backlog")
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = os.RemoveAll(folder) }()
		q, _, err := Open(folder, 5000)
		if err != nil {
			t.Fatal(err)
		}
		var next, done, spilled int64
		t.Repeat(map[string]func(*rapid.T){
			"add": func(t *rapid.T) {
				next++
				q.Add(Record{Probe: "core", Unix: next})
			},
			"done": func(t *rapid.T) {
				batch := q.After(0, rapid.IntRange(1, 20).Draw(t, "n"))
				if len(batch) > 0 {
					last := batch[len(batch)-1]
					q.Done(last.ID())
					done = max(done, last.Unix)
				}
			},
			"spill": func(t *rapid.T) {
				if err := q.Spill(); err != nil {
					t.Fatal(err)
				}
				spilled = next
			},
			"restart": func(t *rapid.T) {
				var bad int
				if q, bad, err = Open(folder, 5000); err != nil || bad > 0 {
					t.Fatal(err, bad)
				}
				next = spilled // what was never spilled is gone and comes anew
				done = min(done, spilled)
			},
			"": func(t *rapid.T) {
				last := int64(0)
				have := map[int64]bool{}
				for _, r := range q.After(0, 1<<30) {
					if r.Unix <= last {
						t.Fatalf("%d behind %d", r.Unix, last)
					}
					last = r.Unix
					have[last] = true
				}
				for i := done + 1; i <= next; i++ {
					if !have[i] {
						t.Fatalf("%d is lost (acknowledged up to %d)", i, done)
					}
				}
			},
		})
	})
}
