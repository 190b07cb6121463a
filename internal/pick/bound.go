package pick

import "math"

// A bound computes Lagrangean lower bounds of the current state.
//
// Two kinds of constraint are priced instead of enforced. For a group that would choose an option demanding a
// whole resource (see core.whole) not yet bought: some supplier must be bought; together these prices make every
// such option cost at least the multiplier of its group, as in the dual of a plant location problem. For any
// other resource: packs times units cover the demand; its multiplier is a price per unit. What is left falls
// apart into single groups and single items and is minimised exactly. Everything that proves something is
// computed in integers; only the step sizes are floating point.
type bound struct {
	u    []int64 // multipliers of all levels of the search: groups, then resources, per level
	v    []int64 // multipliers of groups, of the current level
	pi   []int64 // multipliers of resources, of the current level
	keep []int64 // best multipliers seen
	top  int64   // bound that the current multipliers, val, fill and rc belong to
	most int64   // multipliers stay below this, so that no sum overflows

	need  []int64 // root demand plus free per resource, at least 1
	cap   []int64 // what a resource may still lack at most
	least []int64 // smallest single demand
	share []int64 // price of a resource within the group being priced
	stamp []int32 // group that share belongs to

	// The live part of the state, gathered once per node.
	groups []liveGroup // When references last
	opts   []liveOption
	single []liveSingle
	needs  []int32  // whole resources to be bought
	prices []demand // demands on priced resources
	rows   []int32  // priced resources
	items  []int32  // items that can still be bought and matter
	seen   []bool   // item is in items

	val  []int64 // value of each live option
	fill []int64 // value of each live group
	rc   []int64 // what buying an item adds to the bound at least, negative when the bound buys it
	buys []int64 // packs of each item in the bound
	load []int64
	rate []int64
	sub  []float64 // ascent direction: groups, then resources
	on   []bool    // group is active in the bound
	sel  []int32   // option of a group in the bound
}

type liveGroup struct {
	g          int32
	start, end int32 // its options in opts
	at, to     int32 // and in single
	sel        int32 // cheapest of the latter, -1 none
	active     bool
}

// A liveSingle is an option that needs a pack of one item and nothing else: the common case, kept apart for speed.
type liveSingle struct {
	o, item int32
	cost    int64
}

type liveOption struct {
	o                 int32
	needAt, needEnd   int32
	priceAt, priceEnd int32
	activates         bool // adds the values of waiting groups
}

func (c *core) initBound() {
	ng, nr, ni, no := len(c.group), len(c.rSrc), len(c.iSrc), len(c.oSrc)
	c.u = resize(c.u, ng+nr)
	c.keep = resize(c.keep, ng+nr)
	c.sub = resize(c.sub, ng+nr)
	c.need = resize(c.need, nr)
	c.stamp = resize(c.stamp, nr)
	c.seen, c.rc, c.buys, c.load, c.rate = resize(c.seen, ni), resize(c.rc, ni), resize(c.buys, ni), resize(c.load, ni), resize(c.rate, ni)
	c.val, c.fill, c.on, c.sel = resize(c.val, no), resize(c.fill, ng), resize(c.on, ng), resize(c.sel, ng)
	c.most = maxTotal / int64(ng+nr+2)
	for r := range c.need {
		c.need[r] = c.cap[r] + c.net[r] + 1
	}
	c.items = c.items[:0]
	c.level(0)

	// Start where each item's cost is shared evenly among the options that could use it.
	for r := range c.rSrc {
		if !c.whole[r] {
			cheapest := int64(math.MaxInt64)
			for _, s := range c.suppliers(int32(r)) {
				units := min(s.units, max(1, c.cap[r]-c.net[r]))
				cheapest = min(cheapest, c.packs(s.item, 1)/units)
			}
			if cheapest < math.MaxInt64 {
				c.pi[r] = min(cheapest, c.most/c.need[r])
			}
		}
	}
	for i := range c.rc {
		users := 0
		for _, s := range c.supplies(int32(i)) {
			users += int(c.uAt[s.res+1] - c.uAt[s.res])
		}
		c.rc[i] = c.packs(int32(i), 1) / int64(users)
	}
	for g := range c.group {
		least := int64(math.MaxInt64)
		for _, o := range c.live(int32(g)) {
			value := c.oCost[o]
			for _, d := range c.demands(o) {
				if !c.whole[d.res] {
					value += c.pi[d.res] * d.units
					continue
				}
				cheapest := int64(math.MaxInt64)
				for _, s := range c.suppliers(d.res) {
					cheapest = min(cheapest, c.rc[s.item])
				}
				value += cheapest
			}
			least = min(least, value)
		}
		c.v[g] = min(least, c.most)
	}
}

