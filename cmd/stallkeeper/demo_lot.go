package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/brine"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/simulate"
)

// Who made the entries of the demo, and what its lots are made of.
const (
	demoBy     = "AB"
	demoOther  = "CD"
	demoPiece  = cook.PieceID("flat")
	demoCooler = cook.ProbeID("cooler")
	demoFrom   = "the abattoir (invented)"
	tableScale = "table scale"

	cureDays = 19 // what the formulation asks for: a test compares
)

// demoSheet is the cure of the flat that is on the fire tonight.
func demoSheet() brine.Sheet {
	return brine.Sheet{Meat: "3.15kg", Water: "2.7kg", Ice: "450g", Salt: "155g", Sugar: "65g", CureNitrite: "6.25%", WantPPM: "120",
		Spices: "black pepper, coriander, mustard seed, bay leaf", Method: string(brine.Equilibrium), ScaleResolution: "0.1g", Thickness: "64mm", Flat: true}
}

// demoLot is the invented way of tonight's flat. What lies before its fire is entered in one go, from the sheet that hung at the cooler.
type demoLot struct {
	api  daemonAPI
	fire time.Time // when tonight's pieces go on
	id   cook.LotID
	cure time.Time // it goes into the brine
	dry  time.Time // out of it, rubbed, and back into the cooler without a lid
}

func newDemoLot(api daemonAPI, fire time.Time) *demoLot {
	dry := fire.AddDate(0, 0, -1).Add(-90 * time.Minute)
	return &demoLot{api: api, fire: fire, cure: dry.AddDate(0, 0, -cureDays), dry: dry}
}

// past enters what was before tonight: another lot, of which portions are left, and the flat until it leaves the cooler.
func (d *demoLot) past(ctx context.Context, p *publisher, s simulate.Scenario) error {
	if err := d.earlier(ctx); err != nil {
		return err
	}
	if err := d.before(ctx); err != nil {
		return err
	}
	i := slices.IndexFunc(s.Probes, func(p simulate.Probe) bool { return p.Name == string(demoCooler) })
	// As a logger hands over what it has kept. A stage is judged by what was measured: that has to be there before it.
	days := simulate.Cooler(s.Probes[i], d.cure.Add(-10*time.Minute), d.fire.Add(-10*time.Minute), 10*time.Minute, s.Seed)
	if err := sendAll(ctx, p, days); err != nil {
		return err
	}
	if err := p.flush(ctx); err != nil {
		return err
	}
	return d.cooled(ctx)
}

// sheetLine is a line of the sheet.
type sheetLine struct {
	at   time.Time
	by   string
	body record.Body
}

// enter makes an entry of each line, and says of those of past days why they come late.
func (d *demoLot) enter(ctx context.Context, lot cook.LotID, lines ...sheetLine) error {
	for _, l := range lines {
		body, err := json.Marshal(l.body)
		if err != nil {
			return err
		}
		in := entry{signed: signed{At: l.at, By: l.by}, Lot: lot, Kind: l.body.Kind(), Body: body}
		if l.at.Before(d.fire) {
			in.Reason = "from the sheet at the cooler"
		}
		if err := d.api.call(ctx, "POST", "/records", in, nil); err != nil {
			return fmt.Errorf("enter the invented %s: %w", in.Kind, err)
		}
	}
	return nil
}

// open opens a lot and says how it is called.
func (d *demoLot) open(ctx context.Context, at time.Time, o record.Opened) (cook.LotID, error) {
	in := struct {
		signed
		record.Opened
	}{signed{At: at, By: demoBy}, o}
	var lot struct {
		ID cook.LotID `json:"id"`
	}
	err := d.api.call(ctx, "POST", "/lots", in, &lot)
	return lot.ID, err
}

