package ingest

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// fataler is a test or a property.
type fataler interface {
	Helper()
	Fatal(args ...any)
}

func mustDecoder(tb fataler, convert Convert, mappings ...Mapping) *Decoder {
	tb.Helper()
	d, err := NewDecoder(mappings, convert, nil)
	if err != nil {
		tb.Fatal(err)
	}
	return d
}

func TestDecode_OneValue(t *testing.T) {
	halfVolt := func(probe cook.ProbeID, quantity string, v float64) (thermal.Celsius, error) {
		if probe != "core" || quantity != "volts" {
			return 0, errors.New("no conversion: add one for this probe")
		}
		return thermal.Celsius(v * 100), nil
	}
	at := func(s string) time.Time {
		v, err := time.Parse(time.RFC3339Nano, s)
		if err != nil {
			t.Fatal(err)
		}
		return v.UTC()
	}
	tests := []struct {
		payload string
		celsius float64
		time    time.Time // zero: arrival
		seq     int64
		raw     string
	}{
		{payload: "68.2", celsius: 68.2},
		{payload: "+68.2\n", celsius: 68.2},   // a device that prints a signed line
		{payload: " 68.2\r\n", celsius: 68.2}, // and one with a carriage return
		{payload: "68.2\x00", celsius: 68.2},  // a C string sent whole
		{payload: "-18", celsius: -18},
		{payload: "68.", celsius: 68},
		{payload: ".5", celsius: .5},
		{payload: "6.82e1", celsius: 68.2},
		{payload: "-273.15", celsius: -273.15},
		{payload: "-127", celsius: -127}, // improbable is kept; the judge says so
		{payload: `{"celsius":68.2}`, celsius: 68.2},
		{payload: `{"celsius":"68.2"}`, celsius: 68.2},                           // a number in a string
		{payload: `{"celsius":68.2,"ohms":1000}`, celsius: 68.2},                 // degrees before what needs a conversion
		{payload: `{"celsius":68.2,"time":null,"seq":7}`, celsius: 68.2, seq: 7}, // a device without a clock
		{payload: `{"celsius":68.2,"seq":"x"}`, celsius: 68.2},                   // no count, still a reading
		{payload: `{"fahrenheit":212}`, celsius: 100, raw: "212 F"},              // boiling point, by definition of the scale
		{payload: `{"celsius":68.2,"fahrenheit":154.8}`, celsius: 68.2},          // twice the same, rounded
		{payload: `{"celsius":68,"fahrenheit":155}`, celsius: 68},                // 68.4 °C, both rounded to whole degrees
		{payload: `{"celsius":68.2,"fahrenheit":null}`, celsius: 68.2},           // nothing to contradict
		{payload: `{"volts":0.5}`, celsius: 50, raw: "0.5 volts"},
		{payload: `{"celsius":68.2,"time":"2026-03-01T11:59:30Z"}`, celsius: 68.2, time: at("2026-03-01T11:59:30Z")},
		{payload: `{"celsius":68.2,"time":"2026-03-01t12:59:30.25+01:00"}`, celsius: 68.2, time: at("2026-03-01T11:59:30.25Z")},
		{payload: `{"celsius":68.2,"time":1772366370}`, celsius: 68.2, time: at("2026-03-01T11:59:30Z")},
		{payload: `{"celsius":68.2,"time":1772366370.5}`, celsius: 68.2, time: at("2026-03-01T11:59:30.5Z")},
		{payload: `{"celsius":68.2,"time":1772366370250}`, celsius: 68.2, time: at("2026-03-01T11:59:30.25Z")},
		{payload: `{"celsius":68.2,"time":"1970-01-01T00:00:07Z"}`, celsius: 68.2, time: at("1970-01-01T00:00:07Z")}, // however old
		{payload: `{"celsius":68.2,"time":"2026-03-01T12:10:00Z"}`, celsius: 68.2, time: at("2026-03-01T12:10:00Z")}, // ten minutes ahead is still allowed
	}
	d := mustDecoder(t, halfVolt)
	for _, tt := range tests {
		got, err := d.Decode(Message{Topic: "stallkeeper/reading/core", Payload: []byte(tt.payload)}, noon)
		if err != nil || len(got.Readings) != 1 {
			t.Errorf("Decode(%q) = %v, %v, want one reading", tt.payload, got, err)
			continue
		}
		r := got.Readings[0]
		want := cook.Reading{Probe: "core", Time: noon, Celsius: r.Celsius, Clock: cook.ArrivalClock, Arrived: noon, Seq: tt.seq, Raw: tt.raw}
		if !tt.time.IsZero() {
			want.Time, want.Clock = tt.time, cook.DeviceClock
			want.Backlog = noon.Sub(tt.time) > 5*time.Minute
		}
		if r != want || math.Abs(float64(r.Celsius)-tt.celsius) > 1e-9 {
			t.Errorf("Decode(%q) = %+v (%v), want %+v (%v)", tt.payload, r, r.Celsius, want, tt.celsius)
		}
	}
}

