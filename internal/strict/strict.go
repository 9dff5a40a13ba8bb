// Package strict decodes a TOML text into a struct of settings and reports every mistake of a person's hand at once, each with its
// line, what stands there, and what to write instead: unknown keys, text without quotes or numbers with them, a bare number where a
// duration needs its unit, a section in place of a key.
//
// It opens no file and knows no setting; what values may be is for the caller to check. Keys match the toml tags of the struct.
package strict

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"time"

	"github.com/BurntSushi/toml"
)

// Decode reads the text over what into points to. The error joins one for each mistake; it names sample as the place
// where all keys stand.
func Decode(text string, into any, sample string) error {
	var all map[string]any
	if _, err := toml.Decode(text, &all); err != nil {
		var syntax toml.ParseError
		if errors.As(err, &syntax) {
			return fmt.Errorf("line %d: %s (text stands in \"quotes\", the name of a section in [brackets], a remark behind #)", syntax.Position.Line, syntax.Message)
		}
		return err
	}
	r := reader{text: text, sample: sample}
	r.value(nil, all, reflect.TypeOf(into))
	if len(r.mistakes) > 0 {
		return errors.Join(r.mistakes...)
	}
	if _, err := toml.Decode(text, into); err != nil {
		return err
	}
	return nil
}

// reader compares what a text holds with what a struct takes.
type reader struct {
	text, sample string
	mistakes     []error
}

func (r *reader) wrong(at toml.Key, format string, a ...any) {
	where := ""
	if line := lineOf(r.text, at); line > 0 {
		where = fmt.Sprintf("line %d: ", line)
	}
	r.mistakes = append(r.mistakes, fmt.Errorf("%s%s", where, fmt.Sprintf(format, a...)))
}

func (r *reader) value(at toml.Key, v any, t reflect.Type) {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch {
	case t == reflect.TypeFor[time.Duration]():
		r.duration(at, v)
	case t.Kind() == reflect.Struct:
		r.table(at, v, t)
	case t.Kind() == reflect.Slice:
		r.list(at, v, t.Elem())
	default:
		r.plain(at, v, t.Kind())
	}
}

func (r *reader) table(at toml.Key, v any, t reflect.Type) {
	keys, ok := v.(map[string]any)
	if !ok {
		if _, several := v.([]map[string]any); several {
			r.wrong(at, "[[%s]] stands for one of several, and there is only one: write [%s]", at, at)
		} else {
			r.wrong(at, "%s is a section: write [%s] on a line of its own, and its keys below", at, at)
		}
		return
	}
	for _, key := range inOrder(r.text, at, keys) {
		f, known := field(t, key)
		if !known {
			r.unknown(child(at, key), t)
			continue
		}
		r.value(child(at, key), keys[key], f)
	}
}

func (r *reader) list(at toml.Key, v any, of reflect.Type) {
	ofTables := of.Kind() == reflect.Struct
	switch v := v.(type) {
	case []map[string]any:
		if !ofTables {
			r.wrong(at, "%s is a list: write %s = [%s]", at, last(at), example(of.Kind()))
			return
		}
		for _, one := range v {
			r.value(at, one, of)
		}
	case []any:
		for _, one := range v {
			r.value(at, one, of)
		}
	case map[string]any:
		r.wrong(at, "there may be several of [%s]: write it as [[%s]]", at, at)
	default:
		if ofTables {
			r.wrong(at, "there may be several of %s: write each as a section [[%s]], and its keys below", at, at)
		} else {
			r.wrong(at, "%s is a list: write %s = [%s]", at, last(at), written(v))
		}
	}
}

func (r *reader) duration(at toml.Key, v any) {
	const like = `write it like "90s", "20m" or "36h"`
	switch v := v.(type) {
	case string:
		if _, err := time.ParseDuration(v); err != nil {
			r.wrong(at, "%s = %q is no duration: %s", at, v, like)
		}
	case int64, float64:
		r.wrong(at, "%s = %v has no unit: %s", at, v, like)
	default:
		r.wrong(at, "%s = %s is no duration: %s", at, written(v), like)
	}
}

func (r *reader) plain(at toml.Key, v any, k reflect.Kind) {
	switch v := v.(type) {
	case map[string]any, []map[string]any:
		r.wrong(at, "%s is one value and no section: write %s = %s", at, last(at), example(k))
		return
	case string:
		if k == reflect.String {
			return
		}
	case bool:
		if k == reflect.Bool {
			return
		}
	case int64:
		if isFloat(k) || isInt(k) {
			return
		}
	case float64:
		if isFloat(k) {
			return
		}
		if isInt(k) {
			r.wrong(at, "%s = %v is no whole number: write it like %s", at, v, example(k))
			return
		}
	}
	switch text, isText := v.(string); {
	case k == reflect.String:
		r.wrong(at, "%s = %s is no text: put it into quotes, %s = %q", at, written(v), last(at), fmt.Sprint(v))
	case k == reflect.Bool:
		r.wrong(at, "%s = %s is neither true nor false: write one of them, without quotes", at, written(v))
	case isText && number(text):
		r.wrong(at, "%s = %q is text: write the number without quotes, %s = %s", at, text, last(at), text)
	default:
		r.wrong(at, "%s = %s is no number: write it like %s, without quotes and without a unit", at, written(v), example(k))
	}
}

// unknown says which of the keys that may stand there was probably meant.
func (r *reader) unknown(at toml.Key, t reflect.Type) {
	best, distance := "", 3
	var near []string
	for _, f := range reflect.VisibleFields(t) {
		tag := f.Tag.Get("toml")
		if tag == "" {
			continue
		}
		near = append(near, tag)
		if d := editDistance(last(at), tag); d < distance && d < len(last(at)) {
			best, distance = tag, d
		}
	}
	switch {
	case best != "":
		r.wrong(at, "unknown key %q; did you mean %q?", at, best)
	case len(near) <= 8:
		r.wrong(at, "unknown key %q: what may stand there is %s; all keys are in %s", at, strings.Join(near, ", "), r.sample)
	default:
		r.wrong(at, "unknown key %q: remove it, or see %s for every key", at, r.sample)
	}
}
