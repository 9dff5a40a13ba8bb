package safety

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
