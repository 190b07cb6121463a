package pick

import (
	"fmt"
	"math/big"
	"slices"
	"strings"
)

// A program is a problem as linear constraints over whole variables, from which both file formats are written.
// It is derived from the model's definition alone, not from the solver.
type program struct {
	p    *Problem
	vars []variable
	rows []row
	z    [][]int // variable of each option
	x    []int   // variable of each item
}

type variable struct {
	name string
	cost int64
	most int64 // 1 for a yes or no
}

type row struct {
	terms []term
	op    string // ">=" or "="
	right int64
}

type term struct {
	coef int64
	v    int
}

func linear(p *Problem) *program {
	m := &program{p: p}
	add := func(name string, cost, most int64) int {
		m.vars = append(m.vars, variable{name, cost, most})
		return len(m.vars) - 1
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
		var choose []term
		for _, z := range m.z[g] {
			choose = append(choose, term{1, z})
		}
		if len(grp.When) == 0 {
			m.rows = append(m.rows, row{choose, "=", 1})
			continue
		}
		a := add(fmt.Sprintf("a_%d", g), 0, 1)
		if len(choose) > 0 {
			m.rows = append(m.rows, row{append(choose, term{-1, a}), "=", 0})
		} else {
			m.rows = append(m.rows, row{[]term{{-1, a}}, ">=", 0})
		}
		any := []term{{-1, a}}
		seen := map[int]bool{}
		for _, ref := range grp.When {
			z := m.z[ref.Group][ref.Option]
			if seen[z] {
				continue
			}
			seen[z] = true
			any = append(any, term{1, z})
			m.rows = append(m.rows, row{[]term{{1, a}, {-1, z}}, ">=", 0})
		}
		m.rows = append(m.rows, row{any, ">=", 0})
	}
	for _, c := range p.Conflicts {
		a, b := m.z[c[0].Group][c[0].Option], m.z[c[1].Group][c[1].Option]
		if a == b {
			m.rows = append(m.rows, row{[]term{{-1, a}}, ">=", 0})
		} else {
			m.rows = append(m.rows, row{[]term{{-1, a}, {-1, b}}, ">=", -1})
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
			m.rows = append(m.rows, row{[]term{{most - int64(it.ChargeAbove), k}, {-1, x}}, ">=", -int64(it.ChargeAbove)})
		}
	}
	free := map[int32]int64{}
	for _, a := range p.Free {
		free[a.Resource] += int64(a.Units)
	}
	for r := range demanded {
		coef := make([]int64, len(m.vars))
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
		var ts []term
		for v, c := range coef {
			if c != 0 {
				ts = append(ts, term{c, v})
			}
		}
		if len(ts) > 0 {
			m.rows = append(m.rows, row{ts, ">=", -free[r]})
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
				ts := []term{{-1, m.z[g][o]}}
				for i, it := range p.Items {
					if slices.ContainsFunc(it.Supplies, func(s Amount) bool { return s.Resource == a.Resource && s.Units > 0 }) {
						ts = append(ts, term{1, m.x[i]})
					}
				}
				m.rows = append(m.rows, row{ts, ">=", 0})
			}
		}
	}
	return m
}

// lp writes CPLEX LP text, the form glpsol reads with --lp.
func (m *program) lp() string {
	var b strings.Builder
	line := func(ts []term) {
		if len(ts) == 0 {
			fmt.Fprintf(&b, " 0 %s", m.vars[0].name)
		}
		for n, t := range ts {
			if n%8 == 7 {
				b.WriteString("\n ")
			}
			fmt.Fprintf(&b, " %+d %s", t.coef, m.vars[t.v].name)
		}
	}
	b.WriteString("Minimize\n obj:")
	var costs []term
	for v, x := range m.vars {
		if x.cost != 0 {
			costs = append(costs, term{x.cost, v})
		}
	}
	line(costs)
	b.WriteString("\nSubject To\n")
	for n, r := range m.rows {
		fmt.Fprintf(&b, " r%d:", n)
		line(r.terms)
		fmt.Fprintf(&b, " %s %d\n", r.op, r.right)
	}
	b.WriteString("Bounds\n")
	for _, x := range m.vars {
		fmt.Fprintf(&b, " 0 <= %s <= %d\n", x.name, x.most)
	}
	b.WriteString("General\n")
	for _, x := range m.vars {
		fmt.Fprintf(&b, " %s\n", x.name)
	}
	b.WriteString("End\n")
	return b.String()
}

// boolean rewrites the program over yes-or-no variables 1..n: a number of packs becomes binary digits. Rows that
// hold by themselves are left out. digits lists the yes-or-no variables of each variable, lowest digit first.
func (m *program) boolean() (n int, costs []term, rows []row, digits [][]int) {
	digits = make([][]int, len(m.vars))
	all := m.rows
	for v, x := range m.vars {
		for d := int64(1); d <= x.most; d *= 2 {
			n++
			digits[v] = append(digits[v], n)
		}
		if x.most&(x.most+1) != 0 {
			all = append(all, row{[]term{{-1, v}}, ">=", -x.most})
		}
	}
	expand := func(ts []term) (out []term) {
		for _, t := range ts {
			for d, x := range digits[t.v] {
				out = append(out, term{t.coef << d, x})
			}
		}
		return out
	}
	for v, x := range m.vars {
		if x.cost != 0 {
			costs = append(costs, expand([]term{{x.cost, v}})...)
		}
	}
	n++ // stands in rows that cannot hold and may be empty, which the format does not have
	for _, r := range all {
		ts := expand(r.terms)
		least, most := int64(0), int64(0) // of the left side
		for _, t := range ts {
			least += min(0, t.coef)
			most += max(0, t.coef)
		}
		switch {
		case least >= r.right && r.op == ">=":
		case most < r.right:
			rows = append(rows, row{[]term{{1, n}}, ">=", 2})
		default:
			rows = append(rows, row{ts, r.op, r.right})
		}
	}
	return n, costs, rows, digits
}

// opb writes the pseudo-Boolean competition's format.
func (m *program) opb() string {
	n, costs, rows, _ := m.boolean()
	var b strings.Builder
	line := func(ts []term) {
		for _, t := range ts {
			fmt.Fprintf(&b, "%+d x%d ", t.coef, t.v)
		}
	}
	fmt.Fprintf(&b, "* #variable= %d #constraint= %d\nmin: ", n, len(rows))
	line(costs)
	b.WriteString(";\n")
	for _, r := range rows {
		line(r.terms)
		fmt.Fprintf(&b, "%s %d ;\n", r.op, r.right)
	}
	return b.String()
}

// cost reads a selection out of values of the variables, checks it, and returns what it costs.
func (m *program) cost(values []int64) (*big.Int, error) {
	choice, buy := make([]int32, len(m.z)), make([]int32, len(m.x))
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
	return verify(m.p, choice, buy)
}
