package api

import (
	"cmp"
	"net/http"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/sense"
	"stallkeeper/internal/web/problem"
)

// probeDoc is what is known about a probe now.
type probeDoc struct {
	ID       cook.ProbeID     `json:"id"`
	Role     cook.Role        `json:"role"`
	Silent   bool             `json:"silent"`
	Suspect  bool             `json:"suspect"`       // its readings are in doubt
	Time     *time.Time       `json:"time"`          // of the last reading; null when there is none
	Celsius  *thermal.Celsius `json:"celsius"`       // of the last reading; null when it is no temperature
	PPM      *float64         `json:"ppm,omitempty"` // of the last reading of a carbon monoxide probe
	Quality  cook.Quality     `json:"quality,omitempty"`
	Interval *float64         `json:"interval_seconds"` // typical; null when not known
	Cook     cook.ID          `json:"cook,omitempty"`
	Piece    cook.PieceID     `json:"piece,omitempty"`
	Board    string           `json:"board,omitempty"`               // that it is wired to
	Offline  *time.Time       `json:"board_offline_since,omitempty"` // the board is gone
	Battery  *batteryDoc      `json:"battery,omitempty"`             // nothing where none is told
	Fault    *faultDoc        `json:"fault,omitempty"`               // why it measures nothing
	Findings []sense.Finding  `json:"findings,omitempty"`            // what a person should look at
}

// batteryDoc is the charge of the battery that feeds a probe.
type batteryDoc struct {
	Percent float64    `json:"percent"`
	Time    *time.Time `json:"time"`            // when it was said; null when that is not known
	Board   string     `json:"board,omitempty"` // whose battery it is, where it is not the probe's own
	Low     bool       `json:"low"`
}

type faultDoc struct {
	Since time.Time `json:"since"`
	What  string    `json:"what"`
	Do    string    `json:"do,omitempty"`
}

func probeDocOf(p monitor.ProbeView) probeDoc {
	d := probeDoc{ID: p.ID, Role: p.Role, Silent: p.Silent, Suspect: p.Suspect, Cook: p.Cook, Piece: p.Piece, Board: p.Board, Offline: orNull(p.Offline), Findings: p.Findings}
	if !p.Last.Time.IsZero() {
		d.Time, d.Celsius, d.Quality = orNull(p.Last.Time), &p.Last.Celsius, p.Last.Quality
		if p.Role == cook.RoleCO {
			d.Celsius, d.PPM = nil, finite(float64(p.Last.Celsius))
		}
	}
	if p.Interval > 0 {
		d.Interval = finite(p.Interval.Seconds())
	}
	if b := p.Battery; b != nil {
		d.Battery = &batteryDoc{Percent: b.Percent, Time: orNull(b.At), Low: p.Low}
		if b.Board {
			d.Battery.Board = b.Device
		}
	}
	if f := p.Fault; f != nil {
		d.Fault = &faultDoc{f.Since.UTC(), f.What, f.Do}
	}
	return d
}

func probeDocsOf(views []monitor.ProbeView) []probeDoc {
	out := make([]probeDoc, len(views))
	for i, p := range views {
		out[i] = probeDocOf(p)
	}
	return out
}

func (api *API) getProbes(w http.ResponseWriter, r *http.Request) error {
	return api.give(w, r, http.StatusOK, struct {
		Probes []probeDoc `json:"probes"`
	}{probeDocsOf(api.opts.View.Snapshot().Probes)})
}

func (api *API) getProbe(w http.ResponseWriter, r *http.Request) error {
	for _, p := range api.opts.View.Snapshot().Probes {
		if string(p.ID) == r.PathValue("probe") {
			return api.give(w, r, http.StatusOK, probeDocOf(p))
		}
	}
	return problem.New(http.StatusNotFound, "Not found", "no probe "+problem.Clip(r.PathValue("probe"))+" is known: see /api/v1/probes")
}

// quietDoc says until when nothing needs a person.
type quietDoc struct {
	Known   bool       `json:"known"`
	Until   *time.Time `json:"until"`
	Because string     `json:"because"`
}

