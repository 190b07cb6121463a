// Package outside helps tests to have selection problems solved by programs that are not ours: it writes problems in
// the formats of linear and pseudo-Boolean optimisation and runs glpsol (GLPK, Debian package glpk-utils).
package outside

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"onetrip/internal/pick"
)

// A Program is a problem as linear constraints over whole variables, from which both file formats are written.
// It is derived from the model's definition alone, not from the solver.
type Program struct {
	Vars []Variable
	Rows []Row

	z [][]int // variable of each option
	x []int   // variable of each item
}

// Variable is a whole number from 0 to Most, paid for at Cost each.
type Variable struct {
	Name string
	Cost int64
	Most int64 // 1 for a yes or no
}

// Row is a constraint: the sum of Terms stands in the relation Op to Right.
type Row struct {
	Terms []Term
	Op    string // ">=" or "="
	Right int64
}

// Term is Coef times the variable with index Var.
type Term struct {
	Coef int64
	Var  int
}

// Linear states a problem as a program.
func Linear(p *pick.Problem) *Program {
	m := &Program{}
	add := func(name string, cost, most int64) int {
		m.Vars = append(m.Vars, Variable{name, cost, most})
		return len(m.Vars) - 1
	}
	demanded := map[int32]int64{}
	for g, grp := range p.Groups {
		var zs []int
		for o, op := range grp.Options {
			zs = append(zs, add(fmt.Sprintf("z_%d_%d", g, o), op.Penalty, 1))
			for _, a := range op.Demands {
				demanded[a.Resource] += int64(a.Units)
			}
		}
		m.z = append(m.z, zs)
	}
	for g, grp := range p.Groups {
		var choose []Term
		for _, z := range m.z[g] {
			choose = append(choose, Term{1, z})
		}
		if len(grp.When) == 0 {
			m.Rows = append(m.Rows, Row{choose, "=", 1})
			continue
		}
		a := add(fmt.Sprintf("a_%d", g), 0, 1)
		if len(choose) > 0 {
			m.Rows = append(m.Rows, Row{append(choose, Term{-1, a}), "=", 0})
		} else {
			m.Rows = append(m.Rows, Row{[]Term{{-1, a}}, ">=", 0})
		}
		any := []Term{{-1, a}}
		seen := map[int]bool{}
		for _, ref := range grp.When {
			z := m.z[ref.Group][ref.Option]
			if seen[z] {
				continue
			}
			seen[z] = true
			any = append(any, Term{1, z})
			m.Rows = append(m.Rows, Row{[]Term{{1, a}, {-1, z}}, ">=", 0})
		}
		m.Rows = append(m.Rows, Row{any, ">=", 0})
	}
	for _, c := range p.Conflicts {
		a, b := m.z[c[0].Group][c[0].Option], m.z[c[1].Group][c[1].Option]
		if a == b {
			m.Rows = append(m.Rows, Row{[]Term{{-1, a}}, ">=", 0})
		} else {
			m.Rows = append(m.Rows, Row{[]Term{{-1, a}, {-1, b}}, ">=", -1})
		}
	}
	for i, it := range p.Items {
		// No more packs than would meet all demands of the problem at once.
		most := int64(0)
		for _, a := range it.Supplies {
			if a.Units > 0 {
				most = max(most, (demanded[a.Resource]+int64(a.Units)-1)/int64(a.Units))
			}
		}
		if it.Max > 0 {
			most = min(most, int64(it.Max))
		}
		x := add(fmt.Sprintf("x_%d", i), it.Unit, most)
		m.x = append(m.x, x)
		if it.Charge > 0 && most > int64(it.ChargeAbove) {
			k := add(fmt.Sprintf("c_%d", i), it.Charge, 1)
			m.Rows = append(m.Rows, Row{[]Term{{most - int64(it.ChargeAbove), k}, {-1, x}}, ">=", -int64(it.ChargeAbove)})
		}
	}
	free := map[int32]int64{}
	for _, a := range p.Free {
		free[a.Resource] += int64(a.Units)
	}
	for _, r := range slices.Sorted(maps.Keys(demanded)) {
		coef := make([]int64, len(m.Vars))
		for g, grp := range p.Groups {
			for o, op := range grp.Options {
				for _, a := range op.Demands {
					if a.Resource == r {
						coef[m.z[g][o]] -= int64(a.Units)
					}
				}
			}
		}
		for i, it := range p.Items {
			for _, a := range it.Supplies {
				if a.Resource == r {
					coef[m.x[i]] += int64(a.Units)
				}
			}
		}
		var ts []Term
		for v, c := range coef {
			if c != 0 {
				ts = append(ts, Term{c, v})
			}
		}
		if len(ts) > 0 {
			m.Rows = append(m.Rows, Row{ts, ">=", -free[r]})
		}
	}
	// Implied, but the outside solvers are lost without it: an option that asks for more of a resource than is free
	// takes at least one pack of something that supplies it.
	for g, grp := range p.Groups {
		for o, op := range grp.Options {
			for _, a := range op.Demands {
				if int64(a.Units) <= free[a.Resource] {
					continue
				}
				ts := []Term{{-1, m.z[g][o]}}
				for i, it := range p.Items {
					if slices.ContainsFunc(it.Supplies, func(s pick.Amount) bool { return s.Resource == a.Resource && s.Units > 0 }) {
						ts = append(ts, Term{1, m.x[i]})
					}
				}
				m.Rows = append(m.Rows, Row{ts, ">=", 0})
			}
		}
	}
	return m
}

