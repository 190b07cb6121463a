package pick_test

import (
	"slices"

	"onetrip/internal/pick"
	"onetrip/internal/pick/outside"
)

// brute enumerates every choice and every purchase. It knows nothing of the solver's ideas; groups must refer
// back only.
type brute struct {
	p      *pick.Problem
	choice []int32
	buy    []int32
	bySKU  []int
	found  bool
	cost   int64
	best   struct{ choice, buy []int32 }
	steps  int
}

func enumerate(p *pick.Problem) *brute {
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
	big, err := outside.Verify(b.p, b.choice, b.buy)
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
			_, err := outside.Verify(b.p, b.choice, b.buy)
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
	type lot struct{ item, packs int32 }
	list := func(buy []int32) (l []lot) {
		for rank, i := range b.bySKU {
			if buy[i] > 0 {
				l = append(l, lot{int32(rank), buy[i]})
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
