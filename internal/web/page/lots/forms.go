package lots

import (
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/page/form"
	"stallkeeper/internal/web/page/frame"
	"stallkeeper/internal/web/problem"
)

// input is one field of a form for an entry. Its name is the key in the entry's body.
type input struct {
	Name, Label string
	As          string // line, long, number, degrees, tick, choice, words, time, numbers
	Choices     []string
	Needed      bool
	Hint        string
}

// inputsOf are the fields by which people write an entry of a kind; none means that it is corrected as JSON.
func inputsOf(k record.Kind) []input {
	point := []input{{Name: "ccp", Label: "Critical control point", As: "line", Hint: "such as 3 smoking"}, {Name: "limit", Label: "Critical limit", As: "line", Hint: "with its source"},
		{Name: "stage", Label: "Stage", As: "choice", Choices: append([]string{""}, texts(cook.Stages())...)}, {Name: "piece", Label: "Piece", As: "line", Hint: "empty: the whole lot"}}
	switch k {
	case record.KindMonitoring:
		return append([]input{{Name: "celsius", Label: "Temperature", As: "degrees"}, {Name: "measured", Label: "or, if it is none, what was found", As: "line"},
			{Name: "verdict", Label: "Was the limit met?", As: "choice", Choices: []string{"", "met", "missed", "unknown"}, Needed: true}, {Name: "instrument", Label: "Thermometer", As: "line", Hint: "its name in the checks"}},
			append(point, input{Name: "source", Label: "Source of the limit", As: "line", Hint: "publication and edition"})...)
	case record.KindDeviation:
		return append([]input{{Name: "what", Label: "What was not as it should be", As: "long", Needed: true, Hint: "with the actual value"}, {Name: "from", Label: "From", As: "time"}, {Name: "until", Label: "Until", As: "time"}},
			append(point, input{Name: "unforeseen", Label: "The plan does not foresee it: hold the product, and have the plan reassessed", As: "tick"})...)
	case record.KindCorrectiveAction:
		return []input{{Name: "cause", Label: "1. What caused it, and is the cause removed?", As: "long", Needed: true}, {Name: "control_restored", Label: "2. How was the point brought under control?", As: "long", Needed: true},
			{Name: "prevention", Label: "3. What keeps it from happening again?", As: "long", Needed: true},
			{Name: "disposition", Label: "4. What became of the product?", As: "choice", Choices: []string{"", "released", "reworked", "held", "diverted", "destroyed"}, Needed: true},
			{Name: "product", Label: "How much of it, and on whose word", As: "long"}, {Name: "reassessed", Label: "Plan reassessed by (if it was unforeseen)", As: "line"}}
	case record.KindVerification:
		return []input{{Name: "of", Label: "What was looked at", As: "choice", Choices: []string{"records", "direct-observation", "instrument"}, Needed: true}, {Name: "found", Label: "What was found", As: "long", Needed: true},
			{Name: "good", Label: "It was as it should be", As: "tick"}, {Name: "entries", Label: "Entries looked at", As: "numbers", Hint: "numbers; empty: all so far"}}
	case record.KindReview:
		return []input{{Name: "ship", Label: "The records are whole, and critical limits were met or corrective actions taken: the lot may leave", As: "tick"}, {Name: "note", Label: "Note", As: "long", Hint: "needed when it does not leave"}}
	case record.KindWeighed:
		return []input{{Name: "mass_kg", Label: "Weight in kg", As: "number", Needed: true}, {Name: "when", Label: "When", As: "choice", Choices: texts(record.Whens()), Needed: true}, {Name: "piece", Label: "Piece", As: "line", Hint: "empty: the whole lot"}, {Name: "instrument", Label: "Scale", As: "line"}}
	case record.KindRawMaterial:
		return []input{{Name: "name", Label: "What", As: "line", Needed: true}, {Name: "reference", Label: "Supplier's lot or delivery", As: "line", Needed: true}, {Name: "supplier", Label: "Supplier", As: "line"},
			{Name: "received", Label: "Received", As: "time"}, {Name: "use_by", Label: "Use by", As: "time"}, {Name: "mass_kg", Label: "Weight in kg", As: "number"}, {Name: "price", Label: "Price paid for all of it", As: "number"},
			{Name: "currency", Label: "Currency", As: "line", Hint: "such as EUR"}, {Name: "note", Label: "Note", As: "line"}}
	}
	return moreInputsOf(k)
}

