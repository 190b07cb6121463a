// Package rules turns facts into needs. Rules are data: YAML files whose expressions
// are CEL (https://cel.dev), checked against the types of Facts when they are loaded
// and lowered to Go closures, so that a whole set evaluates in microseconds.
//
// The dialect is CEL with one kind of number: whole-number literals are doubles, as
// are sizes (inches) and all facts that count or measure. Threads and enums are
// strings. Known are has, exists, all, in, size, min, max, abs, ceil, floor, round
// and the operators; dividing by zero is an error, not infinity. Optional facts are
// refused unless has() stands guard.
package rules

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"sync"

	"onetrip/internal/catalog"
)

// Set is a checked set of rules. It is immutable and safe for concurrent use.
type Set struct {
	rules  []*Rule
	needs  map[string]*Rule
	layout *layout
	frames sync.Pool
}

// Rules lists the rules by id.
func (s *Set) Rules() []*Rule { return s.rules }

// Needs lists the ids of all needs that some rule raises, sorted.
func (s *Set) Needs() []string { return slices.Sorted(maps.Keys(s.needs)) }

// NeedKind is the kind of part that meets a need; false when no rule raises it.
func (s *Set) NeedKind(need string) (catalog.Kind, bool) {
	r, ok := s.needs[need]
	if !ok {
		return "", false
	}
	return r.Kind, true
}