func TestDecode_Quarantines(t *testing.T) {
	tests := []struct{ topic, payload, reason string }{
		{"core", "", "empty"},
		{"co\u202ere", "68.2", "U+202E"}, // turns what is written behind it; U+200B has no width
		{"pit/l\u200beft", "68.2", "U+200B"},
		{"core", " \n", "empty"},
		{"core", "warm", "not a number"},
		{"core", "68,2", "not a number"},
		{"core", "68.2 C", "not a number"},
		{"core", "0x44", "not a number"},
		{"core", "6_8", "not a number"},
		{"core", "NaN", "not finite"},
		{"core", "-inf", "not finite"},
		{"core", "1e400", "not finite"},
		{"core", "-273.16", "absolute zero"},
		{"core", `{"celsius":1e400}`, "not finite"},
		{"core", `{"celsius":"NaN"}`, "not finite"},
		{"core", `{"celsius":null}`, "null"},
		{"core", `{"celsius":true}`, "not a number"},
		{"core", `{"celsius":-300}`, "absolute zero"},
		{"core", `{"fahrenheit":-460}`, "absolute zero"}, // absolute zero is -459.67 °F
		{"core", `{"celsius":68.2,"fahrenheit":68.2}`, "two temperatures"},
		{"core", `{"fahrenheit":212,"celsius":"68"}`, "212 °F is 100.0 °C"},
		{"core", `{"temperature":68.2}`, "no known field"},
		{"core", `{"Celsius":68.2}`, "no known field"},
		{"core", `{}`, "no known field"},
		{"core", `{"celsius":68.2`, "not JSON"},
		{"core", `{"celsius":68.2} x`, "not JSON"},
		{"core", `"68.2"`, "not a number"},
		{"core", "\xff\xfe", "not a number"},
		{"core", `{"celsius":68.2,"time":"yesterday"}`, `unreadable time "yesterday": send RFC 3339`},
		{"core", `{"celsius":68.2,"time":""}`, "unreadable time"},
		{"core", `{"celsius":68.2,"time":"2026-03-01T11:59:30"}`, `unreadable time "2026-03-01T11:59:30", which names no time zone: send RFC 3339`},
		{"core", `{"celsius":68.2,"time":"2026-03-01 11:59:30"}`, "names no time zone"},
		{"core", `{"celsius":68.2,"time":[1]}`, "unreadable time"},
		{"core", `{"celsius":68.2,"time":1e300}`, "unreadable time"},
		{"core", `{"celsius":68.2,"time":"2026-03-01T12:10:01Z"}`, "ahead"},
		{"core", `{"ohms":10000}`, "configure a conversion"},
		{"", "68.2", "empty"},
		{"/core", "68.2", "empty level"},
		{"pit//left", "68.2", "empty level"},
		{strings.Repeat("x", 129), "68.2", "shorten"},
		{"core", strings.Repeat(" ", MaxPayload) + "1", "at most"},
	}
	d := mustDecoder(t, nil)
	for _, tt := range tests {
		got, err := d.Decode(Message{Topic: TopicPrefix + tt.topic, Payload: []byte(tt.payload)}, noon)
		if err == nil || !strings.Contains(err.Error(), tt.reason) || len(got.Readings) != 0 {
			t.Errorf("Decode(%q, %.40q) = %v, %v, want a reason with %q", tt.topic, tt.payload, got.Readings, err, tt.reason)
		}
	}
}

