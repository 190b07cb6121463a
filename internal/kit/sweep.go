package kit

import (
	"cmp"
	"context"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"

	"onetrip/internal/catalog"
	"onetrip/internal/rules"
	"onetrip/internal/units"
)

// Basis is what a sweep counts as there to be bought.
type Basis string

// Bases.
const (
	// OnSale: whatever the catalogue sells counts as in stock, at any location.
	OnSale Basis = "catalogue"
	// InStock: what the preferred location has (all locations together without one).
	// Parts in stock are preferred to cheaper ones that are not, so that a kit is
	// incomplete for want of stock only when no choice of parts can help it.
	InStock Basis = "stock"
)

// SweepQuery asks for the kits of every vehicle with every carburetor.
type SweepQuery struct {
	Vehicles    []*catalog.Vehicle    // valid ones; nil: those of the catalogue
	Carburetors []*catalog.Carburetor // of the catalogue; nil: all
	Basis       Basis                 // "" is OnSale
	// Preferences as of a request. An empty objective is price, or on the basis of
	// stock stock.
	Preferences Preferences
	Workers     int // 0: one for each core that Go may use
	// Progress is told after each class of vehicles how many of all pairs of vehicle
	// and carburetor are done. It is called by the goroutine that called Sweep.
	Progress func(done, total int)
}

// SweepStats says how much a sweep did and how much it was spared. Pairs over Resolved
// is the sharing factor of the vehicle classes, Resolved over Solved that of selections.
// When not all of Resolved was yielded, or selections were forgotten for want of room,
// Solved depends on how fast the workers were.
type SweepStats struct {
	Vehicles    int
	Classes     int
	Carburetors int
	Pairs       int // of vehicle and carburetor, answered
	Resolved    int // of class and carburetor
	Solved      int // selections; the other pairs resolved shared one
}

// Summary is what reports over many kits need of one. It is immutable.
type Summary struct {
	Verdict  Verdict
	Needs    []NeedSummary // by id
	Lines    []LineSummary // by SKU
	Gaps     []Gap         // most serious first
	Warnings []string      // ids of the checks that warn or fail
	Total    units.Money   // of all lines
}

// NeedSummary is a need and the rules that raised it.
type NeedSummary struct {
	ID       string
	Level    Level
	Status   Status
	Quantity float64
	Rules    []string
}

// LineSummary is one SKU to buy, so many packs for the amount in minor units.
type LineSummary struct {
	SKU         string
	Packs       int
	AmountMinor int64
}

// Cause is why a need is not met.
type Cause string

// Causes.
const (
	NothingMatches Cause = "nothing_matches" // no part on sale passes Tests
	NoJoint        Cause = "no_joint"        // no part on sale that passes Tests has the ends From and To
	NoPath         Cause = "no_path"         // no row of parts leads from line to inlet
	NoStack        Cause = "no_stack"        // parts match, but do not stack up between manifold and hood
	NoPort         Cause = "no_port"         // the carburetor has no vacuum port left; no part helps
	ShortOfStock   Cause = "out_of_stock"    // SKUs are on sale but not in stock
)

// Gap is a need that the kit leaves open, with all that a part would have to be.
type Gap struct {
	Need     string
	Severity Severity
	Kind     catalog.Kind
	Cause    Cause
	Tests    []rules.Test // that hold together, sorted
	From, To catalog.End  // the part's own ends, of NoJoint; zero for clamps
	SKUs     []string     // of ShortOfStock
}

// Wanted is the same text for gaps that the same part would close: "fuel_filter,
// max_pressure_psi at least 14".
func (g *Gap) Wanted() string {
	var b strings.Builder
	b.WriteString(string(g.Kind))
	if g.From.Family != "" {
		fmt.Fprintf(&b, " from %s to %s", g.From, g.To)
	}
	for i := range g.Tests {
		fmt.Fprintf(&b, ", %s %s", g.Tests[i].Attr, g.Tests[i].Wanted())
	}
	return b.String()
}

