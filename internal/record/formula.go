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

// nested says each member of objects and lists on a line of its own.
func (t *teller) nested(name string, v any) {
	switch v := v.(type) {
	case map[string]any:
		for _, k := range slices.Sorted(maps.Keys(v)) {
			t.nested(strings.TrimSpace(name+" "+k), v[k])
		}
	case []any:
		for i, one := range v {
			members, ok := one.(map[string]any)
			if !ok {
				t.nested(name+" "+strconv.Itoa(i+1), one)
				continue
			}
			label, text := oneLine(members)
			t.say(spaced(name)+": "+pick(label != "", label, strconv.Itoa(i+1)), text)
		}
	default:
		name, unit := unitOf(name)
		t.say(spaced(name), plainly(v, unit))
	}
}

// oneLine puts an object of a list on one line; what it is called, under "what" or "name", is its label.
func oneLine(members map[string]any) (label, line string) {
	var said []string
	for _, k := range slices.Sorted(maps.Keys(members)) {
		name, unit := unitOf(k)
		text := plainly(members[k], unit)
		switch {
		case k == "what" || k == "name":
			label = text
		case name == "":
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
