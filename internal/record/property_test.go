package record

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"stallkeeper/internal/cook"
)

// drawDraft draws what somebody might enter, sensible or not.
func drawDraft(t *rapid.T, last int64) Draft {
	piece := rapid.SampledFrom([]cook.PieceID{"", "flat", "point", "none"}).Draw(t, "piece")
	stage := rapid.SampledFrom(cook.Stages()).Draw(t, "stage")
	seq := rapid.Int64Range(0, last+1).Draw(t, "seq")
	bodies := []Body{Opened{Product: "brisket", Pieces: []Piece{{ID: "flat"}}}, Changed{Code: "7"}, Closed{}, Piece{ID: "point"}, RawMaterial{Name: "salt", Reference: "L1"},
		Weighed{Piece: piece, When: WhenRaw, MassKg: rapid.Float64Range(-1, 10).Draw(t, "kg")}, StageStarted{Stage: stage, Piece: piece}, StageEnded{Stage: stage, Piece: piece},
		Monitoring{ControlPoint: ControlPoint{Measured: "71 °C"}, Verdict: Met}, Deviation{What: rapid.String().Draw(t, "what")},
		CorrectiveAction{Deviation: seq, Cause: "a", Control: "b", Prevention: "c", Disposition: Held}, Verification{Of: "records", Found: "good", Good: true},
		Review{Ship: true}, Note{Text: rapid.String().Draw(t, "text")}, Withdrawal{}}
	d := Draft{Lot: rapid.SampledFrom([]cook.LotID{"m1", "m2", ""}).Draw(t, "lot"), Maker: Maker{By: rapid.SampledFrom([]string{"KM", "ST", ""}).Draw(t, "by"), Auth: AuthSaid},
		At: monday.Add(time.Duration(rapid.IntRange(-90, 5).Draw(t, "minutes")) * time.Minute), Body: bodies[rapid.IntRange(0, len(bodies)-1).Draw(t, "body")]}
	if rapid.IntRange(0, 3).Draw(t, "correct") == 0 {
		d.Corrects, d.Reason = seq, "because"
	}
	return d
}

// Whatever is taken can be folded, its chain is whole, nothing that was entered is lost, and any change of one entry is found.
func TestJournal_WhatIsTakenCanBeReadAndVerified(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var entries []Entry
		fold := func(id cook.LotID) *Lot {
			var own []Entry
			for _, e := range entries {
				if e.Lot == id {
					own = append(own, e)
				}
			}
			l, err := Fold(own)
			if err != nil {
				t.Fatalf("fold: %v", err)
			}
			return l
		}
		for range rapid.IntRange(1, 40).Draw(t, "tries") {
			d := drawDraft(t, int64(len(entries)))
			var prev Hash
			if n := len(entries); n > 0 {
				prev = entries[n-1].Hash
			}
			e, err := d.Make(int64(len(entries)+1), prev, monday)
			if err != nil || fold(e.Lot).Accepts(e) != nil {
				continue
			}
			entries = append(entries, e)
			l := fold(e.Lot)
			if l.Last != e.Seq {
				t.Fatalf("the lot ends at %d, entered was %d", l.Last, e.Seq)
			}
			for _, s := range l.Stages {
				if !s.Until.IsZero() && s.Until.Before(s.From) {
					t.Fatalf("stage ends before it starts: %+v", s)
				}
			}
			if r, ok := l.Review(); ok && r.Body.Ship && len(l.OpenDeviations()) > 0 {
				t.Fatalf("a lot with an open deviation is let go")
			}
		}
		lines := make([]Line, len(entries))
		for i := range entries {
			lines[i].Entry = &entries[i]
		}
		if r, err := Verify(Material{Lines: each(lines), Seals: each([]SealLine(nil))}); err != nil || !r.Good() {
			t.Fatalf("report %+v, %v", r, err)
		}
		if len(entries) == 0 {
			return
		}
		at := rapid.IntRange(0, len(entries)-1).Draw(t, "at")
		switch rapid.IntRange(0, 4).Draw(t, "change") {
		case 0:
			entries[at].By += "x"
		case 1:
			entries[at].At = entries[at].At.Add(time.Microsecond)
		case 2:
			entries[at].Corrects++
		case 3:
			entries[at].Lot += "x"
		default:
			entries[at].Prev[at%32] ^= 1
		}
		r, err := Verify(Material{Lines: each(lines), Seals: each([]SealLine(nil))})
		if err != nil || r.Good() || r.Findings[0].Number != entries[at].Seq {
			t.Fatalf("entry %d changed: %+v, %v", at+1, r, err)
		}
	})
}

func FuzzReadExport(f *testing.F) {
	whole, err := newShopBook(f).export("m1").JSON()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(whole)
	f.Add([]byte(`{"format":"stallkeeper-records 1","keys":[],"from":{"seq":0,"hash":""},"entries":[{}],"seals_from":{},"seals":[],"checkpoints":[]}`))
	trust := publicOf(keyOf('a'))
	f.Fuzz(func(t *testing.T, data []byte) {
		x, err := ReadExport(data)
		if err != nil {
			return
		}
		r, err := x.Verify(trust)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := x.Fold(); err != nil && r.Good() && x.Lot != "" {
			t.Fatalf("a good export cannot be folded: %v", err)
		}
	})
}

func FuzzDecode(f *testing.F) {
	for _, k := range Kinds() {
		f.Add(string(k), []byte(`{"text":"x","mass_kg":1,"points":[{"true_c":0,"read_c":1}],"stage":"cure","formula":{}}`))
	}
	f.Fuzz(func(t *testing.T, kind string, body []byte) {
		b, err := Decode(Kind(kind), body)
		if err != nil {
			return
		}
		e, err := Draft{Lot: "m1", Maker: Maker{By: "KM", Auth: AuthSaid}, Body: b}.Make(1, Hash{}, monday)
		if err != nil {
			return
		}
		if _, err := e.Decode(); err != nil {
			t.Fatalf("%s was taken and cannot be read: %v", e.Body, err)
		}
	})
}