// Sweep works out the kits of all vehicles with all carburetors, without alternatives,
// on all cores, and hands each to yield: in the order of Classes, within a class carburetors
// as given. Calls come one at a time from the goroutine that called Sweep,
// and are the same however many workers there are; only some classes are held at once.
// The sweep ends early with the error of ctx, of yield, or of the first pair that
// cannot be worked out; statistics are then of what was yielded.
func Sweep(ctx context.Context, s *Snapshot, q SweepQuery, yield func(*Class, *catalog.Carburetor, *Summary) error) (stats SweepStats, err error) {
	if q.Vehicles == nil {
		q.Vehicles = s.Catalog.Vehicles()
	}
	if q.Carburetors == nil {
		q.Carburetors = s.Catalog.Carburetors()
	}
	if q.Basis != InStock {
		next := *s
		next.Catalog = s.Catalog.WithPlenty()
		s = &next
	} else if q.Preferences.Objective == "" {
		q.Preferences.Objective = ByStock
	}
	template := &job{s: s, request: &Request{Preferences: q.Preferences}}
	bad, err := template.prefer(q.Preferences)
	if err != nil {
		return stats, err
	}
	if len(bad) > 0 {
		return stats, &catalog.InvalidError{What: "request", Violations: bad}
	}
	classes, shared := Classes(s.Rules, q.Vehicles), newSharing(s)
	stats = SweepStats{Vehicles: len(q.Vehicles), Classes: len(classes), Carburetors: len(q.Carburetors)}
	workers := q.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}

	ctx, cancel := context.WithCancel(ctx)
	var running sync.WaitGroup
	defer func() {
		cancel()
		running.Wait()
		stats.Solved = shared.solved
	}()
	// Rows wait twice: for a worker, and in their order to be yielded. The second queue
	// bounds how far workers run ahead.
	todo, ordered := make(chan *row), make(chan *row, 2*workers)
	running.Go(func() {
		defer close(todo)
		defer close(ordered)
		for _, class := range classes {
			r := &row{class: class, done: make(chan struct{})}
			for _, queue := range []chan *row{ordered, todo} {
				select {
				case queue <- r:
				case <-ctx.Done():
					return
				}
			}
		}
	})
	for range workers {
		running.Go(func() {
			for r := range todo {
				r.work(ctx, template, q.Carburetors, shared)
				close(r.done)
			}
		})
	}
	for r := range ordered {
		select {
		case <-r.done:
		case <-ctx.Done():
			return stats, ctx.Err()
		}
		if err := cmp.Or(ctx.Err(), r.err); err != nil {
			return stats, err
		}
		for i, summary := range r.kits {
			if err := yield(r.class, q.Carburetors[i], summary); err != nil {
				return stats, err
			}
			stats.Resolved++
			stats.Pairs += len(r.class.Vehicles)
		}
		if q.Progress != nil {
			q.Progress(stats.Pairs, len(q.Vehicles)*len(q.Carburetors))
		}
	}
	return stats, ctx.Err()
}

// A row is one class of vehicles with every carburetor.
type row struct {
	class *Class
	kits  []*Summary
	err   error
	done  chan struct{}
}

func (r *row) work(ctx context.Context, template *job, carburetors []*catalog.Carburetor, shared *sharing) {
	r.kits = make([]*Summary, len(carburetors))
	for i, c := range carburetors {
		if r.err = ctx.Err(); r.err != nil {
			return
		}
		j := *template
		j.vehicle, j.carburetor = r.class.Vehicles[0], c
		if r.kits[i], r.err = j.summarize(ctx, shared); r.err != nil {
			r.err = fmt.Errorf("vehicle %s with carburetor %s: %w", j.vehicle.ID, c.SKU, r.err)
			return
		}
	}
}

// summarize is Resolve without alternatives and texts.
func (j *job) summarize(ctx context.Context, shared *sharing) (*Summary, error) {
	j.enter()
	defer j.release()
	if err := j.demand(); err != nil {
		return nil, err
	}
	choice, err := shared.settle(ctx, j)
	if err != nil {
		return nil, err
	}
	out := &Summary{Needs: choice.needs, Lines: choice.lines, Total: choice.total}
	k := &Kit{}
	for _, n := range out.Needs {
		k.Needs = append(k.Needs, Need{ID: n.ID, Level: n.Level})
	}
	for i := range choice.gaps {
		g := &choice.gaps[i]
		out.Gaps = append(out.Gaps, j.statedGap(g))
		k.Missing = append(k.Missing, Missing{Need: g.Need})
	}
	j.stackGap = choice.stackGap
	k.Checks = j.checks(choice.sel)
	for _, c := range k.Checks {
		if c.Outcome == Warn || c.Outcome == Fail {
			out.Warnings = append(out.Warnings, c.ID)
		}
	}
	out.Verdict, _ = j.verdict(k)
	return out, nil
}

// statedGap is a gap with the tests of this job.
func (j *job) statedGap(g *settledGap) Gap {
	out := g.Gap
	if g.demand < 0 || g.demand >= len(j.demands) {
		return out
	}
	out.Tests = slices.Clone(out.Tests)
	for _, m := range j.demands[g.demand].matches {
		out.Tests = append(out.Tests, m.Tests...)
	}
	slices.SortFunc(out.Tests, compareTests)
	out.Tests = slices.CompactFunc(out.Tests, func(a, b rules.Test) bool { return compareTests(a, b) == 0 })
	return out
}

func compareTests(a, b rules.Test) int {
	return cmp.Or(cmp.Compare(a.Attr, b.Attr), cmp.Compare(a.Op, b.Op), cmp.Compare(a.Wanted(), b.Wanted()))
}
