package main

import (
	"encoding/json"
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/cook"
)

// keptCheck and standing are as the daemon answers.
type keptCheck struct {
	Number int64     `json:"number"`
	Time   time.Time `json:"time"`
	By     string    `json:"by"`
	Points []struct {
		True  float64 `json:"true_c"`
		Read  float64 `json:"read_c"`
		Error float64 `json:"error_k"`
	} `json:"points"`
	Tolerance float64 `json:"tolerance_k"`
	Passed    bool    `json:"passed"`
	AsLeft    bool    `json:"as_left"`
	Action    string  `json:"action,omitempty"`
	Note      string  `json:"note,omitempty"`
}

type standing struct {
	Probe     string      `json:"probe"`
	Checks    []keptCheck `json:"checks"`
	Passed    *bool       `json:"passed"`
	Due       bool        `json:"due"`
	Tolerance float64     `json:"tolerance_k"`
	Every     float64     `json:"every_seconds"`
	Doubtful  []struct {
		From *time.Time `json:"from"`
		To   *time.Time `json:"to"`
	} `json:"doubtful"`
	Drift []struct {
		At       string  `json:"at"`
		PerMonth float64 `json:"k_per_month"`
		N        int     `json:"n"`
	} `json:"drift"`
	Correction *struct {
		Slope float64 `json:"slope"`
		K     float64 `json:"k"`
	} `json:"correction"`
}

type probeHistoryCmd struct {
	Probe string `required:"" placeholder:"NAME" help:"The probe whose checks to show."`
	JSON  bool   `help:"Print JSON."`
	daemonAPI
}

// Help gives an example.
func (probeHistoryCmd) Help() string {
	return `Example:

    stallkeeper probe history --probe flat

Exit status 1: never checked, not passed, or overdue.`
}

// Run prints the checks of a probe, its drift, and which readings are in doubt.
func (p probeHistoryCmd) Run(c *console) error {
	if err := cook.ProbeID(p.Probe).CheckKept(); err != nil {
		return err
	}
	var s standing
	if err := p.call(c.ctx, "GET", "/checks?"+url.Values{"probe": {p.Probe}}.Encode(), nil, &s); err != nil {
		return err
	}
	if p.JSON {
		if err := json.NewEncoder(c.out).Encode(s); err != nil {
			return err
		}
	} else if _, err := fmt.Fprint(c.out, s.text()); err != nil {
		return err
	}
	if s.Passed == nil || !*s.Passed || s.Due {
		return errFinding
	}
	return nil
}

func (s standing) text() string {
	var b strings.Builder
	for _, k := range s.Checks {
		verdict, which := "passed", "as found"
		if !k.Passed {
			verdict = "NOT PASSED"
		}
		if k.AsLeft {
			which = "as left"
		}
		fmt.Fprintf(&b, "%-22s  %-10s  %s, %s, within ±%g K", clock(k.Time), verdict, which, k.By, k.Tolerance)
		for _, q := range k.Points {
			fmt.Fprintf(&b, "; %.2f °C shown for %.2f °C (%+.2f K)", q.Read, q.True, q.Error)
		}
		for _, text := range []string{k.Action, k.Note} {
			if text != "" {
				fmt.Fprintf(&b, "; %s", text)
			}
		}
		b.WriteByte('\n')
	}
	for _, d := range s.Drift {
		fmt.Fprintf(&b, "drift at %s: %+.3f °C per month over %d checks\n", d.At, d.PerMonth, d.N)
	}
	for _, d := range s.Doubtful {
		from, to := "the beginning", "now"
		if d.From != nil {
			from = clock(*d.From)
		}
		if d.To != nil {
			to = clock(*d.To)
		}
		fmt.Fprintf(&b, "readings in doubt from %s to %s\n", from, to)
	}
	if s.Correction != nil {
		fmt.Fprintf(&b, "its readings are corrected by the configuration: true = %g × sent %+g K\n", s.Correction.Slope, s.Correction.K)
	}
	switch {
	case s.Passed == nil:
		fmt.Fprintf(&b, "probe %s was never checked: stallkeeper probe check --probe %s --altitude 300m\n", s.Probe, cook.ProbeID(s.Probe).ForShell())
	case s.Due:
		fmt.Fprintf(&b, "the next check is overdue: one is asked for every %s\n", time.Duration(s.Every*float64(time.Second)))
	}
	return b.String()
}

type probeCompareCmd struct {
	Probe  string        `required:"" placeholder:"NAME" help:"One probe …"`
	With   string        `required:"" placeholder:"NAME" help:"… and the other, whose readings are taken off."`
	From   string        `placeholder:"TIME" help:"From this time on (RFC 3339); else the last 24 hours."`
	To     string        `placeholder:"TIME" help:"Up to this time (RFC 3339)."`
	Within time.Duration `default:"30s" help:"How far apart the two readings of a pair may lie (${default})."`
	JSON   bool          `help:"Print JSON."`
	daemonAPI
}

// Help gives an example.
func (probeCompareCmd) Help() string {
	return `Example:

    stallkeeper probe compare --probe flat --with point --from 2026-05-03T09:00:00Z

Lay both tips into the same stirred bath for some minutes: else the difference is that of the two places. Exit status 1: no two
readings lie close enough in time.`
}

// Run prints the difference of two probes.
func (p probeCompareCmd) Run(c *console) error {
	if p.Within < time.Second || p.Within > time.Hour {
		return fmt.Errorf("--within %s is not between 1s and 1h", p.Within)
	}
	ask := url.Values{"probe": {p.Probe}, "with": {p.With}, "within": {strconv.Itoa(int(p.Within / time.Second))}}
	for name, text := range map[string]string{"from": p.From, "to": p.To} {
		if text != "" {
			ask.Set(name, text)
		}
	}
	var raw json.RawMessage
	if err := p.call(c.ctx, "GET", "/compare?"+ask.Encode(), nil, &raw); err != nil {
		return err
	}
	var d struct {
		Pairs  int      `json:"pairs"`
		Mean   *float64 `json:"mean_k"`
		Spread *float64 `json:"spread_k"`
		Least  *float64 `json:"least_k"`
		Most   *float64 `json:"most_k"`
	}
	if err := json.Unmarshal(raw, &d); err != nil {
		return err
	}
	text := fmt.Sprintf("no two readings of %s and %s lie within %s of each other", p.Probe, p.With, p.Within)
	if d.Pairs > 0 {
		text = fmt.Sprintf("%s less %s: %+.3f K on average over %d pairs, from %+.2f to %+.2f K", p.Probe, p.With, *d.Mean, d.Pairs, *d.Least, *d.Most)
		if d.Spread != nil {
			text += fmt.Sprintf(", spread %.3f K", *d.Spread)
		}
	}
	if p.JSON {
		text = strings.TrimSpace(string(raw))
	}
	if _, err := fmt.Fprintln(c.out, text); err != nil {
		return err
	}
	if d.Pairs == 0 {
		return errFinding
	}
	return nil
}
