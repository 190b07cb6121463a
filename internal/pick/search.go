package pick

import (
	"context"
	"math"
	"slices"
)

// A limiter counts nodes and says when to stop.
type limiter struct {
	ctx   context.Context
	max   int64
	nodes int64
}

// nodesAtOnce is how many nodes are searched before it is asked again whether time is up: so many take some
// milliseconds at most, and the first are there to find a selection where the greedy one fails.
const nodesAtOnce = 16

func (l *limiter) more() bool {
	if l.max > 0 && l.nodes >= l.max || l.nodes%nodesAtOnce == nodesAtOnce-1 && l.ctx.Err() != nil {
		return false
	}
	l.nodes++
	return true
}

// A search is depth-first branch and bound over one core.
type search struct {
	lim    *limiter
	first  bool  // any selection will do
	best   int64 // nothing dearer is searched
	found  bool  // a selection is known: bought, picked
	cost   int64 // what it costs
	bought []int64
	picked []int32 // option per group, -1 inactive
	lex    []lexItem
	sorted bool // lex is in order of SKU and up to date
}

// A lexItem is an item whose number of packs may differ between selections as good as the best.
type lexItem struct {
	item int32 // index in the problem
	core int32 // number in the core, -1: folded into options of group
	grp  int32
	best int64 // packs in the best selection
}

// infinite is more than any selection costs.
const infinite = math.MaxInt64 / 4

// solve finds the optimum of one component, writes it to the work, and returns its cost and bound.
func (c *core) solve(w *work, groups []int32, lim *limiter, first bool) (cost, lower int64, err error) {
	c.build(w, groups)
	c.lim, c.first, c.found, c.best, c.cost, c.lex = lim, first, false, infinite, infinite, c.lex[:0]
	if !c.start() || !c.dominate() {
		return 0, 0, ErrInfeasible
	}
	c.initBound()
	root, done := c.deepen()
	if !c.found {
		if done {
			return 0, 0, ErrInfeasible
		}
		return 0, 0, ErrLimit
	}
	cost = c.cost >> c.shift
	lower = cost
	if !done {
		lower = min(cost, (max(0, root)+1<<c.shift-1)>>c.shift)
	}
	c.settle()
	for g, o := range c.picked {
		src := c.group[g]
		if o < 0 {
			w.choice[src] = -1
			continue
		}
		w.choice[src] = c.oSrc[o] - w.optAt[src]
		w.buyFolded(c.oSrc[o])
	}
	for i, n := range c.bought {
		w.buy[c.iSrc[i]] = int32(n)
	}
	return cost, lower, nil
}

// deepen searches for selections below a limit close to the bound, where little is left to search, and raises the
// limit until there is one. The limit never hides a better selection: each search is complete below it.
// It returns a bound and whether the search was complete.
func (c *core) deepen() (lower int64, done bool) {
	if !c.free() {
		return infinite, true
	}
	lower = c.lower(8, 1.4)
	c.dive()
	if c.best = c.cost; lower <= c.best {
		if !c.fix() {
			return c.cost, true
		}
		lower = max(lower, c.lower(9, 1))
	}
	mark := len(c.trail)
	for _, part := range [...]int64{3, 2, 1} {
		if c.first && c.found {
			return lower, true
		}
		gap := c.cost - lower
		if !c.found {
			gap = lower/4 + 1<<c.shift
		}
		if part > 1 && gap < lower/100 {
			continue
		}
		c.best = c.cost
		if part > 1 {
			c.best = lower + gap/part
		}
		if c.top <= c.best && c.fix() {
			c.rank()
			if !c.node(0) {
				return lower, false
			}
		}
		if c.cost <= c.best {
			return c.cost, true
		}
		c.undo(mark)
		lower = c.best + 1
		c.lower(0, 0)
	}
	return infinite, true
}

