package rules

import (
	"fmt"
	"regexp"
	"strings"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/env"
	"cel.dev/cel-go/common/operators"
	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/common/types/ref"
	"go.yaml.in/yaml/v3"
)

// source is an expression and where it stands: from byte offset of a scalar.
type source struct {
	file   *file
	node   *yaml.Node
	offset int
	text   string
}

func (s source) fail(at int, detail string) { s.file.failAt(s.node, s.offset+at, detail) }

// scope is what an expression may use besides the facts.
type scope struct {
	each  *field          // the list that for_each walks, or nil
	known map[string]bool // optional facts that are surely there
}

// compiler checks and lowers the expressions of one set of rules into one layout.
type compiler struct {
	layout     *layout
	envs       map[*field]*cel.Env
	namedNeeds []namedNeed
}

// namedNeed is the id of a need in an expression. Whether a rule raises it shows when
// all are read.
type namedNeed struct {
	src source
	at  int
	id  string
}

// functions that rules may call besides CEL's operators and macros. Numbers are
// doubles throughout: whole-number literals are read as doubles too.
var functions = []struct {
	name string
	args int
	do   func(a, b float64) (float64, error)
}{
	{operators.Divide, 2, func(a, b float64) (float64, error) {
		if b == 0 {
			return 0, errDivide
		}
		return a / b, nil
	}},
	{operators.Modulo, 2, func(a, b float64) (float64, error) {
		if b == 0 {
			return 0, errDivide
		}
		return modulo(a, b), nil
	}},
	{"min", 2, func(a, b float64) (float64, error) { return min(a, b), nil }},
	{"max", 2, func(a, b float64) (float64, error) { return max(a, b), nil }},
	{"abs", 1, func(a, _ float64) (float64, error) { return absolute(a), nil }},
	{"ceil", 1, func(a, _ float64) (float64, error) { return ceil(a), nil }},
	{"floor", 1, func(a, _ float64) (float64, error) { return floor(a), nil }},
	{"round", 1, func(a, _ float64) (float64, error) { return round(a), nil }},
}

const sizeFunction = "size"

// base is the CEL environment of every expression: the facts, the operators that
// lower.go knows, has, all and exists.
var base = func() *cel.Env {
	included := &env.LibrarySubset{IncludeMacros: []string{operators.Has, operators.All, operators.Exists}}
	for _, name := range []string{operators.Conditional, operators.LogicalAnd, operators.LogicalOr, operators.LogicalNot,
		operators.Equals, operators.NotEquals, operators.Less, operators.LessEquals, operators.Greater, operators.GreaterEquals,
		operators.Add, operators.Subtract, operators.Multiply, operators.Negate, operators.In, operators.NotStrictlyFalse} {
		included.AddIncludedFunctions(env.NewFunction(name))
	}
	options := []cel.EnvOption{cel.StdLib(cel.StdLibSubset(included)), cel.CustomTypeProvider(provider{})}
	for _, f := range functions {
		overload := strings.Trim(f.name, "_@") + "_doubles"
		if f.args == 1 {
			options = append(options, cel.Function(f.name, cel.Overload(overload, []*cel.Type{cel.DoubleType}, cel.DoubleType,
				cel.UnaryBinding(func(a ref.Val) ref.Val { return result(f.do(float64(a.(types.Double)), 0)) }))))
			continue
		}
		options = append(options, cel.Function(f.name, cel.Overload(overload, []*cel.Type{cel.DoubleType, cel.DoubleType}, cel.DoubleType,
			cel.BinaryBinding(func(a, b ref.Val) ref.Val {
				return result(f.do(float64(a.(types.Double)), float64(b.(types.Double))))
			}))))
	}
	options = append(options, cel.Function(sizeFunction, cel.Overload("size_list_double", []*cel.Type{cel.ListType(cel.TypeParamType("A"))},
		cel.DoubleType, cel.UnaryBinding(func(a ref.Val) ref.Val {
			n, _ := a.(interface{ Size() ref.Val }).Size().(types.Int)
			return types.Double(n)
		}))))
	for name, f := range schema.fields {
		options = append(options, cel.Variable(name, f.celType()))
	}
	e, err := cel.NewCustomEnv(options...)
	if err != nil {
		panic(err) // the declarations above are constant
	}
	return e
}()

func result(n float64, err error) ref.Val {
	if err != nil {
		return types.NewErr("%s", err)
	}
	return types.Double(n)
}

func (c *compiler) env(each *field) (*cel.Env, error) {
	if each == nil {
		return base, nil
	}
	if e := c.envs[each]; e != nil {
		return e, nil
	}
	e, err := base.Extend(cel.Variable("each", each.elem.celType()))
	c.envs[each] = e
	return e, err
}

