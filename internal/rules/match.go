package rules

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// Op is how an attribute is tested.
type Op string

// Ops.
const (
	Equal   Op = "eq"
	OneOf   Op = "one_of"
	AtLeast Op = "at_least"
	AtMost  Op = "at_most"
)

// A Test asks something of one attribute of a part. Of Value only the half counts
// that its type compares by: Num for numbers, sizes (inches) and booleans, Text for
// enums, texts and threads. The other half is empty.
type Test struct {
	Attr   string
	Type   catalog.AttrType
	Op     Op
	Value  catalog.Value   // eq, at_least, at_most
	Values []catalog.Value // one_of

	at int // where the attribute usually stands in a form
}

// Match is what a part must be to meet a need: of the kind, and passing every test.
// The tests that Rule.EqualityAttrs lists come first, in that order.
type Match struct {
	Kind  catalog.Kind
	Tests []Test
}

// Equal is the value asked of the i-th attribute of Rule.EqualityAttrs; of the
// Value only the half described at Test is set.
func (m *Match) Equal(i int) catalog.Value { return m.Tests[i].Value }

// Accepts reports whether a form is of the kind and passes every test.
func (m *Match) Accepts(f *catalog.Form) bool {
	if f.Kind != m.Kind {
		return false
	}
	for i := len(m.Tests) - 1; i >= 0; i-- { // what indexes look at, which most forms pass, last
		if !m.Tests[i].Accepts(f) {
			return false
		}
	}
	return true
}

// Contradicts reports whether the two ask different values of one attribute, so that no
// form passes both. False does not say that one does.
func (m *Match) Contradicts(o *Match) bool {
	for i := range m.Tests {
		t := &m.Tests[i]
		for k := range o.Tests {
			if u := &o.Tests[k]; t.Op == Equal && u.Op == Equal && t.Attr == u.Attr && !t.same(&t.Value, &u.Value) {
				return true
			}
		}
	}
	return false
}

// Fails says what a form of the kind lacks, one line per failed test:
// "bore_in: 3/8, wanted 5/16". Empty when the form is accepted.
func (m *Match) Fails(f *catalog.Form) []string {
	if f.Kind != m.Kind {
		return []string{fmt.Sprintf("kind: %s, wanted %s", f.Kind, m.Kind)}
	}
	var lines []string
	for i := range m.Tests {
		if t := &m.Tests[i]; !t.Accepts(f) {
			stated := "not stated"
			if a, ok := f.Attr(t.Attr); ok {
				stated = a.String()
			}
			lines = append(lines, t.Attr+": "+stated+", wanted "+t.Rounded())
		}
	}
	return lines
}

// Failing is how many lines Fails has.
func (m *Match) Failing(f *catalog.Form) int {
	if f.Kind != m.Kind {
		return 1
	}
	n := 0
	for i := range m.Tests {
		if !m.Tests[i].Accepts(f) {
			n++
		}
	}
	return n
}

// Accepts reports whether a form passes the test; an attribute that is not stated
// fails it.
func (t *Test) Accepts(f *catalog.Form) bool {
	var v *catalog.Value
	if t.at < len(f.Attributes) && f.Attributes[t.at].Name == t.Attr { // as a rule; copies nothing
		v = &f.Attributes[t.at].Value
	} else if a, stated := f.Attr(t.Attr); stated {
		v = &a.Value
	} else {
		return false
	}
	switch t.Op {
	case AtLeast:
		return v.Num >= t.Value.Num
	case AtMost:
		return v.Num <= t.Value.Num
	case OneOf:
		for i := range t.Values {
			if t.same(v, &t.Values[i]) {
				return true
			}
		}
		return false
	}
	return t.same(v, &t.Value)
}

func (t *Test) same(a, b *catalog.Value) bool {
	if byNumber(t.Type) {
		return a.Num == b.Num
	}
	return a.Text == b.Text
}

func byNumber(t catalog.AttrType) bool {
	return t == catalog.AttrNumber || t == catalog.AttrSize || t == catalog.AttrBool
}

// Wanted says what the test asks: "5/16", "at least 14", "30R9 or 30R14".
func (t *Test) Wanted() string {
	switch t.Op {
	case AtLeast:
		return "at least " + t.show(t.Value)
	case AtMost:
		return "at most " + t.show(t.Value)
	case OneOf:
		texts := make([]string, len(t.Values))
		for i, v := range t.Values {
			texts[i] = t.show(v)
		}
		return strings.Join(texts, " or ")
	}
	return t.show(t.Value)
}

// Rounded is Wanted with limits to four significant digits, whole numbers as they are,
// rounded so that what is within the limit that is said is within that of the test.
func (t *Test) Rounded() string {
	within := map[Op]func(float64) float64{AtLeast: math.Ceil, AtMost: math.Floor}[t.Op]
	if within == nil || t.Value.Num == 0 || t.Type != catalog.AttrNumber {
		return t.Wanted()
	}
	said, limit := *t, t.Value.Num
	scale := math.Pow10(max(0, 3-int(math.Floor(math.Log10(math.Abs(limit))))))
	said.Value.Num = within(limit*scale) / scale
	if nearest := math.Round(limit*scale) / scale; math.Abs(nearest-limit) < 1e-9*math.Abs(limit) { // but for its binary fraction
		said.Value.Num = nearest
	}
	return said.Wanted()
}

func (t *Test) show(v catalog.Value) string {
	switch t.Type {
	case catalog.AttrNumber:
		return string(appendNumber(nil, v.Num))
	case catalog.AttrSize:
		return string(appendSize(nil, v.Num))
	case catalog.AttrBool:
		return strconv.FormatBool(v.Num != 0)
	}
	return v.Text
}

// appendNumber prints at most four decimals and no trailing zeros.
func appendNumber(b []byte, n float64) []byte {
	if rounded := math.Round(n*1e4) / 1e4; math.Abs(n) < 1e11 {
		n = rounded + 0 // no minus zero
	}
	return strconv.AppendFloat(b, n, 'f', -1, 64)
}

// appendSize prints inches as units.Size does: a fraction where there is one.
func appendSize(b []byte, in float64) []byte {
	if parts := in * 64; parts == math.Trunc(parts) && parts >= 0 && parts < 64*100 {
		whole, num, den := int(parts)/64, int(parts)%64, 64
		if num == 0 {
			return strconv.AppendInt(b, int64(whole), 10)
		}
		for num%2 == 0 {
			num, den = num/2, den/2
		}
		if whole > 0 {
			b = append(strconv.AppendInt(b, int64(whole), 10), '-')
		}
		b = append(strconv.AppendInt(b, int64(num), 10), '/')
		return strconv.AppendInt(b, int64(den), 10)
	}
	s, err := units.SizeFromFloat(in)
	if err != nil { // not a size: negative, or feet long
		return appendNumber(b, in)
	}
	return append(b, s.String()...)
}