// start follows what is forced before any choice.
func (c *core) start() bool {
	for g := range c.group {
		g := int32(g)
		switch {
		case c.state[g] == waiting && (c.cnt[g] == 0 || c.causes[g] == 0):
			if !c.exclude(g) {
				return false
			}
		case c.state[g] == active && c.cnt[g] == 0:
			return false
		case c.state[g] == active && c.cnt[g] == 1:
			if !c.choose(c.list[c.gAt[g]]) {
				return false
			}
		}
	}
	for r := range c.rSrc {
		if !c.tighten(int32(r)) {
			return false
		}
	}
	return true
}

// node searches the current state below the given depth. It returns false when the limit stopped it.
func (c *core) node(depth int) bool {
	for {
		if c.first && c.found {
			return true
		}
		if !c.lim.more() {
			return false
		}
		if !c.free() {
			return true
		}
		if g, r := c.branch(); g < 0 && r < 0 {
			c.record()
			return true
		}
		lower := c.lower(2, 0.5)
		if lower > c.best || lower > c.best-1<<c.shift && c.hopeless() {
			return true
		}
		if !c.fix() || !c.free() {
			return true
		}
		mark := len(c.trail)
		g, r := c.branch()
		if g < 0 && r < 0 {
			c.record()
			return true
		}
		// The first branch chooses an option, or buys enough of an item; the second forbids it.
		item := c.undecided()
		var ok bool
		option := int32(-1)
		most := int64(0)
		switch {
		case item >= 0:
			most = 1
			ok = c.take(item, 1)
		case g >= 0:
			option = c.promising(g)
			item = c.facility(option)
			ok = c.choose(option)
		default:
			item = c.supplier(r)
			most = c.lo[item] + c.enough(item, r)
			ok = c.take(item, most-c.lo[item])
		}
		if ok {
			c.level(depth + 1)
			if !c.node(depth + 1) {
				return false
			}
			c.back(depth)
		}
		c.undo(mark)
		if option >= 0 && !c.remove(option) || item >= 0 && !c.limit(item, max(most-1, c.lo[item])) {
			return true
		}
	}
}

// undecided returns the item that supplies several resources of whose price the bound pays most, -1 when it pays
// half of none: whether such an item is bought decides for several groups at once.
func (c *core) undecided() int32 {
	best, most := int32(-1), 0.5
	for _, i := range c.items {
		if len(c.supplies(i)) > 1 && c.lo[i] == 0 && c.hi[i] > 0 {
			if paid := min(1, float64(c.load[i]+c.rate[i])/float64(c.packs(i, 1))); paid > most {
				best, most = i, paid
			}
		}
	}
	return best
}

// branch returns the group to branch on, a dear one with few options, or else a resource that lacks supply.
func (c *core) branch() (group, resource int32) {
	group, resource = -1, -1
	best := 0.0
	for g := range c.group {
		if c.state[g] == active {
			if score := float64(c.v[g]+1) / float64(c.cnt[g]*c.cnt[g]); score > best {
				group, best = int32(g), score
			}
		}
	}
	if group < 0 {
		for _, r := range c.loose {
			if c.net[r] < 0 {
				return -1, r
			}
		}
	}
	return group, resource
}

// promising returns the option of a group that raises the bound least.
func (c *core) promising(g int32) int32 {
	best, least := int32(-1), int64(math.MaxInt64)
	for _, o := range c.live(g) {
		score := c.val[o]
		for _, d := range c.demands(o) {
			if c.net[d.res] >= d.units {
				continue
			}
			if i := c.supplier(d.res); i >= 0 {
				score += c.packs(i, 1) - c.worth(i)
			}
		}
		if score < least {
			best, least = o, score
		}
	}
	return best
}

// worth is what the bound would pay for a pack of an item: the prices of the groups and resources still open.
func (c *core) worth(i int32) int64 {
	worth := int64(0)
	for _, s := range c.supplies(i) {
		if !c.whole[s.res] || c.net[s.res] < 0 {
			worth += c.pi[s.res] * min(s.units, max(0, -c.net[s.res]))
		}
		if c.whole[s.res] && c.net[s.res] <= 0 {
			for _, o := range c.uOpt[c.uAt[s.res]:c.uAt[s.res+1]] {
				if g := c.oGroup[o]; c.state[g] == active && c.isLive(o) {
					worth += max(0, c.fill[g]-c.val[o])
				}
			}
		}
	}
	return worth
}

