package cook

import (
	"bytes"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/go-cmp/cmp"

	"stallkeeper/estimator/thermal"
)

const goodCook = `{"name":"Saturday","started":"2026-05-02T20:00:00+02:00","pit":{"setpoint_c":107},
"pieces":[{"id":"flat","cut":"brisket_flat_cured","mass_kg":2.4,"thickness_mm":52,"target_c":92.5,"plan":{"wrap":"foil","wrap_at_c":70}}],
"events":[{"time":"2026-05-03T02:00:00+02:00","kind":"wrap","piece":"flat","with":"foil"}]}`

func logFS(cookJSON, readings string) fstest.MapFS {
	return fstest.MapFS{LogCookFile: {Data: []byte(cookJSON)}, LogReadingsFile: {Data: []byte(readings)}}
}

func TestReadLog_SortsDropsRepeatsAndSkipsMissing(t *testing.T) {
	log, err := ReadLog(logFS(goodCook, `time,probe,celsius
2026-05-02T20:01:00+02:00,flat,5.5
2026-05-02T18:00:30Z,pit,20
2026-05-02T18:00:30Z,pit,21
2026-05-02T18:02:00Z,flat,
2026-05-02T18:03:00Z,flat,-127
2026-05-02T18:04:00Z,flat,85.0
`))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, r := range log.Readings {
		got = append(got, r.Time.Format("15:04:05")+" "+string(r.Probe)+" "+r.Celsius.String()+" "+string(r.Quality))
	}
	want := []string{
		"18:00:30 pit 20.0 °C good", // the first of two stands
		"18:01:00 flat 5.5 °C good", // given in another zone
		"18:03:00 flat -127.0 °C disconnected",
		"18:04:00 flat 85.0 °C power-up", // nothing near it before
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestReadLog_SaysWhatIsWrongAndWhere(t *testing.T) {
	rows := "time,probe,celsius\n2026-05-02T18:00:30Z,pit,20\n"
	for _, test := range []struct{ name, cook, readings, want string }{
		{"unknown key", strings.Replace(goodCook, `"mass_kg"`, `"weight"`, 1), rows, `unknown key "weight"`},
		{"no setpoint", strings.Replace(goodCook, `107`, `0`, 1), rows, "pit.setpoint_c 0 is not between"},
		{"unknown cut", strings.Replace(goodCook, `brisket_flat_cured`, `flat`, 1), rows, `cut "flat" is not known: use one of`},
		{"wrong header", goodCook, "zeit,probe,celsius\n", "line 1 is not the header"},
		{"no zone", goodCook, rows + "2026-05-02T18:00:30,pit,20\n", "line 3: time"},
		{"below absolute zero", goodCook, rows + "2026-05-02T18:00:31Z,pit,-300\n", "line 3: celsius"},
		{"nan", goodCook, rows + "2026-05-02T18:00:31Z,pit,NaN\n", "line 3: celsius"},
		{"two values", goodCook + goodCook, rows, "something stands behind"},
	} {
		_, err := ReadLog(logFS(test.cook, test.readings))
		if err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: error %v, want it to say %q", test.name, err, test.want)
		}
	}
}

func TestLog_RoundTrip(t *testing.T) {
	c, err := DecodeCook([]byte(goodCook))
	if err != nil {
		t.Fatal(err)
	}
	data, err := EncodeCook(c)
	if err != nil {
		t.Fatal(err)
	}
	var rows bytes.Buffer
	readings := []Reading{{Probe: "pit/left", Time: time.Date(2026, 5, 2, 18, 0, 0, 123456000, time.UTC), Celsius: 107.25, Quality: Good, Clock: DeviceClock}}
	if err := WriteReadings(&rows, readings); err != nil {
		t.Fatal(err)
	}
	log, err := ReadLog(logFS(string(data), rows.String()))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(Log{Cook: *c, Readings: readings}, *log); diff != "" {
		t.Error(diff)
	}
}

func TestJudge_BelievesA85OnlyFromNearby(t *testing.T) {
	var j Judge
	for _, step := range []struct {
		celsius float64
		want    Quality
	}{{84.5, Good}, {85, Good}, {300, OutOfRange}, {20, Good}, {85, PowerUp}, {-127, Open}} {
		r := Reading{Probe: "flat", Celsius: thermal.Celsius(step.celsius)}
		if got := j.Quality(r); got != step.want {
			t.Errorf("%v after what came before: %q, want %q", step.celsius, got, step.want)
		}
	}
}

func TestEffective_CorrectionsReplace(t *testing.T) {
	at := func(min int) time.Time { return time.Date(2026, 5, 3, 2, min, 0, 0, time.UTC) }
	entries := []Entry{
		{ID: 1, Event: Event{Time: at(30), Kind: EventWrap, With: "foil"}},
		{ID: 2, Event: Event{Time: at(5), Kind: EventLid}},
		{ID: 3, Event: Event{Time: at(10), Kind: EventWrap, With: "foil"}, Corrects: 1}, // wrapped 20 minutes earlier
		{ID: 4, Event: Event{Time: at(5), Kind: EventLid}, Corrects: 2, Withdraw: true},
	}
	want := []Event{{Time: at(10), Kind: EventWrap, With: "foil"}}
	if diff := cmp.Diff(want, Effective(entries)); diff != "" {
		t.Error(diff)
	}
}