// level makes the multipliers of a level of the search current, starting from those of the level above.
func (c *core) level(depth int) {
	n := len(c.group) + len(c.rSrc)
	for len(c.u) < (depth+1)*n {
		c.u = append(c.u, 0)
	}
	at := c.u[depth*n : (depth+1)*n]
	if depth > 0 {
		copy(at, c.u[(depth-1)*n:depth*n])
	}
	c.back(depth)
}

// back makes the multipliers of a level current again.
func (c *core) back(depth int) {
	n := len(c.group) + len(c.rSrc)
	at := c.u[depth*n : (depth+1)*n]
	c.v, c.pi = at[:len(c.group)], at[len(c.group):]
}

// gather lists what is live.
func (c *core) gather() {
	for _, i := range c.items {
		c.seen[i] = false
	}
	c.groups, c.opts, c.needs, c.prices, c.rows, c.items = c.groups[:0], c.opts[:0], c.needs[:0], c.prices[:0], c.rows[:0], c.items[:0]
	c.single = c.single[:0]
	for _, r := range c.loose {
		c.cap[r] = -c.net[r]
		if c.whole[r] {
			c.cap[r] = max(0, -c.net[r])
		}
		c.stamp[r] = -1
	}
	for n := len(c.order) - 1; n >= 0; n-- {
		g := c.order[n]
		if c.state[g] == decided || c.state[g] == excluded ||
			c.state[g] == waiting && c.state[c.parent[g]] != active && c.state[c.parent[g]] != waiting {
			continue
		}
		live := liveGroup{g: g, start: int32(len(c.opts)), at: int32(len(c.single)), sel: -1, active: c.state[g] == active}
		for _, o := range c.live(g) {
			if i := c.oItem[o]; i >= 0 && c.lo[i] == 0 {
				c.single = append(c.single, liveSingle{o, i, c.oCost[o]})
				c.val[o] = c.oCost[o]
				if live.sel < 0 || c.oCost[o] < c.oCost[live.sel] {
					live.sel = o
				}
				if !c.seen[i] {
					c.seen[i] = true
					c.items = append(c.items, i)
				}
				continue
			}
			lo := liveOption{o: o, needAt: int32(len(c.needs)), priceAt: int32(len(c.prices)), activates: c.tAt[o] < c.tAt[o+1]}
			for _, d := range c.demands(o) {
				r := d.res
				if c.whole[r] {
					if c.net[r] < d.units {
						c.needs = append(c.needs, r)
						c.see(r)
					}
					continue
				}
				c.prices = append(c.prices, d)
				if c.stamp[r] != g {
					c.stamp[r], c.share[r] = g, 0
				}
				if d.units > c.share[r] {
					c.cap[r] += d.units - c.share[r]
					c.share[r] = d.units
				}
			}
			lo.needEnd, lo.priceEnd = int32(len(c.needs)), int32(len(c.prices))
			c.opts = append(c.opts, lo)
		}
		live.end, live.to = int32(len(c.opts)), int32(len(c.single))
		c.groups = append(c.groups, live)
	}
	for _, r := range c.loose {
		if c.cap[r] > 0 {
			c.rows = append(c.rows, r)
			c.see(r)
		} else {
			c.pi[r] = 0
		}
		c.stamp[r] = -1
	}
	for _, r := range c.needs {
		c.stamp[r] = -1
	}
}

func (c *core) see(r int32) {
	for _, s := range c.suppliers(r) {
		if !c.seen[s.item] && !c.closed(s.item) {
			c.seen[s.item] = true
			c.items = append(c.items, s.item)
		}
	}
}

