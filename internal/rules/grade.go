package rules

import (
	"encoding/binary"
	"maps"
	"math"
	"slices"

	"onetrip/internal/catalog"
)

// Grades tells forms apart as rules do: by the attributes that some rule tests in their kind.
type Grades struct {
	tested map[catalog.Kind][]graded
}

// graded is an attribute with what Set.Tested says of it.
type graded struct {
	attr string
	op   Op
}

// Grades tells the forms of some kinds apart.
func (s *Set) Grades(kinds ...catalog.Kind) *Grades {
	g := &Grades{tested: map[catalog.Kind][]graded{}}
	for _, kind := range kinds {
		ops := s.Tested(kind)
		for _, attr := range slices.Sorted(maps.Keys(ops)) {
			g.tested[kind] = append(g.tested[kind], graded{attr, ops[attr]})
		}
	}
	return g
}

// Grade is the same for two forms of a kind exactly when no rule looks at what they differ in,
// so that whatever match accepts one accepts the other.
func (g *Grades) Grade(f *catalog.Form) string {
	key := []byte(f.Kind)
	for _, t := range g.tested[f.Kind] {
		a, stated := f.Attr(t.attr)
		if !stated {
			key = append(key, 0)
			continue
		}
		v := a.Compared()
		key = binary.LittleEndian.AppendUint64(append(key, 1), math.Float64bits(v.Num+0)) // +0 folds -0 into 0
		key = binary.LittleEndian.AppendUint32(key, uint32(len(v.Text)))
		key = append(key, v.Text...)
	}
	return string(key)
}

// AsGood reports whether whatever match accepts the second of two forms of a kind accepts the
// first: it has no less of what rules ask a least of, no more of what they ask a most of, and
// the same of the rest. What is not stated passes no test.
func (g *Grades) AsGood(f, as *catalog.Form) bool {
	for _, t := range g.tested[f.Kind] {
		was, stated := as.Attr(t.attr)
		if !stated {
			continue
		}
		is, known := f.Attr(t.attr)
		switch {
		case !known,
			t.op == AtLeast && is.Value.Num < was.Value.Num,
			t.op == AtMost && is.Value.Num > was.Value.Num,
			t.op == Equal && !is.Compared().Equal(was.Compared()):
			return false
		}
	}
	return true
}
