package alarm

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/trace"
)

var inUTC = Words{Zone: time.UTC}

func mustRead(tb testing.TB, probe cook.ProbeID, text string) []cook.Reading {
	tb.Helper()
	tr, err := trace.Parse(text)
	if err != nil {
		tb.Fatal(err)
	}
	return tr.Readings(probe, start, 15*time.Second)
}

// told writes the changes that people are told of: minutes since the start, id, state and priority.
func told(changes []Change) []string {
	var out []string
	for _, c := range changes {
		if c.Call {
			out = append(out, fmt.Sprintf("%.0f %s %s %s", c.Alarm.Changed.Sub(start).Minutes(), c.Alarm.ID, c.Alarm.State, c.Alarm.Priority))
		}
	}
	return out
}

func same(tb testing.TB, name string, got, want []string) {
	tb.Helper()
	if !slices.Equal(got, want) {
		tb.Errorf("%s:\n got %q\nwant %q", name, got, want)
	}
}

func watchPit(readings []cook.Reading, point func(time.Time) thermal.Celsius) []Change {
	p := NewPit(1, DefaultSettings(), inUTC, start, point(start))
	var out []Change
	for _, r := range readings {
		out = append(out, p.Observe(r.Time, r.Celsius, point(r.Time), false)...)
	}
	return out
}

func constant(c thermal.Celsius) func(time.Time) thermal.Celsius {
	return func(time.Time) thermal.Celsius { return c }
}

func TestPit_WakesForADyingFireAndNotForALid(t *testing.T) {
	for name, c := range map[string]struct {
		trace string
		want  []string
	}{
		"lighting the fire": {"15 +2/min x46, 107 hold 4h", nil},
		"lid open for three minutes, ten minutes to come back":    {"107 hold 2h, to 80 in 3m, to 104 in 10m, 107 hold 2h", nil},
		"lid open for seven minutes while two pieces are wrapped": {"107 hold 2h, to 62 in 7m, to 90 in 6m, to 104 in 14m, 107 hold 2h", nil},
		"lid opened every twenty minutes":                         {"107 hold 2h, to 82 in 2m, to 105 in 12m, 106 hold 6m, to 80 in 2m, to 104 in 12m, 106 hold 6m, to 84 in 2m, to 106 in 12m, 107 hold 1h", nil},
		"fire fades, is fed, comes back": {"107 hold 6h10m, -0.6/min x60, +1.5/min x24, 107 hold 2h",
			[]string{"404 pit-falling/1 active high", "457 pit-falling/1 returned high"}},
		"fire dies quickly and stays out": {"107 hold 2h, to 70 in 12m, to 40 in 2h", []string{"136 pit-falling/1 active high"}},
		"fire sags slowly and stays there": {"107 hold 2h, -0.1/min x180, 89 hold 2h",
			[]string{"291 pit-low/1 active medium"}},
		"runs hot":       {"107 hold 2h, 130 hold 40m, 107 hold 2h", []string{"136 pit-high/1 active medium", "166 pit-high/1 returned medium"}},
		"never comes up": {"20 +0.5/min x80, 60 hold 2h", []string{"110 pit-low/1 active medium"}},
		"grease fire": {"107 hold 2h, to 290 in 10m, 290 hold 5m, to 107 in 10m, 107 hold 2h", []string{"128 pit-danger/1 active medium",
			"130 pit-danger/1 active high", "146 pit-danger/1 returned high"}},
	} {
		same(t, name, told(watchPit(mustRead(t, "pit", c.trace), constant(107))), c.want)
	}
}

