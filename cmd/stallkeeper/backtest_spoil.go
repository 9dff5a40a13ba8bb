package main

import (
	"hash/fnv"
	"math/rand/v2"
	"slices"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// How often probes lie in a spoiled log; a choice of this project.
const (
	spikesPerHour   = 0.4
	silencesPerHour = 0.3
	silenceMinutes  = 18.0 // mean length of a silence, up to three times as long
)

// spoil gives the readings with invented faults: absurd values and silences, the same for the same cook every time.
func spoil(log *cook.Log) []cook.Reading {
	seed := fnv.New64a()
	seed.Write([]byte(log.Cook.Name))
	d := rand.New(rand.NewPCG(seed.Sum64(), 1))
	last, silent := map[cook.ProbeID]time.Time{}, map[cook.ProbeID]time.Time{}
	var judged cook.Judge
	var out []cook.Reading
	for _, r := range log.Readings {
		hours := min(r.Time.Sub(last[r.Probe]).Hours(), 0.25)
		last[r.Probe] = r.Time
		spike, silence, long, which := d.Float64(), d.Float64(), d.ExpFloat64(), d.IntN(5)
		if silence < silencesPerHour*hours && r.Time.After(silent[r.Probe]) {
			silent[r.Probe] = r.Time.Add(time.Duration((1 + silenceMinutes*min(long, 3)) * float64(time.Minute)))
		}
		if r.Time.Before(silent[r.Probe]) {
			continue
		}
		if spike < spikesPerHour*hours {
			r.Celsius = [5]thermal.Celsius{-127, 85, 300, 0, r.Celsius + 20}[which]
		}
		r.Quality = judged.Quality(r)
		out = append(out, r)
	}
	return out
}

// forgetWraps gives the events without wraps, as if nobody had written them down.
func forgetWraps(events []estimator.Event) []estimator.Event {
	return slices.DeleteFunc(slices.Clone(events), func(e estimator.Event) bool {
		return e.Kind == estimator.Wrap || e.Kind == estimator.Unwrap
	})
}
