package ingest

import (
	"context"
	"errors"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

func TestDecode_Asides(t *testing.T) {
	now := time.Date(2026, 7, 4, 21, 10, 0, 0, time.UTC)
	open := errors.New("open circuit")
	convert := func(cook.ProbeID, string, float64) (thermal.Celsius, error) { return 0, open }
	d, err := NewDecoder([]Mapping{{Topic: "yard/+", Probe: "{1}", Value: "/t", Battery: "/bat"}}, convert, nil)
	if err != nil {
		t.Fatal(err)
	}
	type aside struct {
		probe   cook.ProbeID
		percent float64
		at      time.Time
	}
	device := now.Add(-time.Hour)
	for _, test := range []struct {
		topic, payload string
		retained       bool
		want           []aside
		quarantined    bool
	}{
		{topic: TopicPrefix + "flat", payload: `{"celsius":68.2,"battery_percent":73}`, want: []aside{{"flat", 73, now}}},
		{topic: TopicPrefix + "flat", payload: `{"celsius":68.2,"battery_percent":0,"time":"2026-07-04T20:10:00Z"}`, want: []aside{{"flat", 0, device}}},
		{topic: TopicPrefix + "flat", payload: `{"battery_percent":73}`, want: []aside{{"flat", 73, now}}},
		{topic: TopicPrefix + "flat", payload: `{"celsius":68.2}`},
		{topic: TopicPrefix + "flat", payload: `{"celsius":68.2,"battery_percent":null}`},
		{topic: TopicPrefix + "flat", payload: `{"celsius":68.2,"battery_percent":255}`},
		{topic: TopicPrefix + "flat", payload: `{"celsius":68.2,"battery_percent":73}`, retained: true}, // since when is not known
		{topic: TopicPrefix + "flat", payload: `{"battery_percent":255}`, quarantined: true},
		{topic: TopicPrefix + "flat", payload: `{"ohms":1e9,"battery_percent":12}`, want: []aside{{"flat", -1, now}, {"flat", 12, now}}, quarantined: true},
		{topic: TopicPrefix + "node", payload: `[{"bn":"n1:","n":"in","u":"Cel","v":68.2},{"n":"out","u":"Cel","v":11},{"n":"bat","u":"%EL","v":41}]`,
			want: []aside{{"node/n1:in", 41, now}, {"node/n1:out", 41, now}}},
		{topic: TopicPrefix + "node", payload: `[{"n":"bat","u":"%EL","v":41}]`, want: []aside{{"node", 41, now}}},
		{topic: "yard/oak", payload: `{"t":19.5,"bat":88}`, want: []aside{{"oak", 88, now}}},
		{topic: "yard/oak", payload: `{"t":19.5}`},
	} {
		got, err := d.Decode(Message{Topic: test.topic, Payload: []byte(test.payload), Retained: test.retained}, now)
		if (err != nil) != test.quarantined {
			t.Errorf("%s %s: %v", test.topic, test.payload, err)
		}
		if len(got.Asides) != len(test.want) {
			t.Errorf("%s %s told %+v, want %+v", test.topic, test.payload, got.Asides, test.want)
			continue
		}
		for i, a := range got.Asides {
			told := aside{a.Probe, -1, a.At}
			if a.Percent != nil {
				told.percent = *a.Percent
			} else if !errors.Is(a.Fault, open) {
				t.Errorf("%s: fault %v, want %v", test.payload, a.Fault, open)
			}
			if told != test.want[i] {
				t.Errorf("%s %s told %+v, want %+v", test.topic, test.payload, told, test.want[i])
			}
		}
	}
}

// silentSink keeps nothing and says that it did.
type silentSink struct{}

func (silentSink) Put(_ context.Context, _ cook.Reading, done func(Outcome, error)) error {
	done(Stored, nil)
	return nil
}

func (silentSink) Quarantine(_ context.Context, _ cook.Quarantined, done func(error)) error {
	done(nil)
	return nil
}

func TestIntake_GivesTheNewestAsideOfEachProbeOnce(t *testing.T) {
	d, err := NewDecoder(nil, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	in := New(d, silentSink{}, func() time.Time { return time.Date(2026, 7, 4, 21, 10, 0, 0, time.UTC) })
	for _, payload := range []string{`{"celsius":4,"battery_percent":40,"time":"2026-07-04T21:00:00Z"}`,
		`{"celsius":5,"battery_percent":42,"time":"2026-07-04T20:00:00Z"}`} { // a backlog comes behind what is newer
		if err := in.Handle(t.Context(), Message{Topic: TopicPrefix + "flat", Payload: []byte(payload)}, func(error) {}); err != nil {
			t.Fatal(err)
		}
	}
	if got := in.Asides(); len(got) != 1 || *got[0].Percent != 40 {
		t.Errorf("asides %+v, want 40 %% alone", got)
	}
	if got := in.Asides(); len(got) != 0 {
		t.Errorf("told again: %+v", got)
	}
}
