package pick

import (
	"math"
	"slices"
)

// A core is one connected component in its own dense numbering, and the state of the search over it. Costs in it
// are scaled up by 1<<shift, so that prices per unit keep some precision as integers.
type core struct {
	w     *work
	shift uint
	zero  bool // some item costs nothing per pack, so equal cost does not mean equal purchases

	// Groups.
	group  []int32 // index in the problem
	gAt    []int32 // options of group g: gAt[g]..gAt[g+1]
	parent []int32 // a group whose options activate it, -1 none
	order  []int32 // When references first

	// Options.
	oGroup []int32
	oSrc   []int32 // number in the work
	oCost  []int64
	oItem  []int32 // the item it needs a pack of, if that is all it needs, nothing else supplies it and no other option of its group needs it; else -1
	plain  []int32 // options that demand nothing
	oBuys  []bool  // has folded demands: choosing it buys something
	dAt    []int32
	dem    []demand
	cAt    []int32 // conflicting options
	cOpt   []int32
	tAt    []int32 // groups it activates
	tGroup []int32
	wAt    []int32 // options that activate the group
	wOpt   []int32

	// Resources.
	rSrc  []int32
	sAt   []int32
	sup   []supply
	uAt   []int32 // options that demand it
	uOpt  []int32
	peak  []int64 // largest single demand
	whole []bool  // any one pack of any supplier is enough for all groups together, and nothing less is for any
	twice []bool  // two options of one group demand it
	loose []int32 // resources that are not whole with a single supplier

	// Items.
	iSrc   []int32
	unit   []int64
	charge []int64
	above  []int64
	mask   []uint64
	iAt    []int32
	iSup   []demand // resource and units per pack

	// Local numbers of the problem's things, valid for the things of this component.
	localG, localO, localR, localI []int32

	// State. Live options of g are list[gAt[g]:gAt[g]+cnt[g]]; removal swaps to the end, so undoing is counting up.
	list, at []int32
	cnt      []int32
	state    []state
	chosen   []int32
	causes   []int32 // live options that would activate a waiting group
	net      []int64 // free plus bought less demanded by chosen options
	taken    []int32 // items bought
	avail    []int64 // net plus what can still be bought
	lo, hi   []int64
	paid     int64
	trail    []change

	bound
	search
}

type state uint8

const (
	waiting  state = iota // active only if one of its causes is chosen
	active                // needs an option
	decided               // has its option
	excluded              // inactive for good
)

type change struct {
	kind changeKind
	at   int32
	old  int64
}

type changeKind uint8

const (
	optionRemoved changeKind = iota
	stateSet
	netSet
	availSet
	loSet
	hiSet
	paidSet
)

// reset forgets the local numbers of an earlier problem. Components share nothing, so once per problem is enough.
func (c *core) reset(groups, options, resources, items int) {
	c.localG, c.localO = resize(c.localG, groups), resize(c.localO, options)
	c.localR, c.localI = resize(c.localR, resources), resize(c.localI, items)
	for r := range c.localR {
		c.localR[r] = -1
	}
	for i := range c.localI {
		c.localI[i] = -1
	}
}

