package cook

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
)

// ID numbers a cook in the store.
type ID int64

// PieceID names a piece within its cook.
type PieceID string

// Cook is one fire with the pieces on it: the content of cook.json.
type Cook struct {
	Name      string    `json:"name"`
	Started   time.Time `json:"started"`
	ServeBy   time.Time `json:"serve_by,omitzero"`
	AltitudeM float64   `json:"altitude_m,omitempty"`
	Pit       Pit       `json:"pit"`
	Pieces    []Piece   `json:"pieces"`
	Events    []Event   `json:"events,omitempty"`
}

// Pit is the fire chamber.
type Pit struct {
	SetPoint thermal.Celsius `json:"setpoint_c"`
	Fire     string          `json:"fire,omitempty"`
	Plan     []PlannedPoint  `json:"plan,omitempty"`
	Probes   []ProbeID       `json:"probes,omitempty"` // default: "pit" and every "pit/…"
}

// PlannedPoint is a setpoint intended for a time.
type PlannedPoint struct {
	SetPoint thermal.Celsius `json:"setpoint_c"`
	At       time.Time       `json:"at"`
}

// Piece is one piece of meat.
type Piece struct {
	ID          PieceID         `json:"id"`
	Cut         string          `json:"cut"`
	MassKg      float64         `json:"mass_kg,omitempty"`      // 0 = unknown
	ThicknessMM float64         `json:"thickness_mm,omitempty"` // 0 = unknown
	Target      thermal.Celsius `json:"target_c"`
	Intact      bool            `json:"intact,omitempty"` // absent = not intact, the stricter
	Probes      []ProbeID       `json:"probes,omitempty"` // default: the piece's id
	Plan        *WrapPlan       `json:"plan,omitempty"`
}

// WrapPlan is a wrap intended, at a core temperature or at a time.
type WrapPlan struct {
	Wrap string          `json:"wrap"`
	AtC  thermal.Celsius `json:"wrap_at_c,omitempty"`
	At   time.Time       `json:"wrap_at,omitzero"`
}

// EventKind is something that was done.
type EventKind string

// The kinds of event.
const (
	EventWrap       EventKind = "wrap"
	EventUnwrap     EventKind = "unwrap"
	EventLid        EventKind = "lid"
	EventSpritz     EventKind = "spritz"
	EventSetPoint   EventKind = "setpoint"
	EventFuel       EventKind = "fuel"
	EventProbeMoved EventKind = "probe-moved"
	EventPieceOff   EventKind = "piece-off"
)

var eventKinds = []EventKind{EventWrap, EventUnwrap, EventLid, EventSpritz, EventSetPoint, EventFuel, EventProbeMoved, EventPieceOff}

// Event is something done at a time, to a piece or to the pit.
type Event struct {
	Time    time.Time       `json:"time"`
	Kind    EventKind       `json:"kind"`
	Piece   PieceID         `json:"piece,omitempty"`
	With    string          `json:"with,omitempty"`    // wrap: "foil" or "paper"
	Celsius thermal.Celsius `json:"celsius,omitempty"` // setpoint
}

var cuts = []string{"brisket_packer", "brisket_flat", "brisket_flat_cured", "pork_shoulder", "beef_chuck", "pork_loin",
	"turkey_breast", "turkey_whole", "chicken_whole", "beef_rib", "lamb_shoulder", "fish_side", "other"}

// Cuts lists the known cuts.
func Cuts() []string { return slices.Clone(cuts) }

// CutName is a cut in words, the same wherever people read of it; a cut that is not known keeps its name.
func CutName(cut string) string {
	switch cut {
	case "brisket_packer":
		return "whole brisket"
	case "brisket_flat_cured":
		return "brisket flat, cured"
	case "turkey_whole":
		return "whole turkey"
	case "chicken_whole":
		return "whole chicken"
	case "beef_rib":
		return "beef ribs"
	case "fish_side":
		return "side of fish"
	}
	return strings.ReplaceAll(cut, "_", " ")
}

// ProbeIDs gives the probes of a piece: those named, or its own id.
func (p Piece) ProbeIDs() []ProbeID {
	if len(p.Probes) > 0 {
		return p.Probes
	}
	return []ProbeID{ProbeID(p.ID)}
}

// OwnsProbe reports whether the probe measures this pit.
func (p Pit) OwnsProbe(id ProbeID) bool {
	if len(p.Probes) > 0 {
		return slices.Contains(p.Probes, id)
	}
	return id.IsPit()
}

// Piece finds a piece by its id.
func (c *Cook) Piece(id PieceID) (*Piece, bool) {
	i := slices.IndexFunc(c.Pieces, func(p Piece) bool { return p.ID == id })
	if i < 0 {
		return nil, false
	}
	return &c.Pieces[i], true
}

// SetPointAt gives the setpoint in force at a time, from the start value and the setpoint events up to it.
func (c *Cook) SetPointAt(at time.Time) thermal.Celsius {
	point, since := c.Pit.SetPoint, time.Time{}
	for _, e := range c.Events {
		if e.Kind == EventSetPoint && !e.Time.After(at) && !e.Time.Before(since) {
			point, since = e.Celsius, e.Time
		}
	}
	return point
}

