package record

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// maxDepth bounds how deep JSON may be nested.
const maxDepth = 32

// Canonical gives the one form that a JSON text has by RFC 8785: keys sorted by their UTF-16 code units, no space, shortest numbers as
// ECMAScript writes them, and only the escapes that must be. What I-JSON (RFC 7493) forbids is an error: a key twice, a lone
// surrogate, invalid UTF-8, a number beyond the doubles. So is nesting deeper than 32.
func Canonical(text []byte) ([]byte, error) {
	p := &canonicalParser{in: text, out: make([]byte, 0, len(text))}
	p.space()
	if err := p.value(0); err != nil {
		return nil, fmt.Errorf("json: byte %d: %w", p.at, err)
	}
	p.space()
	if p.at != len(p.in) {
		return nil, fmt.Errorf("json: byte %d: something stands behind the value: remove it", p.at)
	}
	return p.out, nil
}

// canonicalParser reads a text once and writes its canonical form.
type canonicalParser struct {
	in  []byte
	at  int
	out []byte
}

var errEnds = errors.New("the text ends too early")

func (p *canonicalParser) space() {
	for p.at < len(p.in) && strings.IndexByte(" \t\r\n", p.in[p.at]) >= 0 {
		p.at++
	}
}

func (p *canonicalParser) peek() byte {
	if p.at < len(p.in) {
		return p.in[p.at]
	}
	return 0
}

func (p *canonicalParser) value(depth int) error {
	if depth > maxDepth {
		return fmt.Errorf("nested deeper than %d: make it flatter", maxDepth)
	}
	if p.at >= len(p.in) {
		return errEnds
	}
	switch c := p.in[p.at]; {
	case c == '{':
		return p.object(depth)
	case c == '[':
		return p.array(depth)
	case c == '"':
		s, err := p.str()
		p.out = appendString(p.out, s)
		return err
	case c == '-' || c >= '0' && c <= '9':
		return p.number()
	}
	for _, word := range []string{"true", "false", "null"} {
		if strings.HasPrefix(string(p.in[p.at:min(len(p.in), p.at+5)]), word) {
			p.at += len(word)
			p.out = append(p.out, word...)
			return nil
		}
	}
	return errors.New("a value is expected here")
}

func (p *canonicalParser) array(depth int) error {
	p.at++
	p.out = append(p.out, '[')
	for first := true; ; first = false {
		p.space()
		if first && p.peek() == ']' {
			break
		}
		if err := p.value(depth + 1); err != nil {
			return err
		}
		p.space()
		if p.peek() == ']' {
			break
		}
		if p.peek() != ',' {
			return errors.New("a comma or ] is expected here")
		}
		p.at++
		p.out = append(p.out, ',')
	}
	p.at++
	p.out = append(p.out, ']')
	return nil
}

// member is one key of an object with its canonical value.
type member struct {
	key   string
	units []uint16
	value []byte
}

func (p *canonicalParser) object(depth int) error {
	p.at++
	outer := p.out
	var members []member
	for first := true; ; first = false {
		p.space()
		if first && p.peek() == '}' {
			break
		}
		m, err := p.member(depth)
		if err != nil {
			return err
		}
		members = append(members, m)
		p.space()
		if p.peek() == '}' {
			break
		}
		if p.peek() != ',' {
			return errors.New("a comma or } is expected here")
		}
		p.at++
	}
	p.at++
	slices.SortFunc(members, func(a, b member) int { return slices.Compare(a.units, b.units) })
	p.out = append(outer, '{')
	for i, m := range members {
		if i > 0 {
			if m.key == members[i-1].key {
				return fmt.Errorf("key %q stands twice: keep one", clip(m.key))
			}
			p.out = append(p.out, ',')
		}
		p.out = append(append(appendString(p.out, m.key), ':'), m.value...)
	}
	p.out = append(p.out, '}')
	return nil
}

func (p *canonicalParser) member(depth int) (m member, err error) {
	if p.peek() != '"' {
		return m, errors.New("a key in quotes is expected here")
	}
	if m.key, err = p.str(); err != nil {
		return m, err
	}
	m.units = utf16.Encode([]rune(m.key))
	p.space()
	if p.peek() != ':' {
		return m, errors.New("a colon is expected here")
	}
	p.at++
	p.space()
	p.out = nil
	err = p.value(depth + 1)
	m.value = p.out
	return m, err
}

