package record

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The sample of RFC 8785, sections 3.2.2 and 3.2.3, with its canonical form of section 3.2.4; and the order of keys of section 3.2.3.
func TestCanonical_WorkedExamplesOfRFC8785(t *testing.T) {
	for in, want := range map[string]string{
		`{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}`: `{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\u000f\nA'B\"\\\\\"/"}`,
		`{
  "\u20ac": "Euro Sign",
  "\r": "Carriage Return",
  "\ufb33": "Hebrew Letter Dalet With Dagesh",
  "1": "One",
  "\ud83d\ude00": "Emoji: Grinning Face",
  "\u0080": "Control",
  "\u00f6": "Latin Small Letter O With Diaeresis"
}`: `{"\r":"Carriage Return","1":"One","` + "\u0080" + `":"Control","ö":"Latin Small Letter O With Diaeresis","€":"Euro Sign","😀":"Emoji: Grinning Face","` + "\ufb33" + `":"Hebrew Letter Dalet With Dagesh"}`,
		`[]`:                     `[]`,
		` { } `:                  `{}`,
		`[ 1 , -0 , 0.0 ]`:       `[1,0,0]`,
		`"\b\f\n\r\t\u0001\/"`:   `"\b\f\n\r\t\u0001/"`,
		`{"a":{"c":1,"b":[{}]}}`: `{"a":{"b":[{}],"c":1}}`,
	} {
		got, err := Canonical([]byte(in))
		if err != nil || string(got) != want {
			t.Errorf("Canonical(%s) = %s, %v, want %s", in, got, err, want)
		}
	}
}

// RFC 8785, appendix B: IEEE 754 bits and how they are written.
func TestCanonical_NumbersOfRFC8785AppendixB(t *testing.T) {
	for bits, want := range map[uint64]string{
		0x0000000000000000: "0", 0x8000000000000000: "0", 0x0000000000000001: "5e-324", 0x8000000000000001: "-5e-324",
		0x7fefffffffffffff: "1.7976931348623157e+308", 0xffefffffffffffff: "-1.7976931348623157e+308",
		0x4340000000000000: "9007199254740992", 0xc340000000000000: "-9007199254740992", 0x4430000000000000: "295147905179352830000",
		0x44b52d02c7e14af5: "9.999999999999997e+22", 0x44b52d02c7e14af6: "1e+23", 0x44b52d02c7e14af7: "1.0000000000000001e+23",
		0x444b1ae4d6e2ef4e: "999999999999999700000", 0x444b1ae4d6e2ef4f: "999999999999999900000", 0x444b1ae4d6e2ef50: "1e+21",
		0x3eb0c6f7a0b5ed8c: "9.999999999999997e-7", 0x3eb0c6f7a0b5ed8d: "0.000001",
		0x41b3de4355555553: "333333333.3333332", 0x41b3de4355555554: "333333333.33333325", 0x41b3de4355555555: "333333333.3333333",
		0x41b3de4355555556: "333333333.3333334", 0x41b3de4355555557: "333333333.33333343",
		0xbecbf647612f3696: "-0.0000033333333333333333", 0x43143ff3c1cb0959: "1424953923781206.2",
	} {
		if got := string(appendNumber(nil, math.Float64frombits(bits))); got != want {
			t.Errorf("%016x = %s, want %s", bits, got, want)
		}
	}
}

// What I-JSON (RFC 7493) and RFC 8259 forbid is refused.
func TestCanonical_Refuses(t *testing.T) {
	for _, in := range []string{``, `{`, `[1,]`, `{"a":1,}`, `{"a":1,"a":2}`, `{"a":1,"\u0061":2}`, `"\ud800"`, `"\ud800\u0041"`, `"\udc00"`, "\"\xff\"", "\"\xed\xa0\x80\"",
		"\"a\nb\"", `"\x"`, `"\u12"`, `01`, `1.`, `.5`, `+1`, `1e999`, `-`, `NaN`, `nul`, `truefalse`, `1 2`, `{"a" 1}`, `{a:1}`, "\ufeff1",
		strings.Repeat("[", 40) + strings.Repeat("]", 40)} {
		if got, err := Canonical([]byte(in)); err == nil {
			t.Errorf("Canonical(%q) = %s, want an error", in, got)
		}
	}
}

func FuzzCanonical(f *testing.F) {
	for _, s := range []string{`{"b":1,"a":[true,null,"x\u00e9"]}`, `1e-7`, `"\ud83d\ude00"`, `{"a":{"a":{}}}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		got, err := Canonical(in)
		if err != nil {
			return
		}
		if !json.Valid(in) || !json.Valid(got) {
			t.Fatalf("Canonical(%q) = %q, which is no JSON", in, got)
		}
		again, err := Canonical(got)
		if err != nil || !bytes.Equal(again, got) {
			t.Fatalf("Canonical is not its own form: %q, then %q, %v", got, again, err)
		}
	})
}

// Two texts of one value have one canonical form, and it means the same.
func TestCanonical_IsOneFormForAValue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := map[string]any{}
		for range rapid.IntRange(0, 6).Draw(t, "keys") {
			v[rapid.String().Draw(t, "key")] = rapid.OneOf(rapid.Float64().Filter(func(f float64) bool { return f != 0 }).AsAny(), // the canonical form has no minus zero
				rapid.String().AsAny(), rapid.Bool().AsAny()).Draw(t, "value")
		}
		plain, err := json.Marshal(v)
		if err != nil {
			t.Skip()
		}
		wide, err := json.MarshalIndent(v, " ", "\t")
		if err != nil {
			t.Fatal(err)
		}
		a, errA := Canonical(plain)
		b, errB := Canonical(wide)
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Fatalf("%q and %q, %v, %v", a, b, errA, errB)
		}
		var back any
		if err := json.Unmarshal(a, &back); err != nil {
			t.Fatal(err)
		}
		once, err := json.Marshal(back)
		if err != nil || !bytes.Equal(once, plain) {
			t.Fatalf("%s means %s", plain, once)
		}
	})
}
