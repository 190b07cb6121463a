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
	f.failByte(f.locate(n, offset), detail)
}

// failByte reports at a byte offset into the file.
func (f *file) failByte(at int, detail string) {
	line := 0
	for line+1 < len(f.lines) && f.lines[line+1] <= at {
		line++
	}
	f.fail(line+1, 1+utf8.RuneCountInString(f.text[f.lines[line]:at]), detail)
}

// locate walks the scalar as written beside its value until it stands on the byte
// of the file that became value[offset].
func (f *file) locate(n *yaml.Node, offset int) int {
	w := scalarWalk{text: f.text, at: f.lines[min(n.Line, len(f.lines))-1], value: n.Value}
	for range n.Column - 1 {
		_, width := utf8.DecodeRuneInString(f.text[w.at:])
		w.at += width
	}
	w.single, w.double = n.Style&yaml.SingleQuotedStyle != 0, n.Style&yaml.DoubleQuotedStyle != 0
	w.indent = len(f.text) // no limit to the blanks that a continued line drops
	switch {
	case w.single, w.double:
		w.at++
	case n.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0:
		if end := strings.IndexByte(w.text[w.at:], '\n'); end >= 0 {
			w.at += end
			body := strings.TrimLeft(w.text[w.at:], " \t\r\n")
			start := len(w.text) - len(body)
			w.indent = start - 1 - strings.LastIndexByte(w.text[:start], '\n')
			w.skipBreaks()
		}
	}
	for w.i < min(offset, len(n.Value)) && w.at < len(w.text) {
		w.step()
	}
	return min(w.at, len(f.text))
}

// scalarWalk stands on a byte of the file and on the byte of the value it became.
type scalarWalk struct {
	text, value    string
	at, i          int
	single, double bool
	indent         int
}

func (w *scalarWalk) step() {
	rest, c := w.text[w.at:], w.value[w.i]
	switch {
	case w.double && rest[0] == '\\':
		if blank := strings.TrimLeft(rest[1:], "\r"); strings.HasPrefix(blank, "\n") { // the break is escaped: it became nothing
			w.at = len(w.text) - len(strings.TrimLeft(blank, " \t\r\n"))
			return
		}
		width := 2
		if len(rest) > 1 {
			switch rest[1] {
			case 'x':
				width = 4
			case 'u':
				width = 6
			case 'U':
				width = 10
			}
		}
		_, runeWidth := utf8.DecodeRuneInString(w.value[w.i:])
		w.at, w.i = w.at+width, w.i+runeWidth
	case (c == ' ' || c == '\n') && strings.HasPrefix(strings.TrimLeft(rest, " \t\r"), "\n"):
		w.at = len(w.text) - len(strings.TrimLeft(rest, " \t\r"))
		w.i++
		w.skipBreaks()
	case w.single && c == '\'':
		w.at, w.i = w.at+2, w.i+1
	default:
		w.at, w.i = w.at+1, w.i+1
	}
}

// skipBreaks passes a run of line breaks with the indentation after each: however
// many they are in the file and in the value, the one run became the other.
func (w *scalarWalk) skipBreaks() {
	for {
		line := strings.TrimLeft(w.text[w.at:], " \t\r")
		if !strings.HasPrefix(line, "\n") {
			break
		}
		w.at = len(w.text) - len(line) + 1
	}
	for range w.indent {
		if w.at == len(w.text) || w.text[w.at] != ' ' && w.text[w.at] != '\t' {
			break
		}
		w.at++
	}
	for w.i < len(w.value) && w.value[w.i] == '\n' {
		w.i++
	}
}
