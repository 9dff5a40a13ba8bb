package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/plan"
	"stallkeeper/internal/when"
)

// chillLine is one way to chill against one limit.
type chillLine struct {
	Piece   string     `json:"piece"`
	Limit   string     `json:"limit"`
	Source  string     `json:"source"`
	If      string     `json:"if,omitempty"`
	How     string     `json:"how"`
	ThickMM float64    `json:"thick_mm"` // to cut it to; 0 = whole
	Hours   []*float64 `json:"stage_hours"`
	Meets   bool       `json:"meets"`
}

// chill plans how the pieces are chilled; a finding when a limit is met by no way that was tried.
func (p planCmd) chill(c *console) error {
	if len(p.Piece) == 0 {
		return errors.New("missing flags: --piece (such as --piece cut=brisket_flat_cured,mass=1.6kg,thickness=45mm,target=92C)")
	}
	forecaster := estimator.New(estimator.DefaultPrior())
	lines, finding := []chillLine{}, false
	for _, text := range p.Piece {
		piece, err := parsePiece(text, nil)
		if err != nil {
			return fmt.Errorf("--piece %s: %w", text, err)
		}
		cured := piece.Cut == estimator.BrisketFlatCured && !piece.Uncured
		limits, err := plan.ChillPlan(forecaster, plan.ChillAsk{Cut: piece.Cut, MassKg: piece.MassKg, ThicknessMM: piece.ThicknessMM, Cured: cured})
		if err != nil {
			return err
		}
		for _, l := range limits {
			met := false
			for _, w := range l.Ways {
				met = met || w.Meets
				lines = append(lines, chillLine{string(piece.Cut), l.Limit.Name, l.Limit.Source, l.Limit.If, w.Words(), w.ThickMM, stageHours(w), w.Meets})
			}
			finding = finding || !met
		}
	}
	if err := p.printChill(c, lines); err != nil {
		return err
	}
	if finding {
		return errFinding
	}
	return nil
}

func stageHours(w plan.ChillWay) []*float64 {
	out := make([]*float64, len(w.Takes))
	for i, d := range w.Takes {
		if d >= 0 {
			h := d.Hours()
			out[i] = &h
		}
	}
	return out
}

func (p planCmd) printChill(c *console, lines []chillLine) error {
	if p.JSON {
		return json.NewEncoder(c.out).Encode(lines)
	}
	head := ""
	for _, l := range lines {
		if now := l.Piece + ", " + l.Limit + " (" + l.Source + ")"; now != head {
			head = now
			fmt.Fprintln(c.out, head)
			if l.If != "" {
				fmt.Fprintln(c.out, "  only with", l.If)
			}
		}
		mark := "no "
		if l.Meets {
			mark = "yes"
		}
		took := make([]string, len(l.Hours))
		for i, h := range l.Hours {
			took[i] = "too long"
			if h != nil {
				took[i] = when.Span(time.Duration(*h * float64(time.Hour)).Round(5 * time.Minute))
			}
		}
		fmt.Fprintf(c.out, "  %s  %s then %s  %s\n", mark, took[0], took[1], l.How)
	}
	_, err := fmt.Fprintln(c.out, "Forecasts, nine chances in ten, for planning: only a thermometer in the warmest place shows that a limit was met.")
	return err
}
