package rules

import (
	"errors"
	"fmt"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/cost"
)

// What rules may cost, so that none can hold up the service. A rule has nothing that
// runs without end: exists, all and for_each walk lists, which nest. An expression that
// could cost more than maxCost is refused when the rule is read; an evaluation of all
// rules that takes more than maxSteps ends in an error that names the rule, however long
// the lists really are. The figures are our own: a step takes some 5 ns, all demo rules
// together a few hundred steps.
const (
	maxCost  = 10_000_000 // CEL's units of the worst case: two lists inside one another, not three
	maxSteps = 2_000_000  // parts of expressions evaluated inside loops

	longestList = 200 // of any list fact; the contract's longest, on_hand
	longestText = 200
)

var errTooCostly = errors.New("takes too many steps: exists, all or for_each walk lists inside of one another; walk fewer")

// compile is the compiler's, and refuses an expression whose worst case is too costly.
func (p *parser) compile(src source, want class, sc scope) *expr {
	e := p.compiler.compile(src, want, sc)
	if e != nil && e.cost > maxCost {
		src.fail(0, fmt.Sprintf("may cost %d steps, the most is %d: lists can have %d elements each; nest exists and all less deep", e.cost, maxCost, longestList))
		return nil
	}
	return e
}

// worstCase is what CEL estimates an expression to cost at most.
func worstCase(checked *cel.Ast) (uint64, error) {
	estimate, err := base.EstimateCost(checked, sizes{})
	return estimate.Max, err
}

// sizes tells CEL how long facts can be.
type sizes struct{}

func (sizes) EstimateSize(element cost.AstNode) *cost.SizeEstimate {
	if len(element.Path()) == 0 {
		return nil
	}
	most := uint64(longestText)
	if element.Type().Kind() == cel.ListKind {
		most = longestList
	}
	return &cost.SizeEstimate{Min: 0, Max: most}
}

func (sizes) EstimateCallCost(string, string, *cost.AstNode, []cost.AstNode) *cost.CallEstimate {
	return nil
}

// nodes counts the parts of an expression, those inside its loops apart.
func nodes(e ast.Expr) (n int) {
	ast.PreOrderVisit(e, ast.NewExprVisitor(func(ast.Expr) { n++ }))
	return n
}

// spend counts steps inside loops and reports whether some are left.
func (fr *frame) spend(n int) bool {
	fr.steps += n
	return fr.steps <= maxSteps
}

// overspent turns steps without end into the error that no && or || overrules.
func (fr *frame) overspent() {
	if fr.steps > maxSteps {
		fr.err = errTooCostly
	}
}
