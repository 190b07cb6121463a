// Package pick chooses parts: one option for every need, and the packs to buy so that supply meets demand at
// the least cost, with a proof.
//
// It knows nothing of carburetors. A Problem is groups of options that demand units of resources, and items that
// supply them; Solve returns the optimum and computes the bound that proves it, Explain says why nothing fits.
//
// How it works, in the order of the files: presolve.go removes what cannot matter and splits the rest into
// independent components; few.go tries all combinations of those that have few; core.go holds one component and its
// propagation; bound.go computes Lagrangean lower bounds in integers; search.go branches; explain.go reduces an
// infeasible problem to a minimal reason.
package pick

import (
	"context"
	"errors"
	"fmt"
	"sync"
)

// A Problem asks for exactly one Option in every active Group and for Items bought so that, for each resource,
// what is bought plus what is free covers the summed demands of all chosen options, at least total cost.
type Problem struct {
	Items     []Item
	Groups    []Group
	Conflicts [][2]OptionRef // pairs of options that cannot both be chosen
	Free      []Amount       // units already owned (in the box, on hand): they cost nothing
}

// An Amount is a number of units of one resource. Resources are dense ids from 0; memory is proportional to the
// largest. Units are not negative.
type Amount struct {
	Resource int32
	Units    int32
}

// An Item can be bought in packs.
type Item struct {
	SKU         string   // unique; decides between solutions of equal cost
	Unit        int64    // cost of each pack, not negative
	Charge      int64    // cost added once when more than ChargeAbove packs are bought, not negative
	ChargeAbove int32    // 0: Charge is due as soon as the item is bought at all
	Supplies    []Amount // per pack; a bundle supplies several resources
	Max         int32    // most packs that can be bought; 0 is no limit
}

// A Group is a need: exactly one of its options is chosen while it is active.
type Group struct {
	Name    string
	Options []Option
	When    []OptionRef // empty: always active; else active if and only if one of these is chosen
}

// An Option is one way to meet a Group.
type Option struct {
	Name    string
	Penalty int64 // cost of choosing it, not negative
	Demands []Amount
}

// An OptionRef names an option by the index of its group and its index within the group.
type OptionRef struct{ Group, Option int32 }

// Limits stop a search early. The context's end is another limit: what is found without a search is found all the same.
type Limits struct {
	MaxNodes int64 // 0: no limit
}

// A Solution is the best selection found.
//
// Of the selections with the same cost it is the one whose list of (SKU, packs), sorted by SKU, is
// lexicographically smallest (the end of a list sorts after every SKU), and of those the one with the smallest
// option indexes. Packs that could be left out are never bought, even at no cost.
type Solution struct {
	Cost       int64
	Choice     []int32 // option index per group, -1 where the group is inactive
	Buy        []int32 // packs per item
	Optimal    bool    // proven: no selection costs less
	LowerBound int64   // proven: no selection costs less than this; equals Cost when Optimal
	Nodes      int64   // selections tried one by one, and nodes of the search tree that were bounded; 0 when presolve settled everything
}

// ErrLimit says that the limit or the end of the context came before any selection was found.
var ErrLimit = errors.New("pick: no selection found within the limit: raise MaxNodes or the deadline")

// Solve returns the least-cost selection. The error is ErrInfeasible when there is none, ErrLimit when a
// limit came first, and otherwise names what is wrong with the problem. It keeps no reference to p and may be
// called concurrently.
func Solve(ctx context.Context, p *Problem, l Limits) (Solution, error) {
	w := works.Get().(*work)
	defer works.Put(w)
	return w.solve(ctx, p, l, false)
}

var works = sync.Pool{New: func() any { return new(work) }}

// ErrInfeasible says that there is no selection.
var ErrInfeasible = errors.New("pick: nothing fits")

// maxResource bounds the memory a mistaken id can ask for.
const maxResource = 1 << 24

// maxTotal bounds the sum of everything that could be paid, so that no sum in the search overflows.
const maxTotal = 1 << 61

// check refuses malformed problems and returns the number of resources.
func (p *Problem) check() (int, error) {
	top := int32(-1)
	bad := ""
	amounts := func(as []Amount) bool {
		for _, a := range as {
			if a.Resource < 0 || a.Resource >= maxResource {
				bad = fmt.Sprintf("resource %d is outside 0..%d: number resources densely from 0", a.Resource, maxResource-1)
				return false
			}
			if a.Units < 0 {
				bad = fmt.Sprintf("%d units of resource %d: give a number of units that is not negative", a.Units, a.Resource)
				return false
			}
			top = max(top, a.Resource)
		}
		return true
	}
	for i := range p.Items {
		it := &p.Items[i]
		if !amounts(it.Supplies) {
			return 0, fmt.Errorf("pick: item %d (%s): %s", i, it.SKU, bad)
		}
		if it.Unit < 0 || it.Charge < 0 || it.ChargeAbove < 0 || it.Max < 0 {
			return 0, fmt.Errorf("pick: item %d (%s): Unit, Charge, ChargeAbove and Max must not be negative", i, it.SKU)
		}
	}
	for g := range p.Groups {
		for o := range p.Groups[g].Options {
			op := &p.Groups[g].Options[o]
			if !amounts(op.Demands) {
				return 0, fmt.Errorf("pick: group %d (%s) option %d (%s): %s", g, p.Groups[g].Name, o, op.Name, bad)
			}
			if op.Penalty < 0 {
				return 0, fmt.Errorf("pick: group %d (%s) option %d (%s): Penalty must not be negative", g, p.Groups[g].Name, o, op.Name)
			}
		}
		for _, ref := range p.Groups[g].When {
			if !p.has(ref) {
				return 0, fmt.Errorf("pick: group %d (%s): When names option %d of group %d, which does not exist", g, p.Groups[g].Name, ref.Option, ref.Group)
			}
		}
	}
	for i, c := range p.Conflicts {
		for _, ref := range c {
			if !p.has(ref) {
				return 0, fmt.Errorf("pick: conflict %d names option %d of group %d, which does not exist", i, ref.Option, ref.Group)
			}
		}
	}
	if !amounts(p.Free) {
		return 0, fmt.Errorf("pick: Free: %s", bad)
	}
	return int(top) + 1, nil
}

func (p *Problem) has(r OptionRef) bool {
	return r.Group >= 0 && int(r.Group) < len(p.Groups) && r.Option >= 0 && int(r.Option) < len(p.Groups[r.Group].Options)
}

// packCost is the cost of buying n packs of an item.
func (it *Item) packCost(n int64) int64 {
	c := it.Unit * n
	if n > int64(it.ChargeAbove) {
		c += it.Charge
	}
	return c
}

// less orders pack counts of one SKU for the tie-break: few before many, none last.
func less(a, b int64) bool {
	return b != a && (b == 0 || (a != 0 && a < b))
}

// ceilDiv rounds up; b is positive.
func ceilDiv(a, b int64) int64 {
	switch {
	case a <= 0:
		return 0
	case a <= b: // the common case, without a division
		return 1
	}
	return (a-1)/b + 1
}
