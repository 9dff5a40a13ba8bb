package cook

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// The rules here are, for every door (pages, API, command line, MQTT, configuration):
//   - a name and a line of text have only what is seen: no control characters, none that turn the direction of writing, none without width;
//   - the sign that makes a picture of a symbol (U+FE0F) may stand behind that symbol: telephones type it;
//   - longer texts (notes of records) may also have new lines and the joiners (U+200C, U+200D) that some scripts are spelled with;
//   - what was kept before these rules stays readable: Shown writes such characters out.

const (
	nonJoiner = '\u200c'
	joiner    = '\u200d'
	asPicture = '\ufe0f'
)

// Unseen reports a character that nobody sees, or that changes how the text around it is seen: Unicode's categories of control, format,
// line and paragraph separators, and what its property Default_Ignorable_Code_Point has beside them (Unicode Standard, 5.21).
func Unseen(r rune) bool {
	return unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp, unicode.Other_Default_Ignorable_Code_Point, unicode.Variation_Selector)
}

// unseenIn finds the first character of a name or line that is not seen.
func unseenIn(s string) (rune, bool) {
	before := rune(0)
	for _, r := range s {
		if Unseen(r) && !(r == asPicture && unicode.Is(unicode.So, before)) {
			return r, true
		}
		before = r
	}
	return 0, false
}

// CheckSeen reports the first character of a name that is not seen, and text that is not UTF-8; what names the field in the error.
func CheckSeen(what, s string) error {
	if !utf8.ValidString(s) || strings.ContainsRune(s, utf8.RuneError) {
		return fmt.Errorf("%s has invalid characters: type it again as plain text", what)
	}
	if r, found := unseenIn(s); found {
		return fmt.Errorf("%s has the character %U, which is a control character or cannot be seen: type it again as plain text", what, r)
	}
	return nil
}

// maxText bounds names and notes, in bytes.
const maxText = 200

// CheckText reports a name or line that is too long or has characters that are not seen; what names the field in the error.
func CheckText(what, s string) error {
	if len(s) > maxText {
		return fmt.Errorf("%s is %d bytes long: shorten it to %d", what, len(s), maxText)
	}
	return CheckSeen(what, s)
}

// CheckProse reports what a longer text may not have: CheckSeen's characters but new lines and joiners. How long it may be is for the caller.
func CheckProse(what, s string) error {
	return CheckSeen(what, strings.Map(func(r rune) rune {
		if r == '\n' || r == joiner || r == nonJoiner || unicode.Is(unicode.Variation_Selector, r) {
			return -1
		}
		return r
	}, s))
}

// Shown writes characters that are not seen as their code points in brackets: "[U+202E]". New lines and tabs stay, and so do joiners
// outside the scripts that have no use for them.
func Shown(s string) string {
	if strings.IndexFunc(s, Unseen) < 0 {
		return s
	}
	var out strings.Builder
	before := rune(0)
	for _, r := range s {
		if Unseen(r) && !belongs(r, before) {
			fmt.Fprintf(&out, "[%U]", r)
		} else {
			out.WriteRune(r)
		}
		before = r
	}
	return out.String()
}

// belongs reports whether an unseen character does its work where it stands.
func belongs(r, before rune) bool {
	switch r {
	case '\n', '\r', '\t':
		return true
	case joiner, nonJoiner:
		return !unicode.In(before, unicode.Latin, unicode.Greek, unicode.Cyrillic, unicode.Nd, unicode.Zs, unicode.Pd)
	}
	return unicode.Is(unicode.Variation_Selector, r) && unicode.In(before, unicode.So, unicode.Sm)
}
