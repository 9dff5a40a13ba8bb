package daemon

import (
	"context"
	"fmt"
	"strings"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/broker"
	"stallkeeper/internal/calibrate"
	"stallkeeper/internal/config"
	"stallkeeper/internal/convert"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/ingest"
	"stallkeeper/internal/store"
	"stallkeeper/internal/web"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
)

// sink lets the intake write to the store.
type sink struct{ db *store.DB }

// Put queues a reading.
func (s sink) Put(ctx context.Context, r cook.Reading, done func(ingest.Outcome, error)) error {
	return s.db.Put(ctx, store.Item{Reading: r, Done: func(o store.Outcome, err error) { done(outcome(o), err) }})
}

// Quarantine queues a payload that is no reading.
func (s sink) Quarantine(ctx context.Context, q cook.Quarantined, done func(error)) error {
	return s.db.Put(ctx, store.Item{Bad: &q, Done: func(_ store.Outcome, err error) { done(err) }})
}

func outcome(o store.Outcome) ingest.Outcome {
	switch o {
	case store.Duplicate:
		return ingest.Duplicate
	case store.Conflict:
		return ingest.Conflict
	case store.Quarantined:
		return ingest.Quarantined
	}
	return ingest.Stored
}

func mappings(in []config.Mapping) []ingest.Mapping {
	var out []ingest.Mapping
	for _, m := range in {
		out = append(out, ingest.Mapping{Topic: m.Topic, Probe: m.Probe, Value: m.Value, Time: m.Time, Battery: m.Battery, Unit: m.Unit})
	}
	return out
}

func mappingTopics(in []config.Mapping) []string {
	var out []string
	for _, m := range in {
		out = append(out, m.Topic)
	}
	return out
}

// conversions turns raw values into degrees by the probe's declared conversion.
func conversions(probes []config.Probe) func(cook.ProbeID, string, float64) (thermal.Celsius, error) {
	specs := map[cook.ProbeID]*convert.Spec{}
	for _, p := range probes {
		if p.Convert != nil {
			specs[p.ID] = p.Convert
		}
	}
	return func(id cook.ProbeID, quantity string, v float64) (thermal.Celsius, error) {
		spec := specs[id]
		if spec == nil {
			return 0, fmt.Errorf("the probe has no conversion from %s to degrees: declare one as [probe.convert] in the configuration", quantity)
		}
		return spec.Celsius(convert.Quantity(quantity), v)
	}
}

// corrections gives what checks have found about probes, as far as the configuration applies it.
func corrections(probes []config.Probe) map[cook.ProbeID]ingest.Correction {
	out := map[cook.ProbeID]ingest.Correction{}
	for _, p := range probes {
		if c, ok := p.Correction(); ok {
			out[p.ID] = ingest.Correction{Slope: c.Slope, K: c.K}
		}
	}
	return out
}

func checking(cfg config.Config) shop.Checking {
	out := shop.Checking{Tolerance: cfg.Checks.Tolerance, Every: cfg.Checks.Every, Corrections: map[cook.ProbeID]calibrate.Correction{}}
	for _, p := range cfg.Probes {
		if c, ok := p.Correction(); ok {
			out.Corrections[p.ID] = c
		}
	}
	return out
}

func brokerUsers(in []config.User) []broker.User {
	var out []broker.User
	for _, u := range in {
		out = append(out, broker.User{Name: u.Name, PasswordHash: u.PasswordHash, ReadOnly: u.Role == "watch"})
	}
	return out
}

func webUsers(in []config.User) []web.User {
	var out []web.User
	for _, u := range in {
		out = append(out, web.User{Name: u.Name, Level: visitor.Level(u.Role), Hash: u.PasswordHash})
	}
	return out
}

func webPeople(in []config.Signer) []web.Person {
	var out []web.Person
	for _, p := range in {
		out = append(out, web.Person{Initials: p.Initials, Name: p.Name, PINHash: p.PINHash})
	}
	return out
}

// mqttScheme accepts the other usual names of the schemes.
func mqttScheme(url string) string {
	if rest, ok := strings.CutPrefix(url, "tcp://"); ok {
		return "mqtt://" + rest
	}
	if rest, ok := strings.CutPrefix(url, "ssl://"); ok {
		return "mqtts://" + rest
	}
	return url
}
