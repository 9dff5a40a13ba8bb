package shop

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/calibrate"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/problem"
)

// Checks keeps checks of thermometers in the shop's records.
type Checks interface {
	// ProbeChecks gives the checks of an instrument that stand; of all instruments when the name is empty.
	ProbeChecks(ctx context.Context, instrument string) ([]record.Entry, error)
	Append(ctx context.Context, drafts ...record.Draft) ([]record.Entry, error)
}

// Checking says how probes are to be checked, and how their readings are corrected.
type Checking struct {
	Tolerance   thermal.CelsiusDelta // where a check names none; 0 = calibrate.DefaultTolerance
	Every       time.Duration        // how often; 0 = nobody asks
	Corrections map[cook.ProbeID]calibrate.Correction
}

// Allowed is the error within which a check is passed that names no tolerance.
func (c Checking) Allowed() thermal.CelsiusDelta {
	if c.Tolerance == 0 {
		return calibrate.DefaultTolerance
	}
	return c.Tolerance
}

// CheckOf reads a check from its record. A point whose true temperature is within 5 K of 0 °C counts as ice, one above 50 °C as boiling water, others as neither.
func CheckOf(e record.Entry) (cook.ProbeID, calibrate.Check, error) {
	body, err := e.Decode()
	if err != nil {
		return "", calibrate.Check{}, err
	}
	b, ok := body.(*record.ProbeChecked)
	if !ok {
		return "", calibrate.Check{}, fmt.Errorf("entry %d is a %s and no check", e.Seq, e.Kind)
	}
	c := calibrate.Check{Number: e.Seq, Time: e.At, By: e.By, Passed: b.Passed, AsLeft: b.AsLeft, Action: b.Action, Note: b.Note}
	if b.Tolerance != nil {
		c.Tolerance = *b.Tolerance
	}
	for _, p := range b.Points {
		kind := calibrate.Kind("")
		switch {
		case math.Abs(float64(p.True)) < 5:
			kind = calibrate.Ice
		case p.True > 50:
			kind = calibrate.Boil
		}
		c.Points = append(c.Points, calibrate.Point{Kind: kind, Time: e.At, Reference: p.True, Shown: p.Read})
	}
	return cook.ProbeID(b.Instrument), c, nil
}

// Checked is a check as it was made. Whether it was passed is for the shop to say.
type Checked struct {
	Probe     cook.ProbeID
	At        time.Time             // zero: now
	Tolerance *thermal.CelsiusDelta // nil: the shop's
	Body      record.ProbeChecked
}

// KeepCheck judges a check and enters it in the shop's records.
func (s Shop) KeepCheck(ctx context.Context, c Checked, who record.Maker) (record.Entry, error) {
	if err := c.Probe.Validate(); err != nil {
		return record.Entry{}, problem.Bad("probe: %s", problem.ClipTo(err.Error(), 200))
	}
	tolerance := s.Checking.Allowed()
	if c.Tolerance != nil {
		tolerance = *c.Tolerance
	}
	points := make([]calibrate.Point, 0, len(c.Body.Points))
	for _, p := range c.Body.Points {
		points = append(points, calibrate.Point{Reference: p.True, Shown: p.Read})
	}
	body := c.Body
	body.Instrument, body.Tolerance, body.Passed = string(c.Probe), &tolerance, calibrate.Judge(points, tolerance)
	if body.Method == "" {
		body.Method = "ice and boiling water"
	}
	if err := body.Validate(); err != nil {
		return record.Entry{}, problem.Bad("%s", problem.ClipTo(strings.ReplaceAll(err.Error(), "\n", "; "), 500))
	}
	entries, err := s.Checks.Append(ctx, record.Draft{At: c.At, Maker: who, Body: body})
	if err != nil {
		return record.Entry{}, RecordError(err)
	}
	return entries[0], nil
}

// Standings gives how each probe that was ever checked stands; of one probe where it is named.
func (s Shop) Standings(ctx context.Context, id cook.ProbeID) (map[cook.ProbeID]calibrate.Standing, map[cook.ProbeID][]calibrate.Check, error) {
	entries, err := s.Checks.ProbeChecks(ctx, string(id))
	if err != nil {
		return nil, nil, err
	}
	history := map[cook.ProbeID][]calibrate.Check{}
	for _, e := range entries {
		probe, c, err := CheckOf(e)
		if err != nil {
			return nil, nil, err
		}
		history[probe] = append(history[probe], c)
	}
	out := map[cook.ProbeID]calibrate.Standing{}
	for probe, list := range history {
		slices.SortStableFunc(list, func(a, b calibrate.Check) int { return a.Time.Compare(b.Time) })
		out[probe] = calibrate.Stand(list, s.Now(), s.Checking.Every)
	}
	return out, history, nil
}

// mostCompared bounds what a comparison reads of each probe.
const mostCompared = 20000

// Compare lays the good readings of two probes side by side; without a beginning those of the last 24 hours.
func (s Shop) Compare(ctx context.Context, a, b cook.ProbeID, from, to time.Time, within time.Duration) (calibrate.Comparison, error) {
	if from.IsZero() {
		from = s.Now().Add(-24 * time.Hour)
		if !to.IsZero() {
			from = to.Add(-24 * time.Hour)
		}
	}
	var series [2][]calibrate.Sample
	for i, id := range []cook.ProbeID{a, b} {
		readings, err := s.Library.Readings(ctx, cook.ReadingQuery{Probe: id, From: from, To: to, Limit: mostCompared})
		if err != nil {
			return calibrate.Comparison{}, err
		}
		for _, one := range readings {
			if one.Quality == cook.Good && !one.Retained {
				series[i] = append(series[i], calibrate.Sample{Time: one.Time, Celsius: one.Celsius})
			}
		}
	}
	return calibrate.Compare(series[0], series[1], within), nil
}
