package main

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"stallkeeper/internal/score"
)

// rowReport is one line of the scoreboard. Minutes, except shares; null where nothing can be said.
type rowReport struct {
	Of          string     `json:"of"`
	N           int        `json:"n"`
	MedianError *float64   `json:"median_error_min"`
	MeanError   *float64   `json:"mean_error_min"`
	CRPS        *float64   `json:"crps_min"`
	Pinball     *float64   `json:"pinball_min"`
	Cover50     *float64   `json:"covers_50"`
	Cover80     *float64   `json:"covers_80"`
	PIT         [8]float64 `json:"pit"`
	// The middle 95 % of what other cooks could have given; null for fewer than six.
	MedianRange *[2]float64 `json:"median_error_95"`
	CRPSRange   *[2]float64 `json:"crps_95"`
	Line        ruleReport  `json:"straight_line"`
	Newton      ruleReport  `json:"newton"`
	Kilogram    ruleReport  `json:"minutes_per_kilogram"`
}

// ruleReport is how a simple rule does: errors in minutes; the mean is also its CRPS.
type ruleReport struct {
	N           int      `json:"n"`
	MedianError *float64 `json:"median_error_min"`
	MeanError   *float64 `json:"mean_error_min"`
}

// backtestReport is the whole scoreboard.
type backtestReport struct {
	Cooks       int              `json:"cooks"`
	Pieces      int              `json:"pieces"`
	Unfinished  int              `json:"unfinished"`
	Prior       string           `json:"prior"`
	Checkpoints []rowReport      `json:"checkpoints"`
	All         rowReport        `json:"all"`
	Wrap        []rowReport      `json:"by_wrap"`
	Cut         []rowReport      `json:"by_cut"`
	Fire        []rowReport      `json:"by_fire"`
	Sequence    []sequenceReport `json:"sequence,omitempty"`
}

// sequenceReport compares the same moments without and with what earlier cooks of the pit taught.
type sequenceReport struct {
	After   string    `json:"after_cooks"`
	Without rowReport `json:"without_learning"`
	With    rowReport `json:"with_learning"`
	// The middle 95 % of the change of the CRPS, paired by forecast; null for fewer than six cooks.
	ChangeRange *[2]float64 `json:"crps_change_95"`
}

func (j *judge) report() backtestReport {
	r := backtestReport{Cooks: j.Cooks, Pieces: j.Pieces, Unfinished: j.Unfinished, Prior: j.taught,
		Checkpoints: grouped(j.rows, func(v verdict) string { return percent(v.at) }),
		All:         judged("all", j.rows),
		Wrap:        grouped(j.rows, func(v verdict) string { return v.piece.wrap }),
		Cut:         grouped(j.rows, func(v verdict) string { return v.piece.cut }),
		Fire:        grouped(j.rows, func(v verdict) string { return v.piece.fire }),
	}
	steps := []struct {
		of       string
		from, to int
	}{{"0", 0, 0}, {"1-2", 1, 2}, {"3-5", 3, 5}, {"6-10", 6, 10}, {"over 10", 11, math.MaxInt}}
	for _, s := range steps {
		var without, with []verdict
		for i, v := range j.sequence { // the rows of both stand in the same order
			if v.learnedOf >= s.from && v.learnedOf <= s.to {
				without, with = append(without, j.rows[i]), append(with, v)
			}
		}
		if len(with) > 0 {
			r.Sequence = append(r.Sequence, sequenceReport{s.of, judged("without", without), judged("with", with), change(without, with)})
		}
	}
	return r
}

func percent(part float64) string { return fmt.Sprintf("%2.0f %%", 100*part) }

// grouped judges the verdicts by a key, in order of the key.
func grouped(rows []verdict, key func(verdict) string) []rowReport {
	by := map[string][]verdict{}
	for _, v := range rows {
		by[key(v)] = append(by[key(v)], v)
	}
	var out []rowReport
	for _, k := range slices.Sorted(maps.Keys(by)) {
		out = append(out, judged(k, by[k]))
	}
	return out
}

func judged(of string, rows []verdict) rowReport {
	var t score.Tally
	var line, newton, kilogram score.Point
	var cooks []string
	for _, v := range rows {
		cooks = append(cooks, v.piece.cook)
		t.Add(v.q, v.left)
		line.Add(v.line, v.left)
		newton.Add(v.newton, v.left)
		if !math.IsNaN(v.kilogram) {
			kilogram.Add(v.kilogram, v.left)
		}
	}
	s := t.Score()
	r := rowReport{Of: of, N: s.N, MedianError: known(s.MedianError), MeanError: known(s.MeanError), CRPS: known(s.CRPS),
		Pinball: known(s.Pinball), Cover50: known(s.Cover50), Cover80: known(s.Cover80),
		Line: rule(&line), Newton: rule(&newton), Kilogram: rule(&kilogram)}
	luck := t.Chance(cooks)
	r.MedianRange, r.CRPSRange = span(luck.MedianError), span(luck.CRPS)
	for i := range s.PIT {
		r.PIT[i] = math.Round(s.PIT[i]*1000) / 1000
	}
	return r
}

func rule(p *score.Point) ruleReport {
	n, median, mean := p.Score()
	return ruleReport{n, known(median), known(mean)}
}

