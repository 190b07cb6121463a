package outside

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"

	"onetrip/internal/pick"
)

// ErrInfeasible says that a problem has no solution.
var ErrInfeasible = errors.New("no selection")

// GLPK solves a problem with the glpsol at path, with files in dir, and returns the option of each group, -1 for none,
// and the packs of each item.
func GLPK(path, dir string, p *pick.Problem) (choice, buy []int32, err error) {
	m := Linear(p)
	in, out := filepath.Join(dir, "problem.lp"), filepath.Join(dir, "solution.txt")
	if err := os.WriteFile(in, []byte(m.LP()), 0o600); err != nil {
		return nil, nil, err
	}
	log, err := exec.Command(path, "--lp", in, "--tmlim", "20", "--write", out).CombinedOutput()
	if err != nil {
		return nil, nil, fmt.Errorf("glpsol: %w\n%s", err, log)
	}
	text, err := os.ReadFile(out)
	if err != nil {
		return nil, nil, fmt.Errorf("%w\n%s", err, log)
	}
	// GLPK 5 writes a line "s mip ROWS COLUMNS STATUS OBJECTIVE", then "j COLUMN VALUE" for each column, numbered
	// in the order in which the problem's text first names them.
	values := make([]int64, len(m.Vars))
	order := m.columnOrder()
	status := ""
	for line := range strings.Lines(string(text)) {
		f := strings.Fields(line)
		switch {
		case len(f) > 4 && f[0] == "s":
			status = f[4]
		case len(f) == 3 && f[0] == "j":
			col, _ := strconv.Atoi(f[1])
			value, err := strconv.ParseFloat(f[2], 64)
			if err != nil {
				return nil, nil, err
			}
			values[order[col-1]] = int64(value + 0.5)
		}
	}
	switch status {
	case "o":
	case "n":
		return nil, nil, ErrInfeasible
	default:
		if bytes.Contains(log, []byte("HAS NO PRIMAL FEASIBLE SOLUTION")) || bytes.Contains(log, []byte("HAS NO INTEGER FEASIBLE SOLUTION")) {
			return nil, nil, ErrInfeasible
		}
		return nil, nil, fmt.Errorf("glpsol: status %q\n%s", status, log)
	}
	choice, buy = m.Selection(values)
	return choice, buy, nil
}

// columnOrder lists the variables in the order in which the LP text first names them.
func (m *Program) columnOrder() (order []int) {
	seen := make([]bool, len(m.Vars))
	see := func(v int) {
		if !seen[v] {
			seen[v] = true
			order = append(order, v)
		}
	}
	for v, x := range m.Vars {
		if x.Cost != 0 {
			see(v)
		}
	}
	if len(order) == 0 {
		see(0) // stands in an empty objective
	}
	for _, r := range m.Rows {
		if len(r.Terms) == 0 {
			see(0)
		}
		for _, t := range r.Terms {
			see(t.Var)
		}
	}
	for v := range m.Vars {
		see(v)
	}
	return order
}
