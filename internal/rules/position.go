package rules

import (
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// file is one rule file while it is read.
type file struct {
	name   string
	text   string
	lines  []int // byte offset at which each line starts
	errors *Errors
}

func newFile(name, text string, errors *Errors) *file {
	f := &file{name: name, text: text, lines: []int{0}, errors: errors}
	for i := range len(text) {
		if text[i] == '\n' {
			f.lines = append(f.lines, i+1)
		}
	}
	return f
}

func (f *file) fail(line, column int, detail string) {
	*f.errors = append(*f.errors, &Error{f.name, line, column, detail})
}

func (f *file) failNode(n *yaml.Node, detail string) { f.fail(n.Line, n.Column, detail) }

// failAt reports at a byte offset into the value of a scalar, wherever quoting and
// folding have put that byte in the file.
func (f *file) failAt(n *yaml.Node, offset int, detail string) {
	at := f.locate(n, offset)
	line := 0
	for line+1 < len(f.lines) && f.lines[line+1] <= at {
		line++
	}
	f.fail(line+1, 1+utf8.RuneCountInString(f.text[f.lines[line]:at]), detail)
}

// locate walks the scalar as written beside its value until it stands on the byte
// of the file that became value[offset].
func (f *file) locate(n *yaml.Node, offset int) int {
	at := f.lines[min(n.Line, len(f.lines))-1]
	for range n.Column - 1 {
		_, width := utf8.DecodeRuneInString(f.text[at:])
		at += width
	}
	rest := func() string { return f.text[at:] }
	skipBlank := func() {
		for rest() != "" && strings.ContainsRune(" \t\r\n", rune(f.text[at])) {
			at++
		}
	}
	switch n.Style &^ yaml.TaggedStyle {
	case yaml.DoubleQuotedStyle, yaml.SingleQuotedStyle:
		at++
	case yaml.LiteralStyle, yaml.FoldedStyle: // the header's line, then indentation
		if i := strings.IndexByte(rest(), '\n'); i >= 0 {
			at += i
		}
		skipBlank()
	}
	for i := 0; i < min(offset, len(n.Value)) && rest() != ""; {
		c := n.Value[i]
		switch {
		case c == ' ' || c == '\n':
			// a break of the line and the indentation after it stand for this one
			// character and for further breaks
			if trimmed := strings.TrimLeft(rest(), " \t"); strings.HasPrefix(trimmed, "\n") || strings.HasPrefix(trimmed, "\r\n") {
				skipBlank()
				for i+1 < len(n.Value) && n.Value[i+1] == '\n' {
					i++
				}
			} else {
				at++
			}
			i++
		case n.Style&yaml.SingleQuotedStyle != 0 && c == '\'':
			at, i = at+2, i+1
		case n.Style&yaml.DoubleQuotedStyle != 0 && f.text[at] == '\\':
			width := 2
			if len(rest()) > 1 {
				switch f.text[at+1] {
				case 'x':
					width = 4
				case 'u':
					width = 6
				case 'U':
					width = 10
				}
			}
			_, runeWidth := utf8.DecodeRuneInString(n.Value[i:])
			at, i = min(at+width, len(f.text)), i+runeWidth
		default:
			at, i = at+1, i+1
		}
	}
	return min(at, len(f.text))
}
