package pick

// settle gives the best selection its smallest option indexes: what is bought and what it costs stay the same.
// When the deadline comes first the selection stays as it is: the cost is proven all the same.
func (c *core) settle() {
	s := settler{core: c, budget: c.best, left: resize(c.net[:0], len(c.net)), pick: c.chosen}
	for r, src := range c.rSrc {
		s.left[r] = c.w.free[src]
	}
	for i, n := range c.bought {
		c.lo[i] = 0
		if n > 0 {
			s.budget -= c.packs(int32(i), n)
		}
		for _, sup := range c.supplies(int32(i)) {
			s.left[sup.res] += n * sup.units
		}
	}
	for g := range s.pick {
		s.pick[g] = -1
	}
	// What the groups from each on cost at least, so that a pick that cannot end within the budget is seen at once.
	s.rest = resize(c.load[:0], len(c.order)+1)
	for n := len(c.order) - 1; n >= 0; n-- {
		s.rest[n] = s.rest[n+1] + s.least(c.order[n])
	}
	if s.next(0) {
		copy(c.picked, s.pick)
	}
}

type settler struct {
	*core
	budget int64 // for penalties and folded demands
	left   []int64
	pick   []int32
	rest   []int64
	steps  int
}

// least is what a group costs at least with what is bought, 0 if it need not be active.
func (s *settler) least(g int32) int64 {
	if len(s.w.p.Groups[s.group[g]].When) > 0 {
		return 0
	}
	least := int64(infinite)
	for o := s.gAt[g]; o < s.gAt[g+1]; o++ {
		if s.oCost[o] < least && s.fits(o) {
			least = s.oCost[o]
		}
	}
	return least
}

// next settles the groups from the n-th in order on.
func (s *settler) next(n int) bool {
	if s.steps++; s.steps%1024 == 0 && s.lim.ctx.Err() != nil {
		return false
	}
	if n == len(s.order) {
		return s.budget == 0 && !(s.zero && s.spare())
	}
	g := s.order[n]
	if len(s.w.p.Groups[s.group[g]].When) > 0 {
		on := false
		for _, o := range s.wOpt[s.wAt[g]:s.wAt[g+1]] {
			on = on || s.pick[s.oGroup[o]] == o
		}
		if !on {
			return s.picked[g] < 0 && s.next(n+1) || s.picked[g] >= 0 && s.same(-1, s.picked[g]) && s.next(n+1)
		}
	}
	for o := s.gAt[g]; o < s.gAt[g+1]; o++ {
		if s.oCost[o]+s.rest[n+1] > s.budget || !s.fits(o) || o != s.picked[g] && !s.same(o, s.picked[g]) {
			continue
		}
		s.use(o, 1)
		s.pick[g] = o
		if s.next(n + 1) {
			return true
		}
		s.use(o, -1)
		s.pick[g] = -1
	}
	return false
}

func (s *settler) use(o int32, sign int64) {
	s.budget -= sign * s.oCost[o]
	for _, d := range s.demands(o) {
		s.left[d.res] -= sign * d.units
	}
}

func (s *settler) fits(o int32) bool {
	for _, d := range s.demands(o) {
		if s.left[d.res] < d.units {
			return false
		}
	}
	for _, x := range s.conflicts(o) {
		if s.pick[s.oGroup[x]] == x {
			return false
		}
	}
	return true
}

// same says whether two options buy the same by their folded demands; -1 is none.
func (s *settler) same(a, b int32) bool {
	w := s.w
	w.list1, w.list2 = w.list1[:0], w.list2[:0]
	if a >= 0 {
		w.list1 = w.lots(w.list1, s.oSrc[a])
	}
	if b >= 0 {
		w.list2 = w.lots(w.list2, s.oSrc[b])
	}
	if len(w.list1) != len(w.list2) {
		return false
	}
	for n := range w.list1 {
		if w.list1[n] != w.list2[n] {
			return false
		}
	}
	return true
}

// spare says whether a pack that costs nothing could be left out.
func (s *settler) spare() bool {
	for i, n := range s.bought {
		if n == 0 || s.unit[i] > 0 {
			continue
		}
		needed := false
		for _, sup := range s.supplies(int32(i)) {
			needed = needed || s.left[sup.res] < sup.units
		}
		if !needed {
			return true
		}
	}
	return false
}
