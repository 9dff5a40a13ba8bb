package simulate

import (
	"math"
	"reflect"
	"strings"
	"testing"
	"time"
)

var evening = time.Date(2026, 5, 2, 20, 30, 0, 0, time.UTC)

func TestDemoTellsItsStory(t *testing.T) {
	s := Demo(evening)
	readings, events, err := All(s)
	if err != nil {
		t.Fatal(err)
	}
	var kinds []string
	off := map[string]time.Time{}
	for i, e := range events {
		kinds = append(kinds, string(e.Kind)+" "+e.Piece)
		if i > 0 && e.Time.Before(events[i-1].Time) {
			t.Errorf("event %v stands behind a later one", e)
		}
		if e.Kind == PieceOff {
			off[e.Piece] = e.Time
		}
	}
	story := strings.Join(kinds, ", ")
	if want := "lid , wrap flat, fuel , wrap packer, piece-off flat, piece-off packer, piece-off shoulder"; story != want {
		t.Errorf("events: %s; want %s", story, want)
	}
	for _, p := range s.Pieces {
		if at, ok := off[p.ID]; !ok || at.After(s.ServeBy) {
			t.Errorf("%s off at %v, serving is at %v", p.ID, at, s.ServeBy)
		}
	}
	coldest, probes := math.Inf(1), map[string]int{}
	for i, r := range readings {
		probes[r.Probe]++
		if i > 0 && r.Time.Before(readings[i-1].Time) {
			t.Fatalf("reading %v stands behind a later one", r)
		}
		if r.Probe == "pit" && r.Time.Sub(evening) > 5*time.Hour && r.Time.Sub(evening) < 7*time.Hour {
			coldest = min(coldest, float64(r.Celsius))
		}
	}
	if coldest > 90 || coldest < 60 {
		t.Errorf("the fading fire lets the pit fall to %.1f °C, want 60 to 90", coldest)
	}
	if len(probes) != 6 {
		t.Errorf("probes %v, want six", probes)
	}
	if probes["flat"] != int(s.Length/s.Interval)+1 {
		t.Errorf("flat was read %d times in %v every %v", probes["flat"], s.Length, s.Interval)
	}
}

func TestSameScenarioSameCook(t *testing.T) {
	s := Demo(evening)
	s.Length = 3 * time.Hour
	a, _, err := All(s)
	b, _, _ := All(s)
	if err != nil || !reflect.DeepEqual(a, b) {
		t.Errorf("two runs differ (%v)", err)
	}
	s.Seed++
	if c, _, _ := All(s); reflect.DeepEqual(a, c) {
		t.Error("another seed gives the same cook")
	}
}

func TestEveryFireHoldsItsSetpoint(t *testing.T) {
	for _, f := range []Fire{Electric, Pellet, Offset, Kamado} {
		s := plain("pork_shoulder", 3, 100, 110, f)
		s.Length = 10 * time.Hour
		readings, _, err := All(s)
		if err != nil {
			t.Fatal(err)
		}
		var sum, square, n float64
		for _, r := range readings {
			if r.Probe == "pit" && r.Time.Sub(s.Started) > 90*time.Minute {
				sum, square, n = sum+float64(r.Celsius), square+float64(r.Celsius*r.Celsius), n+1
			}
		}
		mean := sum / n
		if sd := math.Sqrt(square/n - mean*mean); math.Abs(mean-110) > 5 || sd > 9 || sd < 0.3 {
			t.Errorf("%s: pit %.1f ± %.1f °C, want 110 ± 5 with a deviation of 0.3 to 9", f, mean, sd)
		}
	}
}