// change is how learning moved the CRPS of the same forecasts.
func change(without, with []verdict) *[2]float64 {
	var cooks []string
	var by []float64
	for i, v := range with {
		cooks = append(cooks, v.piece.cook)
		by = append(by, v.loss()-without[i].loss())
	}
	return span(score.ChanceOfMean(cooks, by))
}

// span rounds a range; nil where nothing can be said.
func span(r score.Range) *[2]float64 {
	low, high := known(r.Low), known(r.High)
	if low == nil || high == nil {
		return nil
	}
	return &[2]float64{*low, *high}
}

// known rounds to a thousandth; nil for NaN.
func known(v float64) *float64 {
	if math.IsNaN(v) {
		return nil
	}
	v = math.Round(v*1000) / 1000
	return &v
}

// text is the scoreboard for a terminal, under 100 columns.
func (j *judge) text() string {
	r := j.report()
	var b strings.Builder
	fmt.Fprintf(&b, "%d finished pieces of %d cooks, %d forecasts, made with %s.\n", r.Pieces, r.Cooks, r.All.N, r.Prior)
	if r.Unfinished > 0 {
		fmt.Fprintf(&b, "Left out because they never reached their target: %d.\n", r.Unfinished)
	}
	b.WriteString("Errors in minutes; the simple rules have median/mean error, and their mean error is their CRPS.\n\n")
	table(&b, "at", append(r.Checkpoints, r.All))
	chances(&b, append(r.Checkpoints, r.All))
	table(&b, "wrap", r.Wrap)
	table(&b, "cut", r.Cut)
	table(&b, "fire", r.Fire)
	b.WriteString("Where in the forecast the truth fell, % of forecasts (honest: the first line)\n")
	histogram(&b, r)
	if len(r.Sequence) > 0 {
		b.WriteString("\nAfter learning from earlier cooks of the same pit (by the fire that is named)\n")
		fmt.Fprintf(&b, "%-10s %5s   %15s %5s %5s     %12s %5s %5s  %s\n", "cooks", "n", "without: median", "CRPS", "80 %", "with: median", "CRPS", "80 %", "CRPS changes by")
		for _, s := range r.Sequence {
			fmt.Fprintf(&b, "%-10s %5d   %15s %5s %5s     %12s %5s %5s  %s\n", s.After, s.With.N, minutes(s.Without.MedianError),
				minutes(s.Without.CRPS), share(s.Without.Cover80), minutes(s.With.MedianError), minutes(s.With.CRPS), share(s.With.Cover80), fromTo(s.ChangeRange))
		}
	}
	return b.String()
}

func table(b *strings.Builder, of string, rows []rowReport) {
	fmt.Fprintf(b, "%-18s %5s %6s %5s %5s %7s %5s %5s  %9s %9s %9s\n", of, "n", "median", "mean", "CRPS", "pinball", "50 %", "80 %", "line", "newton", "min/kg")
	for _, r := range rows {
		fmt.Fprintf(b, "%-18s %5d %6s %5s %5s %7s %5s %5s  %9s %9s %9s\n", cmp.Or(r.Of, "-"), r.N, minutes(r.MedianError),
			minutes(r.MeanError), minutes(r.CRPS), minutes(r.Pinball), share(r.Cover50), share(r.Cover80), both(r.Line), both(r.Newton), both(r.Kilogram))
	}
	b.WriteByte('\n')
}

// chances says how much of the figures is the luck of which cooks there were.
func chances(b *strings.Builder, rows []rowReport) {
	if rows[len(rows)-1].CRPSRange == nil {
		return
	}
	b.WriteString("The same with other cooks of this kind: 95 of 100 draws of these cooks, with replacement, give\n")
	fmt.Fprintf(b, "%-18s %5s %12s %12s\n", "at", "n", "median", "CRPS")
	for _, r := range rows {
		fmt.Fprintf(b, "%-18s %5d %12s %12s\n", r.Of, r.N, fromTo(r.MedianRange), fromTo(r.CRPSRange))
	}
	b.WriteByte('\n')
}

func fromTo(r *[2]float64) string {
	if r == nil {
		return "-"
	}
	return minutes(&r[0]) + " to " + minutes(&r[1])
}

func histogram(b *strings.Builder, r backtestReport) {
	fmt.Fprintf(b, "%-18s %5s %5s %5s %5s %5s %5s %5s %5s\n", "", "<5", "5-10", "-25", "-50", "-75", "-90", "-95", ">95")
	line := func(of string, shares [8]float64) {
		fmt.Fprintf(b, "%-18s", of)
		for _, s := range shares {
			fmt.Fprintf(b, " %5.0f", 100*s)
		}
		b.WriteByte('\n')
	}
	line("honest", score.Expected())
	for _, c := range append(r.Checkpoints, r.All) {
		line(c.Of, c.PIT)
	}
}

func minutes(v *float64) string {
	switch {
	case v == nil:
		return "-"
	case *v < 9.95:
		return fmt.Sprintf("%.1f", *v)
	}
	return fmt.Sprintf("%.0f", *v)
}

func share(v *float64) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf("%.2f", *v)
}

func both(r ruleReport) string { return minutes(r.MedianError) + "/" + minutes(r.MeanError) }