// before enters what came before the cure: check of the cooler's probe, meat, weights and formulation.
func (d *demoLot) before(ctx context.Context) error {
	check := map[string]any{"probe": demoCooler, "time": d.cure.Add(-26 * time.Hour), "by": demoBy, "method": "ice", "tolerance_k": 1,
		"points": []map[string]float64{{"true_c": 0, "read_c": 0.1}}, "note": "invented"}
	if err := d.api.call(ctx, "POST", "/checks", check, nil); err != nil {
		return err
	}
	var err error
	d.id, err = d.open(ctx, d.cure.Add(-3*time.Hour), record.Opened{Product: "cured flat (invented)", Class: record.Refrigerated,
		Pieces: []record.Piece{{ID: demoPiece, Cut: "brisket_flat_cured", ThicknessMM: 64}}, Note: "Invented for the demo."})
	if err != nil {
		return err
	}
	var kept struct {
		Name   string          `json:"name"`
		Answer json.RawMessage `json:"answer"`
	}
	sheet := map[string]any{"name": "flat, equilibrium brine (invented)", "sheet": demoSheet()}
	if err := d.api.call(ctx, "POST", "/formulations", sheet, &kept); err != nil {
		return err
	}
	return d.enter(ctx, d.id,
		sheetLine{d.cure.Add(-170 * time.Minute), demoBy, record.RawMaterial{Name: "beef brisket, flat", Supplier: demoFrom, Reference: "delivery 0931 (invented)",
			Received: d.cure.Add(-3 * time.Hour), UseBy: d.cure.AddDate(0, 0, 5), MassKg: 3.9}},
		sheetLine{d.cure.Add(-2 * time.Hour), demoBy, record.RawMaterial{Name: "curing salt, 6.25 % sodium nitrite", Supplier: "the spice trader (invented)", Reference: "batch 27 (invented)"}},
		sheetLine{d.cure.Add(-100 * time.Minute), demoBy, record.Weighed{Piece: demoPiece, When: record.WhenRaw, MassKg: 3.9, Instrument: tableScale}},
		sheetLine{d.cure.Add(-70 * time.Minute), demoBy, record.Weighed{Piece: demoPiece, When: record.WhenTrimmed, MassKg: 3.15, Instrument: tableScale}},
		sheetLine{d.cure.Add(-time.Hour), demoBy, record.Formulation{Name: kept.Name, Formula: kept.Answer}})
}

// cooled enters the stages in the cooler.
func (d *demoLot) cooled(ctx context.Context) error {
	probes := []cook.ProbeID{demoCooler}
	return d.enter(ctx, d.id,
		sheetLine{d.cure, demoBy, record.StageStarted{Stage: cook.StageCure, Piece: demoPiece, Probes: probes}},
		sheetLine{d.dry, demoBy, record.StageEnded{Stage: cook.StageCure, Piece: demoPiece}},
		sheetLine{d.dry, demoBy, record.Weighed{Piece: demoPiece, When: record.WhenCured, MassKg: 3.2, Instrument: tableScale}},
		sheetLine{d.dry, demoBy, record.StageStarted{Stage: cook.StageDry, Piece: demoPiece, Probes: probes, Note: "rinsed, rubbed, uncovered"}})
}

// move ends the stage that runs and begins the next, on the probes of a cook or on those named; "none" only ends it.
func (d *demoLot) move(ctx context.Context, at time.Time, to cook.Stage, id cook.ID, probes ...cook.ProbeID) error {
	in := map[string]any{"to": to, "piece": demoPiece, "at": at, "by": demoBy, "cook": id, "probes": probes}
	return d.api.call(ctx, "POST", "/lots/"+string(d.id)+"/stage", in, nil)
}

// follow has the flat held once it was taken off the fire.
func (d *demoLot) follow(ctx context.Context, e simulate.Event) error {
	if e.Kind != simulate.PieceOff || e.Piece != string(demoPiece) {
		return nil
	}
	return d.move(ctx, e.Time, cook.StageHold, 0, cook.ProbeID(demoPiece))
}

// served ends the holding at the serving hour and weighs what is left.
func (d *demoLot) served(ctx context.Context, s simulate.Scenario, now simulate.Truth) error {
	if err := d.move(ctx, s.ServeBy, "none", 0); err != nil {
		return err
	}
	i := slices.IndexFunc(s.Pieces, func(p simulate.Piece) bool { return p.ID == string(demoPiece) })
	left := math.Round(100*s.Pieces[i].MassKg*(1-now.Loss)) / 100
	return d.enter(ctx, d.id, sheetLine{s.ServeBy, demoBy, record.Weighed{Piece: demoPiece, When: record.WhenServed, MassKg: left, Instrument: tableScale}})
}