// supplier returns the item that supplies a resource at the least reduced cost.
func (c *core) supplier(r int32) int32 {
	best := int32(-1)
	for _, s := range c.suppliers(r) {
		if !c.closed(s.item) && (best < 0 || c.rc[s.item] < c.rc[best]) {
			best = s.item
		}
	}
	return best
}

// enough is the number of packs of an item that meets what a resource lacks, or as many as can be bought.
func (c *core) enough(i, r int32) int64 {
	for _, s := range c.suppliers(r) {
		if s.item == i {
			return min(ceilDiv(-c.net[r], s.units), c.hi[i]-c.lo[i])
		}
	}
	return 0
}

// free chooses options that cost least in their group and ask for nothing not already bought: every selection
// stays as good with them.
func (c *core) free() bool {
	if c.zero {
		return true
	}
	for _, o := range c.plain {
		if !c.settleFree(o) {
			return false
		}
	}
	for n := 0; n < len(c.taken); n++ { // choosing may buy more
		for _, d := range c.supplies(c.taken[n]) {
			for _, o := range c.uOpt[c.uAt[d.res]:c.uAt[d.res+1]] {
				if !c.settleFree(o) {
					return false
				}
			}
		}
	}
	return true
}

// settleFree chooses an option if free may.
func (c *core) settleFree(o int32) bool {
	return c.state[c.oGroup[o]] != active || !c.isLive(o) || !c.harmless(o) || !c.cheapest(o) || c.choose(o)
}

// cheapest says whether exchanging any live option of the group for this one saves cost or changes no purchase.
func (c *core) cheapest(o int32) bool {
	for _, x := range c.live(c.oGroup[o]) {
		if c.oCost[x] < c.oCost[o] || x != o && c.oCost[x] == c.oCost[o] && (c.oBuys[x] || c.oBuys[o]) {
			return false
		}
	}
	return true
}

// harmless says whether choosing an option changes nothing but its own group.
func (c *core) harmless(o int32) bool {
	if len(c.triggers(o)) > 0 {
		return false
	}
	for _, d := range c.demands(o) {
		if !c.whole[d.res] || c.net[d.res] < d.units {
			return false
		}
	}
	for _, x := range c.conflicts(o) {
		if c.isLive(x) && c.oGroup[x] != c.oGroup[o] {
			return false
		}
	}
	return true
}

// facility returns the item that may be closed when an option is discarded after its branch was searched: if
// every selection that buys the item could switch to the option at no cost, all of them were in that branch.
func (c *core) facility(o int32) int32 {
	ds := c.demands(o)
	if c.zero || len(ds) != 1 || len(c.triggers(o)) > 0 {
		return -1
	}
	r := ds[0].res
	sup := c.suppliers(r)
	if !c.whole[r] || c.net[r] >= ds[0].units || len(sup) != 1 || len(c.supplies(sup[0].item)) != 1 || !c.cheapest(o) {
		return -1
	}
	// Each conflict of the option must bind every other option that would have the item bought.
	for _, x := range c.conflicts(o) {
		if !c.isLive(x) {
			continue
		}
		for _, other := range c.uOpt[c.uAt[r]:c.uAt[r+1]] {
			if other != o && c.isLive(other) && c.oGroup[other] != c.oGroup[x] && c.oGroup[other] != c.oGroup[o] && !slices.Contains(c.conflicts(other), x) {
				return -1
			}
		}
	}
	return sup[0].item
}

// dive makes one selection greedily, guided by the bound.
func (c *core) dive() {
	mark := len(c.trail)
	defer func() { c.undo(mark) }()
	for {
		if !c.free() {
			return
		}
		g, r := c.branch()
		switch {
		case g >= 0:
			if !c.choose(c.promising(g)) {
				return
			}
		case r >= 0:
			if i := c.supplier(r); !c.take(i, c.enough(i, r)) {
				return
			}
		default:
			c.record()
			return
		}
	}
}