// build numbers the component's groups, the options worth keeping, and the resources and items they involve.
func (c *core) build(w *work, groups []int32) {
	p := w.p
	c.w, c.zero = w, false
	c.group = append(c.group[:0], groups...)
	c.gAt, c.oGroup, c.oSrc, c.oCost = append(c.gAt[:0], 0), c.oGroup[:0], c.oSrc[:0], c.oCost[:0]
	c.oBuys = c.oBuys[:0]
	c.dAt, c.dem, c.rSrc = append(c.dAt[:0], 0), c.dem[:0], c.rSrc[:0]
	for lg, g := range groups {
		c.localG[g] = int32(lg)
		plain := w.cheapestPlain(g)
		for o := w.optAt[g]; o < w.optAt[g+1]; o++ {
			c.localO[o] = -1
			if !w.worthwhile(o, plain) {
				continue
			}
			c.localO[o] = int32(len(c.oSrc))
			c.oGroup, c.oSrc, c.oCost = append(c.oGroup, int32(lg)), append(c.oSrc, o), append(c.oCost, w.cost[o])
			c.oBuys = append(c.oBuys, false)
			for _, d := range w.demands(o) {
				if w.fold[d.res] {
					item, _ := w.folded(d)
					c.oBuys[len(c.oBuys)-1] = true
					c.zero = c.zero || p.Items[item].Unit == 0
				} else if w.need[d.res] > w.free[d.res] {
					if c.localR[d.res] < 0 {
						c.localR[d.res] = int32(len(c.rSrc))
						c.rSrc = append(c.rSrc, d.res)
					}
					c.dem = append(c.dem, demand{c.localR[d.res], d.units})
				}
			}
			c.dAt = append(c.dAt, int32(len(c.dem)))
		}
		c.gAt = append(c.gAt, int32(len(c.oSrc)))
	}
	no, ng, nr := len(c.oSrc), len(c.group), len(c.rSrc)

	c.cAt, c.cOpt = append(c.cAt[:0], 0), c.cOpt[:0]
	for _, src := range c.oSrc {
		for _, x := range w.conf[w.confAt[src]:w.confAt[src+1]] {
			if o := c.localO[x]; o >= 0 {
				c.cOpt = append(c.cOpt, o)
			}
		}
		c.cAt = append(c.cAt, int32(len(c.cOpt)))
	}

	// When references, from both ends. A reference to an option that was dropped never fires.
	c.tAt, c.wAt, c.wOpt = resize(c.tAt, no+2), append(c.wAt[:0], 0), c.wOpt[:0]
	c.parent, c.causes, c.state = resize(c.parent, ng), resize(c.causes, ng), resize(c.state, ng)
	for lg, g := range groups {
		c.parent[lg] = -1
		if len(p.Groups[g].When) == 0 {
			c.state[lg] = active
		}
		for _, ref := range p.Groups[g].When {
			if o := c.localO[w.option(ref)]; o >= 0 && !slices.Contains(c.wOpt[c.wAt[lg]:], o) {
				c.wOpt = append(c.wOpt, o)
				c.tAt[o+2]++
				c.causes[lg]++
				c.parent[lg] = c.oGroup[o]
			}
		}
		c.wAt = append(c.wAt, int32(len(c.wOpt)))
	}
	for o := 2; o < no+2; o++ {
		c.tAt[o] += c.tAt[o-1]
	}
	c.tGroup = resize(c.tGroup, len(c.wOpt))
	for lg := range groups {
		for _, o := range c.wOpt[c.wAt[lg]:c.wAt[lg+1]] {
			c.tGroup[c.tAt[o+1]] = int32(lg)
			c.tAt[o+1]++
		}
	}
	c.order = c.order[:0]
	if len(c.wOpt) == 0 {
		for lg := range groups {
			c.order = append(c.order, int32(lg))
		}
	} else {
		for _, g := range w.order {
			if w.root[g] == w.root[groups[0]] {
				c.order = append(c.order, c.localG[g])
			}
		}
	}

	// Resources: suppliers, users, and what is still needed of each after options were dropped.
	c.uAt = resize(c.uAt, nr+2)
	for _, d := range c.dem {
		c.uAt[d.res+2]++
	}
	for r := 2; r < nr+2; r++ {
		c.uAt[r] += c.uAt[r-1]
	}
	c.uOpt, c.peak, c.whole = resize(c.uOpt, len(c.dem)), resize(c.peak, nr), resize(c.whole, nr)
	c.twice = resize(c.twice, nr)
	c.least, c.cap, c.stamp, c.share = resize(c.least, nr), resize(c.cap, nr), resize(c.stamp, nr), resize(c.share, nr)
	for o := range c.oSrc {
		g := c.oGroup[o]
		for _, d := range c.demands(int32(o)) {
			r := d.res
			c.uOpt[c.uAt[r+1]] = int32(o)
			c.uAt[r+1]++
			c.peak[r] = max(c.peak[r], d.units)
			if c.least[r] == 0 || d.units < c.least[r] {
				c.least[r] = d.units
			}
			if c.stamp[r] != g+1 {
				c.stamp[r], c.share[r] = g+1, 0
			} else {
				c.twice[r] = true
			}
			if d.units > c.share[r] {
				c.cap[r] += d.units - c.share[r]
				c.share[r] = d.units
			}
		}
	}
	c.net, c.avail = resize(c.net, nr), resize(c.avail, nr)
	c.sAt, c.sup = append(c.sAt[:0], 0), c.sup[:0]
	c.iSrc, c.unit, c.charge, c.above = c.iSrc[:0], c.unit[:0], c.charge[:0], c.above[:0]
	c.lo, c.hi = c.lo[:0], c.hi[:0]
	for r, src := range c.rSrc {
		c.net[r] = w.free[src]
		c.whole[r] = c.net[r] < c.least[r]
		for _, s := range w.suppliers(src) {
			i := c.localI[s.item]
			it := &p.Items[s.item]
			if i < 0 {
				i = int32(len(c.iSrc))
				c.localI[s.item] = i
				c.iSrc = append(c.iSrc, s.item)
				c.unit, c.charge, c.above = append(c.unit, it.Unit), append(c.charge, it.Charge), append(c.above, int64(it.ChargeAbove))
				c.lo, c.hi = append(c.lo, 0), append(c.hi, 0)
				c.zero = c.zero || it.Unit == 0
			}
			c.sup = append(c.sup, supply{i, s.units})
			c.whole[r] = c.whole[r] && s.units+c.net[r] >= c.cap[r]
			most := int64(math.MaxInt32)
			if it.Max > 0 {
				most = int64(it.Max)
			}
			c.hi[i] = max(c.hi[i], min(most, ceilDiv(c.cap[r]-c.net[r], s.units)))
		}
		c.sAt = append(c.sAt, int32(len(c.sup)))
	}
	ni := len(c.iSrc)
	c.iAt = resize(c.iAt, ni+2)
	for _, s := range c.sup {
		c.iAt[s.item+2]++
	}
	for i := 2; i < ni+2; i++ {
		c.iAt[i] += c.iAt[i-1]
	}
	c.iSup = resize(c.iSup, len(c.sup))
	for r := 0; r < nr; r++ {
		c.avail[r] = c.net[r]
		for _, s := range c.sup[c.sAt[r]:c.sAt[r+1]] {
			c.iSup[c.iAt[s.item+1]] = demand{int32(r), s.units}
			c.iAt[s.item+1]++
			c.avail[r] += s.units * c.hi[s.item]
		}
	}

	c.loose = c.loose[:0]
	for r := range c.rSrc {
		if !c.whole[r] || c.sAt[r+1]-c.sAt[r] > 1 {
			c.loose = append(c.loose, int32(r))
		}
	}
	c.oItem, c.plain, c.taken = resize(c.oItem, no), c.plain[:0], c.taken[:0]
	for o := range c.oItem {
		c.oItem[o] = -1
		if c.dAt[o] == c.dAt[o+1] {
			c.plain = append(c.plain, int32(o))
		}
		if ds := c.demands(int32(o)); len(ds) == 1 && len(c.triggers(int32(o))) == 0 {
			if sup := c.suppliers(ds[0].res); c.whole[ds[0].res] && !c.twice[ds[0].res] && len(sup) == 1 {
				c.oItem[o] = sup[0].item
			}
		}
	}
	// Scale costs.
	dearest := int64(0)
	for _, cost := range c.oCost {
		dearest = max(dearest, cost)
	}
	total := float64(dearest) * float64(ng)
	for i := range c.unit {
		total += float64(c.unit[i])*float64(c.hi[i]) + float64(c.charge[i])
	}
	for c.shift = 0; c.shift < 10 && total*float64(int64(2)<<c.shift) < 1<<48; {
		c.shift++
	}
	for o := range c.oCost {
		c.oCost[o] <<= c.shift
	}
	for i := range c.unit {
		c.unit[i] <<= c.shift
		c.charge[i] <<= c.shift
	}

	c.list, c.at, c.cnt, c.chosen = resize(c.list, no), resize(c.at, no), resize(c.cnt, ng), resize(c.chosen, ng)
	for o := range c.list {
		c.list[o], c.at[o] = int32(o), int32(o)
	}
	for g := range c.cnt {
		c.cnt[g] = c.gAt[g+1] - c.gAt[g]
		c.chosen[g] = -1
	}
	c.paid, c.trail = 0, c.trail[:0]
}