// 300.5 K is 27.35 °C and 68.1 °F 20.055556 °C: what the arithmetic leaves behind is not shown.
func TestDecode_RoundsWhatWasConverted(t *testing.T) {
	d := mustDecoder(t, nil)
	for payload, want := range map[string]thermal.Celsius{
		`[{"n":"a","u":"K","v":300.5}]`: 27.35, `{"fahrenheit":68.1}`: 20.055556, `[{"n":"a","u":"Cel","bv":20.1,"v":0.2}]`: 20.3,
		`{"celsius":27.123456789}`: 27.123456789, // what is sent in Celsius stands as it came
	} {
		got, err := d.Decode(Message{Topic: TopicPrefix + "a", Payload: []byte(payload)}, noon)
		if err != nil || got.Readings[0].Celsius != want {
			t.Errorf("Decode(%s) = %v, %v, want %v", payload, got.Readings, err, want)
		}
	}
}

// A correction from a check applies to whatever the probe sends; what was sent stays beside it, and no fault is corrected away.
func TestDecode_Corrects(t *testing.T) {
	d, err := NewDecoder(nil, nil, map[cook.ProbeID]Correction{"a": {Slope: 1.01, K: -1}})
	if err != nil {
		t.Fatal(err)
	}
	for payload, want := range map[string]struct {
		celsius thermal.Celsius
		raw     string
	}{"100": {100, "100 C"}, "0": {-1, "0 C"}, `{"fahrenheit":32}`: {-1, "32 F"}, `[{"n":"a","u":"Cel","v":50}]`: {49.5, "50 C"}, "85": {85, ""}, "-127": {-127, ""}} {
		got, err := d.Decode(Message{Topic: TopicPrefix + "a", Payload: []byte(payload)}, noon)
		if err != nil || got.Readings[0].Celsius != want.celsius || got.Readings[0].Raw != want.raw {
			t.Errorf("Decode(%s) = %+v, %v, want %v from %q", payload, got.Readings, err, want.celsius, want.raw)
		}
	}
	if got, err := d.Decode(Message{Topic: TopicPrefix + "b", Payload: []byte("100")}, noon); err != nil || got.Readings[0].Raw != "" {
		t.Errorf("another probe: %+v, %v", got, err)
	}
}

func TestDecode_MarksWhatDoesNotTellAboutNow(t *testing.T) {
	tests := []struct {
		name    string
		message Message
		want    cook.Reading
	}{
		{"live", Message{Payload: []byte("68.2")}, cook.Reading{}},
		{"kept by the broker", Message{Payload: []byte("68.2"), Retained: true}, cook.Reading{Retained: true}},
		{"held back, no time", Message{Payload: []byte("68.2"), Queued: true}, cook.Reading{Backlog: true}},
		{"held back, but just measured", Message{Payload: []byte(`{"celsius":68.2,"time":"2026-03-01T11:55:00Z"}`), Queued: true}, cook.Reading{}},
		{"measured over five minutes ago", Message{Payload: []byte(`{"celsius":68.2,"time":"2026-03-01T11:54:59Z"}`)}, cook.Reading{Backlog: true}},
	}
	d := mustDecoder(t, nil)
	for _, tt := range tests {
		tt.message.Topic = TopicPrefix + "core"
		got, err := d.Decode(tt.message, noon)
		if err != nil {
			t.Fatal(err)
		}
		if r := got.Readings[0]; r.Retained != tt.want.Retained || r.Backlog != tt.want.Backlog || r.Live() != tt.want.Live() {
			t.Errorf("%s: retained %v, backlog %v, want %v, %v", tt.name, r.Retained, r.Backlog, tt.want.Retained, tt.want.Backlog)
		}
	}
}
