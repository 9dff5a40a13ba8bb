package outlook

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

var start = time.Date(2026, 5, 2, 20, 0, 0, 0, time.UTC)

func at(minutes float64) time.Time { return start.Add(time.Duration(minutes * float64(time.Minute))) }

func reading(probe string, minute, celsius float64) cook.Reading {
	return cook.Reading{Probe: cook.ProbeID(probe), Time: at(minute), Celsius: thermal.Celsius(celsius), Quality: cook.Good, Clock: cook.DeviceClock}
}

func aCook(pieces ...cook.Piece) cook.Cook {
	return cook.Cook{Name: "supper", Started: start, Pit: cook.Pit{SetPoint: 107}, Pieces: pieces}
}

func TestCounts_TakesOnlyGoodReadingsAtTheirOwnTime(t *testing.T) {
	base := reading("core", 0, 20)
	for name, c := range map[string]struct {
		change func(*cook.Reading)
		want   bool
	}{
		"device, live":                {func(r *cook.Reading) {}, true},
		"arrival, live":               {func(r *cook.Reading) { r.Clock = cook.ArrivalClock }, true},
		"arrival, retained":           {func(r *cook.Reading) { r.Clock, r.Retained = cook.ArrivalClock, true }, false},
		"arrival, backlog":            {func(r *cook.Reading) { r.Clock, r.Backlog = cook.ArrivalClock, true }, false},
		"device, retained":            {func(r *cook.Reading) { r.Retained = true }, true},
		"device, backlog":             {func(r *cook.Reading) { r.Backlog = true }, true},
		"hand, entered an hour later": {func(r *cook.Reading) { r.Clock, r.Backlog = cook.HandClock, true }, true},
		"power-up 85.0":               {func(r *cook.Reading) { r.Quality = cook.PowerUp }, false},
	} {
		r := base
		c.change(&r)
		if got := Counts(r); got != c.want {
			t.Errorf("%s: Counts = %v, want %v", name, got, c.want)
		}
	}
}

func TestFromLog_TakesTheColdestProbeOfAPieceAndTheMeanOfThePit(t *testing.T) {
	p := cook.Piece{ID: "flat", Cut: "brisket_flat", Target: 92, Probes: []cook.ProbeID{"a", "b"}}
	log := cook.Log{Cook: aCook(p), Readings: []cook.Reading{
		reading("a", -1, 4), // before the start: left out
		reading("a", 1, 10), reading("b", 1, 12), reading("pit/left", 1, 100), reading("pit/right", 1, 110),
		reading("b", 2, 8), reading("pit/left", 2, 104),
		reading("b", 9, 14), // "a" has been silent for eight minutes and no longer takes part
		reading("other", 9, 50),
	}}
	in := FromLog(&log, p)
	check := func(what string, got []estimator.Sample, want ...estimator.Sample) {
		t.Helper()
		if len(got) != len(want) {
			t.Fatalf("%s = %v, want %v", what, got, want)
		}
		for i := range want {
			if !got[i].Time.Equal(want[i].Time) || got[i].Celsius != want[i].Celsius {
				t.Errorf("%s[%d] = %v, want %v", what, i, got[i], want[i])
			}
		}
	}
	check("core", in.Core, estimator.Sample{Time: at(1), Celsius: 10}, estimator.Sample{Time: at(2), Celsius: 8}, estimator.Sample{Time: at(9), Celsius: 14})
	check("pit", in.Pit, estimator.Sample{Time: at(1), Celsius: 105}, estimator.Sample{Time: at(2), Celsius: 107})
}

func TestMerge_InPiecesEqualsWhole(t *testing.T) {
	p := cook.Piece{ID: "flat", Cut: "brisket_flat", Target: 92, Probes: []cook.ProbeID{"a", "b"}}
	var all []cook.Reading
	for i := range 200 {
		all = append(all, reading("a", float64(i)/4, 20+float64(i%7)), reading("b", float64(i)/4+float64(i%2)/8, 21+float64(i%5)))
	}
	Sort(all)
	whole := NewPieceMerge(aCook(p), p).Add(all)
	parts, m, from := []estimator.Sample{}, NewPieceMerge(aCook(p), p), 0
	for i := 1; i <= len(all); i++ {
		if i == len(all) || (all[i].Time.Minute() != all[i-1].Time.Minute()) {
			parts = append(parts, m.Add(all[from:i])...)
			from = i
		}
	}
	if len(parts) != len(whole) {
		t.Fatalf("%d samples in parts, %d whole", len(parts), len(whole))
	}
	for i := range whole {
		if whole[i] != parts[i] {
			t.Errorf("sample %d: %v in parts, %v whole", i, parts[i], whole[i])
		}
	}
}

