package ingest

import (
	"encoding/json"
	"strings"
	"testing"
)

func TestDecode_Mapped(t *testing.T) {
	d := mustDecoder(t, nil,
		Mapping{Topic: "garage/+/climate", Probe: "{1}", Value: "/sensors/0/temp", Time: "/at"},
		Mapping{Topic: "wired/#", Probe: "wired/{1}", Value: "/t", Unit: "F"},
		Mapping{Topic: "bare/+/+", Probe: "{2}/{1}", Unit: "K"},
	)
	tests := []struct{ topic, payload, want string }{
		{"garage/smoker/climate", `{"sensors":[{"temp":68.2}],"at":"2026-03-01T11:59:00Z"}`, "smoker 11:59:00 68.2 device"},
		{"garage/smoker/climate", `{"sensors":[{"temp":"68.2"}],"at":1772366340}`, "smoker 11:59:00 68.2 device"},
		{"garage/smoker/climate", `{"sensors":[],"at":"2026-03-01T11:59:00Z"}`, "! value: nothing at /sensors/0"},
		{"garage/smoker/climate", `{"sensors":[{"temp":68.2}]}`, "! unreadable time: nothing at /at"},
		{"garage/smoker/climate", `{"sensors":[{"temp":{}}],"at":1}`, "! not a number"},
		{"garage/smoker/climate", `warm`, "! not JSON"},
		{"garage/smoker/climate", `{} {}`, "! something behind"},
		{"garage/smoker/climate", ``, "! empty"},
		{"wired/a/b", `{"t":212}`, "wired/a/b 12:00:00 100.0 arrival"},
		{"wired/a//b", `{"t":212}`, "! empty level"},
		{"bare/x/y", "373.15\n", "y/x 12:00:00 100.0 arrival"},
	}
	for _, tt := range tests {
		got, err := d.Decode(Message{Topic: tt.topic, Payload: []byte(tt.payload)}, noon)
		text := describe(got, err)
		if reason, bad := strings.CutPrefix(tt.want, "! "); bad && err != nil && strings.Contains(err.Error(), reason) && len(got.Readings) == 0 {
			continue
		}
		if text != tt.want {
			t.Errorf("Decode(%q, %q) = %s, want %s", tt.topic, tt.payload, text, tt.want)
		}
	}
	for topic, want := range map[string]bool{"garage/smoker/climate": true, "garage/climate": false, "wired": true,
		"stallkeeper/reading/x": true, "stallkeeper/state/1/core": false, "$SYS/wired": false} {
		if got := d.Consumes(topic); got != want {
			t.Errorf("Consumes(%q) = %v, want %v", topic, got, want)
		}
	}
}

func TestNewDecoder_SaysWhatIsWrongWithAMapping(t *testing.T) {
	tests := []struct {
		m    Mapping
		want string
	}{
		{Mapping{Topic: "a/#/b", Probe: "x"}, "# in the last one"},
		{Mapping{Topic: "a/b+", Probe: "x"}, "stand alone"},
		{Mapping{Topic: "", Probe: "x"}, "name a topic"},
		{Mapping{Topic: "a", Probe: "{1}"}, "can be filled"},
		{Mapping{Topic: "a/+", Probe: "{2}"}, "can be filled"},
		{Mapping{Topic: "a", Probe: ""}, "probe name is empty"},
		{Mapping{Topic: "a", Probe: "x", Value: "t"}, "does not begin with /"},
		{Mapping{Topic: "a", Probe: "x", Value: "/a~2"}, "~ without"},
		{Mapping{Topic: "a", Probe: "x", Time: "/at"}, "time without value"},
		{Mapping{Topic: "a", Probe: "x", Unit: "degC"}, "write C, F, K"},
	}
	for _, tt := range tests {
		if _, err := NewDecoder([]Mapping{tt.m}, nil, nil); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("NewDecoder(%+v) = %v, want an error with %q", tt.m, err, tt.want)
		}
	}
}

// The document and the results are those of RFC 6901 section 5 (from memory).
func TestPointer_RFC6901(t *testing.T) {
	const doc = `{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}`
	var v any
	if err := json.Unmarshal([]byte(doc), &v); err != nil {
		t.Fatal(err)
	}
	tests := map[string]string{`/foo`: `["bar","baz"]`, `/foo/0`: `"bar"`, `/`: `0`, `/a~1b`: `1`, `/c%d`: `2`, `/e^f`: `3`,
		`/g|h`: `4`, `/i\j`: `5`, `/k"l`: `6`, `/ `: `7`, `/m~0n`: `8`}
	for s, want := range tests {
		p, err := parsePointer(s)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := p.find(v); err != nil || string(got) != want {
			t.Errorf("find(%q) = %s, %v, want %s", s, got, err, want)
		}
	}
	for _, s := range []string{"/foo/2", "/foo/-", "/foo/00", "/foo/01", "/foo/0/x", "/none", "/foo/+1"} {
		p, err := parsePointer(s)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := p.find(v); err == nil {
			t.Errorf("find(%q) = %s, want an error", s, got)
		}
	}
}

// Matches and mismatches of MQTT 3.1.1 sections 4.7.1 and 4.7.2.
func TestMatchTopic(t *testing.T) {
	tests := []struct {
		filter, topic string
		want          bool
	}{
		{"sport/tennis/player1/#", "sport/tennis/player1", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/ranking", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", true},
		{"sport/#", "sport", true},
		{"#", "a/b", true},
		{"sport/tennis/+", "sport/tennis/player1", true},
		{"sport/tennis/+", "sport/tennis/player1/ranking", false},
		{"sport/+", "sport", false},
		{"sport/+", "sport/", true},
		{"+/+", "/finance", true},
		{"/+", "/finance", true},
		{"+", "/finance", false},
		{"#", "$SYS/monitor", false},
		{"+/monitor/Clients", "$SYS/monitor/Clients", false},
		{"sport/tennis", "sport", false},
	}
	for _, tt := range tests {
		if _, got := matchTopic(tt.filter, tt.topic); got != tt.want {
			t.Errorf("matchTopic(%q, %q) = %v, want %v", tt.filter, tt.topic, got, tt.want)
		}
	}
}

func TestMeant(t *testing.T) {
	for topic, want := range map[string]string{
		"stallkeper/reading/flat":       "stallkeeper/reading/flat",
		"stallkeeper/readings/pit/left": "stallkeeper/reading/pit/left",
		"/stallkeeper/reading/flat":     "stallkeeper/reading/flat",
		"Stallkeeper/Reading/flat":      "stallkeeper/reading/flat",
		"stallkeeper/reading":           "stallkeeper/reading/<probe>",
		"stallkeeper/flat":              "",
		"home/bbq/temp":                 "",
		"":                              "",
		"s/r/x":                         "",
	} {
		if got := Meant(topic); got != want {
			t.Errorf("Meant(%q) = %q, want %q", topic, got, want)
		}
	}
}
