package outlook

import (
	"errors"
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// Counts reports whether a reading may feed a forecast or an alarm: a good value at a time that is its own.
func Counts(r cook.Reading) bool {
	return r.Quality == cook.Good && (r.Live() || r.Clock != cook.ArrivalClock)
}

// FromCook is the forecaster's input for a piece of a cook, without samples.
func FromCook(c cook.Cook, p cook.Piece) estimator.Input {
	in := estimator.Input{
		Cut: estimator.Cut(p.Cut), MassKg: p.MassKg, ThicknessMM: p.ThicknessMM, Target: p.Target,
		Started: c.Started, AltitudeM: c.AltitudeM, SetPoint: c.Pit.SetPoint, Fire: c.Pit.Fire,
	}
	if p.Plan != nil {
		in.Plan = &estimator.WrapPlan{With: estimator.Wrapping(p.Plan.Wrap), AtCelsius: p.Plan.AtC, AtTime: p.Plan.At}
	}
	for _, q := range c.Pit.Plan {
		in.PitPlan = append(in.PitPlan, estimator.Event{Time: q.At, Kind: estimator.SetPoint, Celsius: q.SetPoint})
	}
	for _, e := range c.Events {
		if e.Piece == "" || e.Piece == p.ID {
			in.Events = append(in.Events, estimator.Event{
				Time: e.Time, Kind: estimator.EventKind(e.Kind), With: estimator.Wrapping(e.With), Celsius: e.Celsius,
			})
		}
	}
	return in
}

// FromLog is the forecaster's input for a piece of a log, with every sample that counts.
func FromLog(log *cook.Log, p cook.Piece) estimator.Input {
	in := FromCook(log.Cook, p)
	pit, core := NewPitMerge(log.Cook), NewPieceMerge(log.Cook, p)
	readings := slices.Clone(log.Readings)
	Sort(readings)
	in.Pit, in.Core = pit.Add(readings), core.Add(readings)
	return in
}

// LastReading is the time of the newest reading of a log that counts for its cook; if none does, of the newest at all.
func LastReading(log *cook.Log) (time.Time, error) {
	var last, newest time.Time
	for _, r := range log.Readings {
		if Counts(r) && Belongs(log.Cook, r.Probe) && r.Time.After(last) {
			last = r.Time
		}
		if r.Time.After(newest) {
			newest = r.Time
		}
	}
	if newest.IsZero() {
		return newest, errors.New("the log has no readings: say with --at for when to forecast")
	}
	if last.IsZero() {
		return newest, nil
	}
	return last, nil
}

// Belongs reports whether the probe measures the cook's pit or one of its pieces.
func Belongs(c cook.Cook, id cook.ProbeID) bool {
	return c.Pit.OwnsProbe(id) || slices.ContainsFunc(c.Pieces, func(p cook.Piece) bool { return slices.Contains(p.ProbeIDs(), id) })
}

// Order compares readings in the order in which they are applied: by time, then by probe.
func Order(a, b cook.Reading) int {
	if c := a.Time.Compare(b.Time); c != 0 {
		return c
	}
	return strings.Compare(string(a.Probe), string(b.Probe))
}

// Sort puts readings in the order in which they are applied.
func Sort(readings []cook.Reading) { slices.SortStableFunc(readings, Order) }

// abreast is how long a probe's last value stands beside newer ones of its neighbours. Choice of this project.
const abreast = 5 * time.Minute

// Merge makes one series of samples out of the readings of one or several probes.
type Merge struct {
	takes   func(cook.ProbeID) bool
	since   time.Time
	coldest bool           // else the mean
	last    []cook.Reading // the newest of each probe, by probe
}

// NewPitMerge merges the probes of the cook's pit to their mean.
func NewPitMerge(c cook.Cook) *Merge { return &Merge{takes: c.Pit.OwnsProbe, since: c.Started} }

// NewPieceMerge merges the probes of a piece to the coldest.
func NewPieceMerge(c cook.Cook, p cook.Piece) *Merge {
	ids := p.ProbeIDs()
	return &Merge{takes: func(id cook.ProbeID) bool { return slices.Contains(ids, id) }, since: c.Started, coldest: true}
}

// Add gives the samples that sorted readings make, one for each instant at which a probe of this merge was read.
// Readings of one instant must come in one call. A reading older than its probe's newest stands alone.
func (m *Merge) Add(sorted []cook.Reading) []estimator.Sample {
	var out []estimator.Sample
	for i := 0; i < len(sorted); {
		at, fresh := sorted[i].Time, false
		for ; i < len(sorted) && sorted[i].Time.Equal(at); i++ {
			r := sorted[i]
			if !m.Takes(r) {
				continue
			}
			if m.keep(r) {
				fresh = true
			} else {
				out = append(out, estimator.Sample{Time: at, Celsius: r.Celsius})
			}
		}
		if fresh {
			out = append(out, estimator.Sample{Time: at, Celsius: m.value(at)})
		}
	}
	return out
}

// Takes reports whether the reading counts here.
func (m *Merge) Takes(r cook.Reading) bool {
	return m.takes(r.Probe) && Counts(r) && !r.Time.Before(m.since)
}

// keep remembers the reading and reports true, unless a newer one of its probe is known.
func (m *Merge) keep(r cook.Reading) bool {
	i, found := slices.BinarySearchFunc(m.last, r.Probe, func(a cook.Reading, id cook.ProbeID) int {
		return strings.Compare(string(a.Probe), string(id))
	})
	if !found {
		m.last = slices.Insert(m.last, i, r)
		return true
	}
	if r.Time.Before(m.last[i].Time) {
		return false
	}
	m.last[i] = r
	return true
}

func (m *Merge) value(at time.Time) thermal.Celsius {
	var sum, low thermal.Celsius
	n := 0
	for _, r := range m.last {
		if at.Sub(r.Time) > abreast {
			continue
		}
		if n == 0 || r.Celsius < low {
			low = r.Celsius
		}
		sum += r.Celsius
		n++
	}
	if m.coldest {
		return low
	}
	return sum / thermal.Celsius(n)
}

// fromCooler is how cold a piece is that goes on the pit: cooler air is at most 5 °C; common practice, no source.
const fromCooler thermal.Celsius = 4

// Cold is the forecaster's input for a piece that goes from the cooler onto a settled pit at a time: what can be said
// before there is a reading.
func Cold(c cook.Cook, p cook.Piece, at time.Time) estimator.Input {
	in := FromCook(c, p)
	in.Started = at
	in.Core = []estimator.Sample{{Time: at, Celsius: fromCooler}}
	in.Pit = []estimator.Sample{{Time: at, Celsius: c.Pit.SetPoint}}
	return in
}
