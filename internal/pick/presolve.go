package pick

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
)

// A work is the scratch memory of one Solve: the problem flattened into arrays, and the search core. It is reused
// from one call to the next.
type work struct {
	p *Problem

	// Resources.
	free   []int64 // units owned
	reach  []int64 // units owned and buyable at most
	need   []int64 // units demanded at most: the sum over groups of their most demanding usable option
	users  []int32 // number of groups with an option that demands it
	last   []int32 // 1 + last group counted in need
	peak   []int64 // that group's largest demand
	pos    []int32 // place of the resource in the list being merged
	supAt  []int32 // suppliers of resource r: sup[supAt[r]:supAt[r+1]]
	sup    []supply
	fold   []bool // used by one group and supplied by one item that serves nothing else: part of the option's cost
	firstG []int32

	// Options, numbered through all groups.
	optAt  []int32 // options of group g: optAt[g]..optAt[g+1]
	usable []bool
	cost   []int64 // penalty plus what its folded demands cost
	tied   []bool  // has a conflict, activates a group, or demands something that is not folded
	demAt  []int32
	dem    []demand // merged per resource

	// Items.
	serves []int32 // number of scarce resources it supplies
	confAt []int32 // options in conflict with option o: conf[confAt[o]:confAt[o+1]]
	conf   []int32

	// Groups.
	root   []int32 // union-find
	order  []int32 // groups, When references first
	mark   []int8
	member []int32 // groups sorted by component

	choice []int32
	buy    []int32
	list1  []lot
	list2  []lot
	lim    limiter
	few    few
	core   core
}

type supply struct {
	item  int32
	units int64
}

type demand struct {
	res   int32
	units int64
}

type lot struct {
	item  int32
	packs int64
}

// resize returns s with length n, its elements zero.
func resize[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n, n+n/2)
	}
	s = s[:n]
	clear(s)
	return s
}

// solve returns the optimum, or with first set any selection at all.
func (w *work) solve(ctx context.Context, p *Problem, l Limits, first bool) (Solution, error) {
	w.p = p
	defer func() { w.p, w.lim.ctx = nil, nil }()
	if err := w.flatten(); err != nil {
		return Solution{}, err
	}
	if err := w.sortGroups(); err != nil {
		return Solution{}, err
	}
	w.components()
	w.core.reset(len(p.Groups), len(w.usable), len(w.need), len(p.Items))

	out := make([]int32, len(p.Groups)+len(p.Items))
	w.choice, w.buy = out[:len(p.Groups):len(p.Groups)], out[len(p.Groups):]
	sol := Solution{Choice: w.choice, Buy: w.buy, Optimal: true}
	w.lim = limiter{ctx: ctx, max: l.MaxNodes}
	w.few.tried = 0
	for at := 0; at < len(w.member); {
		end := at + 1
		for end < len(w.member) && w.root[w.member[end]] == w.root[w.member[at]] {
			end++
		}
		groups := w.member[at:end]
		at = end
		if len(groups) == 1 && w.simple(groups[0]) {
			o := w.cheapest(groups[0])
			if o < 0 {
				return Solution{}, ErrInfeasible
			}
			w.choice[groups[0]] = o - w.optAt[groups[0]]
			w.buyFolded(o)
			sol.Cost += w.cost[o]
			sol.LowerBound += w.cost[o]
			continue
		}
		cost, ok, err := w.enumerate(groups)
		bound := cost
		if !ok {
			cost, bound, err = w.core.solve(w, groups, &w.lim, first)
		}
		if err != nil {
			return Solution{}, err
		}
		sol.Cost += cost
		sol.LowerBound += bound
		sol.Optimal = sol.Optimal && cost == bound
	}
	sol.Nodes = w.lim.nodes + w.few.tried
	if !sol.Optimal {
		p.dropNeedless(&sol)
	}
	return sol, nil
}

// dropNeedless takes back packs that can be left out, the dearest first, as a search that is
// stopped may have bought some.
func (p *Problem) dropNeedless(sol *Solution) {
	spare := map[int32]int64{} // by resource
	add := func(list []Amount, times int64) {
		for _, a := range list {
			spare[a.Resource] += times * int64(a.Units)
		}
	}
	add(p.Free, 1)
	var bought []int32
	for i, packs := range sol.Buy {
		if packs > 0 {
			bought = append(bought, int32(i))
			add(p.Items[i].Supplies, int64(packs))
		}
	}
	for g, o := range sol.Choice {
		if o >= 0 {
			add(p.Groups[g].Options[o].Demands, -1)
		}
	}
	slices.SortStableFunc(bought, func(a, b int32) int { return cmp.Compare(p.Items[b].Unit, p.Items[a].Unit) })
	for _, i := range bought {
		it := &p.Items[i]
		for n := int64(sol.Buy[i]); n > 0; n-- {
			if add(it.Supplies, -1); slices.ContainsFunc(it.Supplies, func(a Amount) bool { return spare[a.Resource] < 0 }) {
				add(it.Supplies, 1)
				break
			}
			sol.Buy[i]--
			sol.Cost -= it.packCost(n) - it.packCost(n-1)
		}
	}
	sol.Optimal = sol.Cost == sol.LowerBound
}

