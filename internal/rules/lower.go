package rules

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/operators"
	"cel.dev/cel-go/common/types"
)

// An expr is an expression lowered to Go closures over a frame: the one of the
// three functions that its class names. Closures record an error in the frame and
// then return anything; && and || forget an error that the other side overrules,
// as CEL has it.
type expr struct {
	class    class
	number   func(*frame) float64
	text     func(*frame) string
	yes      func(*frame) bool
	list     *listExpr
	fact     *field // the fact, when the expression is one and nothing more
	constant bool
	source   string // as written
	cost     uint64 // at worst, in CEL's units
	survey   survey
	tails    []tail
	whenTrue map[string]bool // optional facts known once the expression is true
}

// A tail is a part whose value may become the expression's value as it is: the
// expression itself or an arm of ?:.
type tail struct {
	at      int
	fact    *field // the fact that it is, or nil
	literal string // the text that it is, when isText
	isText  bool
}

// listExpr is a list fact (one column of the frame) or a list literal.
type listExpr struct {
	fact    *field
	slot    int
	numbers []float64
	texts   []string
}

// variable is each, or what exists and all walk with.
type variable struct {
	list     int // of the layout
	elem     *field
	register int
}

var errDivide = errors.New("division by zero")

func modulo(a, b float64) float64 { return math.Mod(a, b) }
func absolute(a float64) float64  { return math.Abs(a) }
func ceil(a float64) float64      { return math.Ceil(a) }
func floor(a float64) float64     { return math.Floor(a) }
func round(a float64) float64     { return math.Round(a) }

type lowering struct {
	*compiler
	src       source
	ast       *ast.AST
	scope     scope
	variables map[string]*variable
	depth     int
	failed    bool
}

func (l *lowering) at(e ast.Expr) int {
	for e.Kind() == ast.SelectKind && name(e) != "" { // where the path starts
		e = e.AsSelect().Operand()
	}
	where := l.ast.SourceInfo().GetStartLocation(e.ID())
	if where.Line() < 1 {
		return 0
	}
	return l.src.byteOffset(where.Line(), where.Column())
}

func (l *lowering) fail(e ast.Expr, format string, args ...any) *expr {
	if !l.failed {
		l.src.fail(l.at(e), fmt.Sprintf(format, args...))
	}
	l.failed = true
	return &expr{}
}

// resolve finds the fact that a path names, and the variable it starts with.
func (l *lowering) resolve(e ast.Expr) (*field, *variable) {
	switch e.Kind() {
	case ast.IdentKind:
		if v := l.variables[e.AsIdent()]; v != nil {
			return v.elem, v
		}
		return schema.fields[e.AsIdent()], nil
	case ast.SelectKind:
		f, v := l.resolve(e.AsSelect().Operand())
		if f == nil {
			return nil, nil
		}
		return f.fields[e.AsSelect().FieldName()], v
	}
	return nil, nil
}

func (l *lowering) lower(e ast.Expr, known map[string]bool) *expr {
	switch e.Kind() {
	case ast.LiteralKind:
		switch v := e.AsLiteral().(type) {
		case types.Double:
			return constantNumber(float64(v))
		case types.String:
			s := string(v)
			return &expr{class: aText, constant: true, text: func(*frame) string { return s }}
		case types.Bool:
			b := bool(v)
			return &expr{class: aBool, constant: true, yes: func(*frame) bool { return b }}
		}
		return l.fail(e, "%s literals are not used in rules", e.AsLiteral().Type().TypeName())
	case ast.IdentKind, ast.SelectKind:
		return l.fact(e, known)
	case ast.ListKind:
		return l.listLiteral(e, known)
	case ast.CallKind:
		return l.call(e, known)
	case ast.ComprehensionKind:
		return l.comprehension(e, known)
	}
	return l.fail(e, "maps and objects cannot be made in rules")
}

func constantNumber(n float64) *expr {
	return &expr{class: aNumber, constant: true, number: func(*frame) float64 { return n }}
}