// cheapestPlain returns the best option of g that touches nothing else: it stands for all others like it.
func (w *work) cheapestPlain(g int32) int32 {
	best := int32(-1)
	for o := w.optAt[g]; o < w.optAt[g+1]; o++ {
		if w.usable[o] && !w.tied[o] &&
			(best < 0 || w.cost[o] < w.cost[best] || w.cost[o] == w.cost[best] && w.lessBuy(o, best)) {
			best = o
		}
	}
	return best
}

func (c *core) demands(o int32) []demand   { return c.dem[c.dAt[o]:c.dAt[o+1]] }
func (c *core) conflicts(o int32) []int32  { return c.cOpt[c.cAt[o]:c.cAt[o+1]] }
func (c *core) triggers(o int32) []int32   { return c.tGroup[c.tAt[o]:c.tAt[o+1]] }
func (c *core) suppliers(r int32) []supply { return c.sup[c.sAt[r]:c.sAt[r+1]] }
func (c *core) supplies(i int32) []demand  { return c.iSup[c.iAt[i]:c.iAt[i+1]] }
func (c *core) live(g int32) []int32       { return c.list[c.gAt[g] : c.gAt[g]+c.cnt[g]] }
func (c *core) isLive(o int32) bool        { return c.at[o] < c.gAt[c.oGroup[o]]+c.cnt[c.oGroup[o]] }
func (c *core) closed(i int32) bool        { return c.lo[i] == c.hi[i] }
func (c *core) note(k changeKind, at int32, old int64) {
	c.trail = append(c.trail, change{k, at, old})
}

