package pick

import (
	"fmt"
	"math/big"
	"slices"
)

// verify checks a solution against the problem from first principles and returns its cost, in big integers.
func verify(p *Problem, choice, buy []int32) (*big.Int, error) {
	cost := new(big.Int)
	have := map[int32]int64{}
	for _, a := range p.Free {
		have[a.Resource] += int64(a.Units)
	}
	for i, n := range buy {
		it := p.Items[i]
		if n < 0 || it.Max > 0 && n > it.Max {
			return nil, fmt.Errorf("item %d bought %d times, limit %d", i, n, it.Max)
		}
		cost.Add(cost, new(big.Int).Mul(big.NewInt(it.Unit), big.NewInt(int64(n))))
		if n > it.ChargeAbove {
			cost.Add(cost, big.NewInt(it.Charge))
		}
		for _, a := range it.Supplies {
			have[a.Resource] += int64(n) * int64(a.Units)
		}
	}
	for g, grp := range p.Groups {
		on := len(grp.When) == 0
		for _, ref := range grp.When {
			on = on || choice[ref.Group] == ref.Option
		}
		switch {
		case !on && choice[g] != -1:
			return nil, fmt.Errorf("group %d is inactive but has option %d", g, choice[g])
		case on && (choice[g] < 0 || int(choice[g]) >= len(grp.Options)):
			return nil, fmt.Errorf("group %d is active but has option %d", g, choice[g])
		case !on:
			continue
		}
		op := grp.Options[choice[g]]
		cost.Add(cost, big.NewInt(op.Penalty))
		for _, a := range op.Demands {
			have[a.Resource] -= int64(a.Units)
		}
	}
	for _, c := range p.Conflicts {
		if choice[c[0].Group] == c[0].Option && choice[c[1].Group] == c[1].Option {
			return nil, fmt.Errorf("conflict %v: both chosen", c)
		}
	}
	for r, n := range have {
		if n < 0 {
			return nil, fmt.Errorf("resource %d lacks %d units", r, -n)
		}
	}
	return cost, nil
}

// brute enumerates every choice and every purchase. It knows nothing of the solver's ideas; groups must refer
// back only.
type brute struct {
	p      *Problem
	choice []int32
	buy    []int32
	bySKU  []int
	found  bool
	cost   int64
	best   struct{ choice, buy []int32 }
	steps  int
}

func enumerate(p *Problem) *brute {
	b := &brute{p: p, choice: make([]int32, len(p.Groups)), buy: make([]int32, len(p.Items))}
	for i := range p.Items {
		b.bySKU = append(b.bySKU, i)
	}
	slices.SortFunc(b.bySKU, func(x, y int) int {
		if p.Items[x].SKU < p.Items[y].SKU {
			return -1
		}
		return 1
	})
	b.group(0)
	return b
}

func (b *brute) group(g int) {
	if g == len(b.p.Groups) {
		b.item(0)
		return
	}
	on := len(b.p.Groups[g].When) == 0
	for _, ref := range b.p.Groups[g].When {
		on = on || b.choice[ref.Group] == ref.Option
	}
	if !on {
		b.choice[g] = -1
		b.group(g + 1)
		return
	}
	for o := range b.p.Groups[g].Options {
		b.choice[g] = int32(o)
		b.group(g + 1)
	}
}

// lacks returns units missing per resource under the current choice and purchase.
func (b *brute) lacks() map[int32]int64 {
	m := map[int32]int64{}
	for g, o := range b.choice {
		if o >= 0 {
			for _, a := range b.p.Groups[g].Options[o].Demands {
				m[a.Resource] += int64(a.Units)
			}
		}
	}
	for _, a := range b.p.Free {
		m[a.Resource] -= int64(a.Units)
	}
	for i, n := range b.buy {
		for _, a := range b.p.Items[i].Supplies {
			m[a.Resource] -= int64(n) * int64(a.Units)
		}
	}
	return m
}

func (b *brute) item(i int) {
	b.steps++
	if i < len(b.p.Items) {
		// More packs than would meet the whole of some lack are never irredundant.
		b.buy[i] = 0
		most := int64(0)
		lacks := b.lacks()
		for _, a := range b.p.Items[i].Supplies {
			if a.Units > 0 && lacks[a.Resource] > 0 {
				most = max(most, lacks[a.Resource])
			}
		}
		if m := int64(b.p.Items[i].Max); m > 0 {
			most = min(most, m)
		}
		for n := int64(0); n <= most; n++ {
			b.buy[i] = int32(n)
			b.item(i + 1)
		}
		b.buy[i] = 0
		return
	}
	big, err := verify(b.p, b.choice, b.buy)
	if err != nil {
		return
	}
	cost := big.Int64()
	if b.found && cost > b.cost {
		return
	}
	if b.found && cost == b.cost && !b.before() {
		return
	}
	for i := range b.buy { // a pack that could be left out is never bought
		if b.buy[i] > 0 {
			b.buy[i]--
			_, err := verify(b.p, b.choice, b.buy)
			b.buy[i]++
			if err == nil {
				return
			}
		}
	}
	b.found, b.cost = true, cost
	b.best.choice, b.best.buy = slices.Clone(b.choice), slices.Clone(b.buy)
}

// before compares in the documented order: lists of (SKU, packs), the end after every SKU; then choices.
func (b *brute) before() bool {
	list := func(buy []int32) (l []lot) {
		for rank, i := range b.bySKU {
			if buy[i] > 0 {
				l = append(l, lot{int32(rank), int64(buy[i])})
			}
		}
		return append(l, lot{item: int32(len(b.bySKU))})
	}
	c := slices.CompareFunc(list(b.buy), list(b.best.buy), func(x, y lot) int {
		if x.item != y.item {
			return int(x.item - y.item)
		}
		return int(x.packs - y.packs)
	})
	return c < 0 || c == 0 && slices.Compare(b.choice, b.best.choice) < 0
}