// Validate reports everything that is wrong with a cook, one line each.
func (c *Cook) Validate() error {
	var errs []error
	add := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	if strings.TrimSpace(c.Name) == "" {
		add("name is missing: give the cook a name")
	}
	errs = append(errs, CheckText("name", c.Name))
	if c.Started.IsZero() {
		add("started is missing: give it as RFC 3339, such as 2026-05-02T20:00:00+02:00")
	}
	errs = append(errs, CheckTime("started", c.Started), CheckPlanned("serve_by", c.ServeBy, c.Started))
	if !c.ServeBy.IsZero() && !c.ServeBy.After(c.Started) {
		add("serve_by %s is not after started %s", c.ServeBy.Format(time.RFC3339), c.Started.Format(time.RFC3339))
	}
	if !(c.AltitudeM >= -430 && c.AltitudeM <= 6000) {
		add("altitude_m %v is outside -430 to 6000", c.AltitudeM)
	}
	errs = append(errs, c.Pit.validate(c.Started))
	if len(c.Pieces) == 0 {
		add("pieces is empty: name at least one piece")
	}
	seen := map[PieceID]bool{}
	for i, p := range c.Pieces {
		if seen[p.ID] {
			add("pieces[%d].id %q stands twice", i, p.ID)
		}
		seen[p.ID] = true
		if err := p.Validate(); err != nil {
			add("pieces[%d]: %w", i, err)
		}
		if p.Plan != nil {
			if err := CheckPlanned("wrap_at", p.Plan.At, c.Started); err != nil {
				add("pieces[%d].plan: %w", i, err)
			}
		}
	}
	for i, e := range c.Events {
		if err := c.CheckEvent(e); err != nil {
			add("events[%d]: %w", i, err)
		}
	}
	return errors.Join(errs...)
}

func (p Pit) validate(start time.Time) error {
	var errs []error
	errs = append(errs, checkSetPoint("pit.setpoint_c", p.SetPoint), CheckText("pit.fire", p.Fire))
	for i, q := range p.Plan {
		errs = append(errs, checkSetPoint(fmt.Sprintf("pit.plan[%d].setpoint_c", i), q.SetPoint))
		if q.At.IsZero() {
			errs = append(errs, fmt.Errorf("pit.plan[%d].at is missing", i))
		}
		errs = append(errs, CheckPlanned(fmt.Sprintf("pit.plan[%d].at", i), q.At, start))
	}
	for _, id := range p.Probes {
		errs = append(errs, id.Validate())
	}
	return errors.Join(errs...)
}

func checkSetPoint(what string, c thermal.Celsius) error {
	if !(c >= 40 && c <= 300) {
		return fmt.Errorf("%s %v is not between 40 and 300 °C", what, float64(c))
	}
	return nil
}

// Validate reports everything that is wrong with a piece.
func (p Piece) Validate() error {
	var errs []error
	add := func(format string, a ...any) { errs = append(errs, fmt.Errorf(format, a...)) }
	if err := ProbeID(p.ID).Validate(); err != nil {
		add("id: %w", err)
	} else if strings.Contains(string(p.ID), "/") {
		add("id %q has a /: use a plain name", p.ID)
	}
	if !slices.Contains(cuts, p.Cut) {
		add("cut %q is not known: use one of %s", p.Cut, strings.Join(cuts, " "))
	}
	if !(p.Target > 0 && p.Target <= 150) {
		add("target_c %v is not above 0 and at most 150 °C: give the core temperature that the piece is to reach, such as 93", float64(p.Target))
	}
	if !(p.MassKg >= 0 && p.MassKg <= 100) {
		add("mass_kg %v is not between 0 and 100", p.MassKg)
	}
	if !(p.ThicknessMM >= 0 && p.ThicknessMM <= 500) {
		add("thickness_mm %v is not between 0 and 500", p.ThicknessMM)
	}
	for _, id := range p.Probes {
		errs = append(errs, id.Validate())
	}
	if p.Plan != nil {
		errs = append(errs, p.Plan.validate())
	}
	return errors.Join(errs...)
}

func (w WrapPlan) validate() error {
	if err := checkWrapping(w.Wrap); err != nil {
		return fmt.Errorf("plan: %w", err)
	}
	if w.AtC != 0 && !(w.AtC > 0 && w.AtC <= 110) {
		return fmt.Errorf("plan.wrap_at_c %v is not between 0 and 110 °C", float64(w.AtC))
	}
	if w.AtC == 0 && w.At.IsZero() {
		return errors.New("plan: give wrap_at_c or wrap_at")
	}
	return nil
}

func checkWrapping(s string) error {
	if s != "foil" && s != "paper" {
		return fmt.Errorf("wrap %q is not known: use foil or paper", s)
	}
	return nil
}

// OffAt is when a piece left the fire (see OffAt); zero while it is on it.
func (c *Cook) OffAt(piece PieceID) time.Time { return OffAt(c.Events, piece) }

// OffAt is when a piece left the fire by events in time order: the first of its own, or of one that names no piece and stands for all; zero
// when there is none.
func OffAt(events []Event, piece PieceID) time.Time {
	for _, e := range events {
		if e.Kind == EventPieceOff && (e.Piece == "" || e.Piece == piece) {
			return e.Time
		}
	}
	return time.Time{}
}

// CheckEvent reports what is wrong with an event for this cook.
func (c *Cook) CheckEvent(e Event) error {
	if e.Time.IsZero() {
		return errors.New("time is missing: give it as RFC 3339")
	}
	if err := CheckTime("time", e.Time); err != nil {
		return err
	}
	if !slices.Contains(eventKinds, e.Kind) {
		return fmt.Errorf("kind %q is not known: use one of wrap unwrap lid spritz setpoint fuel probe-moved piece-off", e.Kind)
	}
	if e.Piece != "" {
		if _, ok := c.Piece(e.Piece); !ok {
			return fmt.Errorf("piece %q is not in this cook", e.Piece)
		}
	}
	switch e.Kind {
	case EventWrap:
		if e.With == "" {
			return errors.New("with is missing: wrap with foil or paper")
		}
		return checkWrapping(e.With)
	case EventSetPoint:
		return checkSetPoint("celsius", e.Celsius)
	}
	return nil
}