func (l *lowering) fact(e ast.Expr, known map[string]bool) *expr {
	if e.Kind() == ast.SelectKind && e.AsSelect().IsTestOnly() {
		owner, v := l.resolve(e.AsSelect().Operand())
		if owner == nil || owner.fields[e.AsSelect().FieldName()] == nil {
			return l.fail(e, "has() takes a fact such as vehicle.intake.stud_length_in")
		}
		f := owner.fields[e.AsSelect().FieldName()]
		if !f.optional {
			return l.fail(e.AsSelect().Operand(), "%s is always known: has() is for optional facts", f.path)
		}
		if v != nil {
			column, register := l.layout.column(v.list, f, true), v.register
			return &expr{class: aBool, yes: func(fr *frame) bool { return fr.yesColumn[column][fr.at[register]] }}
		}
		slot := l.layout.slot(f, true)
		return &expr{class: aBool, yes: func(fr *frame) bool { return fr.yes[slot] }}
	}
	f, v := l.resolve(e)
	if f == nil {
		return l.fail(e, "only facts have fields")
	}
	if f.optional && !known[name(e)] {
		return l.fail(e, "%s may be unknown: test has(%s) first, in when or before && or in ?:", f.path, name(e))
	}
	out := &expr{class: f.class, fact: f}
	switch {
	case f.class == anObject:
	case f.class == aList && v != nil:
		return l.fail(e, "%s is a list inside a list, which rules cannot read", f.path)
	case f.class == aList:
		out.list = &listExpr{fact: f, slot: l.layout.list(f)}
	case v != nil:
		column, register := l.layout.column(v.list, f, false), v.register
		switch f.class {
		case aNumber:
			out.number = func(fr *frame) float64 { return fr.numberColumn[column][fr.at[register]] }
		case aText:
			out.text = func(fr *frame) string { return fr.textColumn[column][fr.at[register]] }
		case aBool:
			out.yes = func(fr *frame) bool { return fr.yesColumn[column][fr.at[register]] }
		}
	default:
		slot := l.layout.slot(f, false)
		switch f.class {
		case aNumber:
			out.number = func(fr *frame) float64 { return fr.number[slot] }
		case aText:
			out.text = func(fr *frame) string { return fr.text[slot] }
		case aBool:
			out.yes = func(fr *frame) bool { return fr.yes[slot] }
		}
	}
	return out
}

func (l *lowering) listLiteral(e ast.Expr, known map[string]bool) *expr {
	list := &listExpr{}
	for _, item := range e.AsList().Elements() {
		x := l.lower(item, known)
		switch {
		case l.failed:
			return x
		case !x.constant || x.class == aBool:
			return l.fail(item, "a list in a rule holds plain numbers or texts")
		case x.class == aNumber:
			list.numbers = append(list.numbers, x.number(nil))
		default:
			list.texts = append(list.texts, x.text(nil))
		}
	}
	if len(list.numbers) > 0 && len(list.texts) > 0 {
		return l.fail(e, "a list holds either numbers or texts")
	}
	return &expr{class: aList, list: list}
}

func (l *lowering) call(e ast.Expr, known map[string]bool) *expr {
	call := e.AsCall()
	function, args := call.FunctionName(), call.Args()
	first := l.lower(args[0], known)
	if l.failed {
		return first
	}
	rest := known
	switch function {
	case operators.LogicalAnd, operators.Conditional:
		rest = implied(args[0], true, known)
	case operators.LogicalOr:
		rest = implied(args[0], false, known)
	}
	var second, third *expr
	if len(args) > 1 {
		if second = l.lower(args[1], rest); l.failed {
			return second
		}
	}
	if len(args) > 2 {
		if third = l.lower(args[2], implied(args[0], false, known)); l.failed {
			return third
		}
	}
	switch function {
	case operators.LogicalAnd, operators.LogicalOr:
		return logical(first.yes, second.yes, function == operators.LogicalAnd)
	case operators.LogicalNot:
		a := first.yes
		return &expr{class: aBool, yes: func(fr *frame) bool { return !a(fr) }}
	case operators.Conditional:
		return l.conditional(e, first, second, third)
	case operators.Equals, operators.NotEquals:
		return l.equals(e, args, first, second, function == operators.Equals)
	case operators.In:
		return l.in(e, args, first, second)
	case sizeFunction:
		if first.list.fact == nil {
			return constantNumber(float64(len(first.list.numbers) + len(first.list.texts)))
		}
		slot := first.list.slot
		return &expr{class: aNumber, number: func(fr *frame) float64 { return float64(fr.length[slot]) }}
	case operators.Add:
		if first.class == aText {
			a, b := first.text, second.text
			return &expr{class: aText, text: func(fr *frame) string { return a(fr) + b(fr) }}
		}
	}
	if first.class != aNumber || second != nil && second.class != aNumber {
		symbol, ok := operators.FindReverse(function)
		if !ok {
			symbol = function
		}
		return l.fail(e, "%s works on numbers, this is %s", symbol, first.class)
	}
	return arithmetic(function, first.number, second)
}