// number follows RFC 8259's grammar. encoding/json writes doubles as ECMAScript does, but for the minus of zero.
func (p *canonicalParser) number() error {
	start := p.at
	for p.at < len(p.in) && strings.IndexByte("+-.0123456789eE", p.in[p.at]) >= 0 {
		p.at++
	}
	text := p.in[start:p.at]
	if !json.Valid(text) {
		return fmt.Errorf("%q is not a number", clip(string(text)))
	}
	v, err := strconv.ParseFloat(string(text), 64)
	if err != nil {
		return fmt.Errorf("%q is too large a number", clip(string(text)))
	}
	p.out = appendNumber(p.out, v)
	return nil
}

func appendNumber(out []byte, v float64) []byte {
	if v == 0 {
		return append(out, '0')
	}
	format := byte('f')
	if abs := math.Abs(v); abs < 1e-6 || abs >= 1e21 {
		format = 'e'
	}
	out = strconv.AppendFloat(out, v, format, -1, 64)
	if n := len(out); format == 'e' && n >= 4 && out[n-4] == 'e' && out[n-2] == '0' { // 1e-07 is written 1e-7
		out[n-2] = out[n-1]
		out = out[:n-1]
	}
	return out
}

// str reads a string, and refuses what has no place in valid Unicode.
func (p *canonicalParser) str() (string, error) {
	p.at++
	var b []byte
	for p.at < len(p.in) {
		switch c := p.in[p.at]; {
		case c == '"':
			p.at++
			return string(b), nil
		case c < 0x20:
			return "", errors.New("a control character stands unescaped in a string")
		case c == '\\':
			r, err := p.escape()
			if err != nil {
				return "", err
			}
			b = utf8.AppendRune(b, r)
		case c < utf8.RuneSelf:
			b = append(b, c)
			p.at++
		default:
			r, n := utf8.DecodeRune(p.in[p.at:])
			if r == utf8.RuneError && n == 1 {
				return "", errors.New("a string is not valid UTF-8")
			}
			b = append(b, p.in[p.at:p.at+n]...)
			p.at += n
		}
	}
	return "", errEnds
}

// escape reads a backslash and what follows.
func (p *canonicalParser) escape() (rune, error) {
	p.at++
	c := p.peek()
	p.at++
	if i := strings.IndexByte(`"\/bfnrt`, c); i >= 0 && c != 0 {
		return rune("\"\\/\b\f\n\r\t"[i]), nil
	}
	if c != 'u' {
		return 0, errors.New("an unknown escape stands in a string")
	}
	r, err := p.hex4()
	if err != nil || !utf16.IsSurrogate(r) {
		return r, err
	}
	if p.at+1 < len(p.in) && p.in[p.at] == '\\' && p.in[p.at+1] == 'u' {
		p.at += 2
		low, err := p.hex4()
		if err != nil {
			return 0, err
		}
		if pair := utf16.DecodeRune(r, low); pair != utf8.RuneError {
			return pair, nil
		}
	}
	return 0, errors.New("half of a surrogate pair stands alone in a string")
}

func (p *canonicalParser) hex4() (rune, error) {
	if p.at+4 > len(p.in) {
		return 0, errEnds
	}
	v, err := strconv.ParseUint(string(p.in[p.at:p.at+4]), 16, 16)
	if err != nil {
		return 0, errors.New("four hexadecimal digits are expected behind \\u")
	}
	p.at += 4
	return rune(v), nil
}

// appendString writes a string as RFC 8785, section 3.2.2.2 says.
func appendString(out []byte, s string) []byte {
	out = append(out, '"')
	for i := range len(s) {
		switch c := s[i]; {
		case c == '"' || c == '\\':
			out = append(out, '\\', c)
		case c >= 0x20:
			out = append(out, c)
		default:
			if j := strings.IndexByte("\b\t\n\f\r", c); j >= 0 {
				out = append(out, '\\', "btnfr"[j])
			} else {
				out = fmt.Appendf(out, "\\u%04x", c)
			}
		}
	}
	return append(out, '"')
}

// clip shortens what somebody sent, for repeating it.
func clip(s string) string {
	if len(s) <= 60 {
		return s
	}
	return strings.ToValidUTF8(s[:60], "") + "…"
}
