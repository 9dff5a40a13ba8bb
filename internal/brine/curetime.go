package brine

import (
	"fmt"
	"math"
	"strings"
)

// CurePiece is what decides how long a piece cures. Unknown figures are 0.
type CurePiece struct {
	ThicknessMM float64
	MassKg      float64
	BrineSalt   float64 // percent by weight of the brine; 0 = not known, or a dry cure
	Dry         bool    // a dry rub cure
	Flat        bool    // a trimmed brisket flat, for which there is a practice of its own
}

// CureRule is one way to reckon a cure time, in days.
type CureRule struct {
	Name      string
	Low, High float64 // equal where the rule gives one figure
	Basis     string  // who says so, or "common practice, no source"
	Applies   string  // what the rule was made for, where that is another thing than the piece
}

// CureTime is what the rules say, and the days to plan with.
type CureTime struct {
	Rules   []CureRule
	Default float64 // whole days: the longer of practice and the rules by thickness; 0 = nothing tells
	Because string
}

// Practice for a trimmed brisket flat, days. Common practice, no source.
const (
	flatLeast = 5.0
	flatUsual = 10.0
	flatMost  = 14.0

	flatBasis = "common practice, no source: five days at least, ten usual, fourteen still good"
)

// Diffusion of salt in raw meat at 2 to 5 °C, m²/s; from memory (fair), published values are 1 to 3e-10 and fall with
// salt content. Nitrite is two orders of magnitude slower because it reacts on its way: no cure time comes from that.
const (
	saltSlow, saltUsual, saltFast = 1e-10, 2e-10, 3e-10
	centreSalt                    = 2.0 // percent wanted in the middle; common practice, no source
)

const mmPerInch = 25.4

// EstimateCure gathers the published and customary rules for a piece. It fails on figures that no piece has. Without a
// thickness and without a practice of its own there is no default: Default is 0.
//
// The default is the longer of practice and the rules by thickness (7 days an inch, and salt diffusion at the brine's
// strength, so that a weaker brine takes longer). Rules by weight are for hams and shoulders; they are shown, and do not
// decide.
func EstimateCure(p CurePiece) (CureTime, error) {
	if err := p.validate(); err != nil {
		return CureTime{}, err
	}
	var out CureTime
	days, why := 0.0, ""
	decide := func(d float64, reason string) {
		if d > days {
			days, why = d, reason
		}
	}
	if p.Flat {
		out.Rules = append(out.Rules, CureRule{Name: "practice for a trimmed flat", Low: flatLeast, High: flatMost,
			Basis: flatBasis})
		decide(flatUsual, "ten days are usual for a trimmed flat (common practice, no source)")
	}
	if p.ThicknessMM > 0 {
		inches := p.ThicknessMM / mmPerInch
		out.Rules = append(out.Rules, p.byInch()...)
		decide(7*inches, fmt.Sprintf("7 days an inch over %.0f mm", p.ThicknessMM))
		slow, usual, fast := p.diffusion(saltSlow), p.diffusion(saltUsual), p.diffusion(saltFast)
		out.Rules = append(out.Rules, CureRule{Name: "salt diffusion", Low: fast, High: slow,
			Basis: "order of magnitude: " + p.diffusionWords() + ", by how fast salt spreads in raw meat at 2 to 5 °C (36 to 41 °F): 0.4 to 1.1 mm² an hour (from memory)"})
		decide(usual, fmt.Sprintf("salt needs about %.0f days to the middle of %.0f mm in a brine of %.1f %%", math.Ceil(usual), p.ThicknessMM, p.BrineSalt))
	}
	out.Rules = append(out.Rules, p.byPound()...)
	if days == 0 {
		out.Because = "the thickness is not known"
		return out, nil
	}
	out.Default, out.Because = math.Ceil(days-1e-9), why
	return out, nil
}

func (p CurePiece) validate() error {
	switch {
	case !(p.ThicknessMM >= 0 && p.ThicknessMM <= 500):
		return fmt.Errorf("thickness %v mm is not between 0 and 500: measure the thickest place", p.ThicknessMM)
	case !(p.MassKg >= 0 && p.MassKg <= 100):
		return fmt.Errorf("mass %v kg is not between 0 and 100: weigh the piece", p.MassKg)
	case !(p.BrineSalt >= 0 && p.BrineSalt <= saturatedSalt):
		return fmt.Errorf("a brine of %v %% salt cannot be: enter salt over the whole weight of the brine, 0 to 26.4%%", p.BrineSalt)
	case p.BrineSalt > 0 && p.BrineSalt <= weakestBrine && !p.Dry:
		return fmt.Errorf("a brine of %.1f %% salt never brings the middle to %.0f %%: make it stronger than %.1f %%", p.BrineSalt, centreSalt, weakestBrine)
	}
	return nil
}