func TestPit_WeatherThermostatAndNoiseWakeNobody(t *testing.T) {
	// A night that cools by 12 K takes the pit along by 6 K; a two-point controller swings it by 7 K every 14 minutes; the
	// sensor is noisy by 1 K and now and then wrong by 25 K.
	rng := rand.New(rand.NewPCG(1, 2))
	var readings []cook.Reading
	for i := range 12 * 240 {
		at := float64(i) / 4
		c := 106 - 3*math.Sin(2*math.Pi*at/720) + 7*math.Sin(2*math.Pi*at/14) + rng.NormFloat64()
		if rng.IntN(40) == 0 {
			c += 25 * float64(2*rng.IntN(2)-1)
		}
		readings = append(readings, cook.Reading{Time: minute(at), Celsius: thermal.Celsius(c), Quality: cook.Good})
	}
	same(t, "night", told(watchPit(readings, constant(107))), nil)
}

func TestPit_ANewSetpointGetsTimeToBeReached(t *testing.T) {
	raised := func(at time.Time) thermal.Celsius {
		if at.Before(minute(120)) {
			return 107
		}
		return 135
	}
	same(t, "raised", told(watchPit(mustRead(t, "pit", "107 hold 2h, +0.6/min x47, 135 hold 1h"), raised)), nil)
	lowered := func(at time.Time) thermal.Celsius {
		if at.Before(minute(120)) {
			return 135
		}
		return 95
	}
	same(t, "lowered", told(watchPit(mustRead(t, "pit", "135 hold 2h, -0.5/min x80, 95 hold 1h"), lowered)), nil)
}

func TestPit_IdlePitRaisesNothingButHeat(t *testing.T) {
	p := NewPit(1, DefaultSettings(), inUTC, start, 107)
	var out []Change
	for _, r := range mustRead(t, "pit", "107 hold 1h, to 30 in 2h, to 290 in 10m, 290 hold 2m") {
		out = append(out, p.Observe(r.Time, r.Celsius, 107, r.Time.After(minute(60)))...)
	}
	same(t, "idle", told(out), []string{"189 pit-danger/1 active medium", "190 pit-danger/1 active high"})
}

func TestPit_OneCauseOneMessage(t *testing.T) {
	changes := watchPit(mustRead(t, "pit", "107 hold 2h, -0.3/min x50, -1/min x40, 52 hold 3h"), constant(107))
	var active []string
	for _, c := range changes {
		if c.Alarm.State == Active {
			active = append(active, string(c.Alarm.Kind))
		}
	}
	same(t, "active", active, []string{"pit-falling"})
}

func watchProbe(piece string, readings []cook.Reading, worked ...float64) []Change {
	p := NewProbe("core", 1, piece, DefaultSettings(), inUTC)
	var out []Change
	for _, r := range readings {
		for len(worked) > 0 && !minute(worked[0]).After(r.Time) {
			p.Worked(minute(worked[0]))
			worked = worked[1:]
		}
		out = append(out, p.Observe(r)...)
	}
	return out
}

func TestProbe_ReadingsThatCannotBe(t *testing.T) {
	quality := func(readings []cook.Reading, from, to float64, q cook.Quality, every int) []cook.Reading {
		for i := range readings {
			if at := readings[i].Time; !at.Before(minute(from)) && at.Before(minute(to)) && i%every == 0 {
				readings[i].Quality, readings[i].Celsius = q, -127
			}
		}
		return readings
	}
	steady := "60 +0.05/min x120"
	same(t, "a single dropout", told(watchProbe("flat", quality(mustRead(t, "core", steady), 60, 60.2, cook.Open, 1))), nil)
	same(t, "one in four bad", told(watchProbe("flat", quality(mustRead(t, "core", steady), 30, 90, cook.Open, 4))), nil)
	same(t, "unplugged for twenty minutes", told(watchProbe("flat", quality(mustRead(t, "core", steady), 60, 80, cook.Open, 1))),
		[]string{"64 probe-suspect/core active medium", "86 probe-suspect/core returned medium"})
	same(t, "slipped out into the pit's air", told(watchProbe("flat", mustRead(t, "core", "65 hold 1h, to 107 in 4m, 107 hold 1h, to 68 in 3m, 68 hold 1h"))),
		[]string{"66 probe-suspect/core active medium", "132 probe-suspect/core returned medium"})
	same(t, "moved, and logged", told(watchProbe("flat", mustRead(t, "core", "65 hold 1h, 40 hold 1h"), 60)), nil)
	same(t, "moved, and logged later", told(watchProbe("flat", mustRead(t, "core", "65 hold 1h, 40 hold 1h"), 62)), nil)
	same(t, "swapped with the pit probe", told(watchProbe("flat", mustRead(t, "core", "107 hold 1h"))), []string{"3 probe-suspect/core active medium"})
	same(t, "a pit probe may jump", told(watchProbe("", mustRead(t, "pit", "107 hold 1h, 60 hold 1h"))), nil)
}

