package api

import (
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
)

// stageDoc is a watched stage with its clocks.
type stageDoc struct {
	Lot     cook.LotID     `json:"lot,omitempty"`
	Cook    cook.ID        `json:"cook,omitempty"`
	Stage   cook.Stage     `json:"stage"`
	Piece   cook.PieceID   `json:"piece,omitempty"`
	Intact  bool           `json:"intact"`
	Probes  []cook.ProbeID `json:"probes"`
	From    time.Time      `json:"from"`
	Until   *time.Time     `json:"until"`
	At      *time.Time     `json:"at"`
	Probe   cook.ProbeID   `json:"probe"`
	Celsius *float64       `json:"celsius"`
	Clocks  []clockDoc     `json:"clocks"`
}

// clockDoc is a limit as it stands. Only forecast and at_risk are a forecast.
type clockDoc struct {
	Name     monitor.ClockName  `json:"name"`
	Set      string             `json:"set"`
	Source   string             `json:"source"`
	Needed   string             `json:"needed"`
	State    monitor.ClockState `json:"state"`
	Probe    cook.ProbeID       `json:"probe"`
	Used     float64            `json:"used_seconds"`
	Unseen   float64            `json:"unseen_seconds"`
	Within   *float64           `json:"within_seconds"`
	Since    *time.Time         `json:"since"`
	Due      *time.Time         `json:"due"`
	Forecast *time.Time         `json:"forecast"`
	AtRisk   bool               `json:"at_risk"`
	Because  string             `json:"because"`
}

func stageDocsOf(views []monitor.StageView) []stageDoc {
	out := make([]stageDoc, 0, len(views))
	for _, v := range views {
		d := stageDoc{Lot: v.Watch.Lot, Cook: v.Cook, Stage: v.Watch.Stage, Piece: v.Watch.Piece, Intact: v.Watch.Intact,
			Probes: append([]cook.ProbeID{}, v.Watch.Probes...), From: v.Watch.From.UTC(), Until: orNull(v.Watch.Until),
			At: orNull(v.At), Probe: v.Probe, Celsius: finite(v.Celsius), Clocks: make([]clockDoc, 0, len(v.Clocks))}
		for _, c := range v.Clocks {
			d.Clocks = append(d.Clocks, clockDocOf(c))
		}
		out = append(out, d)
	}
	return out
}

func clockDocOf(c monitor.Clock) clockDoc {
	d := clockDoc{Name: c.Name, Set: c.Set, Source: c.Source, Needed: c.Needed, State: c.State, Probe: c.Probe, Used: c.Used.Seconds(),
		Unseen: c.Unseen.Seconds(), Since: orNull(c.Since), Due: orNull(c.Due), Forecast: orNull(c.Forecast), AtRisk: c.AtRisk, Because: c.Because}
	if c.Within > 0 {
		d.Within = finite(c.Within.Seconds())
	}
	return d
}