// price computes the bound for the current multipliers, and with it val, fill, rc, buys.
func (c *core) price() int64 {
	for _, i := range c.items {
		c.load[i], c.rate[i] = 0, 0
	}
	total := c.paid
	for _, r := range c.rows {
		pi := c.pi[r]
		if pi == 0 {
			continue
		}
		total -= pi * c.net[r]
		for _, s := range c.suppliers(r) {
			c.rate[s.item] += pi * min(s.units, c.cap[r])
		}
	}
	for n := range c.groups {
		lg := &c.groups[n]
		g := lg.g
		free, cheapest := int64(math.MaxInt64), int64(math.MaxInt64)
		sel := lg.sel
		if sel >= 0 {
			cheapest = c.val[sel]
		}
		for k := lg.start; k < lg.end; k++ {
			lo := &c.opts[k]
			val := c.oCost[lo.o]
			for _, d := range c.prices[lo.priceAt:lo.priceEnd] {
				val += c.pi[d.res] * d.units
			}
			if lo.activates {
				for _, h := range c.triggers(lo.o) {
					if c.state[h] == waiting && c.parent[h] == g {
						val += c.fill[h]
					}
				}
			}
			c.val[lo.o] = val
			if sel < 0 || val < c.val[sel] {
				sel = lo.o
			}
			if lo.needAt == lo.needEnd {
				free = min(free, val)
			} else {
				cheapest = min(cheapest, val)
			}
		}
		v := min(free, max(cheapest, c.v[g]))
		if cheapest == math.MaxInt64 {
			v = free
		}
		c.v[g], c.fill[g], c.sel[g] = min(v, c.most), v, sel
		for k := range c.single[lg.at:lg.to] {
			one := &c.single[int(lg.at)+k]
			if one.cost < v {
				c.load[one.item] += v - one.cost
			}
		}
		for k := lg.start; k < lg.end; k++ {
			lo := &c.opts[k]
			gap := v - c.val[lo.o]
			if lo.needAt == lo.needEnd || gap <= 0 {
				continue
			}
			needs := c.needs[lo.needAt:lo.needEnd]
			each := (gap-1)/int64(len(needs)) + 1
			for _, r := range needs {
				if c.stamp[r] != g {
					c.stamp[r], c.share[r] = g, 0
				}
				if each > c.share[r] {
					for _, s := range c.suppliers(r) {
						c.load[s.item] += each - c.share[r]
					}
					c.share[r] = each
				}
			}
		}
		if lg.active {
			total += v
		}
	}
	for _, r := range c.needs {
		c.stamp[r] = -1
	}
	for _, i := range c.items {
		load, rate := c.load[i], c.rate[i]
		least, k := c.packs(i, 1)-load-rate, int64(1)
		if rate > c.unit[i] {
			for _, n := range [2]int64{c.hi[i] - c.lo[i], c.above[i] - c.lo[i]} {
				if n <= 1 || n > c.hi[i]-c.lo[i] {
					continue
				}
				if rate > maxTotal/n { // would overflow: no useful bound at these multipliers
					least, k = -maxTotal, n
				} else if f := c.packs(i, n) - load - rate*n; f < least {
					least, k = f, n
				}
			}
		}
		c.rc[i], c.buys[i] = least, 0
		if least < 0 {
			c.buys[i] = k
			total = max(total+least, -maxTotal)
		}
	}
	return total
}