// LP writes CPLEX LP text, the form glpsol reads with --lp.
func (m *Program) LP() string {
	var b strings.Builder
	line := func(ts []Term) {
		if len(ts) == 0 {
			fmt.Fprintf(&b, " 0 %s", m.Vars[0].Name)
		}
		for n, t := range ts {
			if n%8 == 7 {
				b.WriteString("\n ")
			}
			fmt.Fprintf(&b, " %+d %s", t.Coef, m.Vars[t.Var].Name)
		}
	}
	b.WriteString("Minimize\n obj:")
	var costs []Term
	for v, x := range m.Vars {
		if x.Cost != 0 {
			costs = append(costs, Term{x.Cost, v})
		}
	}
	line(costs)
	b.WriteString("\nSubject To\n")
	for n, r := range m.Rows {
		fmt.Fprintf(&b, " r%d:", n)
		line(r.Terms)
		fmt.Fprintf(&b, " %s %d\n", r.Op, r.Right)
	}
	b.WriteString("Bounds\n")
	for _, x := range m.Vars {
		fmt.Fprintf(&b, " 0 <= %s <= %d\n", x.Name, x.Most)
	}
	b.WriteString("General\n")
	for _, x := range m.Vars {
		fmt.Fprintf(&b, " %s\n", x.Name)
	}
	b.WriteString("End\n")
	return b.String()
}

// Boolean rewrites the program over yes-or-no variables 1..n: a number of packs becomes binary digits. Rows that
// hold by themselves are left out. digits lists the yes-or-no variables of each variable, lowest digit first.
func (m *Program) Boolean() (n int, costs []Term, rows []Row, digits [][]int) {
	digits = make([][]int, len(m.Vars))
	all := m.Rows
	for v, x := range m.Vars {
		for d := int64(1); d <= x.Most; d *= 2 {
			n++
			digits[v] = append(digits[v], n)
		}
		if x.Most&(x.Most+1) != 0 {
			all = append(all, Row{[]Term{{-1, v}}, ">=", -x.Most})
		}
	}
	expand := func(ts []Term) (out []Term) {
		for _, t := range ts {
			for d, x := range digits[t.Var] {
				out = append(out, Term{t.Coef << d, x})
			}
		}
		return out
	}
	for v, x := range m.Vars {
		if x.Cost != 0 {
			costs = append(costs, expand([]Term{{x.Cost, v}})...)
		}
	}
	n++ // stands in rows that cannot hold and may be empty, which the format does not have
	for _, r := range all {
		ts := expand(r.Terms)
		least, most := int64(0), int64(0) // of the left side
		for _, t := range ts {
			least += min(0, t.Coef)
			most += max(0, t.Coef)
		}
		switch {
		case least >= r.Right && r.Op == ">=":
		case most < r.Right:
			rows = append(rows, Row{[]Term{{1, n}}, ">=", 2})
		default:
			rows = append(rows, Row{ts, r.Op, r.Right})
		}
	}
	return n, costs, rows, digits
}

// OPB writes the pseudo-Boolean competition's format.
func (m *Program) OPB() string {
	n, costs, rows, _ := m.Boolean()
	var b strings.Builder
	line := func(ts []Term) {
		for _, t := range ts {
			fmt.Fprintf(&b, "%+d x%d ", t.Coef, t.Var)
		}
	}
	fmt.Fprintf(&b, "* #variable= %d #constraint= %d\nmin: ", n, len(rows))
	line(costs)
	b.WriteString(";\n")
	for _, r := range rows {
		line(r.Terms)
		fmt.Fprintf(&b, "%s %d ;\n", r.Op, r.Right)
	}
	return b.String()
}

// Selection reads options and packs out of values of the variables.
func (m *Program) Selection(values []int64) (choice, buy []int32) {
	choice, buy = make([]int32, len(m.z)), make([]int32, len(m.x))
	for g, zs := range m.z {
		choice[g] = -1
		for o, z := range zs {
			if values[z] != 0 {
				choice[g] = int32(o)
			}
		}
	}
	for i, x := range m.x {
		buy[i] = int32(values[x])
	}
	return choice, buy
}
