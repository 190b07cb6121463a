package kit

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

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
// When not all of Resolved was yielded, or selections were forgotten for want of memory,
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
	Conflict       Cause = "conflict"        // each part that fits conflicts with others that the kit takes
	NoPort         Cause = "no_port"         // the carburetor has no vacuum port left; no part helps
	NotMeasured    Cause = "not_measured"    // a figure of the vehicle that decides on the part is not known; no part helps
	ShortOfStock   Cause = "out_of_stock"    // SKUs are on sale but not in stock
	Discontinued   Cause = "discontinued"    // SKUs are required by other parts, or too few at hand, and discontinued; nothing replaces them
)

// Gap is a need that the kit leaves open, with all that a part would have to be.
type Gap struct {
	Need     string
	Severity Severity
	Kind     catalog.Kind
	Cause    Cause
	Tests    []rules.Test // that hold together, sorted
	From, To catalog.End  // the part's own ends, of NoJoint; zero for clamps
	SKUs     []string     // of ShortOfStock and Discontinued
}

// Wanted is the same text for gaps that the same part would close, with limits rounded as in
// the reason of a kit: "fuel filter that withstands at least 14 psi".
func (g *Gap) Wanted() string {
	text := strings.ReplaceAll(string(g.Kind), "_", " ")
	if g.From.Family != "" {
		text += " from " + g.From.Words() + " to " + g.To.Words()
	}
	if len(g.Tests) > 0 {
		text += " that " + says(g.Tests)
	}
	return text
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
	err = eachRow(ctx, classes, q.Workers, func(ctx context.Context, class *Class) ([]*Summary, error) {
		kits := make([]*Summary, len(q.Carburetors))
		for i, c := range q.Carburetors {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			j := *template
			j.vehicle, j.carburetor = class.Vehicles[0], c
			var err error
			if kits[i], err = j.summarize(ctx, shared); err != nil {
				return nil, fmt.Errorf("vehicle %s with carburetor %s: %w", j.vehicle.ID, c.SKU, err)
			}
		}
		return kits, nil
	}, func(class *Class, kits []*Summary) error {
		for i, summary := range kits {
			if err := yield(class, q.Carburetors[i], summary); err != nil {
				return err
			}
			stats.Resolved++
			stats.Pairs += len(class.Vehicles)
		}
		if q.Progress != nil {
			q.Progress(stats.Pairs, len(q.Vehicles)*len(q.Carburetors))
		}
		return nil
	})
	stats.Solved = shared.solved
	return stats, err
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
	for i := range choice.gaps {
		g := &choice.gaps[i]
		out.Gaps = append(out.Gaps, j.statedGap(g))
		k.Needs = append(k.Needs, Need{ID: g.Need, Level: g.level})
		k.Missing = append(k.Missing, Missing{Need: g.Need})
	}
	j.stackGap = choice.stackGap
	j.dropSealant(choice.sel) // as the job did that chose
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
