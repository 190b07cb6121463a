//go:build !race

package pick_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/crillab/gophersat/solver"

	"onetrip/internal/pick"
	"onetrip/internal/pick/outside"
)

// structures are the sizes and price structures that selection is measured on. Proportional prices are the hard
// ones for branch and bound.
var structures = []struct {
	name                         string
	needs, candidates, conflicts int
	proportional                 bool
	instances                    int
}{
	{"independent/14x130", 14, 130, 20, false, 200},
	{"proportional/14x130", 14, 130, 20, true, 200},
	{"independent/40x2000", 40, 2000, 100, false, 20},
	{"proportional/40x2000", 40, 2000, 100, true, 20},
}

func instances(needs, candidates, conflicts int, proportional bool, n int) []*pick.Problem {
	ps := make([]*pick.Problem, n)
	for k := range ps {
		ps[k] = cover(rand.New(rand.NewPCG(uint64(k), 1)), needs, candidates, conflicts, proportional)
	}
	return ps
}

// report adds the median and the maximum over instances to a benchmark.
func report(b *testing.B, times []time.Duration) {
	slices.Sort(times)
	b.ReportMetric(float64(times[len(times)/2].Nanoseconds())/1e3, "median-µs")
	b.ReportMetric(float64(times[len(times)-1].Nanoseconds())/1e3, "max-µs")
}

// BenchmarkSolve reports, over the instances, the median and maximum of each instance's best of five runs in a
// row: the machine's other load hardly shows in it.
func BenchmarkSolve(b *testing.B) {
	for _, s := range structures {
		b.Run(s.name, func(b *testing.B) {
			ps := instances(s.needs, s.candidates, s.conflicts, s.proportional, s.instances)
			times := make([]time.Duration, len(ps))
			nodes, solves := int64(0), int64(0)
			b.ReportAllocs()
			for b.Loop() {
				for k, p := range ps {
					times[k] = time.Hour
					for range 5 {
						start := time.Now()
						sol, err := pick.Solve(context.Background(), p, pick.Limits{})
						times[k] = min(times[k], time.Since(start))
						if err != nil {
							b.Fatal(err)
						}
						nodes += sol.Nodes
						solves++
					}
				}
			}
			report(b, times)
			b.ReportMetric(float64(nodes)/float64(solves), "nodes/solve")
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/1e3/float64(solves), "mean-µs")
		})
	}
}

// BenchmarkSolveKit solves a kit of 25 needs of 1 to 20 parts, three bundles and two exclusive pairs: the size and
// shape of everyday questions.
func BenchmarkSolveKit(b *testing.B) {
	r := rand.New(rand.NewPCG(8, 8))
	p := &pick.Problem{}
	for g := range 25 {
		grp := pick.Group{Name: fmt.Sprint("need ", g)}
		for o := range 1 + r.IntN(20) {
			part := int32(len(p.Items))
			p.Items = append(p.Items, pick.Item{SKU: fmt.Sprintf("P%04d", part), Unit: 100 + r.Int64N(5000), Supplies: []pick.Amount{{part, 1}}})
			grp.Options = append(grp.Options, pick.Option{Name: fmt.Sprint("part ", o), Demands: []pick.Amount{{part, 1}}})
		}
		p.Groups = append(p.Groups, grp)
	}
	parts := int32(len(p.Items))
	for n := range 3 {
		a, c := r.Int32N(parts), r.Int32N(parts)
		p.Items = append(p.Items, pick.Item{SKU: fmt.Sprintf("B%04d", n), Unit: (p.Items[a].Unit + p.Items[c].Unit) * 8 / 10, Supplies: []pick.Amount{{a, 1}, {c, 1}}})
	}
	for range 2 {
		a, c := r.Int32N(25), r.Int32N(25)
		p.Conflicts = append(p.Conflicts, [2]pick.OptionRef{{a, 0}, {c, int32(len(p.Groups[c].Options) - 1)}})
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := pick.Solve(context.Background(), p, pick.Limits{}); err != nil {
			b.Fatal(err)
		}
	}
}

// compact is the customary covering program of a problem made by cover, the smallest that outside solvers can be
// given: buy or not per candidate, one row per need, one per excluded pair.
func compact(p *pick.Problem) *outside.Program {
	m := &outside.Program{}
	for i, it := range p.Items {
		m.Vars = append(m.Vars, outside.Variable{Name: fmt.Sprintf("x_%d", i), Cost: it.Unit, Most: 1})
	}
	of := func(r pick.OptionRef) int { return int(p.Groups[r.Group].Options[r.Option].Demands[0].Resource) }
	for g, grp := range p.Groups {
		var ts []outside.Term
		for o := range grp.Options {
			ts = append(ts, outside.Term{Coef: 1, Var: of(pick.OptionRef{int32(g), int32(o)})})
		}
		m.Rows = append(m.Rows, outside.Row{Terms: ts, Op: ">=", Right: 1})
	}
	seen := map[[2]int]bool{}
	for _, c := range p.Conflicts {
		pair := [2]int{of(c[0]), of(c[1])}
		if !seen[pair] {
			seen[pair] = true
			m.Rows = append(m.Rows, outside.Row{Terms: []outside.Term{{Coef: -1, Var: pair[0]}, {Coef: -1, Var: pair[1]}}, Op: ">=", Right: -1})
		}
	}
	return m
}

