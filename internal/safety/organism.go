package safety

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"stallkeeper/internal/cook"
)

// Organism is a thermal resistance: D minutes at TrefF, one log for each ZF of temperature, °F.
type Organism struct {
	Name, Source string
	TrefF, ZF, D float64
}

// Salmonella is the line under the meat table: Scott & Weddig 1998 (a meat-industry conference paper).
func Salmonella() Organism {
	return Organism{"Salmonella in a meat patty", "Scott & Weddig 1998", 150, 10, 0.172}
}

// Organisms are the published resistances by the name a user gives. Fat and species move the answer severalfold.
func Organisms() map[string]Organism {
	return map[string]Organism{
		"salmonella":             Salmonella(),
		"salmonella-ground-beef": {"Salmonella in ground beef of 25 % fat", "Juneja 2003", 140, 14.5, 4.72},
		"ecoli-lean-beef":        {"E. coli O157:H7 in lean beef of 2 % fat", "Line 1991", 145, 8.3, 0.30},
		"ecoli-ground-beef":      {"E. coli O157:H7 in ground beef of 25 % fat", "Juneja 2003", 140, 11.4, 3.39},
		"ecoli-turkey":           {"E. coli O157:H7 in lean turkey", "Juneja & Marmer 1999", 149, 11.7, 0.29},
		"ecoli-lamb":             {"E. coli O157:H7 in lean lamb", "Juneja & Marmer 1999", 149, 12.4, 0.38},
		"ecoli-pork":             {"E. coli O157:H7 in lean pork", "Juneja & Marmer 1999", 149, 11.7, 0.30},
		"listeria-lean-beef":     {"L. monocytogenes in lean beef of 2 % fat", "Fain 1991", 145, 9.3, 0.6},
		"listeria-ground-beef":   {"L. monocytogenes in ground beef of 25 % fat", "Juneja 2003", 140, 12.0, 4.1},
	}
}

func (s Settings) organism() Organism {
	if s.Organism.D > 0 && s.Organism.ZF > 0 {
		return s.Organism
	}
	return Salmonella()
}

// ParseOrganism reads one of the published names, or a resistance of one's own such as "D=0.3min@145F,z=8.3F": minutes at a
// reference temperature for one log, and the temperature for a tenfold change. Where it comes from is the user's to say.
func ParseOrganism(text string) (Organism, error) {
	if o, known := Organisms()[text]; known {
		return o, nil
	}
	d, z, ok := strings.Cut(text, ",")
	d, isD := strings.CutPrefix(strings.TrimSpace(d), "D=")
	z, isZ := strings.CutPrefix(strings.TrimSpace(z), "z=")
	minutes, ref, isRef := strings.Cut(d, "@")
	if !ok || !isD || !isZ || !isRef {
		return Organism{}, errors.New("not known: use one of the published names, or write it like D=0.3min@145F,z=8.3F")
	}
	length, err := time.ParseDuration(strings.Replace(minutes, "min", "m", 1))
	if err != nil {
		return Organism{}, fmt.Errorf("D %q is not a time such as 0.3min", minutes)
	}
	at, err := cook.ParseTemperature(ref)
	if err != nil {
		return Organism{}, err
	}
	delta, err := cook.ParseTemperatureDelta(z)
	if err != nil {
		return Organism{}, err
	}
	o := Organism{Name: "an organism of your own", Source: "given by the user, no source", TrefF: at.Fahrenheit(), ZF: 1.8 * float64(delta), D: length.Minutes()}
	if !(o.D > 0 && o.D <= 1000 && o.ZF >= 2 && o.ZF <= 60 && o.TrefF >= 100 && o.TrefF <= 300) || math.IsNaN(o.ZF) {
		return Organism{}, errors.New("D must be above 0 and at most 1000 min, z between 2 and 60 °F, the reference between 100 and 300 °F")
	}
	return o, nil
}
