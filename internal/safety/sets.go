package safety

import (
	"fmt"
	"strings"

	"stallkeeper/internal/cook"
)

// Set is a selectable collection of rules, named after its standard and year.
type Set struct {
	Name    string
	Edition string
	Source  string
	judge   func(Subject, Settings) []Verdict
}

// Sets lists every rule set.
func Sets() []Set {
	return []Set{
		{"fsis-meat-6.5log", "December 2021", fsisMeat, func(x Subject, s Settings) []Verdict { return fsisCooking(x, Meat65(), 6.5, s) }},
		{"fsis-meat-7log", "December 2021", fsisMeat, func(x Subject, s Settings) []Verdict { return fsisCooking(x, Meat7(), 7, s) }},
		{"fsis-poultry-7log", "December 2021; some rows from memory", fsisBird, fsisPoultry},
		{"foodcode-2022", "2022", foodCode + ", as state codes adopt its wording", foodCodeRules},
		{"fsis-cooling-1", "December 2021", fsisChill, chill(Cooling1())},
		{"fsis-cooling-2", "December 2021", fsisChill, chill(Cooling2())},
		{"fsis-cooling-cured", "December 2021; times from memory", fsisChill, chill(CoolingCured())},
		{"fsis-cooling-4", "from memory, 1999 and later", fsisChill, chill(CoolingSlow())},
		{"fsis-humidity", "December 2021", fsisHumid, humidity},
		{"usda-cold-40F", "no edition", usdaCold, usdaColdRules},
		{"curing-cooler", "no edition", cureSource, curing},
		{"danger-zone-4h", "no edition", "common practice, no authority known", dangerRules},
		{"pit", "no edition", "choice of this project", pitRules},
	}
}

// Find gives the sets of the names, or says which name is not known.
func Find(names []string) ([]Set, error) {
	var out []Set
	all := Sets()
	for _, name := range names {
		i := -1
		for k := range all {
			if all[k].Name == name {
				i = k
			}
		}
		if i < 0 {
			var known []string
			for _, set := range all {
				known = append(known, set.Name)
			}
			return nil, fmt.Errorf("rule set %q is not known: use one of %s", name, strings.Join(known, " "))
		}
		out = append(out, all[i])
	}
	return out, nil
}

// Judge gives the verdicts of the sets on a subject, in order, with one verdict on gaps at the end.
func Judge(x Subject, sets []Set, s Settings) []Verdict {
	var out []Verdict
	x.Traces, x.Pit = cleaned(x.Traces), cleaned(x.Pit)
	first, last := ends(x.Traces)
	for _, set := range sets {
		for _, v := range set.judge(x, s) {
			v.Set = set.Name
			out = append(out, v)
		}
	}
	if len(sets) > 0 && len(x.Traces) > 0 {
		v := worst(each(x.Traces, func(t Trace) (Verdict, bool) { return gaps(t, first, last, s), true }))
		if n := excluded(x); n > 0 {
			v.Because += fmt.Sprintf("; %d improbable or contradicting readings of the piece were left out", n)
		}
		v.Set = sets[0].Name
		out = append(out, v)
	}
	return out
}

func cleaned(traces []Trace) []Trace {
	out := make([]Trace, 0, len(traces))
	for _, t := range traces {
		out = append(out, clean(t))
	}
	return out
}

func excluded(x Subject) (n int) {
	for _, t := range x.Traces {
		n += t.Excluded
	}
	return n
}

// cookedBy folds the dwell verdicts of all probes: the worst, the coldest probe's, stands.
func cookedBy(x Subject, table Table, s Settings) []Verdict {
	_, last := ends(x.Traces)
	return fold(nil, x.Traces, func(t Trace) (Verdict, bool) { return fellSilent(dwell(t, table, s), t, last, s), true })
}

// each judges every trace that has the rule's stage.
func each(traces []Trace, judge func(Trace) (Verdict, bool)) []Verdict {
	var out []Verdict
	for _, t := range traces {
		if v, ok := judge(t); ok {
			out = append(out, v)
		}
	}
	return out
}

// fold appends the worst verdict over the traces, if there is one.
func fold(out []Verdict, traces []Trace, judge func(Trace) (Verdict, bool)) []Verdict {
	if v := each(traces, judge); len(v) > 0 {
		return append(out, worst(v))
	}
	return out
}