// cost of buying k packs of item i beyond those bought already.
func (c *core) packs(i int32, k int64) int64 {
	cost := c.unit[i] * k
	if c.lo[i] <= c.above[i] && c.lo[i]+k > c.above[i] {
		cost += c.charge[i]
	}
	return cost
}

// undo takes back everything noted since the trail had the given length.
func (c *core) undo(mark int) {
	for n := len(c.trail) - 1; n >= mark; n-- {
		ch := &c.trail[n]
		switch ch.kind {
		case optionRemoved:
			c.cnt[c.oGroup[ch.at]]++
			for _, h := range c.triggers(ch.at) {
				c.causes[h]++
			}
		case stateSet:
			c.state[ch.at] = state(ch.old)
		case netSet:
			c.net[ch.at] = ch.old
		case availSet:
			c.avail[ch.at] = ch.old
		case loSet:
			if c.lo[ch.at] = ch.old; ch.old == 0 {
				c.taken = c.taken[:len(c.taken)-1]
			}
		case hiSet:
			c.hi[ch.at] = ch.old
		case paidSet:
			c.paid = ch.old
		}
	}
	c.trail = c.trail[:mark]
}

// The methods below change the state and follow what the change forces. They return false when the state cannot
// lead to a selection at most as dear as the best known one.

func (c *core) pay(cost int64) bool {
	if cost != 0 {
		c.note(paidSet, 0, c.paid)
		c.paid += cost
	}
	return c.paid <= c.best
}

