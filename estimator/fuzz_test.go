package estimator

import (
	"encoding/binary"
	"math"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
)

// FuzzForecast reads any bytes as samples (offset, value), events and a piece, and checks what always holds.
func FuzzForecast(f *testing.F) {
	f.Add([]byte{}, 93.0, 2.0, 50.0, 107.0, int64(3600))
	f.Add([]byte("\x00\x00\x00\x00\x00\x00\x20\x40\x00\x10\x00\x00\x00\x00\x4c\x40"), 60.0, 1.0, 0.0, 120.0, int64(7200))
	f.Add(binary.LittleEndian.AppendUint64(nil, math.Float64bits(math.NaN())), math.Inf(1), -1.0, math.NaN(), 1e300, int64(-1))
	e := New(DefaultPrior())
	f.Fuzz(func(t *testing.T, data []byte, target, kg, mm, setPoint float64, seconds int64) {
		in := Input{Cut: Cut(data), MassKg: kg, ThicknessMM: mm, Target: thermal.Celsius(target), Started: lit, SetPoint: thermal.Celsius(setPoint), AltitudeM: kg * 100}
		for i := 0; len(data) >= 16; i++ {
			offset, bits := int64(binary.LittleEndian.Uint64(data)), binary.LittleEndian.Uint64(data[8:])
			data = data[16:]
			if i%5 != 0 {
				offset %= 100000
			}
			s := Sample{lit.Add(time.Duration(offset) * time.Second), thermal.Celsius(math.Float64frombits(bits))}
			switch i % 4 {
			case 0, 1:
				if i%3 == 0 && !(math.Abs(float64(s.Celsius)) < 1000) {
					s.Celsius = thermal.Celsius(bits % 110)
				}
				in.Core = append(in.Core, s)
			case 2:
				in.Pit = append(in.Pit, s)
			case 3:
				kinds := []EventKind{Wrap, Unwrap, Lid, SetPoint, PieceOff, "?"}
				in.Events = append(in.Events, Event{Time: s.Time, Kind: kinds[bits%6], With: Paper, Celsius: s.Celsius})
				in.Plan = &WrapPlan{With: Foil, AtCelsius: s.Celsius}
				in.PitPlan = append(in.PitPlan, Event{Time: s.Time, Celsius: s.Celsius})
			}
		}
		at := lit.Add(time.Duration(seconds%400000) * time.Second)
		got := e.Forecast(in, at)
		checkSane(t, &got)
		if again := e.Track(in).Forecast(at); !same(got, again) {
			t.Fatalf("the tracker gives %v %v, Forecast %v %v", again.State, again.Ready, got.State, got.Ready)
		}
	})
}
