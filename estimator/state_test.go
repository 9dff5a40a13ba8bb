package estimator

import (
	"testing"
	"time"
)

func TestState(t *testing.T) {
	const pit = "0:107 1200:107"
	for _, c := range []struct {
		name, core, pit string
		events          []Event
		at              float64
		want            State
	}{
		{"just lit", "0:5 30:8", pit, nil, 30, Warming},
		{"warming", "0:5 20:6 120:44", pit, nil, 120, Warming},
		{"stalled", "0:5 20:6 150:58 200:65 330:67.5", pit, nil, 330, Stall},
		// The lid stands open for eight minutes: the core slows for a quarter of an hour and goes on.
		{"lid open is no stall", "0:5 20:6 150:58 165:59 180:65", "0:107 150:107 152:70 158:75 165:107 180:107", []Event{{Kind: Lid}}, 172, Warming},
		// A core that falls 2 °C inside a stall is still stalled: sprayed, or shrinking on the probe.
		{"a fall of 2 °C", "0:5 20:6 150:58 200:65 300:68 340:66 400:66.5", pit, nil, 370, Stall},
		{"climbing after the stall", "0:5 20:6 150:58 200:65 330:67.5 380:72 440:82", pit, nil, 440, Climbing},
		{"fast through", "0:5 20:6 180:75 220:90", pit, nil, 215, Warming},
		{"wrapped", "0:5 20:6 150:58 200:65 330:67.5 380:72 440:82", pit, []Event{{Time: minutes(335), Kind: Wrap, With: Paper}}, 440, Wrapped},
		{"unwrapped again", "0:5 20:6 150:58 200:65 330:67.5 380:72 440:82", pit,
			[]Event{{Time: minutes(335), Kind: Wrap, With: Foil}, {Time: minutes(400), Kind: Unwrap}}, 440, Climbing},
		{"fire out", "0:5 20:6 150:58 200:65 240:55 300:45", "0:107 200:107 215:40 300:20", nil, 300, Cooling},
		{"taken off", "0:5 20:6 150:58 200:65", pit, []Event{{Time: minutes(190), Kind: PieceOff}}, 200, Cooling},
		{"no reading for three hours", "0:5 20:6 150:58 200:65", pit, nil, 400, Unknown},
	} {
		in := Input{Cut: BrisketFlat, MassKg: 2.5, Target: 93, Started: lit, SetPoint: 107,
			Core: curve(t, time.Minute, c.core), Pit: curve(t, time.Minute, c.pit), Events: c.events}
		f := New(DefaultPrior()).Forecast(in, minutes(c.at))
		checkSane(t, &f)
		if f.State != c.want {
			t.Errorf("%s: state %v since %v (%s), want %v", c.name, f.State, f.Since.Sub(lit), f.Because, c.want)
		}
		if f.Since.After(f.At) || f.Since.Before(lit) {
			t.Errorf("%s: since %v", c.name, f.Since)
		}
	}
}

func TestState_SinceWhen(t *testing.T) {
	in := Input{Cut: BrisketFlat, MassKg: 2.5, Target: 93, Started: lit, SetPoint: 107,
		Core: curve(t, time.Minute, "0:5 20:6 150:58 200:65 400:67.5"), Pit: curve(t, time.Minute, "0:107 400:107")}
	f := New(DefaultPrior()).Forecast(in, minutes(400))
	if since := f.Since.Sub(lit).Minutes(); since < 185 || since > 250 {
		t.Errorf("the stall is said to stand since minute %.0f, want near 200", since)
	}
	if f.WaterKg < 0.2 || f.WaterKg > 1.2 {
		t.Errorf("%.2f kg of water lost of 2.5 kg after 400 min, want 0.2 to 1.2", f.WaterKg)
	}
	if f.StallEnd.Before(f.At) {
		t.Errorf("the stall ends at %v", f.StallEnd)
	}
}
