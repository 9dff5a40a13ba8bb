package record

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
)

// formula tells a worked-out recipe, a JSON object of whatever keys: "meat_salt_percent": 2.5527361 becomes "meat salt", "2.553 %".
// Figures are rounded to four digits for reading; the journal's own JSON has all of them.
func (t *teller) formula(text raw) {
	var v any
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.UseNumber()
	if err := dec.Decode(&v); err != nil { // Validate refuses such a body
		t.say("formula", string(text))
		return
	}
	t.nested("", v)
}

// recipeWords are what the keys of the brine calculation are called by people, in the order in which they are read; other keys follow by name.
var recipeWords = [][2]string{{"weights", "weights"}, {"cure", "curing salt"}, {"pickle", "brine in all"}, {"brine_salt", "salt in the brine"}, {"salometer", "salometer"},
	{"meat_salt", "salt in the meat, once even"}, {"ingoing_nitrite", "ingoing nitrite, as sodium nitrite"}, {"ingoing_nitrite_ion", "the same as nitrite ion, as the EU counts"},
	{"limit", "limit of ingoing nitrite"}, {"limit_source", "source of the limit"}, {"within", "within the limit"}, {"accelerator", "ascorbate or erythorbate"},
	{"cure_time default", "cure time"}, {"cure_time because", "cure time because"}, {"cure_time rules", "cure time by the rule"}, {"spices", "spices"}, {"notes", "note"}}

// called is what people call a key, and its place among the others.
func called(key string) (name string, place int) {
	for i, w := range recipeWords {
		if w[0] == key {
			return w[1], i
		}
	}
	return spaced(key), len(recipeWords)
}

// nested says each member of objects and lists on a line of its own; what has only a name and a figure each stands on one.
func (t *teller) nested(name string, v any) {
	switch v := v.(type) {
	case map[string]any:
		for _, k := range inReadingOrder(name, v) {
			t.nested(strings.TrimSpace(name+" "+k), v[k])
		}
	case []any:
		t.list(name, v)
	default:
		key, unit := unitOf(name)
		name, _ := called(key)
		t.say(name, plainly(v, unit))
	}
}

func inReadingOrder(name string, members map[string]any) []string {
	keys := slices.Sorted(maps.Keys(members))
	place := func(k string) int {
		key, _ := unitOf(strings.TrimSpace(name + " " + k))
		if _, n := called(key); n < len(recipeWords) {
			return n
		}
		for i, w := range recipeWords { // an object, whose members have places
			if strings.HasPrefix(w[0], key+" ") {
				return i
			}
		}
		return len(recipeWords)
	}
	slices.SortStableFunc(keys, func(a, b string) int { return place(a) - place(b) })
	return keys
}

func (t *teller) list(name string, list []any) {
	word, _ := called(name)
	var short []string
	for i, one := range list {
		members, ok := one.(map[string]any)
		if !ok {
			t.nested(name, one)
			continue
		}
		label, text := oneLine(members)
		if label != "" && len(members) == 2 {
			short = append(short, label+" "+text)
			continue
		}
		t.say(word+": "+pick(label != "", label, strconv.Itoa(i+1)), text)
	}
	t.say(word, strings.Join(short, ", "))
}

// oneLine puts an object of a list on one line; what it is called, under "what" or "name", is its label. A lowest and a highest are a range, and
// on what it rests needs no name.
func oneLine(members map[string]any) (label, line string) {
	var said []string
	low, high := members["low_days"], members["high_days"]
	if low != nil && high != nil {
		from, to := plainly(low, ""), plainly(high, "days")
		said = append(said, pick(from+" days" == to, to, from+" to "+to))
	}
	for _, k := range slices.Sorted(maps.Keys(members)) {
		name, unit := unitOf(k)
		text := plainly(members[k], unit)
		switch {
		case k == "what" || k == "name":
			label = text
		case len(said) > 0 && (k == "low_days" || k == "high_days"):
		case name == "" || k == "basis":
			said = append(said, text)
		default:
			said = append(said, spaced(name)+" "+text)
		}
	}
	return label, strings.Join(said, "; ")
}

func spaced(name string) string { return strings.ReplaceAll(name, "_", " ") }

// unitOf takes the unit off a key: "cure_g" is "cure" in g.
func unitOf(key string) (name, unit string) {
	for _, u := range [][2]string{{"ppm", "ppm"}, {"percent", "%"}, {"kg", "kg"}, {"g", "g"}, {"grams", "g"}, {"mm", "mm"}, {"deg", "°"}, {"days", "days"}} {
		if key == u[0] {
			return "", u[1]
		}
		if name, ok := strings.CutSuffix(key, "_"+u[0]); ok {
			return name, u[1]
		}
	}
	return key, ""
}

func plainly(v any, unit string) string {
	switch v := v.(type) {
	case nil:
		return "not known"
	case bool:
		return pick(v, "yes", "NO")
	case json.Number:
		f, err := v.Float64()
		if err != nil {
			return v.String()
		}
		return strings.TrimSpace(rounded(f) + " " + unit)
	}
	return fmt.Sprint(v)
}

// rounded writes four digits, and never fewer than stand before the point: 12.542481 is "12.54", 3150 is "3150".
func rounded(v float64) string {
	if v == 0 {
		return "0"
	}
	places := min(max(0, 3-int(math.Floor(math.Log10(math.Abs(v))))), 12)
	scale := math.Pow(10, float64(places))
	return strconv.FormatFloat(math.Round(v*scale)/scale, 'f', -1, 64)
}
