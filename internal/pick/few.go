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
	wantsAt []int32 // what the n-th option wants: wants[wantsAt[n]:wantsAt[n+1]]
	wants   []demand
	rows    []fewRow
	known   []bool // resource is in rows
	extra   []lot  // items that are no fillers, with the most packs that are of use
	now     trial
	best    trial
	lack    []int64 // units of a resource still wanted
	tried   int64
}

// A fewRow is a scarce resource with its filler, -1 if it has none.
type fewRow struct {
	res, filler int32
	units       int64
}

// A trial is one combination.
type trial struct {
	cost   int64
	packs  []int64 // of the extra items, then of the fillers by row
	picked []int32 // options by group
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
	if f.best.cost == infinite {
		return 0, true, ErrInfeasible
	}
	for n, o := range f.best.picked {
		w.choice[groups[n]] = o - w.optAt[groups[n]]
		w.buyFolded(o)
	}
	w.list1 = f.bought(w.list1[:0], &f.best)
	for _, x := range w.list1 {
		w.buy[x.item] = int32(x.packs)
	}
	return f.best.cost, true, nil
}

// list lists what is tried, and says whether it is little enough and simple enough.
func (f *few) list(w *work, groups []int32) bool {
	f.w, f.at, f.options = w, append(f.at[:0], 0), f.options[:0]
	f.wantsAt, f.wants = append(f.wantsAt[:0], 0), f.wants[:0]
	f.rows, f.known, f.extra = f.rows[:0], resize(f.known, len(w.need)), f.extra[:0]
	combinations := int64(1)
	for _, g := range groups {
		plain, first := w.cheapestPlain(g), len(f.options)
		for o := w.optAt[g]; o < w.optAt[g+1]; o++ {
			if w.worthwhile(o, plain) && !f.option(o) {
				return false
			}
		}
		f.at = append(f.at, int32(len(f.options)))
		combinations *= int64(len(f.options) - first)
		if combinations > mostCombinations || len(w.p.Groups[g].When) > 0 {
			return false
		}
	}
	for _, x := range f.extra {
		if combinations *= x.packs + 1; combinations > mostCombinations {
			return false
		}
	}
	f.lack = resize(f.lack, len(w.need))
	for _, r := range f.rows {
		f.lack[r.res] = -w.free[r.res]
	}
	for _, t := range [...]*trial{&f.now, &f.best} {
		t.cost, t.packs, t.picked = infinite, resize(t.packs, len(f.extra)+len(f.rows)), resize(t.picked, len(groups))
	}
	return true
}

// option lists an option.
func (f *few) option(o int32) bool {
	w := f.w
	if w.confAt[o] < w.confAt[o+1] {
		return false
	}
	for _, d := range w.demands(o) {
		switch {
		case w.need[d.res] <= w.free[d.res]:
			continue
		case w.fold[d.res]:
			if item, _ := w.folded(d); w.p.Items[item].Unit == 0 {
				return false
			}
			continue
		case !f.known[d.res] && !f.row(d.res):
			return false
		}
		f.wants = append(f.wants, d)
	}
	f.options, f.wantsAt = append(f.options, o), append(f.wantsAt, int32(len(f.wants)))
	return true
}

// row lists a resource with its suppliers.
func (f *few) row(res int32) bool {
	w, row := f.w, fewRow{res: res, filler: -1}
	for _, s := range w.suppliers(res) {
		it := &w.p.Items[s.item]
		limit := int64(it.Max)
		switch {
		case it.Unit == 0:
			return false
		case row.filler < 0 && limit == 0 && w.serves[s.item] == 1:
			row.filler, row.units = s.item, s.units
			continue
		case limit == 0:
			limit = math.MaxInt32
		}
		most := min(limit, ceilDiv(w.need[res]-w.free[res], s.units))
		if n := slices.IndexFunc(f.extra, func(x lot) bool { return x.item == s.item }); n >= 0 {
			f.extra[n].packs = max(f.extra[n].packs, most)
		} else if f.extra = append(f.extra, lot{s.item, most}); int64(1)<<len(f.extra) > mostCombinations {
			return false
		}
	}
	f.rows = append(f.rows, row)
	f.known[res] = true
	return true
}

// try tries all that can be decided from the n-th decision on: first packs, then options in the order of the
// tie-break.
func (f *few) try(n int, cost int64) {
	if cost > f.best.cost {
		return
	}
	if n < len(f.extra) {
		x := f.extra[n]
		it := &f.w.p.Items[x.item]
		for k := int64(0); k <= x.packs; k++ {
			f.now.packs[n] = k
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
	if g == len(f.now.picked) {
		f.fill(cost)
		return
	}
	for k := f.at[g]; k < f.at[g+1]; k++ {
		o, wants := f.options[k], f.wants[f.wantsAt[k]:f.wantsAt[k+1]]
		f.now.picked[g] = o
		for _, d := range wants {
			f.lack[d.res] += d.units
		}
		f.try(n+1, cost+f.w.cost[o])
		for _, d := range wants {
			f.lack[d.res] -= d.units
		}
	}
}

// fill buys what is wanted of fillers, and keeps the combination if it is the best.
func (f *few) fill(cost int64) {
	f.tried++
	for n, r := range f.rows {
		packs := int64(0)
		if lack := f.lack[r.res]; lack > 0 {
			if r.filler < 0 {
				return
			}
			packs = ceilDiv(lack, r.units)
			cost += f.w.p.Items[r.filler].packCost(packs)
		}
		f.now.packs[len(f.extra)+n] = packs
	}
	if cost < f.best.cost || cost == f.best.cost && f.better() {
		f.best.cost = cost
		copy(f.best.packs, f.now.packs)
		copy(f.best.picked, f.now.picked)
	}
}

// better says whether the present combination comes before the best of the same cost. Of those that buy the same that
// with the smallest option indexes is found first.
func (f *few) better() bool {
	w := f.w
	w.list1, w.list2 = f.bought(w.list1[:0], &f.now), f.bought(w.list2[:0], &f.best)
	for _, o := range f.now.picked {
		w.list1 = w.lots(w.list1, o)
	}
	for _, o := range f.best.picked {
		w.list2 = w.lots(w.list2, o)
	}
	return w.listLess()
}

// bought lists the items of a combination, but for those of folded demands.
func (f *few) bought(list []lot, t *trial) []lot {
	for n, packs := range t.packs {
		var item int32
		if n < len(f.extra) {
			item = f.extra[n].item
		} else {
			item = f.rows[n-len(f.extra)].filler
		}
		if packs > 0 {
			list = append(list, lot{item, packs})
		}
	}
	return list
}