func arithmetic(function string, a func(*frame) float64, second *expr) *expr {
	number := func(do func(*frame) float64) *expr { return &expr{class: aNumber, number: do} }
	if function == operators.Negate {
		return number(func(fr *frame) float64 { return -a(fr) })
	}
	var b func(*frame) float64
	if second != nil {
		b = second.number
	}
	yes := func(do func(*frame) bool) *expr { return &expr{class: aBool, yes: do} }
	switch function {
	case operators.Add:
		return number(func(fr *frame) float64 { return a(fr) + b(fr) })
	case operators.Subtract:
		return number(func(fr *frame) float64 { return a(fr) - b(fr) })
	case operators.Multiply:
		return number(func(fr *frame) float64 { return a(fr) * b(fr) })
	case operators.Less:
		return yes(func(fr *frame) bool { return a(fr) < b(fr) })
	case operators.LessEquals:
		return yes(func(fr *frame) bool { return a(fr) <= b(fr) })
	case operators.Greater:
		return yes(func(fr *frame) bool { return a(fr) > b(fr) })
	case operators.GreaterEquals:
		return yes(func(fr *frame) bool { return a(fr) >= b(fr) })
	}
	for _, f := range functions {
		if f.name == function {
			return number(func(fr *frame) float64 {
				x, y := a(fr), 0.0
				if b != nil {
					y = b(fr)
				}
				n, err := f.do(x, y)
				if err != nil {
					fr.fail(err)
				}
				return n
			})
		}
	}
	panic("rules: " + function + " is declared and has no lowering")
}

// logical is && or ||: decided by a side that says decisive, whatever error the
// other has.
func logical(a, b func(*frame) bool, and bool) *expr {
	decisive := !and
	return &expr{class: aBool, yes: func(fr *frame) bool {
		if fr.err != nil {
			return false
		}
		x := a(fr)
		if fr.err == nil {
			if x == decisive {
				return x
			}
			return b(fr)
		}
		saved := fr.err
		fr.err = nil
		if y := b(fr); fr.err == nil && y == decisive {
			return y
		}
		fr.err = saved
		return false
	}}
}

func (l *lowering) conditional(e ast.Expr, test, yes, no *expr) *expr {
	t := test.yes
	switch yes.class {
	case aNumber:
		a, b := yes.number, no.number
		return &expr{class: aNumber, number: func(fr *frame) float64 {
			if c := t(fr); fr.err != nil {
				return 0
			} else if c {
				return a(fr)
			}
			return b(fr)
		}}
	case aText:
		a, b := yes.text, no.text
		return &expr{class: aText, text: func(fr *frame) string {
			if c := t(fr); fr.err != nil {
				return ""
			} else if c {
				return a(fr)
			}
			return b(fr)
		}}
	case aBool:
		a, b := yes.yes, no.yes
		return &expr{class: aBool, yes: func(fr *frame) bool {
			if c := t(fr); fr.err != nil {
				return false
			} else if c {
				return a(fr)
			}
			return b(fr)
		}}
	}
	return l.fail(e, "the arms of ?: are %s; they can be numbers, texts or true and false", yes.class)
}

func (l *lowering) equals(e ast.Expr, args []ast.Expr, first, second *expr, want bool) *expr {
	if !l.canEqual(args[0], first, args[1], second) {
		return &expr{}
	}
	switch first.class {
	case aNumber:
		a, b := first.number, second.number
		return &expr{class: aBool, yes: func(fr *frame) bool { return (a(fr) == b(fr)) == want }}
	case aText:
		a, b := first.text, second.text
		if second.constant { // by far the most frequent test
			constant := b(nil)
			return &expr{class: aBool, yes: func(fr *frame) bool { return (a(fr) == constant) == want }}
		}
		return &expr{class: aBool, yes: func(fr *frame) bool { return (a(fr) == b(fr)) == want }}
	case aBool:
		a, b := first.yes, second.yes
		return &expr{class: aBool, yes: func(fr *frame) bool {
			x, y := a(fr), b(fr)
			return (x == y) == want
		}}
	}
	return l.fail(e, "== compares numbers, texts and true or false, not %s", first.class)
}

// canEqual refuses a comparison of an enum with a text it never has.
func (l *lowering) canEqual(ea ast.Expr, a *expr, eb ast.Expr, b *expr) bool {
	if a.fact == nil && b.fact != nil {
		ea, a, eb, b = eb, b, ea, a
	}
	if a.fact == nil || a.class != aText {
		return true
	}
	if b.constant {
		return l.accepts(a.fact, eb, b.text(nil))
	}
	if a.fact.accepted == nil {
		return true
	}
	if b.fact != nil && b.fact.accepted != nil && !overlap(a.fact.accepted, b.fact.accepted) {
		l.fail(ea, "%s and %s never have the same value", a.fact.path, b.fact.path)
	}
	return !l.failed
}

