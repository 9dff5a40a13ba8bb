package record

import (
	"strings"

	"stallkeeper/internal/cook"
)

// Yield is what became of the meat of a lot, from the weights that hold. Shares are fractions of the weight they start from.
type Yield struct {
	Steps    []StepWeight `json:"steps"`
	Shares   []Share      `json:"shares"`
	FatKg    float64      `json:"trimmed_fat_kg"` // weighed, or raw minus trimmed; it is rendered, not waste. 0 = not known
	Rendered float64      `json:"rendered_kg"`    // fat rendered from it; 0 = not known
	// Used is what was made of the raw meat, trimmed fat counted: (meat at the last step + fat) / raw; 0 = not known, or not smoked yet.
	Used     float64  `json:"used"`
	Cost     float64  `json:"cost,omitempty"` // sum of the prices of the raw materials; 0 = none given
	Currency string   `json:"currency,omitempty"`
	PerKg    float64  `json:"cost_per_served_kg,omitempty"` // over the weight at the last step
	Last     When     `json:"last_step,omitempty"`
	Notes    []string `json:"notes"`
}

// StepWeight is the weight at one step: that of the lot, or the sum of its pieces.
type StepWeight struct {
	When   When    `json:"when"`
	MassKg float64 `json:"mass_kg"`
	Pieces int     `json:"pieces"` // how many were weighed; 0 = the lot as a whole
}

// Share is the weight at one step over that at another, of the same meat.
type Share struct {
	From When    `json:"from"`
	To   When    `json:"to"`
	Of   float64 `json:"fraction"`
}

// weighings are the newest weights of a step, by piece; "" is the whole lot.
type weighings map[When]map[cook.PieceID]float64

func (l *Lot) weighings() weighings {
	out := weighings{}
	for _, w := range l.Weights { // in the order of their events: the newest stays
		if out[w.Body.When] == nil {
			out[w.Body.When] = map[cook.PieceID]float64{}
		}
		out[w.Body.When][w.Body.Piece] = w.Body.MassKg
	}
	return out
}

// at is the weight of the lot at a step; 0 if it was not weighed.
func (w weighings) at(step When) (kg float64, pieces int) {
	if whole, ok := w[step][""]; ok {
		return whole, 0
	}
	for _, one := range w[step] {
		kg += one
	}
	return kg, len(w[step])
}

// share compares two steps over the meat that was weighed at both; 0 if there is none.
func (w weighings) share(from, to When, all int) float64 {
	a, b := 0.0, 0.0
	for piece, kg := range w[from] {
		if after, ok := w[to][piece]; ok && piece != "" {
			a, b = a+kg, b+after
		}
	}
	x, nx := w.at(from)
	y, ny := w.at(to)
	whole := func(n int) bool { return n == 0 || n == all }
	if x > 0 && y > 0 && whole(nx) && whole(ny) {
		a, b = x, y
	}
	if a == 0 {
		return 0
	}
	return b / a
}

// meatSteps are the steps at which the meat itself is weighed.
func meatSteps() []When {
	return []When{WhenRaw, WhenTrimmed, WhenCured, WhenSmoked, WhenChilled, WhenSliced, WhenServed}
}

// Yield works out what became of the meat.
func (l *Lot) Yield() Yield {
	w := l.weighings()
	out := Yield{Steps: []StepWeight{}, Shares: []Share{}, Notes: []string{}}
	last := When("")
	for _, step := range Whens() {
		if kg, n := w.at(step); kg > 0 {
			out.Steps = append(out.Steps, StepWeight{step, kg, n})
		}
	}
	for _, step := range meatSteps() {
		kg, _ := w.at(step)
		if kg == 0 {
			continue
		}
		if last != "" {
			out.share(w, last, step, len(l.Pieces))
		}
		last = step
	}
	out.Last = last
	if last != WhenRaw && last != "" {
		out.share(w, WhenRaw, last, len(l.Pieces))
	}
	out.share(w, WhenTrimmed, WhenSmoked, len(l.Pieces))
	out.fat(w, len(l.Pieces))
	out.costs(l, w)
	return out
}

func (y *Yield) share(w weighings, from, to When, all int) {
	for _, s := range y.Shares {
		if s.From == from && s.To == to {
			return
		}
	}
	if of := w.share(from, to, all); of > 0 {
		y.Shares = append(y.Shares, Share{from, to, of})
	}
}

// Of is a share; 0 if it is not known.
func (y Yield) Of(from, to When) float64 {
	for _, s := range y.Shares {
		if s.From == from && s.To == to {
			return s.Of
		}
	}
	return 0
}

// fat counts the trimmed fat: weighed, or what the trimming took off.
func (y *Yield) fat(w weighings, all int) {
	raw, _ := w.at(WhenRaw)
	y.FatKg, _ = w.at(WhenFat)
	y.Rendered, _ = w.at(WhenRendered)
	if y.FatKg == 0 {
		if trimmed := w.share(WhenRaw, WhenTrimmed, all); trimmed > 0 && trimmed < 1 {
			y.FatKg = raw * (1 - trimmed)
			y.Notes = append(y.Notes, "the trimmed fat is the raw weight less the trimmed one; weigh it to be sure")
		}
	}
	if y.Last == WhenRaw || y.Last == WhenTrimmed || y.Last == WhenCured { // nothing is made yet, and the brine weighs with the meat
		return
	}
	if end := w.share(WhenRaw, y.Last, all); raw > 0 && end > 0 {
		y.Used = end + y.FatKg/raw
	}
}

// costs adds up the prices, all in one currency, over what is served.
func (y *Yield) costs(l *Lot, w weighings) {
	for _, r := range l.Raw {
		if r.Body.Price == 0 {
			continue
		}
		if y.Currency != "" && y.Currency != r.Body.Currency {
			y.Cost, y.Currency = 0, ""
			y.Notes = append(y.Notes, "prices are in several currencies: give them in one to see the cost")
			return
		}
		y.Cost, y.Currency = y.Cost+r.Body.Price, r.Body.Currency
	}
	if kg, n := w.at(y.Last); y.Cost > 0 && kg > 0 && y.Last != WhenRaw && (n == 0 || n == len(l.Pieces)) {
		y.PerKg = y.Cost / kg
	}
}

// Published is a yield somebody measured and printed.
type Published struct {
	What   string  `json:"what"`
	Low    float64 `json:"low"` // fractions; equal where one figure is printed
	High   float64 `json:"high"`
	Source string  `json:"source"`
}

// PublishedYields are printed yields of cooked over trimmed raw meat of a cut; none where none is known here.
func PublishedYields(cut string) []Published {
	if !strings.HasPrefix(cut, "brisket") {
		return nil
	}
	return []Published{
		{"brisket flat, braised (n 20, mean 69 %)", .65, .76, "USDA table of cooking yields"},
		{"whole briskets, smoked to 85 °C and held 3 h (n 96)", .593, .593, "Meat and Muscle Biology, article 18269"},
		{"whole briskets, smoked to 90 °C and held 3 h (n 96)", .560, .560, "Meat and Muscle Biology, article 18269"},
	}
}
