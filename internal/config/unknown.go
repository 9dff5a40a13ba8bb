package config

import (
	"fmt"
	"reflect"
	"strings"

	"github.com/BurntSushi/toml"
)

// unknownKey says on which line an unknown key stands and which known one was probably meant.
func unknownKey(text string, key toml.Key) error {
	name := key[len(key)-1]
	where := ""
	if line := lineOf(text, key); line > 0 {
		where = fmt.Sprintf("line %d: ", line)
	}
	best, distance := "", 3
	for _, known := range knownKeys(reflect.TypeFor[Config]()) {
		if d := editDistance(name, known); d < distance {
			best, distance = known, d
		}
	}
	if best != "" {
		return fmt.Errorf("%sunknown key %q; did you mean %q?", where, key, best)
	}
	return fmt.Errorf("%sunknown key %q: remove it, or see configs/stallkeeper.toml for every key", where, key)
}

// lineOf finds the line of a key: the first assignment of that name under its table's heading, or the heading itself.
func lineOf(text string, key toml.Key) int {
	table := strings.Join(key[:len(key)-1], ".")
	name, full := key[len(key)-1], key.String()
	current := ""
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		if strings.HasPrefix(line, "[") {
			current = strings.Trim(strings.SplitN(line, "#", 2)[0], "[] ")
			if current == full {
				return i + 1
			}
			continue
		}
		left, _, ok := strings.Cut(line, "=")
		if ok && current == table && strings.Trim(strings.TrimSpace(left), `"'`) == name {
			return i + 1
		}
	}
	return 0
}

func knownKeys(t reflect.Type) []string {
	for t.Kind() == reflect.Slice || t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct {
		return nil
	}
	var out []string
	for f := range t.Fields() {
		if tag := f.Tag.Get("toml"); tag != "" {
			out = append(out, tag)
			out = append(out, knownKeys(f.Type)...)
		}
	}
	return out
}

// editDistance counts the single-letter edits between two words (Levenshtein).
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			diagonal, row[j+1] = row[j+1], min(row[j+1]+1, row[j]+1, diagonal+cost)
		}
	}
	return row[len(b)]
}