func (l *lowering) accepts(f *field, e ast.Expr, text string) bool {
	if f.namesNeed() {
		l.namedNeeds = append(l.namedNeeds, namedNeed{l.src, l.at(e), text})
	}
	if f.accepted != nil && !slices.Contains(f.accepted, text) {
		l.fail(e, "%s is never %q%s", f.path, text, suggest(text, f.accepted))
	}
	return !l.failed
}

func overlap(a, b []string) bool {
	return slices.ContainsFunc(a, func(s string) bool { return slices.Contains(b, s) })
}

func (l *lowering) in(e ast.Expr, args []ast.Expr, item, list *expr) *expr {
	if list.list.fact == nil {
		if item.fact != nil {
			for i, text := range list.list.texts {
				if !l.accepts(item.fact, args[1].AsList().Elements()[i], text) {
					return &expr{}
				}
			}
		}
		switch item.class {
		case aNumber:
			a, numbers := item.number, list.list.numbers
			return &expr{class: aBool, yes: func(fr *frame) bool { return slices.Contains(numbers, a(fr)) }}
		case aText:
			a, texts := item.text, list.list.texts
			return &expr{class: aBool, yes: func(fr *frame) bool { return slices.Contains(texts, a(fr)) }}
		}
		return l.fail(e, "in looks for a number or a text, this is %s", item.class)
	}
	elem := list.list.fact.elem
	if elem.class != aText && elem.class != aNumber {
		return l.fail(e, "in looks in lists of numbers or texts; use %s.exists(x, ...)", list.list.fact.path)
	}
	if item.constant && elem.class == aText && !l.accepts(elem, args[0], item.text(nil)) {
		return &expr{}
	}
	column := l.layout.column(list.list.slot, elem, false)
	if elem.class == aText {
		a := item.text
		return &expr{class: aBool, yes: func(fr *frame) bool {
			fr.spend(len(fr.textColumn[column]))
			return slices.Contains(fr.textColumn[column], a(fr))
		}}
	}
	a := item.number
	return &expr{class: aBool, yes: func(fr *frame) bool {
		fr.spend(len(fr.numberColumn[column]))
		return slices.Contains(fr.numberColumn[column], a(fr))
	}}
}

// comprehension lowers exists and all, the only macros with a loop that base has.
func (l *lowering) comprehension(e ast.Expr, known map[string]bool) *expr {
	c := e.AsComprehension()
	over := l.lower(c.IterRange(), known)
	if l.failed {
		return over
	}
	if over.list == nil || over.list.fact == nil {
		return l.fail(c.IterRange(), "exists and all walk a list fact such as carburetor.ports")
	}
	if schema.fields[c.IterVar()] != nil || l.variables[c.IterVar()] != nil {
		return l.fail(c.IterRange(), "%s already has a meaning; name the variable otherwise", c.IterVar())
	}
	if l.depth == maxLoops {
		return l.fail(c.IterRange(), "exists, all and for_each nest at most %d deep", maxLoops)
	}
	step := c.LoopStep()
	decisive := step.AsCall().FunctionName() == operators.LogicalOr // exists
	slot, register := over.list.slot, l.depth
	l.variables[c.IterVar()] = &variable{list: slot, elem: over.list.fact.elem, register: register}
	l.depth++
	test := l.lower(step.AsCall().Args()[1], known)
	l.depth--
	delete(l.variables, c.IterVar())
	if l.failed {
		return test
	}
	yes, each := test.yes, nodes(step)
	return &expr{class: aBool, yes: func(fr *frame) bool {
		if fr.err != nil {
			return false
		}
		var saved error
		for i := range fr.length[slot] {
			if !fr.spend(each) {
				return false
			}
			fr.at[register] = i
			x := yes(fr)
			if fr.err == nil && x == decisive {
				return x
			}
			if fr.err != nil && saved == nil {
				saved = fr.err
			}
			fr.err = nil
		}
		fr.err = saved
		return !decisive
	}}
}

func (l *lowering) tails(e ast.Expr, list []tail) []tail {
	if e.Kind() == ast.CallKind && e.AsCall().FunctionName() == operators.Conditional {
		return l.tails(e.AsCall().Args()[2], l.tails(e.AsCall().Args()[1], list))
	}
	t := tail{at: l.at(e)}
	switch e.Kind() {
	case ast.LiteralKind:
		if s, ok := e.AsLiteral().(types.String); ok {
			t.literal, t.isText = string(s), true
		}
	case ast.IdentKind, ast.SelectKind:
		if e.Kind() == ast.IdentKind || !e.AsSelect().IsTestOnly() {
			t.fact, _ = l.resolve(e)
		}
	}
	return append(list, t)
}