// What is told of a silence stays true while it lasts: it names the hour since when, not how long it has been.
func TestProbe_SilenceNamesTheHour(t *testing.T) {
	last := cook.Reading{Time: minute(0), Celsius: 66.4}
	clock := start.Format("15:04")
	for want, h := range map[string]Hearing{
		"Probe flat silent since " + clock + ", when it read 66.4 °C; it used to speak every 15 s. Look at its plug, battery and radio.":                     {Interval: 15 * time.Second, Last: last},
		"Probe flat silent since " + clock + ", when it read 66.4 °C. Look at its plug, battery and radio.":                                                  {Last: last},
		"Probe flat silent since " + clock + ", when it read 66.4 °C: board shed has been offline since 02:13. Its other probes are silent with it. Look at": {Last: last, Cause: "board shed has been offline since 02:13"},
		"Probe flat silent since " + clock + ": open circuit since 02:13. Look at its plug and cable; until it measures again the piece is not watched.":     {Fault: "open circuit since 02:13"},
		"Probe flat has not spoken since it was first waited for at " + clock + ". Look at its name, plug and battery, or correct the cook.":                 {},
	} {
		h.Quiet, h.Patience = 16*time.Minute, 15*time.Minute
		got := NewProbe("flat", 1, "flat", DefaultSettings(), inUTC).Hear(minute(16), h)
		if len(got) != 1 || !strings.HasPrefix(got[0].Alarm.Because, want) {
			t.Errorf("told %+v, want %q", got, want)
		}
	}
	got := NewHush(1, DefaultSettings(), inUTC).Observe(minute(20), []string{"flat", "pit"}, 20*time.Minute, "", "")
	if want := "No probe of the cook has spoken since " + clock + " (flat and pit): nobody watches the fire."; len(got) != 1 || !strings.HasPrefix(got[0].Alarm.Because, want) {
		t.Errorf("told %+v, want %q", got, want)
	}
}

func TestProbe_SilentByItsOwnInterval(t *testing.T) {
	for name, c := range map[string]struct {
		interval, quiet time.Duration
		want            bool
	}{
		"every second, quiet for 14 min": {time.Second, 14 * time.Minute, false},
		"every second, quiet for 16 min": {time.Second, 16 * time.Minute, true},
		"every 5 min, quiet for 29 min":  {5 * time.Minute, 29 * time.Minute, false},
		"every 5 min, quiet for 31 min":  {5 * time.Minute, 31 * time.Minute, true},
		"every hour, quiet for 91 min":   {time.Hour, 91 * time.Minute, true},
		"heard once, quiet for an hour":  {0, time.Hour, false},
		"heard once, quiet for 91 min":   {0, 91 * time.Minute, true},
	} {
		p := NewProbe("core", 1, "flat", DefaultSettings(), inUTC)
		changes := p.Hear(start, Hearing{Quiet: c.quiet, Interval: c.interval, Patience: DefaultSettings().ProbeSilent.Patience(c.interval),
			Last: cook.Reading{Celsius: 68.2, Time: start.Add(-c.quiet)}})
		if got := len(told(changes)) == 1; got != c.want {
			t.Errorf("%s: told %v, want %v", name, got, c.want)
		}
	}
	p := NewProbe("core", 1, "flat", DefaultSettings(), inUTC)
	if got := told(p.Hear(start, Hearing{Quiet: time.Hour, Covered: "told already"})); got != nil {
		t.Errorf("covered by another alarm, yet told %q", got)
	}
}