// flatten numbers the options through, merges demands, and finds what is scarce, who supplies it, which options
// can be met at all, and what each costs by itself.
func (w *work) flatten() error {
	p := w.p
	nr, err := p.check()
	if err != nil {
		return err
	}
	w.free = resize(w.free, nr)
	for _, a := range p.Free {
		w.free[a.Resource] += int64(a.Units)
	}
	w.reach = append(w.reach[:0], w.free...)
	for i := range p.Items {
		it := &p.Items[i]
		packs := int64(it.Max)
		if packs == 0 {
			packs = math.MaxInt32
		}
		for _, a := range it.Supplies {
			w.reach[a.Resource] = min(w.reach[a.Resource]+packs*int64(a.Units), 1<<62)
		}
	}

	// Options: merge demands, drop options that can never be met, total what is needed.
	w.need, w.users, w.last, w.peak = resize(w.need, nr), resize(w.users, nr), resize(w.last, nr), resize(w.peak, nr)
	w.pos = resize(w.pos, nr)
	w.optAt, w.demAt, w.dem = append(w.optAt[:0], 0), append(w.demAt[:0], 0), w.dem[:0]
	w.usable, w.cost = w.usable[:0], w.cost[:0]
	w.firstG = resize(w.firstG, nr)
	for g := range p.Groups {
		for o := range p.Groups[g].Options {
			op := &p.Groups[g].Options[o]
			start := int32(len(w.dem))
			for _, a := range op.Demands {
				if a.Units == 0 {
					continue
				}
				if at := w.pos[a.Resource]; at >= start && int(at) < len(w.dem) && w.dem[at].res == a.Resource {
					w.dem[at].units += int64(a.Units)
					continue
				}
				w.pos[a.Resource] = int32(len(w.dem))
				w.dem = append(w.dem, demand{a.Resource, int64(a.Units)})
			}
			ok := true
			for _, d := range w.dem[start:] {
				ok = ok && d.units <= w.reach[d.res]
			}
			if ok {
				w.require(int32(g), w.dem[start:])
			}
			w.usable = append(w.usable, ok)
			w.cost = append(w.cost, op.Penalty)
			w.demAt = append(w.demAt, int32(len(w.dem)))
		}
		w.optAt = append(w.optAt, int32(len(w.usable)))
	}
	for _, c := range p.Conflicts {
		if c[0] == c[1] {
			w.usable[w.option(c[0])] = false
		}
	}

	// Suppliers of what is scarce: demanded beyond what is free.
	w.supAt = resize(w.supAt, nr+2)
	w.serves = resize(w.serves, len(p.Items))
	for i := range p.Items {
		for j, a := range p.Items[i].Supplies {
			if w.scarce(a) && !repeated(p.Items[i].Supplies, j) {
				w.supAt[a.Resource+2]++
				w.serves[i]++
			}
		}
	}
	for r := 0; r < nr; r++ {
		w.supAt[r+2] += w.supAt[r+1]
	}
	if n := int(w.supAt[nr+1]); cap(w.sup) < n {
		w.sup = make([]supply, n, n+n/2)
	} else {
		w.sup = w.sup[:n]
	}
	total := 0.0
	for i := range p.Items {
		it := &p.Items[i]
		most := int64(0)
		for j, a := range it.Supplies {
			if !w.scarce(a) || repeated(it.Supplies, j) {
				continue
			}
			units := int64(0)
			for _, b := range it.Supplies[j:] {
				if b.Resource == a.Resource {
					units += int64(b.Units)
				}
			}
			w.sup[w.supAt[a.Resource+1]] = supply{int32(i), units}
			w.supAt[a.Resource+1]++
			most = max(most, ceilDiv(w.need[a.Resource]-w.free[a.Resource], units))
		}
		if most > 0 {
			total += float64(it.Unit)*float64(most) + float64(it.Charge)
		}
	}
	for g := range p.Groups {
		dearest := int64(0)
		for o := w.optAt[g]; o < w.optAt[g+1]; o++ {
			dearest = max(dearest, w.cost[o])
		}
		total += float64(dearest)
	}
	if total > maxTotal {
		return fmt.Errorf("pick: costs could add up to %.3g, more than the %.3g that is computed exactly: scale them down", total, float64(maxTotal))
	}

	// Fold what concerns one option alone into its cost.
	w.fold = resize(w.fold, nr)
	for r := 0; r < nr; r++ {
		w.fold[r] = w.users[r] == 1 && w.supAt[r+1]-w.supAt[r] == 1 && w.serves[w.sup[w.supAt[r]].item] == 1
	}
	w.tied = resize(w.tied, len(w.usable))
	for o := range w.usable {
		if !w.usable[o] {
			continue
		}
		for _, d := range w.demands(int32(o)) {
			if w.need[d.res] <= w.free[d.res] {
				continue
			}
			if !w.fold[d.res] {
				w.tied[o] = true
				continue
			}
			item, packs := w.folded(d)
			w.cost[o] += p.Items[item].packCost(packs)
		}
	}
	w.confAt = resize(w.confAt, len(w.usable)+2)
	for _, c := range p.Conflicts {
		if a, b, ok := w.conflict(c); ok {
			w.confAt[a+2]++
			w.confAt[b+2]++
			w.tied[a], w.tied[b] = true, true
		}
	}
	for o := range w.usable {
		w.confAt[o+2] += w.confAt[o+1]
	}
	w.conf = resize(w.conf, int(w.confAt[len(w.usable)+1]))
	for _, c := range p.Conflicts {
		if a, b, ok := w.conflict(c); ok {
			w.conf[w.confAt[a+1]] = b
			w.confAt[a+1]++
			w.conf[w.confAt[b+1]] = a
			w.confAt[b+1]++
		}
	}
	for g := range p.Groups {
		for _, ref := range p.Groups[g].When {
			w.tied[w.option(ref)] = true
		}
	}
	return nil
}

