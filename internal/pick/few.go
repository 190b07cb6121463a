package pick

import (
	"math"
	"slices"
)

// mostCombinations is how many combinations of a component are tried one by one: as many as take no longer than the
// first bounds of a search. A variable for tests.
var mostCombinations = int64(1 << 9)

// A few is a component with few combinations: of its options, and of the packs of its items. One item of each
// resource is its filler, if there is one that supplies nothing else and has no limit: whatever is chosen and bought
// otherwise, the best is to buy just the packs of it that are still wanted, so that these are not tried.
type few struct {
	w       *work
	at      []int32 // options of the n-th group: options[at[n]:at[n+1]]
	options []int32
	rows    []fewRow
	known   []bool  // resource is in rows
	extra   []lot   // items that are no fillers, with the most packs that are of use
	items   []int32 // all that may be bought

	lack   []int64 // units of a resource still wanted
	packs  []int64 // of an item
	picked []int32 // options, by n

	cost       int64 // of the best selection so far
	bestPacks  []int64
	bestPicked []int32
	tried      int64
}

// A fewRow is a scarce resource with its filler, -1 if it has none.
type fewRow struct {
	res, filler int32
	units       int64
}

// enumerate writes the optimum of a component of few combinations to the work. It tries those alone that need nothing
// the search is for: no group waits for another, no options are in conflict, every pack costs something, so that no
// best selection has one to spare. ok is false for other components.
func (w *work) enumerate(groups []int32) (cost int64, ok bool, err error) {
	f := &w.few
	if !f.list(w, groups) {
		return 0, false, nil
	}
	f.try(0, 0)
	if f.cost == infinite {
		return 0, true, errInfeasible
	}
	for n, o := range f.bestPicked {
		w.choice[groups[n]] = o - w.optAt[groups[n]]
	}
	for n, item := range f.items {
		w.buy[item] = int32(f.bestPacks[n])
	}
	return f.cost, true, nil
}

// list lists what is tried, and says whether it is little enough and simple enough.
func (f *few) list(w *work, groups []int32) bool {
	f.w, f.at, f.options = w, append(f.at[:0], 0), f.options[:0]
	combinations := int64(1)
	for _, g := range groups {
		plain := w.cheapestPlain(g)
		for o := w.optAt[g]; o < w.optAt[g+1]; o++ {
			if w.worthwhile(o, plain) {
				if w.confAt[o] < w.confAt[o+1] {
					return false
				}
				f.options = append(f.options, o)
			}
		}
		f.at = append(f.at, int32(len(f.options)))
		combinations *= int64(len(f.options)) - int64(f.at[len(f.at)-2])
		if combinations > mostCombinations || len(w.p.Groups[g].When) > 0 {
			return false
		}
	}
	f.rows, f.items, f.extra, f.known = f.rows[:0], f.items[:0], f.extra[:0], resize(f.known, len(w.need))
	for _, o := range f.options {
		for _, d := range w.demands(o) {
			switch {
			case w.need[d.res] <= w.free[d.res]:
			case w.fold[d.res]:
				if item, _ := w.folded(d); !f.buys(item) {
					return false
				}
			case !f.known[d.res]:
				f.known[d.res] = true
				if !f.row(d.res) {
					return false
				}
			}
		}
	}
	for _, x := range f.extra {
		if combinations *= x.packs + 1; combinations > mostCombinations {
			return false
		}
	}
	f.lack, f.packs, f.picked = resize(f.lack, len(w.need)), resize(f.packs, len(w.p.Items)), resize(f.picked, len(groups))
	for _, r := range f.rows {
		f.lack[r.res] = -w.free[r.res]
	}
	f.cost, f.bestPacks, f.bestPicked = infinite, resize(f.bestPacks, len(f.items)), resize(f.bestPicked, len(groups))
	return true
}

// row lists a resource with its suppliers.
func (f *few) row(res int32) bool {
	row := fewRow{res: res, filler: -1}
	for _, s := range f.w.suppliers(res) {
		if !f.buys(s.item) {
			return false
		}
		limit := int64(f.w.p.Items[s.item].Max)
		if row.filler < 0 && limit == 0 && f.w.serves[s.item] == 1 {
			row.filler, row.units = s.item, s.units
			continue
		}
		if limit == 0 {
			limit = math.MaxInt32
		}
		most := min(limit, ceilDiv(f.w.need[res]-f.w.free[res], s.units))
		if n := slices.IndexFunc(f.extra, func(x lot) bool { return x.item == s.item }); n >= 0 {
			f.extra[n].packs = max(f.extra[n].packs, most)
		} else if f.extra = append(f.extra, lot{s.item, most}); int64(1)<<len(f.extra) > mostCombinations {
			return false
		}
	}
	f.rows = append(f.rows, row)
	return true
}

// buys lists an item, and says whether its packs cost something.
func (f *few) buys(item int32) bool {
	if !slices.Contains(f.items, item) {
		f.items = append(f.items, item)
	}
	return f.w.p.Items[item].Unit > 0
}

// try tries all that can be decided from the n-th decision on: first packs, then options in the order of the
// tie-break.
func (f *few) try(n int, cost int64) {
	if cost > f.cost {
		return
	}
	if n < len(f.extra) {
		x := f.extra[n]
		it := &f.w.p.Items[x.item]
		for k := int64(0); k <= x.packs; k++ {
			f.packs[x.item] = k
			f.try(n+1, cost+it.packCost(k))
			for _, a := range it.Supplies {
				f.lack[a.Resource] -= int64(a.Units)
			}
		}
		for _, a := range it.Supplies {
			f.lack[a.Resource] += (x.packs + 1) * int64(a.Units)
		}
		return
	}
	g := n - len(f.extra)
	if g == len(f.picked) {
		f.fill(cost)
		return
	}
	for _, o := range f.options[f.at[g]:f.at[g+1]] {
		f.picked[g] = o
		for _, d := range f.w.demands(o) {
			f.lack[d.res] += d.units
			if f.w.fold[d.res] && f.w.need[d.res] > f.w.free[d.res] {
				item, packs := f.w.folded(d)
				f.packs[item] = packs
			}
		}
		f.try(n+1, cost+f.w.cost[o])
		for _, d := range f.w.demands(o) {
			f.lack[d.res] -= d.units
			if f.w.fold[d.res] && f.w.need[d.res] > f.w.free[d.res] {
				item, _ := f.w.folded(d)
				f.packs[item] = 0
			}
		}
	}
}

// fill buys what is wanted of fillers, and keeps the selection if it is the best.
func (f *few) fill(cost int64) {
	f.tried++
	for _, r := range f.rows {
		packs := int64(0)
		if lack := f.lack[r.res]; lack > 0 {
			if r.filler < 0 {
				return
			}
			packs = ceilDiv(lack, r.units)
			cost += f.w.p.Items[r.filler].packCost(packs)
		}
		if r.filler >= 0 {
			f.packs[r.filler] = packs
		}
	}
	if cost > f.cost || cost == f.cost && !f.better() {
		return
	}
	f.cost = cost
	copy(f.bestPicked, f.picked)
	for n, item := range f.items {
		f.bestPacks[n] = f.packs[item]
	}
}

// better says whether the present selection comes before the best of the same cost: by the first SKU of which they
// have not as many packs. If they buy the same, the best was found first, so that its option indexes are smaller.
func (f *few) better() bool {
	first := -1
	for n, item := range f.items {
		if f.packs[item] != f.bestPacks[n] && (first < 0 || f.w.skuLess(item, f.items[first])) {
			first = n
		}
	}
	return first >= 0 && less(f.packs[f.items[first]], f.bestPacks[first])
}
