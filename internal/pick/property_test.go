package pick_test

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/deadline"
	"onetrip/internal/pick"
	"onetrip/internal/pick/outside"
)

// drawn draws one of the generated problems by seed, so that rapid can shrink towards smaller seeds only; the
// problems are small enough to read.
func drawn(t *rapid.T) (*pick.Problem, *rand.Rand) {
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 20))
	switch rapid.IntRange(0, 3).Draw(t, "kind") {
	case 0:
		return smallCover(r), r
	case 1:
		return retail(r, false), r
	case 2:
		return retail(r, true), r
	}
	return small(r), r
}

// cost solves a problem and checks the answer; ok is false when it is infeasible.
func cost(t *rapid.T, p *pick.Problem) (sol pick.Solution, ok bool) {
	sol, err := pick.Solve(context.Background(), p, pick.Limits{})
	if errors.Is(err, pick.ErrInfeasible) {
		return sol, false
	}
	if err != nil {
		t.Fatal(err)
	}
	c, err := outside.Verify(p, sol.Choice, sol.Buy)
	if err != nil {
		t.Fatalf("%+v: %v", sol, err)
	}
	if c.Int64() != sol.Cost || !sol.Optimal || sol.LowerBound != sol.Cost {
		t.Fatalf("%+v: costs %v", sol, c)
	}
	return sol, true
}

func TestMoreToChooseFromNeverCostsMore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, r := drawn(t)
		before, ok := cost(t, p)
		nr := int32(0)
		for _, it := range p.Items {
			for _, a := range it.Supplies {
				nr = max(nr, a.Resource+1)
			}
		}
		if r.IntN(2) == 0 {
			p.Items = append(slices.Clone(p.Items), pick.Item{SKU: "A-new", Unit: r.Int64N(2000), Supplies: []pick.Amount{{r.Int32N(nr), 1 + r.Int32N(3)}, {r.Int32N(nr), 1}}})
		} else {
			g := r.IntN(len(p.Groups))
			grp := &p.Groups[g]
			grp.Options = append(slices.Clone(grp.Options), pick.Option{Penalty: r.Int64N(500), Demands: []pick.Amount{{r.Int32N(nr), 1}}})
		}
		after, okAfter := cost(t, p)
		if ok && (!okAfter || after.Cost > before.Cost) {
			t.Fatalf("cost rose from %d to %d (feasible: %v)", before.Cost, after.Cost, okAfter)
		}
	})
}

func TestOrderOfInputDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, r := drawn(t)
		items, groups := r.Perm(len(p.Items)), r.Perm(len(p.Groups))
		options := make([][]int, len(p.Groups)) // new place of each option
		groupAt := make([]int, len(p.Groups))
		for at, g := range groups {
			groupAt[g] = at
			options[g] = r.Perm(len(p.Groups[g].Options))
		}
		move := func(ref pick.OptionRef) pick.OptionRef {
			return pick.OptionRef{int32(groupAt[ref.Group]), int32(options[ref.Group][ref.Option])}
		}
		q := &pick.Problem{Free: slices.Clone(p.Free)}
		slices.Reverse(q.Free)
		for _, i := range items {
			it := p.Items[i]
			it.Supplies = slices.Clone(it.Supplies)
			slices.Reverse(it.Supplies)
			q.Items = append(q.Items, it)
		}
		for _, g := range groups {
			grp := pick.Group{Options: make([]pick.Option, len(p.Groups[g].Options))}
			for o, op := range p.Groups[g].Options {
				grp.Options[options[g][o]] = op
			}
			for _, ref := range p.Groups[g].When {
				grp.When = append(grp.When, move(ref))
			}
			q.Groups = append(q.Groups, grp)
		}
		for _, c := range p.Conflicts {
			q.Conflicts = append(q.Conflicts, [2]pick.OptionRef{move(c[1]), move(c[0])})
		}
		one, ok := cost(t, p)
		two, okTwo := cost(t, q)
		if ok != okTwo {
			t.Fatalf("feasible %v, permuted %v", ok, okTwo)
		}
		if !ok {
			return
		}
		for at, i := range items {
			if one.Buy[i] != two.Buy[at] {
				t.Fatalf("%s: bought %d, permuted %d", p.Items[i].SKU, one.Buy[i], two.Buy[at])
			}
		}
	})
}