// climb moves the multipliers along a subgradient by theta times the step that would reach the target if the
// bound were linear. It returns false at a maximum.
func (c *core) climb(at, target int64, theta float64) bool {
	norm := 0.0
	ng := len(c.group)
	for _, r := range c.rows {
		c.sub[ng+int(r)] = -float64(c.net[r])
	}
	for n := range c.groups {
		lg := &c.groups[n]
		c.on[lg.g], c.sub[lg.g] = lg.active, 0
	}
	for _, i := range c.items {
		if c.buys[i] == 0 {
			continue
		}
		for _, d := range c.supplies(i) {
			for _, o := range c.uOpt[c.uAt[d.res]:c.uAt[d.res+1]] {
				if g := c.oGroup[o]; c.oItem[o] == i && c.oCost[o] <= c.fill[g] && c.isLive(o) {
					c.sub[g]-- // of no use for groups that are settled, but harmless
				}
			}
		}
	}
	for n := len(c.groups) - 1; n >= 0; n-- {
		lg := &c.groups[n]
		g := lg.g
		s := c.sub[g]
		if c.on[g] {
			s++
			for _, h := range c.triggers(c.sel[g]) {
				if c.state[h] == waiting && c.parent[h] == g {
					c.on[h] = true
				}
			}
			for _, d := range c.demands(c.sel[g]) {
				if !c.whole[d.res] {
					c.sub[ng+int(d.res)] += float64(d.units)
				}
			}
		}
		capped := false
		for k := lg.start; k < lg.end; k++ {
			lo := &c.opts[k]
			if lo.needAt == lo.needEnd {
				capped = capped || c.val[lo.o] <= c.fill[g]
				continue
			}
			if c.val[lo.o] > c.fill[g] {
				continue
			}
			needs := c.needs[lo.needAt:lo.needEnd]
			for _, r := range needs {
				for _, p := range c.suppliers(r) {
					if !c.closed(p.item) && c.buys[p.item] > 0 {
						s -= 1 / float64(len(needs))
					}
				}
			}
		}
		if s > 0 && capped {
			s = 0
		}
		c.sub[g] = s
		norm += s * s
	}
	for _, r := range c.rows {
		s := c.sub[ng+int(r)]
		for _, p := range c.suppliers(r) {
			if !c.closed(p.item) {
				s -= float64(min(p.units, c.cap[r]) * c.buys[p.item])
			}
		}
		if s < 0 && c.pi[r] == 0 {
			s = 0
		}
		c.sub[ng+int(r)] = s
		norm += s * s
	}
	if norm == 0 {
		return false
	}
	step := theta * float64(target-at) / norm
	for n := range c.groups {
		g := c.groups[n].g
		c.v[g] = move(c.v[g], step*c.sub[g], c.most)
	}
	for _, r := range c.rows {
		c.pi[r] = move(c.pi[r], step*c.sub[ng+int(r)], c.most/c.need[r])
	}
	return true
}

func move(x int64, by float64, most int64) int64 {
	return int64(min(max(0, float64(x)+by), float64(most)/2))
}

// lower gathers the state and improves its bound for some rounds, or until it exceeds the best known cost. It
// leaves the multipliers, and what price computed, at the best bound found.
func (c *core) lower(rounds int, theta float64) int64 {
	c.gather()
	n := len(c.group)
	keep := func() {
		copy(c.keep, c.v)
		copy(c.keep[n:], c.pi)
	}
	top := c.price()
	keep()
	at, stale := top, 0
	for k := 0; k < rounds && top <= c.best; k++ {
		target := c.best
		if c.best == infinite {
			target = top + top/16 + 1<<c.shift
		}
		target += 1 << c.shift / 2
		if !c.climb(at, target, theta) {
			break
		}
		at = c.price()
		if at > top {
			top, stale = at, 0
			keep()
		} else if stale++; stale >= 3 {
			theta, stale = theta/2, 0
		}
	}
	if at < top {
		copy(c.v, c.keep)
		copy(c.pi, c.keep[n:])
		c.price()
	}
	c.top = top
	return top
}

// fix removes options and items that the bound shows to be in no selection as good as the best known, and buys
// what is in all of them.
func (c *core) fix() bool {
	slack := c.best - c.top
	for n := range c.groups {
		lg := &c.groups[n]
		if !lg.active {
			continue
		}
		for _, one := range c.single[lg.at:lg.to] {
			if max(0, one.cost-c.fill[lg.g])+max(0, c.rc[one.item]) > slack && c.lo[one.item] == 0 && c.state[lg.g] == active && !c.remove(one.o) {
				return false
			}
		}
		for k := lg.start; k < lg.end; k++ {
			lo := &c.opts[k]
			if c.extra(lo) > slack && c.state[lg.g] == active && !c.remove(lo.o) {
				return false
			}
		}
	}
	for _, i := range c.items {
		if c.closed(i) {
			continue
		}
		if c.rc[i] > slack {
			if !c.close(i) {
				return false
			}
		} else if -c.rc[i] > slack && c.lo[i] == 0 {
			if !c.take(i, 1) {
				return false
			}
		}
	}
	return true
}

// extra is how much choosing a live option of an active group raises the bound at least.
func (c *core) extra(lo *liveOption) int64 {
	extra := int64(0)
	if over := c.val[lo.o] - c.fill[c.oGroup[lo.o]]; over > 0 {
		extra = over
	}
	most := int64(0)
	for _, r := range c.needs[lo.needAt:lo.needEnd] {
		least := int64(math.MaxInt64)
		for _, s := range c.suppliers(r) {
			if c.lo[s.item] > 0 { // bought since the bound was computed
				least = 0
			} else if !c.closed(s.item) {
				least = min(least, c.rc[s.item])
			}
		}
		most = max(most, least)
	}
	return extra + most
}
