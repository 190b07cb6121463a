package rules

import (
	"fmt"
	"maps"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
)

// Whatever a match asks of the attributes that the rules of the demo test, it accepts or
// refuses forms of one grade together, and accepts a form that is as good as one it accepts.
func TestPropertyGrades(t *testing.T) {
	kinds := []catalog.Kind{"fuel_fitting", "fuel_filter", "fuel_hose", "hose_clamp", "pressure_regulator"}
	set, err := Parse(seedFiles(t))
	if err != nil {
		t.Fatal(err)
	}
	g := set.Grades(kinds...)
	alike, better, apart := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		kind := rapid.SampledFrom(kinds).Draw(t, "kind")
		spec, _ := kind.Spec()
		value := func(a *catalog.AttrSpec, label string) catalog.Value {
			switch a.Type {
			case catalog.AttrEnum:
				return catalog.Value{Text: rapid.SampledFrom(a.Accepted).Draw(t, label)}
			case catalog.AttrBool:
				return catalog.Value{Num: float64(rapid.IntRange(0, 1).Draw(t, label))}
			}
			return catalog.Value{Num: float64(rapid.IntRange(1, 3).Draw(t, label))}
		}
		draw := func(label string) *catalog.Form {
			f := &catalog.Form{Kind: kind}
			for i := range spec.Attrs {
				a := &spec.Attrs[i]
				if rapid.IntRange(0, 9).Draw(t, fmt.Sprint(label, " states ", a.Name)) > 0 {
					f.Attributes = append(f.Attributes, catalog.Attr{Name: a.Name, Type: a.Type, Value: value(a, fmt.Sprint(label, " ", a.Name))})
				}
			}
			return f
		}
		for range 10 { // so that short runs meet each case too
			a := draw("a")
			b := a
			if rapid.IntRange(0, 4).Draw(t, "another") > 0 {
				b = draw("b")
			}
			m := Match{Kind: kind}
			tested := set.Tested(kind)
			for _, name := range slices.Sorted(maps.Keys(tested)) {
				attr, _ := spec.Attr(name)
				ops := []Op{tested[name]}
				if ops[0] == Equal && attr.Type == catalog.AttrNumber {
					ops = []Op{Equal, AtLeast, AtMost}
				}
				if rapid.Bool().Draw(t, "tests "+name) {
					m.Tests = append(m.Tests, Test{Attr: name, Type: attr.Type, Op: rapid.SampledFrom(ops).Draw(t, "op "+name), Value: value(&attr, "asked "+name)})
				}
			}
			switch {
			case g.Grade(a) == g.Grade(b):
				alike++
				if m.Accepts(a) != m.Accepts(b) || !g.AsGood(a, b) {
					t.Fatalf("%v and %v are of one grade", a.Attributes, b.Attributes)
				}
			case g.AsGood(a, b):
				better++
				if m.Accepts(b) && !m.Accepts(a) {
					t.Fatalf("%v is said to be as good as %v", a.Attributes, b.Attributes)
				}
			case m.Accepts(a) != m.Accepts(b):
				apart++
			}
		}
	})
	if alike == 0 || better == 0 || apart == 0 {
		t.Errorf("%d pairs of one grade, %d of one better, %d told apart: the test shows nothing", alike, better, apart)
	}
}