func TestLimitsStopEarlyWithAValidBound(t *testing.T) {
	limited, late := 0, 0
	for n := uint64(0); n < 40; n++ {
		p := cover(rand.New(rand.NewPCG(n, 1)), 20, 300, 60, true)
		full, err := pick.Solve(context.Background(), p, pick.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		stopped := func(ctx context.Context, l pick.Limits) bool {
			sol, err := pick.Solve(ctx, p, l)
			if errors.Is(err, pick.ErrLimit) {
				return false
			}
			if err != nil {
				t.Fatal(err)
			}
			if l.MaxNodes > 0 && sol.Nodes > l.MaxNodes || sol.Nodes > full.Nodes || sol.LowerBound > full.Cost || sol.Cost < full.Cost || sol.Optimal != (sol.LowerBound == sol.Cost) {
				t.Fatalf("%+v: %+v, optimum %+v", l, sol, full)
			}
			if c, err := outside.Verify(p, sol.Choice, sol.Buy); err != nil || c.Int64() != sol.Cost {
				t.Fatalf("%+v: %+v: costs %v, %v", l, sol, c, err)
			}
			return !sol.Optimal
		}
		for _, limit := range []int64{1, 3, 10} {
			if stopped(context.Background(), pick.Limits{MaxNodes: limit}) {
				limited++
			}
		}
		for looks := range 3 {
			if stopped(deadline.After(context.Background(), looks), pick.Limits{}) {
				late++
			}
		}
	}
	if limited < 20 || late < 20 {
		t.Errorf("only %d searches were stopped by nodes and %d by the deadline", limited, late)
	}
}

// Seven that are all at odds and six places: only a search finds that nothing fits.
func TestTheEndOfTheContextIsTold(t *testing.T) {
	p := &pick.Problem{Groups: make([]pick.Group, 7)}
	for g := range p.Groups {
		p.Groups[g] = pick.Group{Name: fmt.Sprint(g), Options: make([]pick.Option, 6)}
		for h := range g {
			for o := range int32(6) {
				p.Conflicts = append(p.Conflicts, [2]pick.OptionRef{{Group: int32(h), Option: o}, {Group: int32(g), Option: o}})
			}
		}
	}
	gone, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := pick.Solve(gone, p, pick.Limits{}); !errors.Is(err, pick.ErrLimit) {
		t.Errorf("gone: %v", err)
	}
	if _, err := pick.Solve(context.Background(), p, pick.Limits{}); !errors.Is(err, pick.ErrInfeasible) {
		t.Errorf("with time: %v", err)
	}
	simple := &pick.Problem{Groups: []pick.Group{{Name: "nothing"}}}
	if _, err := pick.Solve(gone, simple, pick.Limits{}); !errors.Is(err, pick.ErrInfeasible) {
		t.Errorf("what takes no search: %v", err)
	}
	if _, err := pick.Explain(gone, simple, nil, pick.Limits{}); !errors.Is(err, context.Canceled) {
		t.Errorf("without time to find the reason: %v", err)
	}
}

func TestMalformedProblemsAreRefused(t *testing.T) {
	one := []pick.Amount{{0, 1}}
	group := func(when ...pick.OptionRef) pick.Group {
		return pick.Group{Name: "g", Options: []pick.Option{{Demands: one}}, When: when}
	}
	item := pick.Item{SKU: "A", Unit: 5, Supplies: one}
	for name, p := range map[string]*pick.Problem{
		"negative cost":      {Items: []pick.Item{{SKU: "A", Unit: -1, Supplies: one}}, Groups: []pick.Group{group()}},
		"negative limit":     {Items: []pick.Item{{SKU: "A", Max: -1, Supplies: one}}, Groups: []pick.Group{group()}},
		"negative penalty":   {Groups: []pick.Group{{Options: []pick.Option{{Penalty: -1}}}}},
		"negative units":     {Groups: []pick.Group{{Options: []pick.Option{{Demands: []pick.Amount{{0, -1}}}}}}},
		"negative resource":  {Free: []pick.Amount{{-1, 1}}},
		"huge resource":      {Free: []pick.Amount{{1 << 30, 1}}},
		"unknown option":     {Items: []pick.Item{item}, Groups: []pick.Group{group()}, Conflicts: [][2]pick.OptionRef{{{0, 0}, {0, 7}}}},
		"unknown group":      {Items: []pick.Item{item}, Groups: []pick.Group{group(pick.OptionRef{3, 0})}},
		"active by itself":   {Items: []pick.Item{item}, Groups: []pick.Group{group(pick.OptionRef{0, 0})}},
		"cycle":              {Items: []pick.Item{item}, Groups: []pick.Group{group(pick.OptionRef{1, 0}), group(pick.OptionRef{0, 0})}},
		"costs that overrun": {Items: []pick.Item{{SKU: "A", Unit: 1 << 61, Supplies: one}}, Groups: []pick.Group{group(), group()}},
	} {
		if _, err := pick.Solve(context.Background(), p, pick.Limits{}); err == nil {
			t.Errorf("%s: accepted", name)
		} else if errors.Is(err, pick.ErrInfeasible) || errors.Is(err, pick.ErrLimit) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestLargeCostsAreExact(t *testing.T) {
	// A difference of one minor unit below weights of 1e13 decides.
	r := rand.New(rand.NewPCG(5, 5))
	for n := 0; n < 300; n++ {
		p := smallCover(r)
		for i := range p.Items {
			p.Items[i].Charge = 1e13 * (1 + r.Int64N(3))
			p.Items[i].Unit = 1e9 + r.Int64N(3)
		}
		if err := agree(p); err != nil {
			t.Fatalf("problem %d: %v", n, err)
		}
	}
}

// decode reads a small problem out of bytes, two small numbers from each.
func decode(data []byte) *pick.Problem {
	at := 0
	next := func(n int) int {
		if at/2 >= len(data) || n <= 0 {
			return 0
		}
		b := int(data[at/2])
		if at%2 == 1 {
			b >>= 4
		}
		at++
		return b & 15 % n
	}
	p := &pick.Problem{}
	amounts := func(most int) (as []pick.Amount) {
		for k := next(most + 1); k > 0; k-- {
			as = append(as, pick.Amount{int32(next(4)), int32(next(4))})
		}
		return as
	}
	for i, n := 0, next(5); i < n; i++ {
		p.Items = append(p.Items, pick.Item{SKU: fmt.Sprint("S", next(10), i), Unit: int64(next(6)), Charge: int64(next(4)), ChargeAbove: int32(next(3)), Max: int32(next(4)), Supplies: amounts(3)})
	}
	ref := func(groups int) (pick.OptionRef, bool) {
		g := next(groups)
		if groups == 0 || len(p.Groups[g].Options) == 0 {
			return pick.OptionRef{}, false
		}
		return pick.OptionRef{int32(g), int32(next(len(p.Groups[g].Options)))}, true
	}
	for g, n := 0, next(5); g < n; g++ {
		grp := pick.Group{Name: fmt.Sprint("g", g)}
		for k := next(3); k > 0; k-- {
			if w, ok := ref(g); ok {
				grp.When = append(grp.When, w)
			}
		}
		for k := next(4); k > 0; k-- {
			grp.Options = append(grp.Options, pick.Option{Penalty: int64(next(6)), Demands: amounts(2)})
		}
		p.Groups = append(p.Groups, grp)
	}
	for k := next(4); k > 0; k-- {
		a, ok := ref(len(p.Groups))
		b, ok2 := ref(len(p.Groups))
		if ok && ok2 {
			p.Conflicts = append(p.Conflicts, [2]pick.OptionRef{a, b})
		}
	}
	p.Free = amounts(3)
	return p
}

func FuzzSolveAgreesWithEnumeration(f *testing.F) {
	r := rand.New(rand.NewPCG(6, 6))
	for n := 0; n < 200; n++ {
		seed := make([]byte, 10+r.IntN(60))
		for k := 0; k+8 <= len(seed); k += 8 {
			binary.LittleEndian.PutUint64(seed[k:], r.Uint64())
		}
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 80 {
			data = data[:80]
		}
		if err := agree(decode(data)); err != nil {
			t.Fatalf("%v\n%+v", err, decode(data))
		}
	})
}