func TestLidDipsThePitAndHardlyThePiece(t *testing.T) {
	s := plain("brisket_flat", 2.4, 52, 107, Pellet)
	s.Length = 5 * time.Hour
	s.Script = []Act{{After: 4 * time.Hour, Kind: Lid}, {After: 4*time.Hour + time.Minute, Kind: Spritz, Unlogged: true}}
	readings, events, err := All(s)
	if err != nil {
		t.Fatal(err)
	}
	if len(events) != 1 || events[0].Kind != Lid || !events[0].Time.Equal(s.Started.Add(4*time.Hour)) {
		t.Errorf("events %v, want the lid alone", events)
	}
	pit, core := math.Inf(1), 0.0
	var before float64
	for _, r := range readings {
		switch since := r.Time.Sub(s.Started); {
		case since == 4*time.Hour && r.Probe == "core":
			before = float64(r.Celsius)
		case since > 4*time.Hour && r.Probe == "pit":
			pit = min(pit, float64(r.Celsius))
		case since > 4*time.Hour && r.Probe == "core":
			core = max(core, math.Abs(float64(r.Celsius)-before))
		}
	}
	if pit > 95 || core > 4 {
		t.Errorf("the lid lets the pit fall to %.1f °C and moves the core by %.1f K", pit, core)
	}
}

func TestProbesLieAsTold(t *testing.T) {
	s := plain("brisket_flat", 2.4, 52, 107, Electric)
	s.Interval, s.Length = 15*time.Second, 12*time.Hour
	s.Probes[1].Spikes, s.Probes[1].Dropouts, s.Probes[1].Step = 2, 0.5, 5./9
	readings, _, err := All(s)
	if err != nil {
		t.Fatal(err)
	}
	n, absurd := 0, 0
	for _, r := range readings {
		if r.Probe != "core" {
			continue
		}
		n++
		if r.Celsius == -127 || r.Celsius == 85 || r.Celsius == 300 {
			absurd++
		} else if steps := float64(r.Celsius) * 9 / 5; math.Abs(steps-math.Round(steps)) > 0.02 && r.Celsius < 110 {
			absurd++
		}
	}
	if absurd < 10 || absurd > 40 {
		t.Errorf("%d absurd values in 12 h at 2 per hour", absurd)
	}
	if whole := 12*240 + 1; n > whole-60 || n < whole/2 {
		t.Errorf("%d of %d readings with a silence of some minutes every two hours", n, whole)
	}
}

func TestScenarioThatCannotBe(t *testing.T) {
	s := plain("brisket_flat", 2.4, 52, 107, "gasoline")
	s.Probes[0].Name = "core"
	s.Script = []Act{{Kind: Wrap, Piece: "nobody"}}
	_, err := New(s)
	if err == nil {
		t.Fatal("no error")
	}
	for _, part := range []string{"gasoline", "stands twice", "nobody"} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("error %q does not mention %q", err, part)
		}
	}
}

func BenchmarkThreePiecesADay(b *testing.B) {
	for b.Loop() {
		s := Demo(evening)
		s.Interval, s.Length = time.Second, 24*time.Hour
		r, err := New(s)
		if err != nil {
			b.Fatal(err)
		}
		for _, ok := r.Next(); ok; _, ok = r.Next() {
		}
	}
}

func TestInventedCooksDifferAndFinish(t *testing.T) {
	fires, cuts, finished := map[Fire]int{}, map[string]int{}, 0
	for seed := range uint64(16) {
		s := Invent(seed, evening)
		fires[s.Fire]++
		cuts[s.Pieces[0].Cut]++
		s.Interval = time.Minute
		readings, _, err := All(s)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if last := readings[len(readings)-1].Time.Sub(evening); last < 35*time.Hour {
			finished++
			if last < 90*time.Minute {
				t.Errorf("seed %d: %v kg of %s done after %v", seed, s.Pieces[0].MassKg, s.Pieces[0].Cut, last)
			}
		}
	}
	if len(fires) != 4 || len(cuts) < 5 || finished < 13 {
		t.Errorf("16 cooks: fires %v, cuts %v, %d finished", fires, cuts, finished)
	}
	if a, b := Invent(5, evening), Invent(5, evening); !reflect.DeepEqual(a, b) {
		t.Error("one seed gives two scenarios")
	}
}
