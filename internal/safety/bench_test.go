package safety

import (
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// BenchmarkKeeping_ACureOfFourteenDays is what a restart counts again: a reading each 5 s.
func BenchmarkKeeping_ACureOfFourteenDays(b *testing.B) {
	for b.Loop() {
		k := NewKeeping(Settings{}.CureRange(), Settings{})
		for i := range 14 * 24 * 720 {
			k.Add(cook.Reading{Probe: "fridge", Time: start.Add(time.Duration(i) * 5 * time.Second), Celsius: thermal.Celsius(3 + float64(i%7)/10), Quality: cook.Good})
		}
		if k.Final().Outcome != Met {
			b.Fatal(k.Final().Because)
		}
	}
}

// BenchmarkCooking_FourteenHours is a smoke at a reading each second.
func BenchmarkCooking_FourteenHours(b *testing.B) {
	for b.Loop() {
		c, w := NewCooking(Meat7(), true, Settings{}), NewLukewarm(Settings{})
		for i := range 14 * 3600 {
			r := cook.Reading{Probe: "core", Time: start.Add(time.Duration(i) * time.Second), Celsius: thermal.Celsius(5 + 90*float64(i)/50400), Quality: cook.Good}
			c.Add(r)
			w.Add(r)
		}
		c.Cooked()
	}
}