// require counts what a usable option demands towards need, per group the most of any option.
func (w *work) require(g int32, ds []demand) {
	for _, d := range ds {
		r := d.res
		switch {
		case w.last[r] != g+1:
			if w.last[r] == 0 {
				w.firstG[r] = g
			}
			w.last[r] = g + 1
			w.users[r]++
			w.need[r] += d.units
			w.peak[r] = d.units
		case d.units > w.peak[r]:
			w.need[r] += d.units - w.peak[r]
			w.peak[r] = d.units
		}
	}
}

func (w *work) scarce(a Amount) bool {
	return a.Units > 0 && w.need[a.Resource] > w.free[a.Resource]
}

// repeated says whether an earlier entry of the list already names the resource of entry j.
func repeated(as []Amount, j int) bool {
	for _, b := range as[:j] {
		if b.Resource == as[j].Resource && b.Units > 0 {
			return true
		}
	}
	return false
}

// conflict returns the options of a conflict that matters: between usable options of different groups.
func (w *work) conflict(c [2]OptionRef) (a, b int32, ok bool) {
	a, b = w.option(c[0]), w.option(c[1])
	return a, b, c[0].Group != c[1].Group && w.usable[a] && w.usable[b]
}

func (w *work) option(r OptionRef) int32   { return w.optAt[r.Group] + r.Option }
func (w *work) demands(o int32) []demand   { return w.dem[w.demAt[o]:w.demAt[o+1]] }
func (w *work) suppliers(r int32) []supply { return w.sup[w.supAt[r]:w.supAt[r+1]] }
func (w *work) folded(d demand) (int32, int64) {
	s := w.sup[w.supAt[d.res]]
	return s.item, ceilDiv(d.units-w.free[d.res], s.units)
}

// buyFolded buys what the folded demands of a chosen option need.
func (w *work) buyFolded(o int32) {
	for _, d := range w.demands(o) {
		if w.fold[d.res] && w.need[d.res] > w.free[d.res] {
			item, packs := w.folded(d)
			w.buy[item] = int32(packs)
		}
	}
}

// sortGroups orders the groups so that When references point back, and refuses cycles.
func (w *work) sortGroups() error {
	n := len(w.p.Groups)
	w.order = w.order[:0]
	w.mark = resize(w.mark, n)
	for g := range w.p.Groups {
		if err := w.visit(int32(g)); err != nil {
			return err
		}
	}
	return nil
}

func (w *work) visit(g int32) error {
	if w.mark[g] == 2 {
		return nil
	}
	if w.mark[g] == 1 {
		return fmt.Errorf("pick: group %d (%s): its When references lead back to itself: remove one of them", g, w.p.Groups[g].Name)
	}
	w.mark[g] = 1
	for _, ref := range w.p.Groups[g].When {
		if err := w.visit(ref.Group); err != nil {
			return err
		}
	}
	w.mark[g] = 2
	w.order = append(w.order, g)
	return nil
}

