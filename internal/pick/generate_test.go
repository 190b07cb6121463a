package pick_test

import (
	"fmt"
	"math/rand/v2"

	"onetrip/internal/pick"
)

// small draws a problem small enough to enumerate, with every feature of the model and many ties.
func small(r *rand.Rand) *pick.Problem {
	p := &pick.Problem{}
	nr := 1 + r.IntN(5)
	prices := []int64{1, 2, 3, 5, 100}[r.IntN(5)]
	price := func() int64 {
		if r.IntN(12) == 0 {
			return 0
		}
		return 1 + r.Int64N(prices*4)
	}
	units := func() int32 {
		if r.IntN(3) > 0 {
			return 1
		}
		return 1 + r.Int32N(3)
	}
	amounts := func(most int) (as []pick.Amount) {
		for n := r.IntN(most + 1); n > 0; n-- {
			as = append(as, pick.Amount{r.Int32N(int32(nr)), units()})
		}
		return as
	}
	for i, n := 0, 1+r.IntN(5); i < n; i++ {
		it := pick.Item{SKU: fmt.Sprintf("S%02d", (i*7+3)%20), Unit: price(), Supplies: append(amounts(2), pick.Amount{r.Int32N(int32(nr)), units()})}
		if r.IntN(4) == 0 {
			it.Charge, it.ChargeAbove = price(), r.Int32N(3)
		}
		if r.IntN(4) == 0 {
			it.Max = 1 + r.Int32N(2)
		}
		if r.IntN(3) == 0 { // larger packs
			for k := range it.Supplies {
				it.Supplies[k].Units *= 3
			}
		}
		p.Items = append(p.Items, it)
	}
	ref := func(groups int) pick.OptionRef {
		g := r.IntN(groups)
		return pick.OptionRef{int32(g), r.Int32N(int32(len(p.Groups[g].Options)))}
	}
	for g, n := 0, 1+r.IntN(4); g < n; g++ {
		grp := pick.Group{Name: fmt.Sprint("g", g)}
		for o, m := 0, 1+r.IntN(3); o < m; o++ {
			op := pick.Option{Name: fmt.Sprint("o", o), Demands: amounts(2)}
			if r.IntN(2) == 0 {
				op.Penalty = price()
			}
			grp.Options = append(grp.Options, op)
		}
		if g > 0 && r.IntN(3) == 0 {
			for k := 1 + r.IntN(2); k > 0; k-- {
				grp.When = append(grp.When, ref(g))
			}
		}
		p.Groups = append(p.Groups, grp)
	}
	for k := r.IntN(4); k > 0; k-- {
		p.Conflicts = append(p.Conflicts, [2]pick.OptionRef{ref(len(p.Groups)), ref(len(p.Groups))})
	}
	if r.IntN(3) == 0 {
		p.Free = amounts(3)
	}
	return p
}

// smallCover draws a covering problem with so few prices that ties abound.
func smallCover(r *rand.Rand) *pick.Problem {
	p := cover(r, 2+r.IntN(3), 4+r.IntN(3), r.IntN(4), true)
	for i := range p.Items {
		p.Items[i].Unit = 1 + r.Int64N(4)
		if r.IntN(30) == 0 {
			p.Items[i].Unit = 0
		}
		if r.IntN(10) == 0 {
			p.Items[i].Supplies[0].Units = 1
		}
		if r.IntN(10) == 0 {
			p.Items[i].Charge = 1 + r.Int64N(3)
		}
		if r.IntN(10) == 0 { // a bundle of two candidates, or another pack
			p.Items[i].Supplies = append(p.Items[i].Supplies, pick.Amount{r.Int32N(int32(len(p.Items))), 1 + r.Int32N(3)})
		}
	}
	for g := range p.Groups {
		for o := range p.Groups[g].Options {
			if r.IntN(6) == 0 {
				p.Groups[g].Options[o].Penalty = r.Int64N(3)
			}
			if r.IntN(20) == 0 {
				p.Groups[g].Options[o].Demands = nil
			}
		}
	}
	return p
}