// earlier is a lot of twelve days ago that was kept by hand thermometer: pulled pork, of which portions are in the freezer.
func (d *demoLot) earlier(ctx context.Context) error {
	on := func(days, hour, minute int) time.Time {
		y, m, day := d.fire.Date()
		return time.Date(y, m, day+days, hour, minute, 0, 0, d.fire.Location())
	}
	shoulder := cook.PieceID("shoulder")
	lot, err := d.open(ctx, on(-13, 17, 0), record.Opened{Product: "pulled pork (invented)", Class: record.Frozen,
		Pieces: []record.Piece{{ID: shoulder, Cut: "pork_shoulder", Intact: true}}, Note: "Invented for the demo. Watched by hand thermometer."})
	if err != nil {
		return err
	}
	core, hand := thermal.Celsius(93.6), "hand thermometer"
	if err := d.enter(ctx, lot,
		sheetLine{on(-13, 17, 10), demoBy, record.RawMaterial{Name: "pork shoulder", Supplier: demoFrom, Reference: "delivery 0917 (invented)", Received: on(-13, 16, 30), UseBy: on(-9, 23, 0), MassKg: 3.1}},
		sheetLine{on(-13, 17, 30), demoBy, record.Weighed{Piece: shoulder, When: record.WhenRaw, MassKg: 3.1, Instrument: tableScale}},
		sheetLine{on(-13, 20, 40), demoBy, record.StageStarted{Stage: cook.StageSmoke, Piece: shoulder}},
		sheetLine{on(-12, 10, 35), demoBy, record.Monitoring{ControlPoint: record.ControlPoint{CCP: "smoking", Limit: "70.0 °C (158 °F) in the thickest part", Rule: "fsis-meat-7log dwell",
			Source: "USDA FSIS Cooking Guideline, FSIS-GD-2021-14", Stage: cook.StageSmoke, Piece: shoulder}, Celsius: &core, Instrument: hand, Verdict: record.Met}},
		sheetLine{on(-12, 10, 40), demoBy, record.StageEnded{Stage: cook.StageSmoke, Piece: shoulder}},
		sheetLine{on(-12, 11, 45), demoBy, record.StageStarted{Stage: cook.StageChill, Piece: shoulder, Note: "pulled, in flat bags in ice water"}},
		sheetLine{on(-12, 12, 0), demoBy, record.Weighed{Piece: shoulder, When: record.WhenSmoked, MassKg: 1.86, Instrument: tableScale}},
		sheetLine{on(-12, 14, 5), demoBy, record.Monitoring{ControlPoint: record.ControlPoint{CCP: "chilling", Limit: "from 57 to 21 °C within 2 h, to 5 °C within 6 h in all",
			Rule: "foodcode-2022 cooling", Source: "FDA Food Code 2022, 3-501.14", Measured: "57 °C at 11:50, 19 °C at 12:40, 3.8 °C at 14:05", Stage: cook.StageChill, Piece: shoulder}, Instrument: hand, Verdict: record.Met}},
		sheetLine{on(-12, 14, 10), demoBy, record.StageEnded{Stage: cook.StageChill, Piece: shoulder}}); err != nil {
		return err
	}
	in := map[string]any{"lot": lot, "piece": shoulder, "portions": 8, "mass_kg": 0.23, "kept": record.InFreezer, "where": "freezer, upper drawer", "at": on(-12, 14, 30), "by": demoBy}
	if err := d.api.call(ctx, "POST", "/stock", in, nil); err != nil {
		return err
	}
	if err := d.enter(ctx, lot, sheetLine{on(-11, 9, 0), demoOther, record.Review{Ship: true, Note: "whole, all limits met"}}, sheetLine{on(-11, 9, 5), demoBy, record.Closed{}}); err != nil {
		return err
	}
	out := map[string]any{"lot": lot, "portions": 2, "why": "served", "at": on(-3, 18, 0), "by": demoBy}
	return d.api.call(ctx, "POST", "/stock/take", out, nil)
}