// compile checks an expression and lowers it. want is the class it must have, 0 for
// any that prints. Nil when something was wrong and has been reported.
func (c *compiler) compile(src source, want class, sc scope) *expr {
	checked := c.check(src, sc)
	if checked == nil {
		return nil
	}
	l := &lowering{compiler: c, src: src, ast: checked.NativeRep(), scope: sc, variables: map[string]*variable{}}
	if sc.each != nil {
		l.variables["each"] = &variable{list: c.layout.list(sc.each), elem: sc.each.elem}
		l.depth = 1
	}
	root := l.ast.Expr()
	e := l.lower(root, sc.known)
	if l.failed {
		return nil
	}
	if want == 0 && e.class != aNumber && e.class != aText && e.class != aBool || want != 0 && e.class != want {
		wanted := "a number, text or true or false"
		if want != 0 {
			wanted = want.String()
		}
		src.fail(0, fmt.Sprintf("gives %s, wanted %s", e.class, wanted))
		return nil
	}
	var err error
	if e.cost, err = worstCase(checked); err != nil {
		src.fail(0, err.Error())
		return nil
	}
	e.survey = l.survey(root)
	e.source = src.text
	e.tails = l.tails(root, nil)
	e.whenTrue = implied(root, true, nil)
	return e
}

// check parses and type-checks.
func (c *compiler) check(src source, sc scope) *cel.Ast {
	if strings.TrimSpace(src.text) == "" {
		src.fail(0, "expression is empty")
		return nil
	}
	environment, err := c.env(sc.each)
	if err != nil {
		src.fail(0, err.Error())
		return nil
	}
	parsed, issues := environment.Parse(src.text)
	if err := issues.Err(); err != nil {
		first := issues.Errors()[0]
		src.fail(src.byteOffset(first.Location.Line(), first.Location.Column()), "not an expression: "+notExpression(first.Message))
		return nil
	}
	wholeNumbersToDoubles(parsed.NativeRep())
	checked, issues := environment.Check(parsed)
	if issues.Err() == nil {
		return checked
	}
	for _, e := range issues.Errors() {
		at := 0
		if e.Location.Line() > 0 {
			at = src.byteOffset(e.Location.Line(), e.Location.Column())
		}
		at, detail := src.reword(parsed.NativeRep(), at, e.ExprID, e.Message, sc)
		src.fail(at, detail)
	}
	return nil
}

// byteOffset turns CEL's line (from 1) and column (characters, from 0) into an
// offset into the text.
func (s source) byteOffset(line, column int) int {
	at := 0
	for ; line > 1; line-- {
		at += strings.IndexByte(s.text[at:], '\n') + 1
	}
	for i := range s.text[at:] {
		if column == 0 {
			return at + i
		}
		column--
	}
	return len(s.text)
}

func wholeNumbersToDoubles(a *ast.AST) {
	factory := ast.NewExprFactory()
	ast.PostOrderVisit(a.Expr(), ast.NewExprVisitor(func(e ast.Expr) {
		if e.Kind() == ast.LiteralKind {
			if n, ok := e.AsLiteral().(types.Int); ok {
				e.SetKindCase(factory.NewLiteral(e.ID(), types.Double(n)))
			}
		}
	}))
}

var (
	undeclared = regexp.MustCompile(`^undeclared reference to '([^']*)'`)
	undefined  = regexp.MustCompile(`^undefined field '([^']*)'`)
	noOverload = regexp.MustCompile(`^found no matching overload for '([^']*)' applied to '(.*)'$`)
)

// syntaxErrors are the parser's reasons and what they mean; %s is what stands there.
var syntaxErrors = []struct {
	form *regexp.Regexp
	text string
}{
	{regexp.MustCompile(`(?:input|at) '<EOF>'`), "it ends too early; complete it, or close the bracket or quote left open"},
	{regexp.MustCompile(`^Syntax error: (?:mismatched input|extraneous input|no viable alternative at input) '(.*?)'(?: expecting .*)?$`),
		"%s does not belong here; take it out, or write the operator that is missing: &&, ||, !, ==, !=, in"},
	{regexp.MustCompile(`^Syntax error: missing '(.*?)' at .*$`), "%s is missing; add it"},
	{regexp.MustCompile(`^Syntax error: token recognition error at: '['"]`), "a quote is not closed; close it"},
	{regexp.MustCompile(`^Syntax error: token recognition error at: '(.*?)\s*'$`), "%s is no sign of CEL; write && for and, || for or, == for equal, texts in quotes"},
}