// remove takes an option out.
func (c *core) remove(o int32) bool {
	if !c.isLive(o) {
		return true
	}
	g := c.oGroup[o]
	if c.state[g] == decided && c.chosen[g] == o {
		return false
	}
	end := c.gAt[g] + c.cnt[g] - 1
	other, at := c.list[end], c.at[o]
	c.list[end], c.list[at] = o, other
	c.at[o], c.at[other] = end, at
	c.cnt[g]--
	c.note(optionRemoved, o, 0)
	for _, h := range c.triggers(o) {
		c.causes[h]--
	}
	for _, h := range c.triggers(o) {
		if c.state[h] == waiting && c.causes[h] == 0 && !c.exclude(h) {
			return false
		}
	}
	switch {
	case c.state[g] == active && c.cnt[g] == 0:
		return false
	case c.state[g] == active && c.cnt[g] == 1:
		return c.choose(c.list[c.gAt[g]])
	case c.state[g] == waiting && c.cnt[g] == 0:
		return c.exclude(g)
	}
	return true
}

// exclude settles that a waiting group stays inactive: none of its causes can be chosen any more.
func (c *core) exclude(g int32) bool {
	c.note(stateSet, g, int64(c.state[g]))
	c.state[g] = excluded
	for _, o := range c.wOpt[c.wAt[g]:c.wAt[g+1]] {
		if !c.remove(o) {
			return false
		}
	}
	for c.cnt[g] > 0 {
		if !c.remove(c.list[c.gAt[g]+c.cnt[g]-1]) {
			return false
		}
	}
	return true
}

// choose settles a group.
func (c *core) choose(o int32) bool {
	g := c.oGroup[o]
	if !c.isLive(o) || c.state[g] == excluded {
		return false
	}
	if c.state[g] == decided {
		return c.chosen[g] == o
	}
	c.note(stateSet, g, int64(c.state[g]))
	c.state[g], c.chosen[g] = decided, o
	if !c.pay(c.oCost[o]) {
		return false
	}
	for _, h := range c.triggers(o) {
		if c.state[h] == waiting {
			c.note(stateSet, h, int64(waiting))
			c.state[h] = active
			if c.cnt[h] == 0 || c.cnt[h] == 1 && !c.choose(c.list[c.gAt[h]]) {
				return false
			}
		}
	}
	for c.cnt[g] > 1 {
		other := c.list[c.gAt[g]+c.cnt[g]-1]
		if other == o {
			other = c.list[c.gAt[g]+c.cnt[g]-2]
		}
		if !c.remove(other) {
			return false
		}
	}
	for _, other := range c.conflicts(o) {
		if !c.remove(other) {
			return false
		}
	}
	for _, d := range c.demands(o) {
		c.note(netSet, d.res, c.net[d.res])
		c.net[d.res] -= d.units
		c.note(availSet, d.res, c.avail[d.res])
		c.avail[d.res] -= d.units
		if !c.tighten(d.res) || !c.supplyLast(d.res) {
			return false
		}
	}
	return true
}

// tighten removes the options that demand more of a resource than can still be had.
func (c *core) tighten(r int32) bool {
	if c.avail[r] >= c.peak[r] {
		return true
	}
	if c.avail[r] < 0 {
		return false
	}
	for _, o := range c.uOpt[c.uAt[r]:c.uAt[r+1]] {
		s := c.state[c.oGroup[o]]
		if s != decided && c.isLive(o) && c.units(o, r) > c.avail[r] && !c.remove(o) {
			return false
		}
	}
	return true
}

func (c *core) units(o, r int32) int64 {
	for _, d := range c.demands(o) {
		if d.res == r {
			return d.units
		}
	}
	return 0
}

// supplyLast buys what a resource lacks when only one item can still supply it.
func (c *core) supplyLast(r int32) bool {
	if c.net[r] >= 0 {
		return true
	}
	only := supply{item: -1}
	for _, s := range c.suppliers(r) {
		if !c.closed(s.item) {
			if only.item >= 0 {
				return true
			}
			only = s
		}
	}
	return only.item >= 0 && c.take(only.item, ceilDiv(-c.net[r], only.units))
}