// The clock is the safety rules'; the alarm says what it shows.
func TestPiece_LukewarmByTheClockOfTheSafetyRules(t *testing.T) {
	h := func(hours float64) time.Duration { return time.Duration(hours * float64(time.Hour)) }
	const rest = "common practice is at most 4 h."
	for name, c := range map[string]struct {
		warm  Warm
		off   bool
		holds bool
		want  string
	}{
		"four hours are allowed":        {Warm{Level: 40, Inside: true, Used: h(4)}, false, false, ""},
		"measured":                      {Warm{Level: 40, Inside: true, Used: h(4.1)}, false, true, "for 4 h 06 min, now 40.0 °C; " + rest + " Raise the pit"},
		"out of the zone":               {Warm{Level: 60, Used: h(4.1)}, false, false, ""},
		"not measured":                  {Warm{Level: 40, Inside: true, Used: h(3), Unseen: h(2)}, false, true, "for 3 h as measured and perhaps for the 2 h without readings, now"},
		"measured, and more unmeasured": {Warm{Level: 40, Inside: true, Used: h(5), Unseen: h(2)}, false, true, "for 5 h, and perhaps for the 2 h without readings, now"},
		"a shop's own limit":            {Warm{Level: 40, Inside: true, Used: h(3), Within: h(2)}, false, true, "for 3 h, now 40.0 °C; common practice is at most 2 h."},
		"off before it was cooked":      {Warm{Level: 40, Inside: true, Used: h(5)}, true, true, rest + " It came off before it was cooked"},
		"off and cooked":                {Warm{Level: 40, Inside: true, Used: h(5), Cooked: true}, true, false, ""},
		"off and pulled out":            {Warm{Level: 21, Inside: true, Used: h(5), Pulled: true}, true, false, ""},
	} {
		p := NewPiece(1, "flat", false, DefaultSettings(), inUTC)
		p.Off(start, c.off)
		out := p.Lukewarm(start, c.warm)
		if holds := len(told(out)) == 1; holds != c.holds || holds && !strings.Contains(out[0].Because, c.want) {
			t.Errorf("%s: %+v, want %v %q", name, out, c.holds, c.want)
		}
	}
}

func TestPiece_LukewarmIsLessUrgentWhenIntact(t *testing.T) {
	for intact, want := range map[bool]Priority{false: Medium, true: Low} {
		p := NewPiece(1, "flat", intact, DefaultSettings(), inUTC)
		out := p.Lukewarm(minute(241), Warm{Level: 53, Inside: true, Used: 241 * time.Minute})
		out = append(out, p.Lukewarm(minute(260), Warm{Level: 57, Used: 260 * time.Minute})...)
		same(t, string(want), told(out), []string{fmt.Sprintf("241 danger-zone/1/flat active %s", want), fmt.Sprintf("260 danger-zone/1/flat returned %s", want)})
	}
}