// Reads lists the facts that some rule reads, sorted; see Rule.Reads.
func (s *Set) Reads() []string {
	var all []string
	for _, r := range s.rules {
		all = append(all, r.reads...)
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// Tested are the attributes that some rule tests in parts of a kind: AtLeast or AtMost when
// that is all that is ever asked, else Equal.
func (s *Set) Tested(kind catalog.Kind) map[string]Op {
	all := map[string]Op{}
	for _, r := range s.rules {
		for i := range r.tests {
			if r.Kind != kind {
				continue
			}
			test := &r.tests[i].test
			op, known := all[test.Attr]
			switch {
			case test.Op != AtLeast && test.Op != AtMost, known && op != test.Op:
				all[test.Attr] = Equal
			default:
				all[test.Attr] = test.Op
			}
		}
	}
	return all
}

// Rule is one rule. The fields are what its author wrote.
type Rule struct {
	ID         string
	Need       string       // "" for a rule with only a verdict or a caution
	Kind       catalog.Kind // of the parts that meet the need
	ByFit      bool         // fit decides how many pieces
	Unsuitable bool         // firing makes the kit unsuitable
	Severity   string       // blocking, serious or minor; "" without a need
	Source     string
	When       string // CEL
	ForEach    string // the list fact, "" without one
	Because    string // template

	File string
	Line int    // from 1
	Text string // the rule as it stands in the file, with the comments above it; see Normal

	reads    []string
	equality []string

	when      *expr
	list      int // of the layout; -1 without for_each
	level     operand
	quantity  operand
	tests     []operand
	constant  []Test // all tests, when none depends on facts
	because   template
	caution   *Caution
	cautionBy template
}

// Reads lists the facts that any expression of the rule reads, sorted; parts of list
// elements have [] in them: "calc.hoses[].use". Two sets of facts that agree in them
// get the same answer from the rule.
func (r *Rule) Reads() []string { return r.reads }

// EqualityAttrs lists the attributes that the match tests by equality with one
// value, for an index.
func (r *Rule) EqualityAttrs() []string { return r.equality }

// LeastAttr is an attribute of which the match asks a least, for an index; "" when there is
// none.
func (r *Rule) LeastAttr() string {
	i := slices.IndexFunc(r.tests, func(o operand) bool { return o.test.Op == AtLeast })
	if i < 0 {
		return ""
	}
	return r.tests[i].test.Attr
}

// Caution is a warning to show when the rule fires.
type Caution struct {
	ID     string
	Text   string
	Source string
}

// Fired is one firing of a rule.
type Fired struct {
	Rule       *Rule
	Each       int    // element of for_each's list, -1 without for_each
	Level      string // required, recommended, optional; "" without a need
	Quantity   float64
	ByFit      bool
	Match      Match
	Because    string
	Caution    *Caution
	Unsuitable bool
}

// operand is a value in a rule: fixed, or computed from facts.
type operand struct {
	test Test // of a match; its Op says what for
	fix  catalog.Value
	expr *expr // nil when fixed

	// of one_of: fixed and computed values, or with expr the column of a list fact
	list   []operand
	column int
}

func (o *operand) values(fr *frame) []catalog.Value {
	var values []catalog.Value
	switch {
	case o.expr == nil:
		for i := range o.list {
			values = append(values, o.list[i].eval(fr))
		}
	case o.expr.fact.elem.class == aNumber:
		for _, n := range fr.numberColumn[o.column] {
			values = append(values, catalog.Value{Num: n})
		}
	default:
		for _, text := range fr.textColumn[o.column] {
			values = append(values, catalog.Value{Text: text})
		}
	}
	return values
}

func (o *operand) eval(fr *frame) catalog.Value {
	if o.expr == nil {
		return o.fix
	}
	switch o.expr.class {
	case aNumber:
		return catalog.Value{Num: o.expr.number(fr)}
	case aBool:
		if o.expr.yes(fr) {
			return catalog.Value{Num: 1}
		}
		return catalog.Value{}
	}
	return catalog.Value{Text: o.expr.text(fr)}
}

// piece is literal text or, with expr, a placeholder.
type piece struct {
	text string
	expr *expr
}

type template []piece

// fixed is the text of a template without placeholders.
func (t template) fixed() (text string, ok bool) {
	if len(t) == 1 && t[0].expr == nil {
		return t[0].text, true
	}
	return "", len(t) == 0
}

func (t template) append(b []byte, fr *frame) []byte {
	for _, p := range t {
		if p.expr == nil {
			b = append(b, p.text...)
			continue
		}
		b = p.expr.append(b, fr)
	}
	return b
}

// append prints a value for people: sizes as fractions, enum values with spaces.
func (e *expr) append(b []byte, fr *frame) []byte {
	switch e.class {
	case aNumber:
		if e.fact != nil && e.fact.size {
			return appendSize(b, e.number(fr))
		}
		return appendNumber(b, e.number(fr))
	case aBool:
		if e.yes(fr) {
			return append(b, "yes"...)
		}
		return append(b, "no"...)
	}
	if e.fact != nil && e.fact.accepted != nil {
		return catalog.AppendWords(b, e.text(fr))
	}
	return append(b, e.text(fr)...)
}

// fires notes that a rule fires, and then where its texts stand among the printed.
type fires struct {
	rule                int32
	each                int32
	from, to, cautionTo int32
}

// Evaluate fires the rules whose when holds, in the order of Rules and, within one
// with for_each, in the order of its list. An error names the rule that failed.
func (s *Set) Evaluate(f *Facts) ([]Fired, error) { return s.EvaluateIn(new(Memory), f) }

// Memory is used by evaluations one after another.
type Memory struct {
	fired []Fired
	tests []Test
}

// Release drops what the memory refers to. What was evaluated in it is gone, but for the
// texts.
func (m *Memory) Release() {
	clear(m.fired)
	clear(m.tests)
}

// EvaluateIn is Evaluate in memory that it takes over.
func (s *Set) EvaluateIn(m *Memory, f *Facts) ([]Fired, error) {
	fr := s.frames.Get().(*frame)
	defer s.frames.Put(fr)
	if err := s.layout.load(fr, f); err != nil {
		return nil, err
	}
	if err := s.findFiring(fr); err != nil {
		return nil, err
	}
	tests := 0
	for _, x := range fr.firing {
		if r := s.rules[x.rule]; r.constant == nil {
			tests += len(r.tests)
		}
	}
	m.fired, m.tests = slices.Grow(m.fired[:0], len(fr.firing))[:len(fr.firing)], slices.Grow(m.tests[:0], tests)[:tests]
	fired, room := m.fired, m.tests
	fr.print = fr.print[:0]
	for i := range fr.firing {
		x := &fr.firing[i]
		r := s.rules[x.rule]
		fr.at[0] = int(x.each)
		one := &fired[i]
		*one = Fired{Rule: r, Each: int(x.each), ByFit: r.ByFit, Unsuitable: r.Unsuitable, Caution: r.caution}
		if r.Need != "" {
			if r.constant == nil {
				one.Match.Tests, room = room[:len(r.tests):len(r.tests)], room[len(r.tests):]
			}
			if err := r.raise(fr, one); err != nil {
				return nil, err
			}
		}
		x.from = int32(len(fr.print))
		if _, fixed := r.because.fixed(); !fixed {
			fr.print = r.because.append(fr.print, fr)
		}
		x.to = int32(len(fr.print))
		fr.print = r.cautionBy.append(fr.print, fr)
		x.cautionTo = int32(len(fr.print))
		if fr.overspent(); fr.err != nil {
			return nil, r.failed(fr, "because", one.Each)
		}
	}
	text := string(fr.print)
	for i, x := range fr.firing {
		one := &fired[i]
		var fixed bool
		if one.Because, fixed = one.Rule.because.fixed(); !fixed {
			one.Because = text[x.from:x.to]
		}
		if one.Rule.cautionBy != nil {
			one.Caution = &Caution{one.Rule.caution.ID, text[x.to:x.cautionTo], one.Rule.caution.Source}
		}
	}
	return fired, nil
}

// findFiring evaluates when of every rule.
func (s *Set) findFiring(fr *frame) error {
	fr.firing = fr.firing[:0]
	for i, r := range s.rules {
		first, last := -1, 0 // one turn without for_each
		if r.list >= 0 {
			first, last = 0, fr.length[r.list]
		}
		for each := first; each < last; each++ {
			fr.at[0] = each
			yes := r.when.yes(fr)
			if fr.overspent(); fr.err != nil {
				return r.failed(fr, "when", each)
			}
			if yes {
				fr.firing = append(fr.firing, fires{rule: int32(i), each: int32(each)})
			}
		}
	}
	return nil
}

// raise works out level, quantity and match of a need. one.Match.Tests has room for
// the tests, unless they are constant.
func (r *Rule) raise(fr *frame, one *Fired) error {
	one.Level = r.level.eval(fr).Text
	if fr.err == nil && !slices.Contains(levels, one.Level) {
		fr.fail(fmt.Errorf("gives %q, wanted required, recommended or optional", one.Level))
	}
	if fr.err != nil {
		return r.failed(fr, "level", one.Each)
	}
	if !r.ByFit {
		one.Quantity = r.quantity.eval(fr).Num
		if fr.err == nil && !(one.Quantity > 0 && one.Quantity <= math.MaxInt32) {
			fr.fail(fmt.Errorf("gives %v, wanted more than 0; narrow when to the cases that need some", one.Quantity))
		}
		if fr.err != nil {
			return r.failed(fr, "quantity", one.Each)
		}
	}
	one.Match.Kind = r.Kind
	if r.constant != nil {
		one.Match.Tests = r.constant
		return nil
	}
	for i := range r.tests {
		t := &one.Match.Tests[i]
		r.tests[i].work(fr, t)
		if fr.err != nil {
			return r.failed(fr, "match "+t.Attr, one.Each)
		}
	}
	return nil
}

// work works out a test.
func (o *operand) work(fr *frame, t *Test) {
	*t = o.test
	if t.Op == OneOf {
		t.Values = o.values(fr)
	} else {
		t.Value = o.eval(fr)
	}
	if fr.err == nil && (math.IsNaN(t.Value.Num) || math.IsInf(t.Value.Num, 0)) {
		fr.fail(fmt.Errorf("gives %v, wanted a number", t.Value.Num))
	}
}

// FailedError is a rule that failed on some facts, such as by a division by zero.
type FailedError struct {
	Rule  *Rule
	Where string // the expression: "when", "match bore_in for calc.hoses[2]"
	Cause error
}

func (e *FailedError) Error() string {
	return fmt.Sprintf("%s:%d: rule %s: %s: %v", e.Rule.File, e.Rule.Line, e.Rule.ID, e.Where, e.Cause)
}

func (e *FailedError) Unwrap() error { return e.Cause }

func (r *Rule) failed(fr *frame, where string, each int) error {
	if each >= 0 {
		where = fmt.Sprintf("%s for %s[%d]", where, r.ForEach, each)
	}
	return &FailedError{r, where, fr.err}
}