func moreInputsOf(k record.Kind) []input {
	switch k {
	case record.KindPiece:
		return []input{{Name: "id", Label: "Name of the piece", As: "line", Needed: true}, {Name: "cut", Label: "Cut", As: "choice", Choices: append([]string{""}, cook.Cuts()...)}, {Name: "thickness_mm", Label: "Thickness in mm", As: "number"},
			{Name: "intact", Label: "Intact: not injected, tenderized, tumbled or rolled", As: "tick"}, {Name: "note", Label: "Note", As: "line"}}
	case record.KindChanged:
		return []input{{Name: "product", Label: "Product", As: "line"}, {Name: "code", Label: "Code", As: "line"}, {Name: "class", Label: "Kept", As: "choice", Choices: append([]string{""}, classes()...)}, {Name: "note", Label: "Note", As: "line"}}
	case record.KindNote:
		return []input{{Name: "text", Label: "Note", As: "long", Needed: true}}
	case record.KindClosed:
		return []input{{Name: "note", Label: "Note", As: "line"}}
	case record.KindStageStarted:
		return []input{{Name: "stage", Label: "Stage", As: "choice", Choices: texts(cook.Stages()), Needed: true}, {Name: "piece", Label: "Piece", As: "line", Hint: "empty: the whole lot"}, {Name: "probes", Label: "Probes", As: "words"}, {Name: "note", Label: "Note", As: "line"}}
	case record.KindStageEnded:
		return []input{{Name: "stage", Label: "Stage", As: "choice", Choices: texts(cook.Stages()), Needed: true}, {Name: "piece", Label: "Piece", As: "line", Hint: "empty: the whole lot"}, {Name: "note", Label: "Note", As: "line"}}
	default: // formulations, checks and openings are corrected as JSON
		return nil
	}
}

func classes() []string {
	return []string{string(record.Refrigerated), string(record.Frozen), string(record.ShelfStable)}
}

func texts[T ~string](list []T) []string {
	out := make([]string, 0, len(list))
	for _, one := range list {
		out = append(out, string(one))
	}
	return out
}

// bodyFrom makes a body of what was typed. An old body keeps the keys that the form does not have.
func (s reader) bodyFrom(k record.Kind, typed url.Values, old json.RawMessage) (record.Body, error) {
	if text := strings.TrimSpace(typed.Get("json")); text != "" {
		body, err := record.Decode(k, []byte(text))
		if err != nil {
			return nil, problem.Bad("%s", problem.ClipTo(err.Error(), 500))
		}
		return body, nil
	}
	keys := map[string]any{}
	if len(old) > 0 {
		if err := json.Unmarshal(old, &keys); err != nil {
			return nil, fmt.Errorf("read entry: %w", err)
		}
	}
	for _, f := range inputsOf(k) {
		v, err := s.valueOf(f, strings.TrimSpace(typed.Get(f.Name)), keys[f.Name])
		if err != nil {
			return nil, err
		}
		if v == nil {
			delete(keys, f.Name)
		} else {
			keys[f.Name] = v
		}
	}
	if text := typed.Get("deviation"); k == record.KindCorrectiveAction && text != "" {
		keys["deviation"] = json.Number(text)
	}
	text, err := json.Marshal(keys)
	if err != nil {
		return nil, problem.Bad("the form cannot be read: %v", err)
	}
	body, err := record.Decode(k, text)
	if err != nil {
		return nil, problem.Bad("%s", problem.ClipTo(err.Error(), 500))
	}
	return body, nil
}

// valueOf reads one field: nil when it was left empty. A tick that was not set is a plain no.
func (s reader) valueOf(f input, text string, old any) (any, error) {
	if f.As == "tick" {
		return text != "", nil
	}
	if text == "" {
		return nil, nil
	}
	switch f.As {
	case "number":
		v, err := strconv.ParseFloat(form.Plain(text), 64)
		if err != nil {
			return nil, problem.Bad("%s: %q is not a number", f.Label, problem.Clip(text))
		}
		return v, nil
	case "degrees":
		c, err := s.Parse(text)
		if err != nil {
			return nil, problem.Bad("%s: %v", f.Label, err)
		}
		if before, ok := old.(float64); ok && s.exact(before) == text { // not touched: the exact value stays
			return before, nil
		}
		return float64(c), nil
	case "time":
		at, err := form.LocalTime(text, s.Zone())
		if err != nil {
			return nil, err
		}
		return at.UTC().Format(time.RFC3339), nil
	case "words":
		return strings.Fields(text), nil
	case "numbers":
		return numbersIn(f, text)
	}
	return strings.ReplaceAll(text, "\r\n", "\n"), nil
}