// take buys k more packs.
func (c *core) take(i int32, k int64) bool {
	if c.lo[i]+k > c.hi[i] || !c.pay(c.packs(i, k)) {
		return false
	}
	c.note(loSet, i, c.lo[i])
	if c.lo[i] == 0 {
		c.taken = append(c.taken, i)
	}
	c.lo[i] += k
	for _, s := range c.supplies(i) {
		c.note(netSet, s.res, c.net[s.res])
		c.net[s.res] += k * s.units
	}
	return true
}

// close settles that no more packs of an item are bought.
func (c *core) close(i int32) bool { return c.limit(i, c.lo[i]) }

// limit settles that at most so many packs of an item are bought.
func (c *core) limit(i int32, most int64) bool {
	gone := c.hi[i] - most
	if gone <= 0 {
		return true
	}
	c.note(hiSet, i, c.hi[i])
	c.hi[i] = most
	for _, s := range c.supplies(i) {
		c.note(availSet, s.res, c.avail[s.res])
		c.avail[s.res] -= gone * s.units
	}
	for _, s := range c.supplies(i) {
		if !c.tighten(s.res) || !c.supplyLast(s.res) {
			return false
		}
	}
	return true
}

// dominate closes the items that another one replaces everywhere at less cost, or at the same cost by a smaller
// SKU. It looks at items that single options need and that serve nothing else.
func (c *core) dominate() bool {
	if c.zero {
		return true
	}
	c.mask = resize(c.mask, len(c.iSrc))
	for i := range c.mask {
		c.mask[i] = c.groupMask(int32(i))
	}
	for i, mask := range c.mask {
		i := int32(i)
		if mask == 0 {
			continue
		}
		users := c.users(i)
		fewest := users[0]
		for _, o := range users {
			if c.cnt[c.oGroup[o]] < c.cnt[c.oGroup[fewest]] {
				fewest = o
			}
		}
		cost := c.packs(i, 1)
		for _, o := range c.live(c.oGroup[fewest]) {
			if j := c.oItem[o]; j >= 0 && mask&^c.mask[j] == 0 && c.packs(j, 1) <= cost && j != i && c.replaces(j, i) {
				if !c.close(i) {
					return false
				}
				break
			}
		}
	}
	return true
}

// groupMask returns a set of the groups, modulo 64, whose options need an item, or 0 if the item is bought, closed,
// or serves anything but options that need nothing else.
func (c *core) groupMask(i int32) uint64 {
	if c.closed(i) || c.lo[i] > 0 || len(c.supplies(i)) != 1 {
		return 0
	}
	mask := uint64(0)
	for _, o := range c.users(i) {
		if c.oItem[o] != i {
			return 0
		}
		if c.isLive(o) {
			mask |= 1 << (c.oGroup[o] % 64)
		}
	}
	return mask
}

// users returns the options that demand what an item that supplies one resource supplies.
func (c *core) users(i int32) []int32 {
	r := c.iSup[c.iAt[i]].res
	return c.uOpt[c.uAt[r]:c.uAt[r+1]]
}

// replaces says whether every selection that buys i is worse than the same with j instead.
func (c *core) replaces(j, i int32) bool {
	cj, ci := c.packs(j, 1), c.packs(i, 1)
	if c.closed(j) || cj > ci || cj == ci && !c.w.skuLess(c.iSrc[j], c.iSrc[i]) {
		return false
	}
	js := c.users(j)
	n := 0
	for _, o := range c.users(i) {
		if !c.isLive(o) {
			continue
		}
		g := c.oGroup[o]
		for n < len(js) && c.oGroup[js[n]] < g {
			n++
		}
		if n == len(js) || c.oGroup[js[n]] != g || c.oItem[js[n]] != j || !c.isLive(js[n]) {
			return false
		}
		if x := js[n]; c.oCost[x] > c.oCost[o] || c.oCost[x] == c.oCost[o] && (c.oBuys[x] || c.oBuys[o]) {
			return false
		}
		for _, x := range c.conflicts(js[n]) {
			if c.isLive(x) && c.oGroup[x] != g && !slices.Contains(c.conflicts(o), x) {
				return false
			}
		}
	}
	return true
}
