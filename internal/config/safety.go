package config

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/safety"
)

// Safety selects the rule sets, and a shop's own limits where they are stricter than the published ones. 0 keeps the published.
type Safety struct {
	Rules           []string             `toml:"rules"`
	MaxGap          time.Duration        `toml:"max_gap"`
	InstrumentError thermal.CelsiusDelta `toml:"instrument_error_k"`
	FatPercent      float64              `toml:"fat_percent"`
	Organism        string               `toml:"organism"`
	safety.Limits
}

// Policy is what the rules are asked with.
func (s Safety) Policy() safety.Policy {
	return safety.Policy{Sets: s.Rules, Settings: safety.Settings{InstrumentError: s.InstrumentError, MaxGap: s.MaxGap, FatPercent: s.FatPercent,
		Organism: safety.Organisms()[s.Organism], Own: s.Limits}}
}

func (s Safety) validate() error {
	var errs []error
	if _, known := safety.Organisms()[s.Organism]; !known {
		errs = append(errs, fmt.Errorf("safety.organism %q is not known: use one of %s", s.Organism, strings.Join(slices.Sorted(maps.Keys(safety.Organisms())), " ")))
	}
	if !(s.FatPercent >= 0 && s.FatPercent < 100) {
		errs = append(errs, fmt.Errorf("safety.fat_percent %v is not between 0 and 100", s.FatPercent))
	}
	return errors.Join(append(errs, s.Policy().Validate())...)
}