// BenchmarkOutside times the outside solvers on the same instances, in their customary program, and checks that
// the optimum is the same. glpsol's time is that of the process less the time of one that solves nothing;
// gophersat's is taken inside its process. clasp is left out: at its defaults it stalls on proportional prices.
//
//	go test ./internal/pick -run xxx -bench 'Solve|Outside' -benchtime 1x
func BenchmarkOutside(b *testing.B) {
	for index, s := range structures {
		n := min(s.instances, 40)
		if s.needs > 14 {
			n = 6
		}
		ps := instances(s.needs, s.candidates, s.conflicts, s.proportional, n)
		want := make([]int64, len(ps))
		for k, p := range ps {
			var err error
			if want[k], err = optimum(p); err != nil {
				b.Fatal(err)
			}
		}
		b.Run("glpsol/"+s.name, func(b *testing.B) {
			path := installed(b, "glpsol")
			if path == "" {
				b.Fatal("glpsol is not installed: apt-get install glpk-utils")
			}
			dir := b.TempDir()
			run := func(name, text string) time.Duration {
				in := filepath.Join(dir, name)
				if err := os.WriteFile(in, []byte(text), 0o600); err != nil {
					b.Fatal(err)
				}
				best := time.Hour
				for range 3 {
					start := time.Now()
					if out, err := exec.Command(path, "--lp", in, "--write", in+".out").CombinedOutput(); err != nil {
						b.Fatalf("%v\n%s", err, out)
					}
					best = min(best, time.Since(start))
				}
				return best
			}
			nothing := run("nothing.lp", "Minimize\n obj: x\nSubject To\n r: x >= 1\nEnd\n")
			for b.Loop() {
				times := make([]time.Duration, len(ps))
				for k, p := range ps {
					times[k] = max(0, run("problem.lp", compact(p).LP())-nothing)
					if got := written(b, filepath.Join(dir, "problem.lp.out")); got != want[k] {
						b.Errorf("instance %d: glpsol %d, optimum %d", k, got, want[k])
					}
				}
				report(b, times)
			}
			b.ReportMetric(float64(nothing.Microseconds()), "start-µs")
		})
		if s.needs > 14 {
			continue // gophersat does not finish these in reasonable time
		}
		asked := len(ps)
		if s.proportional {
			asked = 5 // it runs into its time limit on nearly all of them
		}
		b.Run("gophersat/"+s.name, func(b *testing.B) {
			for b.Loop() {
				var times []time.Duration
				for k := range ps[:asked] {
					took, got, done := gophersatApart(b, index, k)
					if !done {
						continue
					}
					if got != want[k] {
						b.Errorf("instance %d: gophersat %d, optimum %d", k, got, want[k])
					}
					times = append(times, took)
				}
				if len(times) > 0 {
					report(b, times)
				}
				b.ReportMetric(float64(len(times))/float64(asked), "share-finished")
			}
		})
	}
}

// gophersatTime is how long gophersat gets for an instance.
const gophersatTime = 2 * time.Second

// gophersatApart runs gophersat on an instance in a process of its own, since it cannot be stopped otherwise. The
// time is taken inside that process, from the first constraint to the optimum.
func gophersatApart(b *testing.B, structure, instance int) (took time.Duration, cost int64, done bool) {
	ctx, cancel := context.WithTimeout(context.Background(), gophersatTime)
	defer cancel()
	cmd := exec.CommandContext(ctx, os.Args[0])
	cmd.Env = append(os.Environ(), fmt.Sprintf("ONETRIP_GOPHERSAT=%d %d", structure, instance))
	out, err := cmd.Output()
	if ctx.Err() != nil {
		return 0, 0, false
	}
	if err != nil {
		b.Fatal(err)
	}
	if _, err := fmt.Sscan(string(out), (*int64)(&took), &cost); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	return took, cost, true
}

// TestMain is the other side of gophersatApart.
func TestMain(m *testing.M) {
	var structure, instance int
	if _, err := fmt.Sscan(os.Getenv("ONETRIP_GOPHERSAT"), &structure, &instance); err != nil {
		os.Exit(m.Run())
	}
	s := structures[structure]
	p := instances(s.needs, s.candidates, s.conflicts, s.proportional, instance+1)[instance]
	_, costs, rows, _ := compact(p).Boolean()
	start := time.Now()
	cost := solver.New(forGophersat(costs, rows)).Minimize()
	fmt.Println(time.Since(start).Nanoseconds(), cost)
}

// written reads the objective out of a solution that glpsol wrote.
func written(b *testing.B, path string) int64 {
	text, err := os.ReadFile(path)
	if err != nil {
		b.Fatal(err)
	}
	var rows, cols int
	var status string
	var value float64
	for line := range strings.Lines(string(text)) {
		if n, _ := fmt.Sscanf(line, "s mip %d %d %s %g", &rows, &cols, &status, &value); n == 4 && status == "o" {
			return int64(value + 0.5)
		}
	}
	b.Fatalf("no optimum in %s", path)
	return 0
}
