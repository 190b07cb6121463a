//go:build !race

package pick_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/crillab/gophersat/solver"

	"onetrip/internal/golden"
	"onetrip/internal/pick"
	"onetrip/internal/pick/outside"
)

// The outside solvers are glpsol (GLPK, Debian package glpk-utils), clasp (Debian package clasp) and gophersat (Go
// module github.com/crillab/gophersat). testdata/optima.csv holds glpsol's optima of the problems below, recorded
// by
//
//	go test ./internal/pick -run TestOptimaEqualGLPK -update
//
// so that a machine without glpsol checks against them too. With ONETRIP_REQUIRE_GLPSOL=1 a missing glpsol or
// clasp fails the test.
var update = golden.Update

const infeasible = -1 // in place of an optimum

// recordedProblems is the list of problems with recorded optima, by name.
func recordedProblems() (names []string, problems map[string]*pick.Problem) {
	problems = map[string]*pick.Problem{}
	add := func(name string, p *pick.Problem) {
		names = append(names, name)
		problems[name] = p
	}
	for n := uint64(0); n < 160; n++ {
		add(fmt.Sprintf("retail-independent-%d", n), retail(rand.New(rand.NewPCG(n, 11)), false))
		add(fmt.Sprintf("retail-proportional-%d", n), retail(rand.New(rand.NewPCG(n, 12)), true))
	}
	for n := uint64(0); n < 60; n++ {
		add(fmt.Sprintf("cover-independent-%d", n), cover(rand.New(rand.NewPCG(n, 1)), 14, 130, 20, false))
		add(fmt.Sprintf("cover-proportional-%d", n), cover(rand.New(rand.NewPCG(n, 1)), 14, 130, 20, true))
		add(fmt.Sprintf("small-%d", n), small(rand.New(rand.NewPCG(n, 13))))
		add(fmt.Sprintf("small-cover-%d", n), smallCover(rand.New(rand.NewPCG(n, 14))))
	}
	return names, problems
}

func optimum(p *pick.Problem) (int64, error) {
	sol, err := pick.Solve(context.Background(), p, pick.Limits{})
	if errors.Is(err, pick.ErrInfeasible) {
		return infeasible, nil
	}
	if err != nil {
		return 0, err
	}
	cost, err := outside.Verify(p, sol.Choice, sol.Buy)
	if err != nil {
		return 0, err
	}
	if !sol.Optimal || sol.LowerBound != sol.Cost || cost.Int64() != sol.Cost {
		return 0, fmt.Errorf("%+v: unproven, or its cost is %v", sol, cost)
	}
	return sol.Cost, nil
}

// installed finds an outside program.
func installed(t testing.TB, name string) string {
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("ONETRIP_REQUIRE_GLPSOL") == "1" {
			t.Fatalf("%s is not installed: apt-get install glpk-utils clasp", name)
		}
		return ""
	}
	return path
}

// glpk solves a problem with glpsol.
func glpk(path, dir string, p *pick.Problem) (int64, error) {
	choice, buy, err := outside.GLPK(path, dir, p)
	if errors.Is(err, outside.ErrInfeasible) {
		return infeasible, nil
	}
	if err != nil {
		return 0, err
	}
	cost, err := outside.Verify(p, choice, buy)
	if err != nil {
		return 0, fmt.Errorf("glpsol's selection: %w", err)
	}
	return cost.Int64(), nil
}

// claspOptimum solves a problem with clasp, within a time.
func claspOptimum(path, dir string, p *pick.Problem, limit time.Duration) (cost int64, done bool, err error) {
	in := filepath.Join(dir, "problem.opb")
	if err := os.WriteFile(in, []byte(outside.Linear(p).OPB()), 0o600); err != nil {
		return 0, false, err
	}
	// clasp's exit status says what it found (10 + 20 for an optimum), so only its output is read.
	out, _ := exec.Command(path, "--quiet=1,1", "--time-limit="+strconv.Itoa(int(limit.Seconds())), in).Output()
	scan := bufio.NewScanner(bytes.NewReader(out))
	scan.Buffer(nil, 1<<22)
	for scan.Scan() {
		switch f := strings.Fields(scan.Text()); {
		case len(f) == 2 && f[0] == "o":
			cost, err = strconv.ParseInt(f[1], 10, 64)
		case scan.Text() == "s OPTIMUM FOUND":
			done = true
		case scan.Text() == "s UNSATISFIABLE":
			return infeasible, true, nil
		}
	}
	return cost, done, err
}

