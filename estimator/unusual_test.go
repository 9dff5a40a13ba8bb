package estimator

import (
	"strings"
	"testing"
	"time"
)

// The cooks below are by hand and unlike those that the prior learned from. They check what a forecast may not say there.

func shoulder(t *testing.T, core, pit string) Input {
	t.Helper()
	return Input{Cut: PorkShoulder, MassKg: 3, Target: 93, Started: lit, SetPoint: 121,
		Core: curve(t, time.Minute, core), Pit: curve(t, time.Minute, pit)}
}

// The fire goes out at five hours and nobody sees to it. The longer it is out, the later and the less certain the forecast, and
// it says why.
func TestForecast_FireThatIsOut(t *testing.T) {
	const core = "0:5 60:15 180:46 300:63 360:66 420:62 480:54 600:38 800:22"
	in := shoulder(t, core, "0:121 300:121 360:70 420:35 480:22 600:16 800:15")
	e := New(DefaultPrior())
	before := e.Forecast(in, minutes(300))
	if strings.Contains(before.Because, "see to the fire") {
		t.Errorf("the fire burns, and it says %q", before.Because)
	}
	late, never := before.Ready[3].Sub(before.At), before.PNever
	for _, m := range []float64{360, 480, 600, 790} {
		f := e.Forecast(in, minutes(m))
		checkSane(t, &f)
		if !strings.Contains(f.Because, "see to the fire") {
			t.Errorf("minute %.0f: %q does not tell of the fire", m, f.Because)
		}
		if left := f.Ready[3].Sub(f.At); left <= late || f.PNever < never {
			t.Errorf("minute %.0f: the median is %v away and never %.2f, earlier %v and %.2f: want it later, and less sure", m, left, f.PNever, late, never)
		} else {
			late, never = left, f.PNever
		}
	}
	if never < 0.1 {
		t.Errorf("eight hours after the fire went out never has %.2f, want 0.1 or more", never)
	}
	if f := e.Forecast(in, minutes(790)); f.State != Cooling {
		t.Errorf("a core of 23 °C in a cold pit is %v, want cooling (%s)", f.State, f.Because)
	}
}

// What is no dead fire: a pit that is still being heated up, a lid that stands open for ten minutes, a setpoint that was lowered, a
// fire that burns again.
func TestForecast_FireThatIsNotOut(t *testing.T) {
	const core = "0:5 60:15 180:46 300:63 360:66 420:68"
	for name, pit := range map[string]string{
		"heating up":   "0:20 60:60 90:90 420:121",
		"lid open":     "0:121 290:121 292:80 302:80 310:121 420:121",
		"burning anew": "0:121 180:121 240:60 285:62 300:80 420:121",
	} {
		for _, m := range []float64{60, 300} {
			if f := New(DefaultPrior()).Forecast(shoulder(t, core, pit), minutes(m)); strings.Contains(f.Because, "see to the fire") {
				t.Errorf("%s, minute %.0f: %q", name, m, f.Because)
			}
		}
	}
	lowered := shoulder(t, core, "0:121 240:121 300:80 420:80")
	lowered.Events = []Event{{Time: minutes(240), Kind: SetPoint, Celsius: 80}}
	if f := New(DefaultPrior()).Forecast(lowered, minutes(400)); strings.Contains(f.Because, "see to the fire") {
		t.Errorf("lowered: %q", f.Because)
	}
}

// A probe that is put in after three hours finds the piece as it would have read by then: whether its start was written down or
// not, the forecast is near that with the probe in from the start. Taken as a piece that was warm through when it was put on,
// its surface would be hours too cold.
func TestForecast_ProbePutInLate(t *testing.T) {
	const core, pit = "0:5 30:6 60:15 120:36 180:50 240:59 300:64 420:68", "0:121 420:121"
	e := New(DefaultPrior())
	whole := e.Forecast(shoulder(t, core, pit), minutes(240))
	for _, written := range []bool{true, false} {
		in := shoulder(t, core, pit)
		in.Core, in.Pit = in.Core[180:], in.Pit[180:]
		if !written {
			in.Started = in.Core[0].Time
		}
		f := e.Forecast(in, minutes(240))
		checkSane(t, &f)
		if ratio := f.Ready[3].Sub(f.At).Hours() / whole.Ready[3].Sub(whole.At).Hours(); ratio < 0.7 || ratio > 1.4 {
			t.Errorf("start written %v: %.2f times the time that is left with the probe in from the start", written, ratio)
		}
		if f.Ready[0].After(whole.Ready[3]) || f.Ready[6].Before(whole.Ready[3]) {
			t.Errorf("start written %v: %v to %v leaves out %v", written, f.Ready[0], f.Ready[6], whole.Ready[3])
		}
	}
}