func fsisCooking(x Subject, table Table, logs float64, s Settings) []Verdict {
	if x.Poultry {
		return []Verdict{{Rule: Dwell, Outcome: Unknown, Source: table.Source, Needed: "a table for poultry", Measured: "a piece of poultry",
			Because: "this table is for meat: use fsis-poultry-7log"}}
	}
	return cooking(x, table, logs, s)
}

// cooking gives dwell, come-up and the advisory integral for a table.
func cooking(x Subject, table Table, logs float64, s Settings) []Verdict {
	out := cookedBy(x, table, s)
	if len(out) > 0 && logs > 0 {
		out[0].Because += "; dry heat without humidity has no support in this guideline (scientific gap 3)"
	}
	out = fold(out, x.Traces, func(t Trace) (Verdict, bool) { return comeUp(t, table, x.Piece.Intact, s) })
	if logs > 0 {
		out = fold(out, x.Traces, func(t Trace) (Verdict, bool) { return lethality(t, logs, s), true })
	}
	return holdUSDA(out, x, s)
}

func fsisPoultry(x Subject, s Settings) []Verdict {
	lean := s.FatPercent > 0 && s.FatPercent <= 1
	chicken := chicken7(lean)
	table := turkey7(lean)
	switch x.Piece.Cut {
	case "chicken_whole":
		table = chicken
	case "turkey_breast", "turkey_whole":
	default:
		return []Verdict{{Rule: Dwell, Outcome: Unknown, Source: fsisBird, Needed: "a table for meat", Measured: "a piece of " + x.Piece.Cut,
			Because: "this table is for poultry: use fsis-meat-7log"}}
	}
	out := cookedBy(x, table, s)
	out = fold(out, x.Traces, func(t Trace) (Verdict, bool) { return comeUp(t, table, x.Piece.Intact, s) })
	out = fold(out, x.Traces, func(t Trace) (Verdict, bool) { return lethality(t, 7, s), true })
	return holdUSDA(out, x, s)
}

// holdUSDA adds hot holding at 140 °F: USDA FSIS, Danger Zone fact sheet. The Food Code has 135 °F, and 130 °F for roasts.
func holdUSDA(out []Verdict, x Subject, s Settings) []Verdict {
	off := cook.OffAt(x.Events, x.Piece.ID)
	return fold(out, x.Traces, func(t Trace) (Verdict, bool) {
		return hotHolding(t, off, s.holdF(140), holdSource, s)
	})
}

func foodCodeRules(x Subject, s Settings) []Verdict {
	table := Opened()
	switch {
	case x.Poultry:
		table = BirdPoint()
	case x.Fish:
		table = Fish()
	case x.Piece.Intact:
		table = Roast()
	}
	out := cookedBy(x, table, s)
	holdF := 135.0
	if x.Piece.Intact && !x.Poultry && !x.Fish && len(out) > 0 && out[0].Outcome == Met {
		holdF = 130 // roasts cooked or reheated by the roast table may be held at 130 °F
	}
	off := cook.OffAt(x.Events, x.Piece.ID)
	out = fold(out, x.Traces, func(t Trace) (Verdict, bool) { return hotHolding(t, off, s.holdF(holdF), foodCode+" 3-501.16", s) })
	out = append(out, chill(CoolingFoodCode())(x, s)...)
	return fold(out, x.Traces, func(t Trace) (Verdict, bool) { return coldHolding(t, s.coldF(41), foodCode+" 3-501.16", s) })
}

func chill(rule CoolingRule) func(Subject, Settings) []Verdict {
	return func(x Subject, s Settings) []Verdict {
		return fold(nil, x.Traces, func(t Trace) (Verdict, bool) { return cooling(t, rule, s) })
	}
}

func dangerRules(x Subject, s Settings) []Verdict {
	out := fold(nil, x.Traces, func(t Trace) (Verdict, bool) { return dangerZone(t, 4, 60, s), true })
	return fold(out, x.Traces, func(t Trace) (Verdict, bool) { return dangerZone(t, 5, 57, s), true })
}

func pitRules(x Subject, s Settings) []Verdict {
	return fold(nil, x.Pit, func(t Trace) (Verdict, bool) { return pit(t, x.Traces, s) })
}