// notExpression says a syntax error in the words of a rule's author.
func notExpression(message string) string {
	for _, e := range syntaxErrors {
		if m := e.form.FindStringSubmatch(message); len(m) > 1 {
			return fmt.Sprintf(e.text, m[1])
		} else if m != nil {
			return e.text
		}
	}
	return strings.TrimPrefix(message, "Syntax error: ") + "; write CEL, as in vehicle.engine.cylinders == 8 && !vehicle.road.on_road"
}

// reword says a type error in the words of a rule's author.
func (s source) reword(a *ast.AST, at int, id int64, message string, sc scope) (int, string) {
	if m := undefined.FindStringSubmatch(message); m != nil {
		detail := fmt.Sprintf("unknown field %q", m[1])
		if owner := ownerOf(a.Expr(), id, sc); owner != nil {
			detail += fmt.Sprintf(" of %s", owner.path) + suggest(m[1], owner.names())
		}
		if i := strings.Index(s.text[at:], m[1]); i >= 0 {
			at += i
		}
		return at, detail
	}
	if m := undeclared.FindStringSubmatch(message); m != nil {
		name, _, _ := strings.Cut(m[1], ".")
		if name == "each" {
			return at, "each is only known in a rule with for_each"
		}
		known := schema.names()
		for _, f := range functions {
			if !strings.ContainsAny(f.name, "_@") {
				known = append(known, f.name)
			}
		}
		return at, fmt.Sprintf("unknown name %q", name) + suggest(name, append(known, sizeFunction, "has", "exists", "all"))
	}
	if m := noOverload.FindStringSubmatch(message); m != nil {
		name := m[1]
		if shown, ok := operators.FindReverse(name); ok && shown != "" {
			name = shown
		} else {
			name = strings.Trim(name, "_@")
		}
		types := strings.NewReplacer("double", "number", "string", "text", ", ", " and ", typePrefix, "").Replace(strings.Trim(m[2], "()"))
		return at, fmt.Sprintf("%s does not work on %s", name, types)
	}
	return at, strings.ReplaceAll(message, typePrefix, "")
}

// ownerOf finds the object whose field the expression with this id selects.
func ownerOf(root ast.Expr, id int64, sc scope) (owner *field) {
	loops := map[string]*field{}
	if sc.each != nil {
		loops["each"] = sc.each.elem
	}
	var fieldOf func(e ast.Expr) *field
	fieldOf = func(e ast.Expr) *field {
		switch e.Kind() {
		case ast.IdentKind:
			if f := loops[e.AsIdent()]; f != nil {
				return f
			}
			return schema.fields[e.AsIdent()]
		case ast.SelectKind:
			if f := fieldOf(e.AsSelect().Operand()); f != nil {
				return f.fields[e.AsSelect().FieldName()]
			}
		}
		return nil
	}
	ast.PreOrderVisit(root, ast.NewExprVisitor(func(e ast.Expr) {
		if e.Kind() == ast.ComprehensionKind {
			if list := fieldOf(e.AsComprehension().IterRange()); list != nil && list.elem != nil {
				loops[e.AsComprehension().IterVar()] = list.elem
			}
		}
		if e.ID() == id && e.Kind() == ast.SelectKind {
			owner = fieldOf(e.AsSelect().Operand())
		}
	}))
	return owner
}

// name is an expression as a path, "" when it is not one.
func name(e ast.Expr) string {
	switch e.Kind() {
	case ast.IdentKind:
		return e.AsIdent()
	case ast.SelectKind:
		if operand := name(e.AsSelect().Operand()); operand != "" {
			return operand + "." + e.AsSelect().FieldName()
		}
	}
	return ""
}

// implied adds the optional facts that are surely known once the expression has
// come out as truth.
func implied(e ast.Expr, truth bool, known map[string]bool) map[string]bool {
	add := func(path string) {
		grown := map[string]bool{path: true}
		for k := range known {
			grown[k] = true
		}
		known = grown
	}
	switch e.Kind() {
	case ast.SelectKind:
		if s := e.AsSelect(); s.IsTestOnly() && truth {
			add(name(s.Operand()) + "." + s.FieldName())
		}
	case ast.CallKind:
		args := e.AsCall().Args()
		switch e.AsCall().FunctionName() {
		case operators.LogicalNot:
			return implied(args[0], !truth, known)
		case operators.LogicalAnd, operators.LogicalOr:
			if truth == (e.AsCall().FunctionName() == operators.LogicalAnd) {
				return implied(args[1], truth, implied(args[0], truth, known))
			}
		}
	}
	return known
}
