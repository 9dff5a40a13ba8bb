package frame

import (
	"bytes"
	"unicode/utf8"

	"stallkeeper/internal/cook"
)

// shown writes the characters of a page's text that nobody sees as their code points (cook.Shown): a name kept before such characters were
// refused cannot turn the words around it. Tags and scripts stay as they are, so that forms and links still name what is stored.
func shown(html []byte) []byte {
	if bytes.IndexFunc(html, func(r rune) bool { return r >= utf8.RuneSelf && cook.Unseen(r) }) < 0 {
		return html
	}
	out := make([]byte, 0, len(html)+64)
	for len(html) > 0 {
		text, rest := cut(html, "<")
		out = append(out, cook.Shown(string(text))...)
		end := ">"
		if bytes.HasPrefix(rest, []byte("<script")) {
			end = "</script>"
		}
		i := bytes.Index(rest, []byte(end))
		if i < 0 {
			return append(out, rest...)
		}
		out = append(out, rest[:i+len(end)]...)
		html = rest[i+len(end):]
	}
	return out
}

// cut splits before the mark; all of it is before where there is none.
func cut(b []byte, mark string) (before, from []byte) {
	i := bytes.Index(b, []byte(mark))
	if i < 0 {
		return b, nil
	}
	return b[:i], b[i:]
}