func TestPiece_ReadyAndServingHour(t *testing.T) {
	p := NewPiece(1, "flat", true, DefaultSettings(), inUTC)
	serve := minute(600)
	look := func(chance float64) Outlook {
		return Outlook{Core: 70, Target: 93, ServeBy: serve, Chance: chance, Early: minute(500), Middle: minute(640), Late: minute(700), Advice: "Wrapping it in foil now: 95 % likely to make it."}
	}
	var out []Change
	for m := 0.; m < 60; m++ {
		out = append(out, p.Forecast(minute(m), look(0.8))...)
	}
	for m := 60.; m < 100; m++ {
		out = append(out, p.Forecast(minute(m), look(0.3))...)
	}
	p.Observe(minute(100), 93)
	out = append(out, p.Forecast(minute(100), Outlook{Core: 93, Target: 93, Ready: minute(99), ServeBy: serve, Chance: 1})...)
	same(t, "changes", told(out), []string{"75 serve-at-risk/1/flat active medium", "100 piece-ready/1/flat active medium"})
	want := "Forecast: flat will probably miss the serving hour Sun 06:00 (30 % likely to make it). Ready about Sun 06:40, in four cases of five between Sun 04:20 and Sun 07:40. " +
		"Wrapping it in foil now: 95 % likely to make it."
	if i := slices.IndexFunc(out, func(c Change) bool { return c.Call }); out[i].Because != want {
		t.Errorf("because %q\nwant    %q", out[i].Because, want)
	}
	off := p.Off(minute(110), true)
	if len(off) != 2 || off[0].Alarm.State != Normal || off[0].Call {
		t.Errorf("taken off: %+v", off)
	}
	if got := p.Forecast(minute(120), look(0.1)); got != nil {
		t.Errorf("a piece that is off raised %+v", got)
	}
}

func TestPiece_NothingIsRaisedFromAProbeInDoubt(t *testing.T) {
	p := NewPiece(1, "flat", true, DefaultSettings(), inUTC)
	for m := 0.; m < 60; m++ {
		if got := p.Forecast(minute(m), Outlook{Ready: minute(0), ServeBy: minute(10), Doubtful: true}); got != nil {
			t.Fatalf("raised %+v", got)
		}
	}
}

// 29 CFR 1910.1000, the NIOSH Pocket Guide and UL 2034 give 35, 200 and 70 ppm; the delays are choices of this project.
func TestAir_WarnsAndAlarms(t *testing.T) {
	for name, c := range map[string]struct {
		trace string
		want  []string
	}{
		"clean":                   {"3 hold 8h", nil},
		"a whiff at the lid":      {"3 hold 1h, 60 hold 5m, 3 hold 1h", nil},
		"40 ppm":                  {"3 hold 1h, 40 hold 1h", []string{"75 co/shed active medium"}},
		"90 ppm":                  {"3 hold 1h, 90 hold 1h", []string{"65 co/shed active high"}},
		"250 ppm, at once":        {"3 hold 1h, 250 hold 1m", []string{"60 co/shed active high"}},
		"40 ppm, then the danger": {"3 hold 1h, 40 hold 30m, 210 hold 1m", []string{"75 co/shed active medium", "90 co/shed active high"}},
	} {
		a := NewAir("shed", DefaultSettings(), inUTC)
		var out []Change
		for _, r := range mustRead(t, "shed", c.trace) {
			out = append(out, a.Observe(r.Time, float64(r.Celsius))...)
		}
		same(t, name, told(out), c.want)
		for _, change := range out {
			if change.Call && !strings.Contains(change.Because, "not a certified alarm") {
				t.Errorf("%s: %q does not say what it is not", name, change.Because)
			}
		}
	}
}

// 5 °C is 41 °F, Food Code 3-501.16.
func TestCooler_ADoorDoesNotWakeAFailureDoes(t *testing.T) {
	for name, c := range map[string]struct {
		trace string
		want  []string
	}{
		"door":       {"3 hold 1h, 9 hold 10m, 3 hold 1h", nil},
		"compressor": {"3 hold 1h, +0.1/min x100, 3 hold 1h", []string{"111 cooler-warm/cooler active medium", "166 cooler-warm/cooler returned medium"}},
		"freezing":   {"3 hold 1h, -2 hold 1h", []string{"90 cooler-warm/cooler active medium"}},
	} {
		cooler := NewCooler("cooler", DefaultSettings(), inUTC)
		var out []Change
		for _, r := range mustRead(t, "cooler", c.trace) {
			out = append(out, cooler.Observe(r.Time, r.Celsius)...)
		}
		same(t, name, told(out), c.want)
	}
}

