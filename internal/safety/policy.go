package safety

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"stallkeeper/internal/cook"
)

// Policy is what a shop has chosen: which rule sets hold, and its own stricter limits. It says by which rule a stage is watched.
type Policy struct {
	Sets []string
	Settings
}

// DefaultSets hold where nothing is chosen.
func DefaultSets() []string {
	return []string{"fsis-meat-7log", "fsis-poultry-7log", "foodcode-2022", "danger-zone-4h", "curing-cooler"}
}

// Validate reports every name that is not a rule set, a selection without a rule for cooking or cooling, and limits that are looser
// than published.
func (p Policy) Validate() error {
	var errs []error
	_, err := Find(p.Sets)
	if err != nil {
		errs = append(errs, fmt.Errorf("safety.rules: %w", err))
	} else {
		if set, _ := p.Cooling(); set == "" {
			errs = append(errs, errors.New("safety.rules has no rule for cooling: add foodcode-2022 or one of fsis-cooling-1 fsis-cooling-2 fsis-cooling-cured fsis-cooling-4"))
		}
		if set, _ := p.Table("brisket_flat", false); set == "" {
			errs = append(errs, errors.New("safety.rules has no rule for cooking meat: add foodcode-2022 or fsis-meat-7log"))
		}
	}
	if p.MaxGap != 0 && !(p.MaxGap > 0 && p.MaxGap <= defaultMaxGap) {
		errs = append(errs, fmt.Errorf("safety.max_gap %v is looser than %v (%s), or not above 0s: write %v or less", p.MaxGap, defaultMaxGap, gapSource, defaultMaxGap))
	}
	if !(p.InstrumentError >= 0 && p.InstrumentError <= 10) {
		errs = append(errs, fmt.Errorf("safety.instrument_error_k %v is not between 0 and 10", float64(p.InstrumentError)))
	}
	return errors.Join(append(errs, p.Own.Validate())...)
}

const gapSource = "USDA FSIS Cooking Guideline, FSIS-GD-2021-14: observations at least every 30 min"

func (p Policy) has(name string) bool { return slices.Contains(p.Sets, name) }

// Table is the dwell table by which a piece of a cut is cooked, and the set it is from: the strictest of those selected. A cut that is
// not known counts as poultry, the strictest.
func (p Policy) Table(cut string, intact bool) (set string, t Table) {
	switch {
	case poultry(cut) || cut == "":
		if p.has("fsis-poultry-7log") && cut == "chicken_whole" {
			return "fsis-poultry-7log", chicken7(p.lean())
		}
		if p.has("fsis-poultry-7log") && cut != "" {
			return "fsis-poultry-7log", turkey7(p.lean())
		}
		return "foodcode-2022", BirdPoint()
	case p.has("fsis-meat-7log"):
		return "fsis-meat-7log", Meat7()
	case p.has("fsis-meat-6.5log"):
		return "fsis-meat-6.5log", Meat65()
	case p.has("foodcode-2022") && cut == "fish_side":
		return "foodcode-2022", Fish()
	case p.has("foodcode-2022") && intact:
		return "foodcode-2022", Roast()
	case p.has("foodcode-2022"):
		return "foodcode-2022", Opened()
	}
	return "", Table{}
}

func (p Policy) lean() bool { return p.FatPercent > 0 && p.FatPercent <= 1 }

func poultry(cut string) bool {
	return slices.Contains([]string{"turkey_breast", "turkey_whole", "chicken_whole"}, cut)
}

// Cooling is the cooling rule of the selection: the first that is named.
func (p Policy) Cooling() (set string, r CoolingRule) {
	for _, name := range p.Sets {
		if rule, ok := coolingRules()[name]; ok {
			return name, rule
		}
	}
	return "", CoolingRule{}
}

func coolingRules() map[string]CoolingRule {
	return map[string]CoolingRule{"foodcode-2022": CoolingFoodCode(), "fsis-cooling-1": Cooling1(), "fsis-cooling-2": Cooling2(),
		"fsis-cooling-cured": CoolingCured(), "fsis-cooling-4": CoolingSlow()}
}

// Keeps is the range that a stage must be kept within; false for a stage that has none.
func (p Policy) Keeps(stage cook.Stage) (Range, bool) {
	switch stage {
	case cook.StageCure, cook.StageDry:
		return p.CureRange(), true
	case cook.StageThaw, cook.StageStore:
		return p.ColdRange(), true
	case cook.StageFreeze:
		return p.FreezerRange(), true
	case cook.StageHold:
		fsis := slices.ContainsFunc(p.Sets, func(n string) bool { return strings.HasPrefix(n, "fsis-meat") || strings.HasPrefix(n, "fsis-poultry") })
		return p.HoldRange(!fsis), true
	}
	return Range{}, false
}