func TestMerge_AReadingOlderThanItsProbesNewestStandsAlone(t *testing.T) {
	p := cook.Piece{ID: "flat", Cut: "brisket_flat", Target: 92, Probes: []cook.ProbeID{"a", "b"}}
	m := NewPieceMerge(aCook(p), p)
	m.Add([]cook.Reading{reading("a", 10, 30), reading("b", 10, 40)})
	late := m.Add([]cook.Reading{reading("b", 5, 35)})
	if len(late) != 1 || late[0].Celsius != 35 {
		t.Errorf("late reading gave %v, want its own 35", late)
	}
	if next := m.Add([]cook.Reading{reading("b", 11, 41)}); next[0].Celsius != 30 {
		t.Errorf("next sample %v, want the colder neighbour's 30", next)
	}
}

func TestFromCook_GivesAPieceItsOwnEventsAndThoseOfThePit(t *testing.T) {
	c := aCook(cook.Piece{ID: "a", Target: 92, Plan: &cook.WrapPlan{Wrap: "foil", AtC: 70}}, cook.Piece{ID: "b", Target: 92})
	c.Pit.Plan = []cook.PlannedPoint{{SetPoint: 121, At: at(300)}}
	c.Events = []cook.Event{{Time: at(10), Kind: cook.EventLid}, {Time: at(20), Kind: cook.EventWrap, Piece: "a", With: "foil"},
		{Time: at(30), Kind: cook.EventWrap, Piece: "b", With: "paper"}}
	a, b := FromCook(c, c.Pieces[0]), FromCook(c, c.Pieces[1])
	if len(a.Events) != 2 || a.Events[1].With != estimator.Foil || len(b.Events) != 2 || b.Events[1].With != estimator.Paper {
		t.Errorf("events a %v, b %v", a.Events, b.Events)
	}
	if a.Plan == nil || a.Plan.AtCelsius != 70 || b.Plan != nil || len(a.PitPlan) != 1 || a.PitPlan[0].Celsius != 121 {
		t.Errorf("plans: %+v %+v %+v", a.Plan, b.Plan, a.PitPlan)
	}
}

// A forecast of ten equally likely draws, ready at the given minutes; a negative one means never.
func forecastOf(minutes ...float64) estimator.Forecast {
	f := estimator.Forecast{At: start, Core: 68.204, Target: 92.5, State: estimator.Stall, Since: at(-60), Because: "it stands still."}
	reached := 0
	for _, m := range minutes {
		var d estimator.Draw
		if m >= 0 {
			d.Ready, reached = at(m), reached+1
		}
		f.Draws = append(f.Draws, d)
	}
	f.PNever = 1 - float64(reached)/float64(len(minutes))
	for i, level := range estimator.Levels {
		if level <= 1-f.PNever {
			f.Ready[i] = f.Draws[min(int(level*float64(len(minutes))), len(minutes)-1)].Ready
		}
	}
	return f
}

func TestLine_JSONIsTheDocumentedObject(t *testing.T) {
	line := NewLine("core", forecastOf(60, 70, 80, 90, 100, 110, 120, 130, -1, -1))
	line.Forecast.PNever = 0.2
	data, err := line.JSON()
	if err != nil {
		t.Fatal(err)
	}
	want := `{"piece":"core","at":"2026-05-02T20:00:00Z","core_c":68.2,"target_c":92.5,"state":"stall","since":"2026-05-02T19:00:00Z",` +
		`"p_never":0.2,"ready":{"p05":"2026-05-02T21:00:00Z","p10":"2026-05-02T21:10:00Z","p25":"2026-05-02T21:20:00Z",` +
		`"p50":"2026-05-02T21:50:00Z","p75":"2026-05-02T22:10:00Z","p90":null,"p95":null},"because":"it stands still."}`
	if string(data) != want {
		t.Errorf("got  %s\nwant %s", data, want)
	}
}

