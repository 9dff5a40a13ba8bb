package strict

import (
	"cmp"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"
)

func child(at toml.Key, key string) toml.Key { return append(at[:len(at):len(at)], key) }

func last(at toml.Key) string { return at[len(at)-1] }

func isFloat(k reflect.Kind) bool { return k == reflect.Float64 || k == reflect.Float32 }

func isInt(k reflect.Kind) bool { return k >= reflect.Int && k <= reflect.Uint64 }

func number(text string) bool {
	_, err := strconv.ParseFloat(text, 64)
	return err == nil
}

// example is a value of a kind, as it is written.
func example(k reflect.Kind) string {
	switch {
	case k == reflect.String:
		return `"text"`
	case k == reflect.Bool:
		return "true"
	case isInt(k):
		return "2"
	}
	return "1.5"
}

// written gives a value as it stands in the file.
func written(v any) string {
	switch v := v.(type) {
	case string:
		return strconv.Quote(v)
	case []any, []map[string]any:
		return "[…]"
	case map[string]any:
		return "{…}"
	}
	return fmt.Sprint(v)
}

// field finds the type of a key; as the decoder does, it takes capital letters for small ones.
func field(t reflect.Type, key string) (reflect.Type, bool) {
	for _, f := range reflect.VisibleFields(t) {
		if tag := f.Tag.Get("toml"); tag != "" && strings.EqualFold(tag, key) {
			return f.Type, true
		}
	}
	return nil, false
}

// inOrder gives the keys of a table in the order of their lines.
func inOrder(text string, at toml.Key, keys map[string]any) []string {
	lines, out := map[string]int{}, []string{}
	for key := range keys {
		lines[key] = lineOf(text, child(at, key))
		out = append(out, key)
	}
	slices.SortFunc(out, func(a, b string) int { return cmp.Or(lines[a]-lines[b], strings.Compare(a, b)) })
	return out
}

// lineOf finds the line of a key: the first assignment of that name under its table's heading, or the heading itself.
func lineOf(text string, key toml.Key) int {
	table := strings.Join(key[:len(key)-1], ".")
	name, full := last(key), strings.Join(key, ".")
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
