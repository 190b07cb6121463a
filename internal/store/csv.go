package store

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"onetrip/internal/catalog"
)

// maxRowBytes bounds the memory one row can take. The longest row of ours is a few
// kilobytes; a quote left open would otherwise swallow the rest of the file.
const maxRowBytes = 1 << 20

// FileError is one thing wrong in a file of the catalogue. Line counts from 1, 0
// when the file as a whole is meant; Column is the name of the column, "" when the
// row as a whole is meant. Detail says what was found, what is accepted and how to
// mend it.
type FileError struct {
	File   string
	Line   int
	Column string
	Detail string
}

func (e FileError) Error() string {
	text := e.File
	if e.Line > 0 {
		text += fmt.Sprintf(":%d", e.Line)
	}
	if e.Column != "" {
		text += ": " + e.Column
	}
	return text + ": " + e.Detail
}

// FileErrors is everything wrong in a set of files, one line each.
type FileErrors []FileError

func (list FileErrors) Error() string {
	lines := make([]string, len(list))
	for i, e := range list {
		lines[i] = e.Error()
	}
	return strings.Join(lines, "\n")
}

// Table is the columns of one CSV format, in the order they are written and set.
type Table[T any] struct {
	columns  []column[T]
	blank    func() *T                    // a row before its cells are set
	validate func(*T) []catalog.Violation // of the whole row
}

// column is one column of a table. A required one must be in the header and filled
// in every row. get is the cell's text, set reads it and is not called for an empty
// cell, which leaves the field absent.
type column[T any] struct {
	name     string
	required bool
	freeText bool // written so that a spreadsheet takes it for no formula
	get      func(*T) string
	set      func(*T, string) error
}

// Names lists the columns in the order Encoder writes them.
func (t *Table[T]) Names() []string {
	names := make([]string, len(t.columns))
	for i, c := range t.columns {
		names[i] = c.name
	}
	return names
}

// Decoder reads rows of T from CSV (RFC 4180: comma, header row, quotes doubled;
// UTF-8 with or without byte order mark, CRLF or LF), one at a time in constant
// memory. Cells are taken without the spaces around them.
type Decoder[T any] struct {
	table  *Table[T]
	file   string
	bytes  *rowReader
	reader *csv.Reader
	at     []int // field of a record by column of the table, -1 when the file lacks it
	line   int
	record []string // the row last read, nil when it could not be
	opened bool
	closed bool
}

// NewDecoder returns a decoder; file names the source in errors.
func NewDecoder[T any](r io.Reader, file string, table *Table[T]) *Decoder[T] {
	b := &rowReader{from: bufio.NewReader(r)}
	d := &Decoder[T]{table: table, file: file, bytes: b, reader: csv.NewReader(b)}
	d.reader.ReuseRecord = true
	return d
}

// Line is the line on which the row last returned begins.
func (d *Decoder[T]) Line() int { return d.line }

// Cell is the text of a column in the row last read, "" where there is none.
func (d *Decoder[T]) Cell(column string) string {
	for i, c := range d.table.columns {
		if c.name == column && i < len(d.at) && d.at[i] >= 0 && d.at[i] < len(d.record) {
			return d.record[d.at[i]]
		}
	}
	return ""
}

// Next returns the next row, io.EOF after the last. FileErrors tells everything
// wrong in one row, which comes with it as far as it could be read, nil when it could
// not; Next then goes on with the row that follows. When the header is wrong nothing
// follows but io.EOF.
func (d *Decoder[T]) Next() (*T, error) {
	if !d.opened {
		d.opened = true
		if err := d.readHeader(); err != nil {
			d.closed = true
			return nil, err
		}
	}
	if d.closed {
		return nil, io.EOF
	}
	record, err := d.read()
	d.record = record
	if err != nil {
		return nil, err
	}
	row := d.table.blank()
	var found FileErrors
	bad := func(name string, line int, detail string) {
		found = append(found, FileError{d.file, line, name, detail})
	}
	for i, c := range d.table.columns {
		if d.at[i] < 0 {
			continue
		}
		cell := strings.TrimSpace(record[d.at[i]])
		line, _ := d.reader.FieldPos(d.at[i])
		switch {
		case !utf8.ValidString(cell):
			bad(c.name, line, notUTF8(cell))
			continue
		case cell == "" && c.required:
			bad(c.name, line, "is empty; every row needs a value here")
			continue
		case cell == "":
			continue
		}
		if c.freeText {
			cell = stripFormulaGuard(cell)
		}
		if err := c.set(row, cell); err != nil {
			bad(c.name, line, err.Error())
		}
	}
	if d.table.validate != nil {
		known := len(found)
		for _, v := range d.table.validate(row) {
			name := d.table.columnOf(v.Pointer)
			if name == "" {
				bad("", d.line, strings.TrimPrefix(v.Pointer, "/")+": "+v.Detail)
				continue
			}
			if !namesColumn(found[:known], name) { // one complaint about a cell is enough
				bad(name, d.line, v.Detail)
			}
		}
	}
	if len(found) > 0 {
		return row, found
	}
	return row, nil
}