// No meat with water in it is at 122 °C: probes that are mixed up, or a probe in the air, are told, and the piece is not ready.
func TestForecast_ProbesMixedUp(t *testing.T) {
	in := shoulder(t, "0:121 300:122", "0:5 60:15 180:46 300:63")
	f := New(DefaultPrior()).Forecast(in, minutes(290))
	checkSane(t, &f)
	if f.State == Ready || !strings.Contains(f.Because, "mixed up") {
		t.Errorf("%v: %q", f.State, f.Because)
	}
}

// A second stall is a stall of its own: between the two the core climbs 5 °C an hour.
func TestState_TwoStalls(t *testing.T) {
	in := shoulder(t, "0:4 30:5 90:22 180:48 240:60 300:65 540:67.5 660:78 720:80 900:81", "0:115 900:115")
	in.SetPoint = 115
	for _, c := range []struct {
		at   float64
		want State
	}{{500, Stall}, {650, Climbing}, {850, Stall}} {
		if f := New(DefaultPrior()).Forecast(in, minutes(c.at)); f.State != c.want {
			t.Errorf("minute %.0f: %v since %v, want %v", c.at, f.State, f.Since.Sub(lit), c.want)
		}
	}
}

// A piece held in a pit of 75 °C stands still for want of heat; no wrap would end that.
func TestExplain_PitTooColdIsNoStallByWater(t *testing.T) {
	in := shoulder(t, "0:5 60:15 180:46 300:63 360:68 500:68 700:69", "0:121 350:121 380:75 700:75")
	in.Events = []Event{{Time: minutes(350), Kind: SetPoint, Celsius: 75}}
	f := New(DefaultPrior()).Forecast(in, minutes(690))
	if !strings.Contains(f.Because, "little heat arrives") || strings.Contains(f.Because, "wrap would") {
		t.Errorf("%v: %q", f.State, f.Because)
	}
	if f.PNever < 0.8 {
		t.Errorf("93 °C in a pit of 75 °C: never %.2f", f.PNever)
	}
}

// Nobody taught the prior a salmon's side: its band at the start is wider than that of a cut it knows, by the ratio of its ends.
func TestForecast_StrangeCutIsLessCertain(t *testing.T) {
	width := func(p Prior) float64 {
		in := Input{Cut: FishSide, MassKg: 1, ThicknessMM: 28, Target: 60, Started: lit, SetPoint: 107,
			Core: curve(t, time.Minute, "0:5 10:8"), Pit: curve(t, time.Minute, "0:107 10:107")}
		f := New(p).Forecast(in, minutes(10))
		return f.Ready[5].Sub(f.At).Hours() / f.Ready[1].Sub(f.At).Hours()
	}
	taught := DefaultPrior()
	taught.Cuts = map[string]int{"fish_side": 50}
	if strange, known := width(DefaultPrior()), width(taught); strange < 1.2*known {
		t.Errorf("90 %% over 10 %% is %.2f, for a cut that was taught %.2f", strange, known)
	}
}

// Nobody dries a piece out: whatever the curve, not more than two fifths of it are said to have evaporated.
func TestExplain_WaterIsWithinReason(t *testing.T) {
	in := shoulder(t, "0:4 30:5 90:22 180:48 240:60 300:65 540:67.5 660:78 720:80 900:81 1200:83", "0:115 1200:115")
	if f := New(DefaultPrior()).Forecast(in, minutes(1190)); f.Loss.Evaporated > 0.4 || f.WaterKg > 1.2 {
		t.Errorf("%.2f kg of 3 kg, %.2f of it", f.WaterKg, f.Loss.Evaporated)
	}
}

// A board without a clock counts from 1970: the same log there gives the same forecast, at its own time.
func TestForecast_OfALogThatCountsFrom1970(t *testing.T) {
	in := shoulder(t, "0:5 60:15 180:46 300:63 360:66", "0:121 360:119")
	e := New(DefaultPrior())
	want := e.Forecast(in, minutes(360))
	back := lit.Sub(time.Unix(0, 0))
	in.Started = in.Started.Add(-back)
	for i := range in.Core {
		in.Core[i].Time = in.Core[i].Time.Add(-back)
	}
	for i := range in.Pit {
		in.Pit[i].Time = in.Pit[i].Time.Add(-back)
	}
	got := e.Forecast(in, minutes(360).Add(-back))
	if got.Core != want.Core || got.Because != want.Because {
		t.Errorf("from 1970: %.1f °C, %q; want %.1f °C, %q", got.Core, got.Because, want.Core, want.Because)
	}
	for i := range want.Ready {
		if !got.Ready[i].Add(back).Equal(want.Ready[i]) {
			t.Errorf("from 1970 ready at %s, want %s", got.Ready[i].Add(back), want.Ready[i])
		}
	}
}
