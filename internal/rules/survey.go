package rules

import (
	"slices"

	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/operators"
	"cel.dev/cel-go/common/types"
)

// survey is what an expression looks at, for those who reason about it without facts.
type survey struct {
	reads   []string  // facts, as Rule.Reads names them
	numbers []float64 // literals
	words   []string  // literals
	// plain expressions of truth are made of comparisons of a fact with a literal, with a fact
	// of the carburetor, or of two facts that are no numbers, of has() and of facts, by !, &&,
	// || and ?:. Whether they hold depends only on where each number lies among the literals
	// and the carburetor's, whose lists are whole.
	plain bool
}

func (l *lowering) survey(root ast.Expr) survey {
	s := survey{plain: l.plain(root)}
	variables := map[string]*variable{}
	for name, v := range l.variables {
		variables[name] = v
	}
	inner := &lowering{compiler: l.compiler, variables: variables}
	ast.PreOrderVisit(root, ast.NewExprVisitor(func(e ast.Expr) {
		switch e.Kind() {
		case ast.ComprehensionKind:
			c := e.AsComprehension()
			if list, _ := inner.resolve(c.IterRange()); list != nil && list.elem != nil {
				variables[c.IterVar()] = &variable{elem: list.elem}
			}
		case ast.LiteralKind:
			switch v := e.AsLiteral().(type) {
			case types.Double:
				s.numbers = append(s.numbers, float64(v))
			case types.String:
				s.words = append(s.words, string(v))
			}
		case ast.CallKind:
			if fixed(e) { // the negative of a literal
				if v, ok := e.AsCall().Args()[0].AsLiteral().(types.Double); ok {
					s.numbers = append(s.numbers, -float64(v))
				}
			}
		case ast.IdentKind, ast.SelectKind:
			if f, _ := inner.resolve(e); f != nil && f.class != anObject && !slices.Contains(s.reads, f.path) {
				s.reads = append(s.reads, f.path)
			}
		}
	}))
	return s
}

func (l *lowering) plain(e ast.Expr) bool {
	switch e.Kind() {
	case ast.LiteralKind:
		return true
	case ast.IdentKind, ast.SelectKind:
		return name(e) != ""
	case ast.ComprehensionKind:
		c := e.AsComprehension()
		return ofCarburetor(name(c.IterRange())) && l.plain(c.LoopStep().AsCall().Args()[1])
	case ast.CallKind:
	default:
		return false
	}
	args := e.AsCall().Args()
	switch e.AsCall().FunctionName() {
	case operators.LogicalNot, operators.LogicalAnd, operators.LogicalOr, operators.Conditional:
		return !slices.ContainsFunc(args, func(a ast.Expr) bool { return !l.plain(a) })
	case operators.In:
		return (name(args[0]) != "" || fixed(args[0])) && (args[1].Kind() == ast.ListKind || ofCarburetor(name(args[1])))
	case operators.Equals, operators.NotEquals, operators.Less, operators.LessEquals, operators.Greater, operators.GreaterEquals:
		left, right := name(args[0]) != "", name(args[1]) != ""
		if left && right {
			f, _ := l.resolve(args[0])
			return f != nil && f.class != aNumber || ofCarburetor(name(args[0])) || ofCarburetor(name(args[1]))
		}
		return (left || fixed(args[0])) && (right || fixed(args[1]))
	}
	return false
}

// fixed reports whether an expression is a literal or the negative of one.
func fixed(e ast.Expr) bool {
	if e.Kind() == ast.CallKind && e.AsCall().FunctionName() == operators.Negate {
		e = e.AsCall().Args()[0]
	}
	return e.Kind() == ast.LiteralKind
}