type intakeDoc struct {
	Connected   bool   `json:"connected"`
	Clients     int    `json:"clients"`
	Received    uint64 `json:"received"`
	Quarantined uint64 `json:"quarantined"`
	Trouble     string `json:"trouble"`
	Delivery    string `json:"delivery"`

	Waiting       int64   `json:"waiting"`
	WaitedSeconds float64 `json:"waiting_seconds"`
	Late          string  `json:"late"`
}

// cookDoc is a running cook as the page shows it.
type cookDoc struct {
	ID       cook.ID               `json:"id"`
	Name     string                `json:"name"`
	Started  time.Time             `json:"started"`
	ServeBy  *time.Time            `json:"serve_by"`
	SetPoint thermal.Celsius       `json:"setpoint_c"` // now in force
	Fire     string                `json:"fire,omitempty"`
	NewestAt *time.Time            `json:"newest_at"` // time of the newest applied reading
	AllReady map[string]*time.Time `json:"all_ready"` // joint ready time of all pieces at each level
	Pieces   []pieceDoc            `json:"pieces"`
	Events   []cook.Event          `json:"events"`
}

// snapshotDoc is the whole live state.
type snapshotDoc struct {
	Now        *time.Time    `json:"now,omitempty"`
	Invented   bool          `json:"invented"`
	QuietUntil quietDoc      `json:"quiet_until"`
	Intake     intakeDoc     `json:"intake"`
	Cooks      []cookDoc     `json:"cooks"`
	Probes     []probeDoc    `json:"probes"`
	Stages     []stageDoc    `json:"stages"`
	Alarms     []alarm.Alarm `json:"alarms"`
}

// levelNames are the keys of estimator.Levels.
var levelNames = [...]string{"p05", "p10", "p25", "p50", "p75", "p90", "p95"}

func (api *API) snapshotDocOf(m monitor.Snapshot, withPaths bool) (snapshotDoc, error) {
	d := snapshotDoc{
		Now: orNull(m.Now), Invented: api.opts.Invented,
		QuietUntil: quietDoc{Known: m.QuietUntil.Known, Because: m.QuietUntil.Because},
		Intake: intakeDoc{m.Intake.Connected, m.Intake.Clients, m.Intake.Received, m.Intake.Quarantined, cmp.Or(m.Intake.Trouble, m.Intake.Scarce), m.Intake.Delivery,
			m.Intake.Waiting, m.Intake.Waited.Seconds(), m.Intake.Late},
		Cooks: make([]cookDoc, 0, len(m.Cooks)), Probes: probeDocsOf(m.Probes), Stages: stageDocsOf(m.Stages), Alarms: append([]alarm.Alarm{}, m.Alarms...),
	}
	if m.QuietUntil.Known {
		d.QuietUntil.Until = orNull(m.QuietUntil.Until)
	}
	for _, c := range m.Cooks {
		one, err := cookDocOf(&c, m.Now, withPaths)
		if err != nil {
			return snapshotDoc{}, err
		}
		d.Cooks = append(d.Cooks, one)
	}
	return d, nil
}

func cookDocOf(c *monitor.CookView, now time.Time, withPaths bool) (cookDoc, error) {
	d := cookDoc{ID: c.Stored.ID, Name: c.Stored.Name, Started: c.Stored.Started.UTC(), ServeBy: orNull(c.Stored.ServeBy),
		SetPoint: c.Stored.SetPointAt(now), Fire: c.Stored.Pit.Fire, NewestAt: orNull(c.NewestAt), AllReady: map[string]*time.Time{},
		Pieces: make([]pieceDoc, 0, len(c.Pieces)), Events: append([]cook.Event{}, c.Stored.Events...)}
	for i, name := range levelNames {
		d.AllReady[name] = orNull(c.AllReady[i])
	}
	for _, p := range c.Pieces {
		one, err := pieceDocOf(c.Stored.ID, p, withPaths)
		if err != nil {
			return cookDoc{}, err
		}
		d.Pieces = append(d.Pieces, one)
	}
	return d, nil
}

func (api *API) getSnapshot(w http.ResponseWriter, r *http.Request) error {
	doc, err := api.snapshotDocOf(api.opts.View.Snapshot(), true)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, doc)
}