func TestIntake_SaysWhatIsDown(t *testing.T) {
	i := NewIntake(DefaultSettings(), inUTC)
	var out []Change
	for s := range 300 {
		trouble := ""
		if s >= 60 && s < 180 {
			trouble = "No connection to the broker"
		}
		out = append(out, i.Observe(start.Add(time.Duration(s)*time.Second), trouble, "")...)
	}
	same(t, "intake", told(out), []string{"2 intake active high", "4 intake returned high"})
}

// A full disk whose last room is in use is told at once, and breaks no silence: readings still come in.
func TestIntake_SaysThatTheDiskIsFull(t *testing.T) {
	i := NewIntake(DefaultSettings(), inUTC)
	var out []Change
	for s := range 300 {
		what := ""
		if s >= 60 && s < 180 {
			what = "the disk is full"
		}
		out = append(out, i.Scarce(start.Add(time.Duration(s)*time.Second), what)...)
	}
	same(t, "room", told(out), []string{"1 intake/disk active high", "4 intake/disk returned high"})
	if i.Broken() || !strings.Contains(out[0].Because, "the disk is full. Readings and alarms are kept for an hour or so yet") {
		t.Errorf("broken: %v, because %q", i.Broken(), out[0].Because)
	}
}

func TestPiece_PlannedWrapIsDueAtItsCoreOrHour(t *testing.T) {
	for name, c := range map[string]struct {
		plan WrapPlan
		want []string
	}{
		"at a core temperature": {WrapPlan{With: "foil", Core: 70}, []string{"52 wrap-due/1/flat active low", "101 wrap-due/1/flat returned low"}},
		"at an hour":            {WrapPlan{With: "paper", At: minute(80)}, []string{"82 wrap-due/1/flat active low", "101 wrap-due/1/flat returned low"}},
		"none":                  {WrapPlan{}, nil},
	} {
		p := NewPiece(1, "flat", true, DefaultSettings(), inUTC)
		p.Plan(c.plan)
		var out []Change
		for i, r := range mustRead(t, "flat", "65 +0.1/min x120") {
			if r.Time.After(minute(100)) {
				p.Plan(WrapPlan{}) // it was wrapped
			}
			p.Observe(r.Time, r.Celsius)
			if i%4 == 0 {
				out = append(out, p.Forecast(r.Time, Outlook{Core: r.Celsius, Target: 93})...)
			}
		}
		same(t, name, told(out), c.want)
	}
}

// A backlog comes and goes; one that stays within ten minutes is nobody's business, and one that shrinks to between two and ten is not over.
func TestIntake_SaysThatReadingsAreJudgedTooLate(t *testing.T) {
	i := NewIntake(DefaultSettings(), inUTC)
	var out []Change
	behind := func(minute int, waited time.Duration) {
		out = append(out, i.Behind(start.Add(time.Duration(minute)*time.Minute), Backlog{Waited: waited, Judged: start.Add(time.Duration(minute)*time.Minute - waited)})...)
	}
	for m, waited := range []float64{0, 5, 9, 10, 9, 11, 30, 9, 3, 11, 1, 1, 0, 0} {
		behind(m, time.Duration(waited*float64(time.Minute)))
	}
	same(t, "backlog", told(out), []string{"5 intake/late active high", "11 intake/late returned high"})
	const want = "Readings come in faster than this machine can judge them: the newest that is judged came in at 19:54, others wait for 11 min. " +
		"Alarms may be late by as much; silent probes are told all the same. " +
		"Look at fire and meat yourself. End what else runs on this machine, or let the probes send less often."
	if out[0].Because != want {
		t.Errorf("because %q\nwant    %q", out[0].Because, want)
	}
	if i.Broken() {
		t.Error("the way in is not broken: silence must still be told")
	}
}
