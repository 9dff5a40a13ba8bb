package monitor

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
)

// BenchmarkApply takes in an hour of eight probes at one reading a second without forecasting: the cost of watching.
func BenchmarkApply(b *testing.B) {
	c := supper()
	readings := mustRead(b, "pit", time.Second, "107 hold 1h")
	for i := range 7 {
		id := fmt.Sprintf("piece%d", i)
		c.Pieces = append(c.Pieces, cook.Piece{ID: cook.PieceID(id), Cut: "brisket_flat", Target: 93})
		readings = slices.Concat(readings, mustRead(b, cook.ProbeID(id), time.Second, "60 +0.1/min x60"))
	}
	outlook.Sort(readings)
	b.ReportAllocs()
	for b.Loop() {
		n := newNight(b, c)
		for i := 0; i < len(readings); i += 8 {
			n.now = readings[i].Time.Add(time.Second)
			n.m.Apply(committed(int64(i)+1, readings[i:i+8]), n.now)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(readings)), "ns/reading")
}