// cover draws a covering problem: needs, candidates that each cover one to five needs, and pairs of candidates
// that exclude each other. Every need is a group with an option per candidate that covers it; a candidate is a
// resource of its own, demanded by its options and supplied by one item. With proportional prices a candidate
// costs about the sum of a base price per need it covers; otherwise prices are independent of what is covered.
func cover(r *rand.Rand, needs, candidates, conflicts int, proportional bool) *pick.Problem {
	p := &pick.Problem{Groups: make([]pick.Group, needs)}
	base := make([]int64, needs)
	for n := range base {
		base[n] = 200 + r.Int64N(2800)
		p.Groups[n].Name = fmt.Sprint("need ", n)
	}
	options := make([][]pick.OptionRef, candidates)
	for c := 0; c < candidates; c++ {
		k := 1 + r.IntN(min(5, needs))
		price := int64(0)
		for _, n := range r.Perm(needs)[:k] {
			options[c] = append(options[c], pick.OptionRef{int32(n), int32(len(p.Groups[n].Options))})
			p.Groups[n].Options = append(p.Groups[n].Options, pick.Option{Name: fmt.Sprint("candidate ", c), Demands: []pick.Amount{{int32(c), 1}}})
			price += base[n]
		}
		if proportional {
			price = int64(float64(price) * (0.8 + 0.4*r.Float64()))
		} else {
			price = 200 + r.Int64N(9800)
		}
		p.Items = append(p.Items, pick.Item{SKU: fmt.Sprintf("P%05d", c), Unit: price, Supplies: []pick.Amount{{int32(c), int32(k)}}})
	}
	for k := 0; k < conflicts; {
		a, b := r.IntN(candidates), r.IntN(candidates)
		if a == b {
			continue
		}
		for _, x := range options[a] {
			for _, y := range options[b] {
				p.Conflicts = append(p.Conflicts, [2]pick.OptionRef{x, y})
			}
		}
		k++
	}
	return p
}

// retail draws a middling problem of one of the two price structures with every feature of the model: larger
// packs, bundles that save money and some that do not, charges, purchase limits, units on hand, needs that only
// arise from a choice, penalties, conflicts.
func retail(r *rand.Rand, proportional bool) *pick.Problem {
	needs := 5 + r.IntN(8)
	candidates := 4*needs + r.IntN(4*needs)
	p := cover(r, needs, candidates, r.IntN(candidates/4), proportional)
	for i := 0; i < candidates; i++ {
		it := &p.Items[i]
		switch r.IntN(12) {
		case 0: // sold singly, and in a pack
			it.Supplies[0].Units = 1
			p.Items = append(p.Items, pick.Item{SKU: fmt.Sprintf("K%05d", i), Unit: it.Unit * 2, Supplies: []pick.Amount{{int32(i), 2 + r.Int32N(9)}}})
		case 1:
			it.Supplies[0].Units = 1
			it.Max = 1 + r.Int32N(2)
		case 2:
			it.Charge, it.ChargeAbove = r.Int64N(it.Unit+1), r.Int32N(2)
		case 3:
			if r.IntN(3) == 0 {
				p.Free = append(p.Free, pick.Amount{int32(i), 1})
			}
		}
	}
	for n := needs / 2; n > 0; n-- {
		a, b := r.IntN(candidates), r.IntN(candidates)
		p.Items = append(p.Items, pick.Item{
			SKU:      fmt.Sprintf("B%05d", n),
			Unit:     int64(float64(p.Items[a].Unit+p.Items[b].Unit) * (0.6 + 0.6*r.Float64())),
			Supplies: []pick.Amount{p.Items[a].Supplies[0], {int32(b), 1 + r.Int32N(2)}},
		})
	}
	for g := range p.Groups {
		for o := range p.Groups[g].Options {
			op := &p.Groups[g].Options[o]
			if r.IntN(8) == 0 {
				op.Penalty = r.Int64N(800)
			}
			if r.IntN(8) == 0 {
				op.Demands[0].Units += r.Int32N(3)
			}
			if r.IntN(12) == 0 {
				op.Demands = append(op.Demands, pick.Amount{r.Int32N(int32(candidates)), 1})
			}
		}
		if g > 0 && r.IntN(3) == 0 {
			for k := 1 + r.IntN(6); k > 0; k-- {
				from := r.IntN(g)
				p.Groups[g].When = append(p.Groups[g].When, pick.OptionRef{int32(from), r.Int32N(int32(len(p.Groups[from].Options)))})
			}
		}
	}
	return p
}
