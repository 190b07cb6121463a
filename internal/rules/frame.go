package rules

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	"onetrip/internal/units"
)

// maxLoops is how deep for_each, exists and all may nest.
const maxLoops = 4

// A frame holds the facts that some expression reads, taken out of Facts once per
// evaluation: a slot per fact, and for lists a column per part of their elements.
type frame struct {
	number []float64
	text   []string
	yes    []bool
	length []int // of lists

	numberColumn [][]float64
	textColumn   [][]string
	yesColumn    [][]bool

	at    [maxLoops]int // where each loop stands; 0 is for_each
	err   error
	steps int // taken inside loops

	threads []threadText // one per text slot: threads change seldom, printing costs

	firing []fires
	print  []byte
}

type threadText struct {
	thread units.Thread
	text   string
}

func (fr *frame) fail(err error) {
	if fr.err == nil {
		fr.err = err
	}
}

// layout numbers the slots of a frame.
type layout struct {
	number, text, yes                   []slot
	lists                               []list
	numberColumn, textColumn, yesColumn int
	reads                               *[]string // of the rule being compiled
}

type slot struct {
	*field
	presence bool
}

type list struct {
	*field
	columns []column
}

type column struct {
	slot
	index int // into the frame's columns of its class
}

func find(slots []slot, f *field, presence bool) int {
	return slices.IndexFunc(slots, func(s slot) bool { return s.field == f && s.presence == presence })
}

func (l *layout) read(path string) {
	if l.reads != nil && !slices.Contains(*l.reads, path) {
		*l.reads = append(*l.reads, path)
	}
}

// slot is the number of a fact's slot, or of the slot that says it is known.
func (l *layout) slot(f *field, presence bool) int {
	l.read(f.path)
	slots := &l.yes
	if !presence && f.class == aNumber {
		slots = &l.number
	} else if !presence && f.class == aText {
		slots = &l.text
	}
	i := find(*slots, f, presence)
	if i < 0 {
		i = len(*slots)
		*slots = append(*slots, slot{f, presence})
	}
	return i
}

// list is the number of a list fact.
func (l *layout) list(f *field) int {
	l.read(f.path)
	i := slices.IndexFunc(l.lists, func(x list) bool { return x.field == f })
	if i < 0 {
		i = len(l.lists)
		l.lists = append(l.lists, list{field: f})
	}
	return i
}

// column is the number of the column, among those of its class, for a part of the
// elements of a list.
func (l *layout) column(list int, f *field, presence bool) int {
	l.read(f.path)
	for _, c := range l.lists[list].columns {
		if c.field == f && c.presence == presence {
			return c.index
		}
	}
	count := &l.yesColumn
	if !presence && f.class == aNumber {
		count = &l.numberColumn
	} else if !presence && f.class == aText {
		count = &l.textColumn
	}
	c := column{slot{f, presence}, *count}
	*count++
	l.lists[list].columns = append(l.lists[list].columns, c)
	return c.index
}

func (l *layout) newFrame() *frame {
	return &frame{
		number: make([]float64, len(l.number)), text: make([]string, len(l.text)), yes: make([]bool, len(l.yes)),
		length: make([]int, len(l.lists)), threads: make([]threadText, len(l.text)),
		numberColumn: make([][]float64, l.numberColumn), textColumn: make([][]string, l.textColumn), yesColumn: make([][]bool, l.yesColumn),
	}
}

// load takes the facts into the frame.
func (l *layout) load(fr *frame, f *Facts) error {
	if f.Vehicle == nil || f.Carburetor == nil || f.Calc == nil {
		return fmt.Errorf("rules need a vehicle, a carburetor and the computed figures")
	}
	root := reflect.ValueOf(f).Elem()
	for i, s := range l.number {
		fr.number[i] = s.readNumber(walk(root, s.index))
	}
	for i, s := range l.text {
		fr.text[i] = s.readText(walk(root, s.index), &fr.threads[i])
	}
	for i, s := range l.yes {
		fr.yes[i] = s.readBool(walk(root, s.index))
	}
	for i, list := range l.lists {
		v := walk(root, list.index)
		n := v.Len()
		fr.length[i] = n
		for _, c := range list.columns {
			switch {
			case c.presence || c.class == aBool:
				into := slices.Grow(fr.yesColumn[c.index][:0], n)
				for j := range n {
					into = append(into, c.readBool(walk(v.Index(j), c.field.index)))
				}
				fr.yesColumn[c.index] = into
			case c.class == aNumber:
				into := slices.Grow(fr.numberColumn[c.index][:0], n)
				for j := range n {
					into = append(into, c.readNumber(walk(v.Index(j), c.field.index)))
				}
				fr.numberColumn[c.index] = into
			default:
				into := slices.Grow(fr.textColumn[c.index][:0], n)
				for j := range n {
					into = append(into, c.readText(walk(v.Index(j), c.field.index), &threadText{}))
				}
				fr.textColumn[c.index] = into
			}
		}
	}
	fr.err, fr.steps = nil, 0
	return nil
}

func walk(v reflect.Value, index []int) reflect.Value {
	for _, i := range index {
		if v.Kind() == reflect.Pointer {
			v = v.Elem()
		}
		v = v.Field(i)
	}
	return v
}

// The read functions give the zero value for a fact that is not known: no checked
// expression reads it without has().

func (s slot) readNumber(v reflect.Value) float64 {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return 0
		}
		v = v.Elem()
	}
	switch {
	case v.CanFloat():
		return v.Float()
	case v.CanInt():
		return float64(v.Int())
	}
	return v.Addr().Interface().(*units.Size).Inches()
}

func (s slot) readText(v reflect.Value, last *threadText) string {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return ""
		}
		v = v.Elem()
	}
	if v.Kind() == reflect.String {
		return v.String()
	}
	if t := *v.Addr().Interface().(*units.Thread); t != last.thread {
		*last = threadText{t, t.String()}
	}
	return last.text
}

func (s slot) readBool(v reflect.Value) bool {
	switch {
	case s.presence:
		return !v.IsZero()
	case v.Kind() == reflect.Pointer:
		return !v.IsNil() && v.Elem().Bool()
	}
	return v.Bool()
}

// reading is the list of paths in a fixed order.
func reading(paths []string) []string {
	slices.SortFunc(paths, strings.Compare)
	return paths
}
