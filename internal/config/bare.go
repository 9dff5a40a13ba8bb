package config

import (
	"fmt"
	"reflect"
	"time"

	"github.com/BurntSushi/toml"
)

// bareDurations finds durations that are written as a bare number: the decoder would take them for nanoseconds.
func bareDurations(text string) []error {
	var all map[string]any
	if _, err := toml.Decode(text, &all); err != nil {
		return []error{err}
	}
	return bareIn(text, nil, all, reflect.TypeFor[Config]())
}

func bareIn(text string, at toml.Key, value any, t reflect.Type) []error {
	for t.Kind() == reflect.Slice || t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	var errs []error
	switch v := value.(type) {
	case int64:
		if t == reflect.TypeFor[time.Duration]() {
			errs = append(errs, fmt.Errorf("line %d: %s = %d has no unit: write it like \"20m\" or \"90s\"", lineOf(text, at), at, v))
		}
	case []map[string]any:
		for _, one := range v {
			errs = append(errs, bareIn(text, at, one, t)...)
		}
	case map[string]any:
		if t.Kind() != reflect.Struct {
			return nil
		}
		for _, f := range reflect.VisibleFields(t) {
			if inner, ok := v[f.Tag.Get("toml")]; ok {
				errs = append(errs, bareIn(text, append(at[:len(at):len(at)], f.Tag.Get("toml")), inner, f.Type)...)
			}
		}
	}
	return errs
}