// record keeps the current state as the best selection if it is one.
func (c *core) record() {
	if c.zero && !c.first && c.redundant() {
		return
	}
	if c.paid > c.best || c.paid == c.cost && !c.better() {
		return
	}
	c.found, c.best, c.cost = true, c.paid, c.paid
	c.bought = append(c.bought[:0], c.lo...)
	c.picked = c.picked[:0]
	for g := range c.group {
		o := int32(-1)
		if c.state[g] == decided {
			o = c.chosen[g]
		}
		c.picked = append(c.picked, o)
	}
	if c.sorted {
		c.rerank()
	}
}

// redundant says whether a pack could be left out. Only packs that cost nothing are tried: others would not be
// in a best selection.
func (c *core) redundant() bool {
	for i := range c.lo {
		if c.lo[i] == 0 || c.unit[i] > 0 {
			continue
		}
		needed := false
		for _, s := range c.supplies(int32(i)) {
			needed = needed || c.net[s.res] < s.units
		}
		if !needed {
			return true
		}
	}
	return false
}

// rank lists the items that decide between selections of equal cost, by SKU.
func (c *core) rank() {
	c.lex = c.lex[:0]
	for i := range c.iSrc {
		if c.hi[i] > 0 {
			c.lex = append(c.lex, lexItem{item: c.iSrc[i], core: int32(i)})
		}
	}
	for g := range c.group {
		start := len(c.lex)
		for _, o := range c.live(int32(g)) {
			for _, d := range c.w.demands(c.oSrc[o]) {
				if c.w.fold[d.res] {
					item, _ := c.w.folded(d)
					if !slices.ContainsFunc(c.lex[start:], func(x lexItem) bool { return x.item == item }) {
						c.lex = append(c.lex, lexItem{item: item, core: -1, grp: int32(g)})
					}
				}
			}
		}
	}
	c.sorted = false
}

// ranked sorts the list the first time two selections of equal cost meet.
func (c *core) ranked() []lexItem {
	if !c.sorted {
		c.sorted = true
		slices.SortFunc(c.lex, func(a, b lexItem) int {
			if c.w.skuLess(a.item, b.item) {
				return -1
			}
			return 1
		})
		c.rerank()
	}
	return c.lex
}

// rerank notes what the best selection buys.
func (c *core) rerank() {
	for n := range c.lex {
		x := &c.lex[n]
		x.best = 0
		if x.core >= 0 {
			x.best = c.bought[x.core]
		} else if o := c.picked[x.grp]; o >= 0 {
			x.best = c.foldedPacks(o, x.item)
		}
	}
}

func (c *core) foldedPacks(o, item int32) int64 {
	for _, d := range c.w.demands(c.oSrc[o]) {
		if c.w.fold[d.res] {
			if i, n := c.w.folded(d); i == item {
				return n
			}
		}
	}
	return 0
}

// packsAllowed returns the fewest and most packs of an item that the current state allows.
func (c *core) packsAllowed(x *lexItem) (least, most int64) {
	switch {
	case x.core >= 0:
		return c.lo[x.core], c.hi[x.core]
	case c.state[x.grp] == decided:
		n := c.foldedPacks(c.chosen[x.grp], x.item)
		return n, n
	case c.state[x.grp] == excluded:
		return 0, 0
	}
	return 0, math.MaxInt32
}

// better compares the finished current state with the best selection of the same cost.
func (c *core) better() bool {
	list := c.ranked()
	for n := range list {
		x := &list[n]
		if k, _ := c.packsAllowed(x); k != x.best {
			return less(k, x.best)
		}
	}
	return false
}

// hopeless says whether no selection in the current state comes before the best one of the same cost.
func (c *core) hopeless() bool {
	if c.cost > c.best {
		return false
	}
	list := c.ranked()
	for n := range list {
		x := &list[n]
		lo, hi := c.packsAllowed(x)
		k := min(max(lo, 1), hi)
		if less(k, x.best) {
			return false
		}
		if k != x.best {
			return true
		}
	}
	return true
}