// gophersat solves a problem with gophersat, within a time. Its selection is checked, since
// its simplification of constraints over forced variables can lose one.
func gophersat(p *pick.Problem, limit time.Duration) (cost int64, done bool) {
	m := outside.Linear(p)
	_, costs, rows, digits := m.Boolean()
	pb := forGophersat(costs, rows)
	if pb.Status == solver.Unsat {
		return infeasible, true
	}
	s := solver.New(pb)
	found := make(chan int, 1)
	go func() { found <- s.Minimize() }()
	select {
	case c := <-found:
		if c < 0 {
			return infeasible, true
		}
		model := s.Model()
		values := make([]int64, len(m.Vars))
		for v, ds := range digits {
			for d, x := range ds {
				if x <= len(model) && model[x-1] {
					values[v] += 1 << d
				}
			}
		}
		choice, buy := m.Selection(values)
		if checked, err := outside.Verify(p, choice, buy); err != nil || checked.Int64() != int64(c) {
			return 0, false
		}
		return int64(c), true
	case <-time.After(limit):
		return 0, false // its goroutine ends with the test: Minimize cannot be stopped
	}
}

// forGophersat hands the rows of the OPB text over directly: gophersat 1.4.0's own OPB
// reader loses constraints that force a single variable.
func forGophersat(costs []outside.Term, rows []outside.Row) *solver.Problem {
	var constrs []solver.PBConstr
	for _, r := range rows {
		var lits, weights []int
		for _, t := range r.Terms {
			lits, weights = append(lits, t.Var), append(weights, int(t.Coef))
		}
		if r.Op == "=" {
			constrs = append(constrs, solver.Eq(lits, weights, int(r.Right))...)
		} else {
			constrs = append(constrs, solver.GtEq(lits, weights, int(r.Right)))
		}
	}
	pb := solver.ParsePBConstrs(constrs)
	var lits []solver.Lit
	var weights []int
	for _, t := range costs {
		if t.Var <= pb.NbVars { // others are in no constraint and cost nothing
			lits, weights = append(lits, solver.IntToLit(int32(t.Var))), append(weights, int(t.Coef))
		}
	}
	pb.SetCostFunc(lits, weights)
	return pb
}

func TestOptimaEqualGLPK(t *testing.T) {
	names, problems := recordedProblems()
	recorded := map[string]int64{}
	if text, err := os.ReadFile("testdata/optima.csv"); err == nil {
		rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range rows[1:] {
			if recorded[r[0]], err = strconv.ParseInt(r[1], 10, 64); err != nil {
				t.Fatal(err)
			}
		}
	}
	path := installed(t, "glpsol")
	if *update && path == "" {
		t.Fatal("-update needs glpsol: apt-get install glpk-utils")
	}
	if testing.Short() && !*update {
		path = "" // what glpsol found is recorded
	}
	fresh := make([]int64, len(names))
	if path != "" {
		var wg sync.WaitGroup
		next := make(chan int)
		for range 2 {
			wg.Add(1)
			dir := t.TempDir()
			go func() {
				defer wg.Done()
				for n := range next {
					var err error
					if fresh[n], err = glpk(path, dir, problems[names[n]]); err != nil {
						t.Errorf("%s: %v", names[n], err)
					}
				}
			}()
		}
		for n := range names {
			next <- n
		}
		close(next)
		wg.Wait()
	}
	if *update {
		var b bytes.Buffer
		b.WriteString("problem,glpsol_optimum\n")
		for n, name := range names {
			fmt.Fprintf(&b, "%s,%d\n", name, fresh[n])
		}
		if err := os.WriteFile("testdata/optima.csv", b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	feasible := 0
	for n, name := range names {
		got, err := optimum(problems[name])
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		want, ok := recorded[name]
		if !ok || got != want {
			t.Errorf("%s: optimum %d, recorded from glpsol %d (found %v)", name, got, want, ok)
		}
		if path != "" && got != fresh[n] {
			t.Errorf("%s: optimum %d, glpsol %d", name, got, fresh[n])
		}
		if got != infeasible {
			feasible++
		}
	}
	if len(names) < 500 || feasible < 400 {
		t.Errorf("%d problems, %d of them feasible: too few to prove anything", len(names), feasible)
	}
}

func TestOptimaEqualPseudoBooleanSolvers(t *testing.T) {
	names, problems := recordedProblems()
	clasp := installed(t, "clasp")
	dir := t.TempDir()
	byGophersat, byClasp := 0, 0
	for n, name := range names {
		p := problems[name]
		small := strings.HasPrefix(name, "small")
		if n%12 != 0 && !(small && n%3 == 0) {
			continue
		}
		want, err := optimum(p)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if small || strings.HasPrefix(name, "cover-independent") {
			if got, done := gophersat(p, 3*time.Second); done {
				byGophersat++
				if got != want {
					t.Errorf("%s: optimum %d, gophersat %d", name, want, got)
				}
			}
		}
		if clasp != "" {
			got, done, err := claspOptimum(clasp, dir, p, 3*time.Second)
			if err != nil {
				t.Errorf("%s: %v", name, err)
			}
			if done {
				byClasp++
				if got != want {
					t.Errorf("%s: optimum %d, clasp %d", name, want, got)
				}
			}
		}
	}
	t.Logf("same optimum: gophersat on %d, clasp on %d problems", byGophersat, byClasp)
	if byGophersat < 30 || clasp != "" && byClasp < 30 {
		t.Errorf("gophersat finished %d, clasp %d problems: too few to prove anything", byGophersat, byClasp)
	}
}