// components sorts the groups by connected component: groups are connected by a resource both use, an item that
// supplies both, a conflict, or a When reference.
func (w *work) components() {
	p := w.p
	w.root = resize(w.root, len(p.Groups))
	for g := range w.root {
		w.root[g] = int32(g)
	}
	for g := range p.Groups {
		for o := w.optAt[g]; o < w.optAt[g+1]; o++ {
			if !w.usable[o] || !w.tied[o] {
				continue
			}
			for _, d := range w.demands(o) {
				if w.need[d.res] > w.free[d.res] {
					w.union(int32(g), w.firstG[d.res])
				}
			}
		}
		for _, ref := range p.Groups[g].When {
			w.union(int32(g), ref.Group)
		}
	}
	for i := range p.Items {
		if w.serves[i] < 2 {
			continue
		}
		one := int32(-1)
		for _, a := range p.Items[i].Supplies {
			if w.scarce(a) {
				if one >= 0 {
					w.union(one, w.firstG[a.Resource])
				}
				one = w.firstG[a.Resource]
			}
		}
	}
	for _, c := range p.Conflicts {
		if _, _, ok := w.conflict(c); ok {
			w.union(c[0].Group, c[1].Group)
		}
	}
	// Counting sort by root; the root of a component is its smallest group, so members come in order.
	w.member = w.member[:0]
	for g := range w.root {
		w.root[g] = w.find(int32(g))
		w.member = append(w.member, int32(g))
	}
	slices.SortStableFunc(w.member, func(a, b int32) int { return int(w.root[a] - w.root[b]) })
}

func (w *work) find(g int32) int32 {
	for w.root[g] != g {
		w.root[g] = w.root[w.root[g]]
		g = w.root[g]
	}
	return g
}

func (w *work) union(a, b int32) {
	if w.root[a] == w.root[b] {
		return
	}
	a, b = w.find(a), w.find(b)
	w.root[max(a, b)] = min(a, b)
}

// worthwhile says whether an option need be looked at beside plain, the cheapest of its group that touch nothing else,
// -1 when there is none: of such options that one stands for all, and for those that cost more.
func (w *work) worthwhile(o, plain int32) bool {
	return w.usable[o] && (o == plain || w.tied[o] && (plain < 0 || w.cost[o] <= w.cost[plain]))
}

// simple says whether a group that is a component of its own needs no search.
func (w *work) simple(g int32) bool {
	for o := w.optAt[g]; o < w.optAt[g+1]; o++ {
		if w.usable[o] && w.tied[o] {
			return false
		}
	}
	return true
}

// cheapest returns the best option of a simple group, -1 if none is usable.
func (w *work) cheapest(g int32) int32 {
	best := int32(-1)
	for o := w.optAt[g]; o < w.optAt[g+1]; o++ {
		if w.usable[o] && (best < 0 || w.cost[o] < w.cost[best] || w.cost[o] == w.cost[best] && w.lessBuy(o, best)) {
			best = o
		}
	}
	return best
}

// lessBuy compares what two options buy by their folded demands in the order of the tie-break. At no cost an
// option can be met with more than it needs by none of them, so the lists decide.
func (w *work) lessBuy(a, b int32) bool {
	w.list1, w.list2 = w.lots(w.list1[:0], a), w.lots(w.list2[:0], b)
	return w.listLess()
}

// listLess compares list1 with list2, which are in order of SKU.
func (w *work) listLess() bool {
	for i := 0; ; i++ {
		switch {
		case i == len(w.list1):
			return false
		case i == len(w.list2):
			return true
		case w.list1[i].item != w.list2[i].item:
			return w.skuLess(w.list1[i].item, w.list2[i].item)
		case w.list1[i].packs != w.list2[i].packs:
			return w.list1[i].packs < w.list2[i].packs
		}
	}
}

// lots adds what the folded demands of an option buy to a list, and sorts it by SKU.
func (w *work) lots(list []lot, o int32) []lot {
	for _, d := range w.demands(o) {
		if w.fold[d.res] {
			if item, packs := w.folded(d); packs > 0 && w.need[d.res] > w.free[d.res] {
				list = append(list, lot{item, packs})
			}
		}
	}
	slices.SortFunc(list, func(x, y lot) int {
		if w.skuLess(x.item, y.item) {
			return -1
		}
		return 1
	})
	return list
}

func (w *work) skuLess(a, b int32) bool {
	x, y := w.p.Items[a].SKU, w.p.Items[b].SKU
	return x < y || x == y && a < b
}
