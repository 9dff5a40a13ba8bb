package main

import (
	"fmt"
	"net/url"
	"time"

	"stallkeeper/internal/record"
)

type lotTimelineCmd struct {
	daemonAPI
	Lot  string `arg:"" help:"Name of the lot."`
	JSON bool   `help:"Print it as JSON."`
}

// Help gives an example.
func (lotTimelineCmd) Help() string {
	return "Example:\n\n    stallkeeper lot timeline 26-11-25-cured-brisket"
}

// Run shows the timeline.
func (t lotTimelineCmd) Run(c *console) error {
	path := "/lots/" + url.PathEscape(t.Lot) + "/timeline"
	if t.JSON {
		return t.print(c, path)
	}
	var answer struct {
		Timeline []struct {
			At    time.Time
			Until time.Time
			What  string
			Text  string
			By    string
		}
	}
	if err := t.call(c.ctx, "GET", path, nil, &answer); err != nil {
		return err
	}
	for _, m := range answer.Timeline {
		until := ""
		if !m.Until.IsZero() {
			until = " until " + clock(m.Until)
		}
		fmt.Fprintf(c.out, "%-22s  %-18s%s %s\n", clock(m.At), m.What, until, m.Text)
	}
	return nil
}

type lotPlanCmd struct {
	lotVerb
	Plan int64 `arg:"" help:"Number of the kept plan."`
}

// Help gives an example.
func (lotPlanCmd) Help() string {
	return "Example:\n\n    stallkeeper lot plan 26-11-25-cured-brisket 3 --by KM"
}

// Run notes the plan.
func (p lotPlanCmd) Run(c *console) error {
	if err := p.call(c.ctx, "GET", fmt.Sprintf("/plans/%d", p.Plan), nil, nil); err != nil {
		return err
	}
	return p.enter(c, record.Planned{Plan: p.Plan})
}

type lotYieldCmd struct {
	daemonAPI
	Lot  string `arg:"" help:"Name of the lot."`
	JSON bool   `help:"Print it as JSON."`
}

// Help gives an example.
func (lotYieldCmd) Help() string {
	return "Example:\n\n    stallkeeper lot yield 26-11-25-cured-brisket"
}

// Run shows the yield.
func (y lotYieldCmd) Run(c *console) error {
	path := "/lots/" + url.PathEscape(y.Lot) + "/yield"
	if y.JSON {
		return y.print(c, path)
	}
	var a struct {
		record.Yield
		Published []record.Published
		History   *struct {
			Lots              int
			Low, Median, High float64
			Against           string
		}
	}
	if err := y.call(c.ctx, "GET", path, nil, &a); err != nil {
		return err
	}
	if len(a.Steps) == 0 {
		return fmt.Errorf("lot %s has no weights: note them with stallkeeper lot weigh", y.Lot)
	}
	for _, s := range a.Steps {
		fmt.Fprintf(c.out, "%-10s %8.3f kg\n", s.When, s.MassKg)
	}
	for _, s := range a.Shares {
		fmt.Fprintf(c.out, "%s over %s: %.1f %%\n", s.To, s.From, 100*s.Of)
	}
	if a.FatKg > 0 {
		fmt.Fprintf(c.out, "trimmed fat %.3f kg, to be rendered: it is no waste\n", a.FatKg)
	}
	if a.Used > 0 {
		fmt.Fprintf(c.out, "of the raw meat %.1f %% are used, trimmed fat counted\n", 100*a.Used)
	}
	if a.PerKg > 0 {
		fmt.Fprintf(c.out, "cost %.2f %s, %.2f %s for each kilogram %s\n", a.Cost, a.Currency, a.PerKg, a.Currency, a.Last)
	}
	for _, p := range a.Published {
		fmt.Fprintf(c.out, "published: %s: %s (%s)\n", p.What, percentSpan(p.Low, p.High), p.Source)
	}
	if h := a.History; h != nil {
		fmt.Fprintf(c.out, "own history, %s, %d lots: %s, middle %.1f %%\n", h.Against, h.Lots, percentSpan(h.Low, h.High), 100*h.Median)
	}
	for _, n := range a.Notes {
		fmt.Fprintln(c.out, "-", n)
	}
	return nil
}

func percentSpan(low, high float64) string {
	if low == high {
		return fmt.Sprintf("%.1f %%", 100*low)
	}
	return fmt.Sprintf("%.1f to %.1f %%", 100*low, 100*high)
}
