package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"stallkeeper/internal/brine"
	"stallkeeper/internal/config"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/safety"
)

type checkCmd struct {
	Log             string        `placeholder:"DIR" help:"Cook log to judge."`
	Rules           string        `required:"" placeholder:"NAME,…" help:"Rule sets, or list to print them."`
	InstrumentError string        `placeholder:"1F" help:"Error of the thermometer, added to every limit (default 0, and then said)."`
	Fat             string        `placeholder:"PERCENT" help:"Fat of poultry; unknown without it."`
	MaxGap          time.Duration `help:"Longest interval without readings that still counts (30m)."`
	Organism        string        `placeholder:"NAME" help:"Organism of the advisory lethality integral: a published name (salmonella; a wrong name lists them), or D, z and reference such as D=0.3min@145F,z=8.3F."`
	Config          string        `placeholder:"FILE" help:"Configuration with [safety]: a shop's own stricter limits, and the defaults of what is not given here."`
	JSON            bool          `help:"One JSON object per piece."`
}

// Help gives an example.
func (checkCmd) Help() string {
	return `Example:

    stallkeeper check --log ./brisket --rules foodcode-2022,fsis-cooling-1 --instrument-error 1F --json

Verdicts rest on what was measured; what was not measured is unknown, never met. Measure in the thickest part. Check the current
edition and the local code; a licensed authority decides.`
}

type verdictLine struct {
	Set      string      `json:"set"`
	Rule     safety.Rule `json:"rule"`
	Met      *bool       `json:"met"`
	At       *time.Time  `json:"at"`
	Needed   string      `json:"needed"`
	Measured string      `json:"measured"`
	Source   string      `json:"source"`
	Because  string      `json:"because"`
}

// Run judges every piece; a verdict that is missed or unknown is a finding.
func (k checkCmd) Run(c *console) error {
	if k.Rules == "list" {
		for _, set := range safety.Sets() {
			fmt.Fprintf(c.out, "%-20s %s\n%20s %s\n", set.Name, set.Edition, "", set.Source)
		}
		return nil
	}
	sets, err := safety.Find(strings.Split(k.Rules, ","))
	if err != nil {
		return err
	}
	settings, err := k.settings()
	if err != nil {
		return err
	}
	if k.Log == "" {
		return fmt.Errorf("--log is missing: name the folder of a cook log")
	}
	log, err := readLog(k.Log)
	if err != nil {
		return err
	}
	finding := false
	for _, p := range log.Cook.Pieces {
		verdicts := safety.Judge(safety.NewSubject(log, p), sets, settings)
		for _, v := range verdicts {
			finding = finding || v.Outcome != safety.Met
		}
		if err := k.print(c, p, verdicts); err != nil {
			return err
		}
	}
	if finding {
		return errFinding
	}
	return nil
}

func (k checkCmd) settings() (safety.Settings, error) {
	s := config.Default().Safety.Policy().Settings
	if k.Config != "" {
		c, err := config.Load(k.Config)
		if err != nil {
			return s, err
		}
		s = c.Safety.Policy().Settings
	}
	if k.MaxGap != 0 {
		s.MaxGap = k.MaxGap
	}
	if s.MaxGap <= 0 || s.MaxGap > 2*time.Hour {
		return s, fmt.Errorf("--max-gap %v is not between 0 and 2h", k.MaxGap)
	}
	if k.Organism != "" {
		o, err := safety.ParseOrganism(k.Organism)
		if err != nil {
			return s, fmt.Errorf("--organism %q: %w (published: %s)", k.Organism, err, strings.Join(slices.Sorted(maps.Keys(safety.Organisms())), " "))
		}
		s.Organism = o
	}
	if k.InstrumentError != "" {
		d, err := cook.ParseTemperatureDelta(k.InstrumentError)
		if err != nil {
			return s, err
		}
		if d < 0 || d > 10 {
			return s, fmt.Errorf("--instrument-error %q is not between 0 and 10 °C", k.InstrumentError)
		}
		s.InstrumentError = d
	}
	if k.Fat != "" {
		share, err := brine.ParsePercent(strings.TrimSuffix(k.Fat, "%") + "%")
		if err != nil || !(share > 0 && share < 1) {
			return s, fmt.Errorf("--fat %q is not a percentage between 0 and 100", k.Fat)
		}
		s.FatPercent = 100 * share
	}
	return s, nil
}

func (k checkCmd) print(c *console, p cook.Piece, verdicts []safety.Verdict) error {
	if k.JSON {
		lines := make([]verdictLine, 0, len(verdicts))
		for _, v := range verdicts {
			lines = append(lines, jsonVerdict(v))
		}
		return json.NewEncoder(c.out).Encode(struct {
			Piece    cook.PieceID  `json:"piece"`
			Verdicts []verdictLine `json:"verdicts"`
		}{p.ID, lines})
	}
	fmt.Fprintf(c.out, "%s (%s)\n", p.ID, p.Cut)
	for _, v := range verdicts {
		word := map[safety.Outcome]string{safety.Met: "met", safety.Missed: "MISSED", safety.Unknown: "UNKNOWN"}[v.Outcome]
		fmt.Fprintf(c.out, "  %-8s %-20s %-12s needed %s; measured %s\n           %s\n           [%s]\n", word, v.Set, v.Rule, v.Needed, v.Measured, v.Because, v.Source)
	}
	_, err := fmt.Fprintln(c.out, "Check the current edition and the local code; a licensed authority decides.")
	return err
}

func jsonVerdict(v safety.Verdict) verdictLine {
	line := verdictLine{Set: v.Set, Rule: v.Rule, Needed: v.Needed, Measured: v.Measured, Source: v.Source, Because: v.Because}
	if v.Outcome != safety.Unknown {
		met := v.Outcome == safety.Met
		line.Met = &met
	}
	if !v.At.IsZero() {
		at := v.At.UTC()
		line.At = &at
	}
	return line
}
