package export

import (
	_ "embed"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"strings"

	"stallkeeper/internal/cook"
)

// DejaVu Sans Condensed, whose licence stands beside it, shows Latin, Greek, Cyrillic and many more, but no East Asian scripts.
var (
	//go:embed font/text.ttf
	textFont []byte
	//go:embed font/bold.ttf
	boldFont []byte
)

// glyphs are the characters that a font shows.
type glyphs struct{ ends, starts []uint16 }

// readGlyphs reads a TrueType font's character map, format 4 (OpenType 1.9.1, cmap). Ranges that begin with a glyph are taken as a whole.
func readGlyphs(font []byte) (glyphs, error) {
	bad := errors.New("read font: its character map is not as expected")
	at := func(i int) int {
		if i < 0 || i+2 > len(font) {
			return -1
		}
		return int(binary.BigEndian.Uint16(font[i:]))
	}
	for i := range max(at(4), 0) {
		entry := 12 + 16*i
		if entry+16 > len(font) || string(font[entry:entry+4]) != "cmap" {
			continue
		}
		table := at(entry+8)<<16 | at(entry+10)
		for j := range max(at(table+2), 0) {
			sub := table + (at(table+4+8*j+4)<<16 | at(table+4+8*j+6))
			if at(sub) != 4 {
				continue
			}
			n := at(sub+6) / 2
			g := glyphs{}
			for k := range n {
				end, start := at(sub+14+2*k), at(sub+16+2*n+2*k)
				if end < 0 || start < 0 {
					return g, bad
				}
				g.ends, g.starts = append(g.ends, uint16(end)), append(g.starts, uint16(start))
			}
			return g, nil
		}
	}
	return glyphs{}, bad
}

// has reports whether the font shows a character.
func (g glyphs) has(r rune) bool {
	if r >= 0xffff || r < 0 {
		return false
	}
	i, _ := slices.BinarySearch(g.ends, uint16(r))
	return i < len(g.ends) && g.starts[i] <= uint16(r)
}

// shown writes characters that both fonts cannot show as their code points, and counts them.
type shown struct {
	fonts    []glyphs
	replaced map[rune]int
	leftward bool // some text is of a script written from right to left
}

func newShown() (*shown, error) {
	s := &shown{replaced: map[rune]int{}}
	for _, font := range [][]byte{textFont, boldFont} {
		g, err := readGlyphs(font)
		if err != nil {
			return nil, err
		}
		s.fonts = append(s.fonts, g)
	}
	return s, nil
}

func (s *shown) text(in string) string {
	var out strings.Builder
	for _, r := range in {
		switch {
		case r == '\n':
			out.WriteRune(r)
		case cook.Unseen(r) || !s.fonts[0].has(r) || !s.fonts[1].has(r):
			s.replaced[r]++
			fmt.Fprintf(&out, "[%U]", r)
		default:
			s.leftward = s.leftward || r >= 0x0590 && r < 0x0900 || r >= 0xfb1d && r < 0xfe00 || r >= 0xfe70 && r < 0xff00
			out.WriteRune(r)
		}
	}
	return out.String()
}