func namesColumn(list FileErrors, name string) bool {
	for _, e := range list {
		if e.Column == name {
			return true
		}
	}
	return false
}

// read returns the next record that has the right number of fields.
func (d *Decoder[T]) read() ([]string, error) {
	d.bytes.row = 0
	record, err := d.reader.Read()
	if err == nil || errors.Is(err, csv.ErrFieldCount) {
		d.line, _ = d.reader.FieldPos(0)
	}
	var parse *csv.ParseError
	switch {
	case err == nil:
		return record, nil
	case err == io.EOF:
		d.closed = true
		return nil, io.EOF
	case errors.Is(err, csv.ErrFieldCount):
		return nil, d.rowError(d.line, "", fmt.Sprintf("has %d cells, the header %d; a cell with a comma in it needs quotes around it", len(record), d.reader.FieldsPerRecord))
	case errors.Is(err, errLongRow):
		d.closed = true
		return nil, d.rowError(max(1, d.line), "", fmt.Sprintf("here or in the row that follows are more than %d bytes; shorten the row, or close the quote left open", maxRowBytes))
	case errors.As(err, &parse):
		d.line = parse.StartLine
		switch {
		case errors.Is(parse.Err, csv.ErrBareQuote):
			return nil, d.rowError(parse.Line, "", fmt.Sprintf("has a quote inside a cell without quotes, at character %d; put the cell in quotes and double those inside it", parse.Column))
		case errors.Is(parse.Err, csv.ErrQuote):
			return nil, d.rowError(parse.StartLine, "", "has a quote that is not closed, or text after a closing quote; double the quotes inside a quoted cell")
		}
	}
	d.closed = true
	return nil, fmt.Errorf("%s: %w", d.file, err)
}

func (d *Decoder[T]) rowError(line int, column, detail string) error {
	return FileErrors{{d.file, line, column, detail}}
}

// readHeader finds the columns of the table in the first row.
func (d *Decoder[T]) readHeader() error {
	start, _ := d.bytes.from.Peek(3)
	switch {
	case bytes.HasPrefix(start, []byte("\xef\xbb\xbf")):
		if _, err := d.bytes.from.Discard(3); err != nil {
			return err
		}
	case bytes.HasPrefix(start, []byte("\xff\xfe")), bytes.HasPrefix(start, []byte("\xfe\xff")):
		return d.rowError(1, "", "the file is UTF-16; save it as UTF-8")
	case bytes.HasPrefix(start, []byte("\x1f\x8b")):
		return d.rowError(1, "", "the file is gzip; unpack it first")
	}
	header, err := d.read()
	if errors.Is(err, io.EOF) {
		return d.rowError(1, "", "the file is empty; its first row names the columns: "+strings.Join(d.table.Names(), ","))
	}
	if err != nil {
		return err
	}
	header = append([]string(nil), header...)
	all := strings.Join(header, ",")
	switch {
	case !utf8.ValidString(all):
		return d.rowError(1, "", notUTF8(all))
	case strings.ContainsRune(all, '\r'):
		return d.rowError(1, "", "lines end in CR alone; save the file with line ends LF or CRLF")
	case len(header) == 1 && strings.ContainsAny(all, ";\t"):
		return d.rowError(1, "", "cells are separated by semicolons or tabs; save the file with commas")
	}

	var found FileErrors
	names := d.table.Names()
	place := map[string]int{}
	for i, name := range header {
		name = strings.TrimSpace(name)
		if _, twice := place[name]; twice {
			found = append(found, FileError{d.file, 1, name, "the header has this column twice; take one out"})
		}
		place[name] = i
	}
	d.at = make([]int, len(names))
	for i, c := range d.table.columns {
		d.at[i] = -1
		if at, ok := place[c.name]; ok {
			d.at[i] = at
			delete(place, c.name)
		} else if c.required {
			found = append(found, FileError{d.file, 1, c.name, "the header lacks this column; add it"})
		}
	}
	for _, name := range header {
		name = strings.TrimSpace(name)
		if _, unknown := place[name]; !unknown {
			continue
		}
		delete(place, name)
		detail := "no such column; accepted: " + strings.Join(names, ", ")
		if near := catalog.Near(name, names, 1); len(near) > 0 {
			detail = "no such column, did you mean " + near[0] + "?"
		}
		if name == "" {
			name, detail = `""`, "a column has no name; name it or take it out"
		}
		found = append(found, FileError{d.file, 1, name, detail})
	}
	if len(found) > 0 {
		return found
	}
	return nil
}

