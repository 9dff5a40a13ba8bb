package store

import (
	"bytes"
	"fmt"
	"stallkeeper/estimator/thermal"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/cook"
)

// Garbage for ever must not fill the disk: of more than can be kept the oldest goes.
func TestPut_TheQuarantineHasAnEnd(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	bad := func(topic string) Item {
		return Item{Bad: &cook.Quarantined{Time: epoch, Topic: topic, Reason: "payload is empty"}}
	}
	s.put(t, bad("first"), bad("second"))
	if _, err := s.writer.Exec("update quarantine set id = ? where topic = 'second'", maxQuarantined); err != nil {
		t.Fatal(err) // as if that many had come in between
	}
	s.put(t, bad("last"))
	kept, err := s.Quarantine(t.Context(), 0, 10)
	if err != nil || len(kept) != 2 || kept[0].Topic != "last" || kept[1].Topic != "second" {
		t.Errorf("kept %v, %v", kept, err)
	}
}

func TestPut_TheQuarantineHasAWeight(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	garbage := bytes.Repeat([]byte{0xff}, 2*maxPayload)
	items := make([]Item, 6*weighEvery) // 96 MiB of payloads
	for i := range items {
		items[i].Bad = &cook.Quarantined{Time: epoch, Topic: strings.Repeat("ü", maxTopic), Payload: garbage, Reason: "no number"}
	}
	s.put(t, items...)
	var bytes, long int64
	if err := s.reader.QueryRow("select sum(octet_length(payload) + octet_length(topic)), max(octet_length(topic)) from quarantine").Scan(&bytes, &long); err != nil {
		t.Fatal(err)
	}
	if bytes > maxQuarantine || bytes < maxQuarantine/2 || long > maxTopic {
		t.Errorf("%d bytes are kept, the longest topic has %d; want nearly %d, and %d", bytes, long, maxQuarantine, maxTopic)
	}
	kept, err := s.Quarantine(t.Context(), 0, 1)
	if err != nil || len(kept) != 1 || kept[0].ID != int64(len(items)) {
		t.Errorf("the newest is %v, %v", kept, err)
	}
}

// A pack may hold thousands of readings that all came at one time: each gets a microsecond of its own, without a look at all the others.
func TestPut_ThousandsAtOneTime(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	const n = 3000
	all := make([]cook.Reading, 0, n+3)
	for i := range n {
		r := reading("pit", 0, thermal.Celsius(i))
		r.Clock = cook.ArrivalClock
		all = append(all, r)
	}
	for _, us := range []int{n + 1, -1, n} { // behind a gap, before, and into the gap that is left
		r := reading("pit", 0, thermal.Celsius(us))
		r.Clock, r.Time = cook.ArrivalClock, epoch.Add(time.Duration(us)*time.Microsecond)
		all = append(all, r)
	}
	for i, o := range s.mustPut(t, all...) {
		if o != Stored {
			t.Fatalf("reading %d: outcome %d", i, o)
		}
	}
	got, err := s.Readings(t.Context(), cook.ReadingQuery{Limit: 2 * n})
	if err != nil || len(got) != len(all) {
		t.Fatalf("%d readings, %v, want %d", len(got), err, len(all))
	}
	for i, r := range got { // in the order of their values, a microsecond apart
		if want := epoch.Add(time.Duration(i-1) * time.Microsecond); !r.Time.Equal(want) || r.Celsius != thermal.Celsius(i-1) {
			t.Fatalf("reading %d is %v at %v, want %v", i, r.Celsius, r.Time, want)
		}
	}
}

// A client that makes up names does not fill the memory, and the names that are not remembered keep their numbers.
func TestPut_MadeUpNamesDoNotFillTheMemory(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	for round := range 2 {
		var all []cook.Reading
		for i := range maxNames + 500 {
			all = append(all, reading(cook.ProbeID(fmt.Sprint("made-up", i)), round, 20))
		}
		s.mustPut(t, all...)
	}
	if n := len(s.names.known); n > maxNames {
		t.Errorf("%d names are remembered, want at most %d", n, maxNames)
	}
	probes, err := s.Probes(t.Context())
	if err != nil || len(probes) != maxNames+500 {
		t.Fatalf("%d probes, %v, want %d", len(probes), err, maxNames+500)
	}
	for _, p := range probes {
		if !p.First.Equal(epoch) || !p.Last.Equal(epoch.Add(time.Second)) {
			t.Fatalf("probe %s has readings from %v to %v, want both", p.ID, p.First, p.Last)
		}
	}
}
