package store

import (
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// Readings that carry a time may come in any order, in any batches, and any number of times: the store ends up with the
// same rows.
func TestPut_IsIdempotentAndFreeOfOrder(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	round := 0
	rapid.Check(t, func(rt *rapid.T) {
		round++
		base := time.Duration(round) * time.Hour // each story in its own hour
		type key struct {
			probe cook.ProbeID
			at    time.Time
		}
		truth := map[key]cook.Reading{}
		for range rapid.IntRange(1, 30).Draw(rt, "n") {
			r := reading(rapid.SampledFrom([]cook.ProbeID{"pit", "core", "flat/tip"}).Draw(rt, "probe"),
				rapid.IntRange(0, 20).Draw(rt, "second"), thermal.Celsius(rapid.Float64Range(-273, 600).Draw(rt, "celsius")))
			r.Time = r.Time.Add(base + time.Duration(rapid.IntRange(0, 2).Draw(rt, "µs"))*time.Microsecond)
			truth[key{r.Probe, r.Time}] = r
		}
		sent := slices.Collect(maps.Values(truth))
		slices.SortFunc(sent, byTimeAndProbe)
		want := slices.Clone(sent)
		sent = append(sent, rapid.SliceOf(rapid.SampledFrom(sent)).Draw(rt, "again")...)
		sent = rapid.Permutation(sent).Draw(rt, "order")
		stored := 0
		for batch := range slices.Chunk(sent, rapid.IntRange(1, 40).Draw(rt, "batch")) {
			for _, o := range s.mustPut(t, batch...) {
				if o == Stored {
					stored++
				} else if o != Duplicate {
					rt.Fatalf("outcome %d of a reading without a contradiction", o)
				}
			}
		}
		got := mustRead(t, s, cook.ReadingQuery{From: epoch.Add(base), To: epoch.Add(base + time.Hour), Limit: 100})
		if diff := cmp.Diff(want, got); diff != "" || stored != len(want) {
			rt.Fatalf("%d stored: %s", stored, diff)
		}
	})
}

func byTimeAndProbe(a, b cook.Reading) int {
	if c := a.Time.Compare(b.Time); c != 0 {
		return c
	}
	return strings.Compare(string(a.Probe), string(b.Probe))
}