// columnOf finds the column a violation's pointer is about: "/engine/cylinders" is
// engine.cylinders, "/ends/0" is end_1, "/price/amount_minor" price_minor,
// "/attributes/bore_in" bore_in, "/requires/2" requires. "" when there is none.
func (t *Table[T]) columnOf(pointer string) string {
	name := strings.TrimPrefix(strings.ReplaceAll(pointer, "/", "."), ".")
	name = strings.TrimPrefix(name, "attributes.")
	switch {
	case strings.HasPrefix(name, "ends.0"):
		name = "end_1"
	case strings.HasPrefix(name, "ends.1"):
		name = "end_2"
	case strings.HasPrefix(name, "price."):
		name = "price_minor"
	}
	for name != "" {
		for _, c := range t.columns {
			if c.name == name {
				return name
			}
		}
		name = name[:max(0, strings.LastIndexByte(name, '.'))]
	}
	return ""
}

func notUTF8(s string) string {
	for i, r := range s {
		if r == utf8.RuneError {
			if _, size := utf8.DecodeRuneInString(s[i:]); size == 1 {
				return fmt.Sprintf("byte 0x%02X after %q is not UTF-8; save the file as UTF-8", s[i], s[max(0, i-20):i])
			}
		}
	}
	return "is not UTF-8; save the file as UTF-8"
}

// rowReader refuses to read on when one row takes more than maxRowBytes.
type rowReader struct {
	from *bufio.Reader
	row  int
}

var errLongRow = errors.New("row too long")

func (r *rowReader) Read(p []byte) (int, error) {
	if r.row > maxRowBytes {
		return 0, errLongRow
	}
	n, err := r.from.Read(p)
	r.row += n
	return n, err
}

// Encoder writes rows of T as CSV that Decoder reads back to the same values:
// UTF-8, CRLF (RFC 4180), header first.
type Encoder[T any] struct {
	table  *Table[T]
	writer *csv.Writer
	record []string
}

// NewEncoder returns an encoder and writes the header.
func NewEncoder[T any](w io.Writer, table *Table[T]) (*Encoder[T], error) {
	e := &Encoder[T]{table: table, writer: csv.NewWriter(w), record: make([]string, len(table.columns))}
	e.writer.UseCRLF = true
	return e, e.writer.Write(table.Names())
}

// Encode writes one row.
func (e *Encoder[T]) Encode(row *T) error {
	for i, c := range e.table.columns {
		e.record[i] = c.get(row)
		if c.freeText {
			e.record[i] = guardFormula(e.record[i])
		}
	}
	return e.writer.Write(e.record)
}

// Flush writes what is buffered; call it after the last row.
func (e *Encoder[T]) Flush() error {
	e.writer.Flush()
	return e.writer.Error()
}

// A spreadsheet runs a cell that begins with = + - or @. Such a text is written
// with an apostrophe before it, which the reader takes off again.
func guardFormula(s string) string {
	if looksLikeFormula(s) {
		return "'" + s
	}
	return s
}

func stripFormulaGuard(s string) string {
	if s[0] == '\'' && looksLikeFormula(s) {
		return s[1:]
	}
	return s
}

func looksLikeFormula(s string) bool {
	s = strings.TrimLeft(s, "'")
	return s != "" && strings.IndexByte("=+-@", s[0]) >= 0
}
