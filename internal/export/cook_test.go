package export

import (
	"bytes"
	"crypto/ed25519"
	"math"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

// began is when the fire of the example was lit, in the time zone of the shop.
func zone(t testing.TB) *time.Location {
	t.Helper()
	in, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	return in
}

func began(in *time.Location) time.Time { return time.Date(2026, 5, 1, 19, 0, 0, 0, in) }

// writer makes entries in the order given, as the store would.
type writer struct {
	t    testing.TB
	list []record.Entry
	prev record.Hash
}

func (w *writer) enter(lot cook.LotID, by string, auth record.Auth, at time.Time, late time.Duration, body record.Body) int64 {
	w.t.Helper()
	return w.draft(record.Draft{Lot: lot, At: at, Maker: record.Maker{By: by, Auth: auth}, Body: body}, at.Add(late))
}

func (w *writer) draft(d record.Draft, entered time.Time) int64 {
	w.t.Helper()
	e, err := d.Make(int64(len(w.list)+1), w.prev, entered)
	if err != nil {
		w.t.Fatalf("make entry %d: %v", len(w.list)+1, err)
	}
	lot, err := record.Fold(w.of(d.Lot))
	if err != nil {
		w.t.Fatal(err)
	}
	if err := lot.Accepts(e); err != nil {
		w.t.Fatalf("entry %d: %v", e.Seq, err)
	}
	w.list, w.prev = append(w.list, e), e.Hash
	return e.Seq
}

func (w *writer) of(lot cook.LotID) []record.Entry {
	var out []record.Entry
	for _, e := range w.list {
		if e.Lot == lot {
			out = append(out, e)
		}
	}
	return out
}

const overnight cook.LotID = "26-05-01-brisket"

// badNight is an invented cook of 14 hours, whose come-up takes too long and whose chilling falls behind: two deviations, a correction, a late
// entry, a check, a verification and a review. Limits as in the FSIS guidelines that the entries name.
func badNight(t testing.TB) Account {
	t.Helper()
	in := zone(t)
	w := &writer{t: t}
	at := func(h float64) time.Time { return began(in).Add(time.Duration(h * float64(time.Hour))) }
	key := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{7}, ed25519.SeedSize))
	w.enter("", "daemon", record.AuthDaemon, at(-200), 0, record.NewKey(key, nil))
	altitude, tolerance := 240.0, thermal.CelsiusDelta(1)
	w.enter("", "JB", record.AuthPIN, at(-2), 0, record.ProbeChecked{Instrument: "flat", Method: "ice+boiling", AltitudeM: &altitude, Tolerance: &tolerance, Passed: true,
		Points: []record.CheckPoint{{True: 0, Read: 0.3}, {True: 99.2, Read: 98.8}}})
	w.enter("", "JB", record.AuthPIN, at(-1.9), 0, record.ProbeChecked{Instrument: "hand 1", Method: "ice", Tolerance: &tolerance, Points: []record.CheckPoint{{True: 0, Read: 1.6}}, Action: "adjusted, checked again"})
	w.enter("", "JB", record.AuthPIN, at(-1.8), 0, record.ProbeChecked{Instrument: "hand 1", Method: "ice", Tolerance: &tolerance, Passed: true, Points: []record.CheckPoint{{True: 0, Read: 0.1}}})
	w.enter(overnight, "KM", record.AuthPIN, at(-170), 0, record.Opened{Product: "Smoked cured beef brisket", Code: "SB-12", Class: record.Refrigerated,
		Pieces: []record.Piece{{ID: "flat", Cut: "brisket_flat_cured", Intact: true, ThicknessMM: 62}}})
	w.enter(overnight, "KM", record.AuthPIN, at(-169.9), 0, record.RawMaterial{Name: "beef brisket", Supplier: "Łąkowa Farm", Reference: "D-4471", Received: at(-172), UseBy: at(-10), MassKg: 5.6})
	w.enter(overnight, "KM", record.AuthPIN, at(-169.8), 0, record.Weighed{Piece: "flat", When: record.WhenRaw, MassKg: 5.6, Instrument: "floor scale"})
	w.enter(overnight, "KM", record.AuthPIN, at(-169.5), 0, record.Formulation{Name: "equilibrium brine", Formula: []byte(`{"method":"equilibrium","green_kg":5.6,"water_kg":2.8,"cure_g":21.0,"cure_strength_percent":6.25,"nitrite_ppm":156}`)})
	smoke := w.enter(overnight, "KM", record.AuthPIN, at(0), 0, record.StageStarted{Stage: cook.StageSmoke, Piece: "flat", Probes: []cook.ProbeID{"flat", "pit"}})
	come := record.ControlPoint{CCP: "3 smoking", Limit: "50 to 130 °F (10 to 54.4 °C) within 6 h in all", Rule: "fsis-meat-7log come-up",
		Source: "USDA FSIS Cooking Guideline (Revised Appendix A), FSIS-GD-2021-14, December 2021", Measured: "7 h 5 min so far", Stage: cook.StageSmoke, Piece: "flat"}
	w.enter(overnight, "daemon", record.AuthDaemon, at(6.6), 0, record.Monitoring{ControlPoint: come, Instrument: "flat", LastCheck: 2, CheckedAt: at(-2), Verdict: record.Missed, Because: "the coldest probe stood between the two limits for longer than 6 h"})
	first := w.enter(overnight, "daemon", record.AuthDaemon, at(6.6), time.Minute, record.Deviation{ControlPoint: come, From: at(0.6), Until: at(7.7), What: "the come-up took longer than 6 h"})
	wrong := w.enter(overnight, "KM", record.AuthPIN, at(9), 0, record.Weighed{Piece: "flat", When: record.WhenSmoked, MassKg: 38, Instrument: "floor scale"})
	w.draft(record.Draft{Lot: overnight, At: at(9), Maker: record.Maker{By: "KM", Auth: record.AuthPIN}, Body: record.Weighed{Piece: "flat", When: record.WhenSmoked, MassKg: 3.8, Instrument: "floor scale"},
		Corrects: wrong, Reason: "the decimal point slipped"}, at(9.1))
	w.enter(overnight, "KM", record.AuthPIN, at(7.75), 85*time.Minute, record.CorrectiveAction{Deviation: first, Cause: "The fire faded while the coals were ashed over, and nobody raised the pit: " + strings.Repeat("the log shows the pit at 84 °C until 02:10. ", 6),
		Control: "Fresh coals at 02:15; pit back at 110 °C by 02:50.", Prevention: "The night list now asks for a look at the fire at midnight; the alarm for a falling pit goes to two people.",
		Disposition: record.Held, Product: "3.8 kg held in the cooler, labelled, until the processing authority has looked at the growth of Staphylococcus aureus", Reassessed: ""})
	hot := thermal.FromFahrenheit(161.2)
	w.enter(overnight, "KM", record.AuthPIN, at(13.9), 0, record.Monitoring{ControlPoint: record.ControlPoint{CCP: "3 smoking", Limit: "158 °F (70.1 °C) at the coldest point", Rule: "fsis-meat-7log dwell",
		Source: "USDA FSIS Cooking Guideline (Revised Appendix A), FSIS-GD-2021-14, December 2021, Table 2", Stage: cook.StageSmoke, Piece: "flat"}, Celsius: &hot, Instrument: "hand 1", LastCheck: 4, CheckedAt: at(-1.8), Verdict: record.Met})
	w.enter(overnight, "KM", record.AuthPIN, at(14), 0, record.StageEnded{Stage: cook.StageSmoke, Piece: "flat"})
	chill := w.enter(overnight, "KM", record.AuthPIN, at(14.1), 0, record.StageStarted{Stage: cook.StageChill, Piece: "flat", Probes: []cook.ProbeID{"flat"}})
	cool := record.ControlPoint{CCP: "5 chilling", Limit: "130 to 80 °F within 1 h 30 min", Rule: "fsis-cooling-1 cooling", Source: "USDA FSIS Stabilization Guideline (Revised Appendix B), FSIS-GD-2021-13",
		Measured: "2 h 20 min", Stage: cook.StageChill, Piece: "flat"}
	second := w.enter(overnight, "daemon", record.AuthDaemon, at(16.9), 0, record.Deviation{ControlPoint: cool, From: at(14.9), Until: at(17.2), What: "the first stage of the cooling took too long"})
	w.enter(overnight, "JB", record.AuthPIN, at(18), 0, record.CorrectiveAction{Deviation: second, Cause: "Chiller door was found ajar; closed.", Control: "Product moved to the ice bath at 12:10.",
		Prevention: "Door switch ordered 註文; until then the door is looked at every half hour.", Disposition: record.Destroyed, Product: "all of it, 3.8 kg, seen by JB"})
	w.enter(overnight, "KM", record.AuthPIN, at(22), 0, record.StageEnded{Stage: cook.StageChill, Piece: "flat"})
	w.enter(overnight, "KM", record.AuthPIN, at(22.1), 0, record.Closed{Note: "nothing left to sell"})
	w.enter(overnight, "RO", record.AuthPIN, at(23), 0, record.Verification{Of: "records", Found: "entries complete; one entry made 85 minutes late, reason asked for", Good: true})
	w.enter(overnight, "RO", record.AuthPIN, at(23.1), 0, record.Review{Ship: false, Note: "destroyed, nothing leaves"})
	lot, err := record.Fold(w.of(overnight))
	if err != nil {
		t.Fatal(err)
	}
	runs := map[int64]Curve{smoke: {Lines: []Line{trace("flat", false, at(0), 14, core), trace("pit", true, at(0), 14, pit)}}, chill: {Lines: []Line{trace("flat", false, at(14.1), 7.9, cooling)}}}
	a := Account{Establishment: "Example Smokehouse, 1 Example Road, permit 000", Lot: lot, Shop: w.of("")[1:], Location: in, File: "26-05-01-brisket.json"}
	for _, s := range lot.Stages {
		c := runs[s.Seq]
		c.Stage, c.Until = s, s.Until
		a.Curves = append(a.Curves, c)
	}
	head := w.list[len(w.list)-1]
	x := &record.Export{Format: record.ExportFormat, Lot: overnight, Keys: []record.Key{record.NewKey(key, nil)}, Seals: []record.SealLine{},
		Checkpoints: []record.Checkpoint{record.Checkpoint{At: at(23.2), Seq: head.Seq, Head: head.Hash}.Sign(key)}}
	for _, e := range w.list {
		x.Entries = append(x.Entries, record.Line{Entry: &e})
	}
	a.Proof = &Proof{Checkpoint: x.Checkpoints[0], Entries: int64(len(x.Entries))}
	if a.JSON, err = x.JSON(); err != nil {
		t.Fatal(err)
	}
	return a
}

// trace draws an invented curve into buckets of 84 s, with a gap of 50 minutes at 4.2 h.
func trace(name cook.ProbeID, isPit bool, from time.Time, hours float64, shape func(h float64) float64) Line {
	l := Line{Probe: name, Pit: isPit}
	for h := 0.0; h < hours; h += hours / 600 {
		if name == "flat" && hours > 10 && h > 4.2 && h < 4.2+50.0/60 {
			continue
		}
		c := shape(h)
		l.Trace = append(l.Trace, cook.Bucket{Time: from.Add(time.Duration(h * float64(time.Hour))), Min: thermal.Celsius(c - 0.2), Max: thermal.Celsius(c + 0.2), Last: thermal.Celsius(c)})
	}
	return l
}

func core(h float64) float64 {
	return 4 + 62*(1-math.Exp(-h/4.2)) + max(0, h-9)*3.4
}

func pit(h float64) float64 {
	c := 107 + 6*math.Sin(h*9)
	if h > 2 && h < 7.2 {
		c -= 22 * math.Sin((h-2)/5.2*math.Pi)
	}
	return c
}

func cooling(h float64) float64 { return 3 + 68*math.Exp(-h/2.6) }
