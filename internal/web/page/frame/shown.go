package frame

import (
	"bytes"

	"stallkeeper/internal/cook"
)

// shown goes over the text of a page as it is sent. Characters that nobody sees are written as their code points (cook.Shown), so that a name kept
// before they were refused cannot turn the words around it; temperatures get the reader's scale where it is missing. Tags and scripts stay as
// they are, so that forms and links still name what is stored, and what a record or a field says keeps its words.
func (s Reader) shown(html []byte) []byte {
	out := make([]byte, 0, len(html)+1024)
	verbatim := []byte(nil) // the tag that ends what is shown word for word
	for len(html) > 0 {
		text, rest := cut(html, "<")
		words := cook.Shown(string(text))
		if verbatim == nil {
			words = s.inBothScales(words)
		}
		out = append(out, words...)
		end := ">"
		switch {
		case verbatim != nil && bytes.HasPrefix(rest, verbatim):
			verbatim = nil
		case bytes.HasPrefix(rest, []byte("<script")):
			end = "</script>"
		case bytes.HasPrefix(rest, []byte(`<dl class="said"`)):
			verbatim = []byte("</dl>")
		case bytes.HasPrefix(rest, []byte("<textarea")):
			verbatim = []byte("</textarea>")
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