func TestLine_JSONWithoutReadingWithWhatIfAndWithoutAction(t *testing.T) {
	f := forecastOf(-1, -1)
	f.Core, f.Since = thermal.Celsius(math.NaN()), time.Time{}
	data, err := Line{Piece: "core", Forecast: f, WhatIf: "wrap=foil@now", Action: &Action{}}.JSON()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"core_c":null`, `"since":null`, `"p_never":1`, `"p05":null`, `"what_if":"wrap=foil@now"`, `"action":null`} {
		if !strings.Contains(string(data), want) {
			t.Errorf("%s lacks %s", data, want)
		}
	}
	data, err = Line{Forecast: f, Action: &Action{Do: "wrap in foil now", PReady: 0.93, Costs: "bark"}}.JSON()
	if err != nil || !strings.Contains(string(data), `"action":{"do":"wrap in foil now","p_ready":0.93,"costs":"bark"}`) {
		t.Errorf("%s %v", data, err)
	}
	if !json.Valid(data) {
		t.Errorf("not JSON: %s", data)
	}
}

func TestParseWhatIf(t *testing.T) {
	for text, want := range map[string]estimator.Action{
		"wrap=foil@now":                  {Kind: estimator.Wrap, With: estimator.Foil, At: start},
		"wrap=paper@70C":                 {Kind: estimator.Wrap, With: estimator.Paper, AtCore: 70},
		"setpoint=121C@+30m":             {Kind: estimator.SetPoint, Celsius: 121, At: at(30)},
		"setpoint=250F@now":              {Kind: estimator.SetPoint, Celsius: thermal.Celsius((250. - 32) / 1.8), At: start},
		"unwrap@now":                     {Kind: estimator.Unwrap, At: start},
		"wrap=foil@2026-05-02T21:00:00Z": {Kind: estimator.Wrap, With: estimator.Foil, At: at(60)},
	} {
		got, err := ParseWhatIf(text, start)
		if err != nil || len(got) != 1 || got[0].Kind != want.Kind || got[0].With != want.With ||
			math.Abs(float64(got[0].Celsius-want.Celsius)) > 1e-9 || !got[0].At.Equal(want.At) || got[0].AtCore != want.AtCore {
			t.Errorf("ParseWhatIf(%q) = %+v, %v, want %+v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "wrap=foil", "wrap=wool@now", "setpoint=121@now", "setpoint=700C@now", "setpoint=121C@70C",
		"wrap=foil@-30m", "wrap=foil@+40h", "wrap=foil@200C", "sing@now", "wrap=foil@now,"} {
		if got, err := ParseWhatIf(text, start); err == nil {
			t.Errorf("ParseWhatIf(%q) = %v, want an error", text, got)
		}
	}
}

func TestLine_TextIsASentenceInLocalTime(t *testing.T) {
	berlin := time.FixedZone("CEST", 2*3600)
	line := NewLine("core", forecastOf(60, 70, 80, 90, 100, 110, 120, 130, 140, 150))
	want := "core: stall, 68.2 °C of 92.5 °C. Ready about 23:50, between 23:10 and Sun 3 May 00:30 in four cases of five. It stands still."
	if got := line.Text(berlin); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func FuzzParseWhatIf(f *testing.F) {
	for _, text := range []string{"wrap=foil@now", "setpoint=121C@+30m", "wrap=paper@70C", "unwrap@now, wrap=foil@2026-05-02T21:00:00Z", "wrap=@", "=@", "setpoint=1e9C@now"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		actions, err := ParseWhatIf(text, start)
		if err != nil {
			return
		}
		for _, a := range actions {
			if a.Kind == estimator.SetPoint && !(a.Celsius >= 40 && a.Celsius <= 300) || a.Kind == estimator.Wrap && a.With != estimator.Foil && a.With != estimator.Paper ||
				a.AtCore != 0 && !(a.AtCore > 0 && a.AtCore <= 110) {
				t.Errorf("ParseWhatIf(%q) let %+v through", text, a)
			}
		}
	})
}