func numbersIn(f input, text string) ([]int64, error) {
	var out []int64
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ' ' }) {
		n, err := strconv.ParseInt(word, 10, 64)
		if err != nil {
			return nil, problem.Bad("%s: %q is not the number of an entry", f.Label, problem.Clip(word))
		}
		out = append(out, n)
	}
	return out, nil
}

// exact is a temperature as a field shows it, in the reader's unit and to the hundredth.
func (s reader) exact(celsius float64) string {
	v := celsius
	if s.Fahrenheit {
		v = celsius*1.8 + 32
	}
	return strings.TrimSuffix(strings.TrimSuffix(strconv.FormatFloat(v, 'f', 2, 64), "0"), ".0")
}

// typedOf is the other way: what the fields of a form show of a body.
func (s reader) typedOf(k record.Kind, body json.RawMessage) url.Values {
	out := url.Values{}
	keys := map[string]any{}
	if json.Unmarshal(body, &keys) != nil || len(inputsOf(k)) == 0 {
		out.Set("json", string(body))
		return out
	}
	for _, f := range inputsOf(k) {
		switch v := keys[f.Name].(type) {
		case string:
			if at, err := time.Parse(time.RFC3339, v); f.As == "time" && err == nil {
				v = at.In(s.Zone()).Format("2006-01-02T15:04:05")
			}
			out.Set(f.Name, v)
		case float64:
			out.Set(f.Name, strconv.FormatFloat(v, 'f', -1, 64))
			if f.As == "degrees" {
				out.Set(f.Name, s.exact(v))
			}
		case bool:
			if v {
				out.Set(f.Name, "yes")
			}
		case []any:
			out.Set(f.Name, strings.Trim(fmt.Sprint(v), "[]"))
		}
	}
	return out
}

// entryForm is one form for an entry, with what was typed and what is wrong with it.
type entryForm struct {
	ID        string // of the form on its page
	Lot       cook.LotID
	Kind      record.Kind
	Deviation int64 // a corrective action's
	Corrects  int64
	Inputs    []input
	Typed     url.Values
	Wrong     string
	Send      string // what its button says
	Sign      frame.Sign
	see       reader
}

// FieldID is the id of a field, unique on the page.
func (f entryForm) FieldID(name string) string { return f.ID + "-" + name }

// Label of a field; temperatures name their unit.
func (f entryForm) Label(in input) string {
	if in.As == "degrees" {
		return in.Label + " (" + f.see.Unit() + ")"
	}
	return in.Label
}

// Get is what was typed in a field.
func (f entryForm) Get(name string) string { return f.Typed.Get(name) }

// Has reports whether something was typed in a field that is usually left empty.
func (f entryForm) Has(names ...string) bool {
	return slices.ContainsFunc(names, func(n string) bool { return f.Typed.Get(n) != "" })
}

// choiceName is a choice in words.
func choiceName(c string) string {
	if c == "" {
		return "choose"
	}
	return strings.ReplaceAll(cook.CutName(c), "-", " ")
}

// enterName is what a person does who makes an entry of a kind.
func enterName(k record.Kind) string {
	switch k {
	case record.KindMonitoring:
		return "A critical limit was looked at"
	case record.KindDeviation:
		return "A critical limit was missed"
	case record.KindWeighed:
		return "Something was weighed"
	case record.KindRawMaterial:
		return "Raw material"
	case record.KindPiece:
		return "One more piece"
	case record.KindNote:
		return "A note"
	case record.KindChanged:
		return "Change product, code or how it is kept"
	case record.KindClosed:
		return "Close the lot"
	case record.KindVerification:
		return "Verification: look over how the records are made"
	case record.KindReview:
		return "Pre-shipment review"
	default:
		return k.KindName()
	}
}

// inLabels tells what is wrong with an entry by what its form calls the fields, not by their keys.
func inLabels(k record.Kind, text string) string {
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		for _, f := range inputsOf(k) {
			if rest, ok := strings.CutPrefix(line, f.Name+" "); ok {
				lines[i] = "“" + f.Label + "” " + rest
				break
			}
		}
	}
	return strings.Join(lines, "; ")
}
