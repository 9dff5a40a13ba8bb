package estimator

import (
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
)

func twelveHours(b *testing.B) Input {
	in := brisket(b, 15*time.Second)
	in.Core = curve(b, 15*time.Second, "0:5 15:5.5 60:25 120:46 180:58 240:64 300:66.5 420:68.5 600:72 720:77")
	in.Pit = curve(b, 15*time.Second, "0:106 100:108 200:105 300:109 400:106 500:108 720:106")
	return in
}

// One forecast from a twelve-hour log at a reading every 15 s. The budget is 0.3 s and 25 MB.
func BenchmarkForecast_FromScratch(b *testing.B) {
	e, in := New(DefaultPrior()), twelveHours(b)
	b.ReportAllocs()
	for b.Loop() {
		e.Forecast(in, minutes(720))
	}
}

// One new reading and a forecast after twelve hours. The budget is 50 ms.
func BenchmarkTracker_Update(b *testing.B) {
	t := New(DefaultPrior()).Track(twelveHours(b))
	b.ReportAllocs()
	at := minutes(720)
	for b.Loop() {
		at = at.Add(15 * time.Second)
		t.AddCore(Sample{at, thermal.Celsius(77)})
		t.Forecast(at)
	}
}

// A log of 48 hours at a reading a second.
func BenchmarkForecast_TwoDaysEverySecond(b *testing.B) {
	e := New(DefaultPrior())
	in := Input{Cut: BrisketPacker, MassKg: 6, Target: 98, Started: lit, SetPoint: 104,
		Core: curve(b, time.Second, "0:5 300:60 600:68 2880:80"), Pit: curve(b, time.Second, "0:104 2880:104")}
	b.ReportAllocs()
	for b.Loop() {
		e.Forecast(in, minutes(2880))
	}
}
