package sheet

import (
	"cmp"
	"fmt"
	"strings"
	"unicode"

	"onetrip/internal/catalog"
)

// Visible spells out what would act on the page without being seen: control
// characters, and format characters such as right-to-left overrides, which could make
// a part read as another. The joiners some scripts need stay.
func Visible(text string) string {
	var b strings.Builder
	b.Grow(len(text))
	for _, r := range text {
		switch {
		case ' ' <= r && r <= '~': // nearly all there is; the tables below are slow
			b.WriteByte(byte(r))
		case r == '\n' || r == '\t':
			b.WriteRune(r)
		case unicode.IsControl(r) || catalog.Unseen(r):
			fmt.Fprintf(&b, "[U+%04X]", r)
		default:
			b.WriteRune(r) // an invalid byte comes out as U+FFFD
		}
	}
	return b.String()
}

// families are the trade's words for how an end joins.
var families = map[catalog.Family]string{
	catalog.PlainTube: "tube", catalog.InvertedFlare: "inverted flare", catalog.ANFlare: "37° flare", catalog.HoseBarb: "hose barb",
	catalog.NPT: "pipe thread", catalog.UNFPort: "straight thread", catalog.Banjo: "banjo", catalog.Hose: "hose",
}

func familyText(f catalog.Family) string { return cmp.Or(families[f], catalog.Words(f)) }

// wrap breaks text into at most lines lines of about width characters. A word too
// long for a line is broken; what does not fit ends in an ellipsis, since a drawing
// has only so much room (the lists beside it hold the whole text).
func wrap(text string, width, lines int) []string {
	var out []string
	line := []rune{}
	for _, word := range strings.Fields(Visible(text)) {
		rest := []rune(word)
		if len(line) > 0 && len(line)+1+len(rest) > width {
			out, line = append(out, string(line)), nil
		}
		if len(line) > 0 {
			line = append(line, ' ')
		}
		for len(line)+len(rest) > width {
			n := width - len(line)
			out, line, rest = append(out, string(append(line, rest[:n]...))), nil, rest[n:]
		}
		line = append(line, rest...)
	}
	if len(line) > 0 {
		out = append(out, string(line))
	}
	if len(out) > lines {
		out = out[:lines]
		last := []rune(out[lines-1])
		out[lines-1] = string(last[:min(len(last), width-1)]) + "…"
	}
	return out
}
