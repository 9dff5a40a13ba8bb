package ingest

import (
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// FuzzDecode looks for payloads that break what a decoded reading promises.
func FuzzDecode(f *testing.F) {
	for _, payload := range []string{"68.2", "+68.2\n", "1e400", "NaN", "-273.15", "", "\x00", `{"celsius":68.2,"time":"2026-03-01T11:59:30Z","seq":4}`,
		`{"fahrenheit":"212","time":1772366370250}`, `{"ohms":10000}`, `{"celsius":null}`, `[{"bn":"a","bt":1.320067464e+09,"bu":"Cel","v":21.2},{"t":10,"v":21.3}]`,
		`[{"n":"a","u":"K","bv":273.15,"v":1e308},{"n":"b","u":"Cel","t":-9e9,"v":1}]`, `[{"bt":1e300,"t":-1e300,"u":"Cel","v":1}]`, `{"v":{"a":[1,"2"]},"t":"x"}`} {
		f.Add("stallkeeper/reading/pit/left", []byte(payload))
		f.Add("garage/a/b", []byte(payload))
	}
	d := mustDecoder(f, func(_ cook.ProbeID, _ string, v float64) (thermal.Celsius, error) { return thermal.Celsius(v), nil },
		Mapping{Topic: "garage/+/#", Probe: "{2}/{1}", Value: "/v/a/1", Time: "/t", Unit: "raw"})
	f.Fuzz(func(t *testing.T, topic string, payload []byte) {
		before := string(payload)
		got, err := d.Decode(Message{Topic: topic, Payload: payload}, noon)
		if string(payload) != before {
			t.Error("Decode changed the payload")
		}
		if err == nil && len(got.Readings) == 0 {
			t.Errorf("Decode(%q, %q) gives neither a reading nor a reason", topic, payload)
		}
		if err != nil && (err.Error() == "" || len(err.Error()) > 400 || strings.ContainsRune(err.Error(), 0)) {
			t.Errorf("Decode(%q, %q) gives the reason %q, want a short plain text", topic, payload, err)
		}
		for _, r := range got.Readings {
			switch {
			case r.Probe.Validate() != nil, !r.Celsius.Finite(), r.Seq < 0:
				t.Errorf("Decode(%q, %q) = %+v", topic, payload, r)
			case r.Time.Sub(noon) > FutureLimit, r.Time.Year() < 1, !r.Time.Equal(r.Time.Truncate(time.Microsecond)):
				t.Errorf("Decode(%q, %q) has the time %v", topic, payload, r.Time)
			}
		}
	})
}