// weakestBrine is the least salt, percent, for which a cure time is given: below it the time grows without bound.
const weakestBrine = 1.1 * centreSalt

func (p CurePiece) byInch() []CureRule {
	inches := p.ThicknessMM / mmPerInch
	perInch := CureRule{Name: "7 days an inch", Low: 7 * inches, High: 7 * inches}
	if p.Dry {
		perInch.Basis = "Virginia Cooperative Extension 458-223 (from memory)"
		perInch.Applies = "dry-cured hams, by the cushion"
	} else {
		perInch.Basis = "common practice, no source; the same figure is printed for dry-cured hams"
	}
	quarter := inches/2/0.25 + 2
	return []CureRule{perInch, {Name: "a quarter inch a day from each side and two days", Low: quarter, High: quarter, Basis: "common practice, no source"}}
}

func (p CurePiece) byPound() []CureRule {
	if p.MassKg == 0 {
		return nil
	}
	pounds := p.MassKg / 0.45359237
	if p.Dry {
		return []CureRule{{Name: "1.5 days a pound", Low: 1.5 * pounds, High: 1.5 * pounds,
			Basis: "Virginia Cooperative Extension 458-223 (from memory)", Applies: "dry-cured hams"}}
	}
	return []CureRule{{Name: "3.5 to 4 days a pound", Low: 3.5 * pounds, High: 4 * pounds,
		Basis: "a USDA home-pork bulletin (from memory)", Applies: "hams and shoulders in sweet pickle, which are thicker than a flat"}}
}

// diffusion is the time, days, until salt reaches the middle of a slab, Fo L²/D with L half the thickness.
func (p CurePiece) diffusion(d float64) float64 {
	half := p.ThicknessMM / 2000
	return p.fourier() * half * half / d / 86400
}

// fourier is the Fourier number at which the middle of a slab has centreSalt: one-term series for a slab whose surface is
// held at the strength of the brine, C/Cs = 1 − (4/π) exp(−π² Fo/4). Without a known strength it is 1/4, the rule
// t = L²/(4 D), which is what a brine of 6.4 % comes to.
func (p CurePiece) fourier() float64 {
	if p.Dry || p.BrineSalt == 0 {
		return 0.25
	}
	return 4 / (math.Pi * math.Pi) * math.Log(4/math.Pi/(1-centreSalt/p.BrineSalt))
}

func (p CurePiece) diffusionWords() string {
	if p.Dry || p.BrineSalt == 0 {
		return "half the thickness squared over 4 D"
	}
	return fmt.Sprintf("until the middle has %.0f %% salt in a brine of %.1f %%", centreSalt, p.BrineSalt)
}

// Judge says in one line what stands behind a chosen number of days, and what speaks for a longer cure.
func (c CureTime) Judge(days float64) string {
	var met, short, long []string
	for _, r := range c.Rules {
		said := fmt.Sprintf("%s (%s)", r.Name, r.Span())
		switch {
		case r.Applies != "":
		case days < r.Low-1e-9:
			short = append(short, said)
		case r.Basis == flatBasis && days > r.High+1e-9:
			long = append(long, said)
		default:
			met = append(met, said)
		}
	}
	var parts []string
	add := func(lead string, rules []string) {
		if len(rules) > 0 {
			parts = append(parts, lead+strings.Join(rules, ", "))
		}
	}
	add("satisfies ", met)
	add("falls short of ", short)
	add("is longer than ", long)
	switch {
	case c.Default == 0:
		parts = append(parts, "no rule by thickness speaks, because "+c.Because)
	case days < c.Default:
		parts = append(parts, fmt.Sprintf("the default is %g days (%s)", c.Default, c.Because))
	}
	return strings.Join(parts, "; ")
}

// TooShort reports whether there are rules for the piece and the days are fewer than any of them allows.
func (c CureTime) TooShort(days float64) bool {
	short := false
	for _, r := range c.Rules {
		if r.Applies == "" && days >= r.Low-1e-9 {
			return false
		}
		short = short || r.Applies == ""
	}
	return short
}

// Span writes the days of a rule, rounded up.
func (r CureRule) Span() string {
	low, high := math.Ceil(r.Low-1e-9), math.Ceil(r.High-1e-9)
	switch {
	case low != high:
		return fmt.Sprintf("%.0f to %.0f days", low, high)
	case low == 1:
		return "1 day"
	}
	return fmt.Sprintf("%.0f days", low)
}
