package ingest

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// The packs of the RFC's own sections are quoted from memory: RFC 8428 section 5.1, "Examples".
func TestDecode_SenML(t *testing.T) {
	// A pack of the year 2011 arrives at noon on 2026-03-01, which is 1772366400 in Unix seconds.
	tests := []struct{ name, pack, want string }{
		{"RFC 8428 section 5.1.1, one record",
			`[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]`,
			"core 12:00:00 23.1 arrival"},
		{"RFC 8428 section 5.1.2, volts and amperes: no temperature",
			`[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},{"n":"current","u":"A","v":1.2}]`,
			"! without a temperature"},
		{"RFC 8428 section 5.1.5, several data types: the names differ, so the record names the probe",
			`[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},{"n":"label","vs":"Machine Room"},
			  {"n":"open","vb":false},{"n":"nfc-reader","vd":"aGkgCg"}]`,
			"core/urn:dev:ow:10e2073a01080063:temp 12:00:00 23.1 arrival; ignored 3"},
		{"RFC 8428 section 5.1.6, collection of resources",
			`[{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},{"n":"humidity","u":"%RH","v":30},
			  {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},{"n":"humidity","u":"%RH","v":67}]`,
			"core/2001:db8::2/temperature 2011-10-31T16:27:09 25.2 device; core/2001:db8::1/temperature 2011-10-31T16:27:09 12.3 device; ignored 2"},
		{"RFC 8428 section 5.1.3 with Cel for %RH: base time and offsets",
			`[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"Cel","v":21.2},{"t":10,"v":21.3},{"t":20.5,"v":21.4}]`,
			"core 2011-10-31T13:24:24 21.2 device; core 2011-10-31T13:24:34 21.3 device; core 2011-10-31T13:24:44.5 21.4 device"},
		{"kelvin, and a sensor's offset as base value",
			`[{"bn":"a","bu":"K","bv":273.15,"v":10},{"v":20}]`,
			"core 12:00:00 10.0 arrival; core 12:00:00 20.0 arrival"},
		{"times counted from the arrival (section 4.5.3)",
			`[{"bn":"a","bu":"Cel","t":-20,"v":1},{"t":-10,"v":2},{"v":3}]`,
			"core 11:59:40 1.0 arrival; core 11:59:50 2.0 arrival; core 12:00:00 3.0 arrival"},
		{"the largest time that still counts from the arrival is eight years ahead",
			`[{"n":"a","u":"Cel","t":268435455,"v":1}]`, "! ahead"},
		{"2^28 is a date, 1978-07-04",
			`[{"n":"a","u":"Cel","t":268435456,"v":1}]`, "core 1978-07-04T21:24:16 1.0 device"},
		{"names of two probes below one topic",
			`[{"n":"left","u":"Cel","v":110},{"n":"right","u":"Cel","v":120}]`,
			"core/left 12:00:00 110.0 arrival; core/right 12:00:00 120.0 arrival"},
		{"no name at all: the topic names the probe", `[{"u":"Cel","v":5}]`, "core 12:00:00 5.0 arrival"},
		{"a record with base fields only is no measurement", `[{"bn":"a","bu":"Cel","bt":1.320067464e+09},{"v":5}]`,
			"core 2011-10-31T13:24:24 5.0 device"},
		{"the good records of a pack stand, the bad one is said",
			`[{"bn":"a","bu":"Cel","v":5},{"v":-300},{"t":-1}]`, "core 12:00:00 5.0 arrival; ! record 2"},
		{"value in words", `[{"n":"a","u":"Cel","vs":"5"}]`, "! no number in v"},
		{"unit missing: what it measures is unknown", `[{"n":"a","v":5}]`, "! without a temperature"},
		{"empty pack", `[]`, "! without a temperature"},
		{"not records", `[68.2]`, "! not a SenML pack"},
		{"time in words", `[{"n":"a","u":"Cel","v":5,"t":"now"}]`, "! unreadable time"},
		{"field that must be understood (section 4.4)", `[{"n":"a","u":"Cel","v":5,"x_":1}]`, "! must be understood"},
		{"version of RFC 8428 is 10", `[{"bver":11,"n":"a","u":"Cel","v":5}]`, "! version 11"},
		{"name that cannot be a probe", `[{"n":"a","u":"Cel","v":5},{"n":"+","u":"Cel","v":6}]`, "core/a 12:00:00 5.0 arrival; ! + # $"},
		{"a time before all calendars", `[{"n":"a","u":"Cel","v":5,"t":-1e12}]`, "! unreadable time"},
	}
	d := mustDecoder(t, nil)
	for _, tt := range tests {
		got, err := d.Decode(Message{Topic: "stallkeeper/reading/core", Payload: []byte(tt.pack)}, noon)
		text := describe(got, err)
		if !strings.HasPrefix(tt.want, "!") && !strings.Contains(tt.want, "; !") {
			if text != tt.want {
				t.Errorf("%s:\n got %s\nwant %s", tt.name, text, tt.want)
			}
			continue
		}
		head, reason, _ := strings.Cut(tt.want, "! ")
		if !strings.HasPrefix(text, head) || err == nil || !strings.Contains(err.Error(), reason) {
			t.Errorf("%s:\n got %s\nwant %s", tt.name, text, tt.want)
		}
	}
}

func describe(d Decoded, err error) string {
	var parts []string
	for _, r := range d.Readings {
		layout := "2006-01-02T15:04:05.999"
		if noon.Sub(r.Time) < time.Hour {
			layout = "15:04:05"
		}
		parts = append(parts, fmt.Sprintf("%s %s %.1f %s", r.Probe, r.Time.Format(layout), float64(r.Celsius), r.Clock))
	}
	if d.Ignored > 0 && err == nil {
		parts = append(parts, fmt.Sprintf("ignored %d", d.Ignored))
	}
	if err != nil {
		parts = append(parts, "! "+err.Error())
	}
	return strings.Join(parts, "; ")
}
