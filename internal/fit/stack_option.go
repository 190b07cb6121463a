package fit

import (
	"cmp"
	"slices"
	"strings"

	"onetrip/internal/catalog"
)

// rawStack is a stack found, by layer; nil where it has none, or needs no studs.
type rawStack struct {
	slots                []stackSlot // nil when none was found
	chosen               [studLayer + 1]*Candidate
	cost, floor, penalty int64

	parts [studLayer + 1]often // without repeats; see countParts
	kinds int                  // of parts
}

// often is how often a candidate's part is in a stack.
type often struct {
	*Candidate
	n int
}

// countParts counts how often each part is in the stack.
func (r *rawStack) countParts() {
	for _, c := range r.chosen {
		if c == nil || c.Part == nil {
			continue
		}
		k := 0
		for k < r.kinds && r.parts[k].Part != c.Part {
			k++
		}
		if k == r.kinds {
			r.parts[k].Candidate = c
			r.kinds++
		}
		r.parts[k].n++
	}
}

// special are the candidates of a stack that are special, by layer.
type special [studLayer + 1]*Candidate

// record is the index of found of stacks with what is special in the path.
func (s *StackSearch) record() int {
	key := special(s.path)
	at, known := s.alike[key]
	if !known {
		if s.alike == nil {
			s.alike = map[special]int{}
		}
		at = len(s.found)
		s.alike[key] = at
		s.found = append(s.found, rawStack{cost: impossible})
	}
	return at
}

// add keeps the stack taken when it is the cheapest of those with the same that is special:
// where that can be had, no other of them can be part of an optimum.
func (s *StackSearch) add(at *place) {
	r := rawStack{slots: s.slots, chosen: s.path, cost: at.cost, floor: at.cost - s.q.Savings.Of(at.sources)}
	tied := false
	for _, c := range r.chosen {
		if c != nil {
			r.penalty += c.Penalty
			tied = tied || c.Tied
		}
	}
	if !tied {
		s.best = min(s.best, r.cost)
	}
	if known := &s.found[at.of]; known.slots == nil || r.compare(known) < 0 {
		*known = r
	}
}

// spellOut spells out the stacks that none other can stand in for.
func (s *StackSearch) spellOut() []StackOption {
	byCost := lendZero(&s.byCost, len(s.found))[:0]
	for i := range s.found {
		if r := &s.found[i]; r.slots != nil && r.floor <= s.best {
			r.countParts()
			byCost = append(byCost, r)
		}
	}
	slices.SortStableFunc(byCost, (*rawStack).compare)
	kept := byCost[:0]
next:
	for _, r := range byCost {
		for _, k := range kept {
			if k.standsInFor(r, s.q.Savings) {
				continue next
			}
		}
		kept = append(kept, r)
	}
	out := lendZero(&s.options, len(kept))
	for i, r := range kept {
		out[i] = s.option(r)
	}
	return out
}

// compare orders stacks by cost, then by fewer layers, then by SKUs.
func (r *rawStack) compare(o *rawStack) int {
	if n := cmp.Or(cmp.Compare(r.cost, o.cost), cmp.Compare(r.count(), o.count())); n != 0 {
		return n
	}
	for i := range r.slots {
		if n := strings.Compare(r.sku(i), o.sku(i)); n != 0 {
			return n
		}
	}
	return strings.Compare(r.sku(len(r.slots)), o.sku(len(o.slots)))
}

// count is how many layers a stack has, and studs.
func (r *rawStack) count() int {
	if r.chosen[studLayer] != nil {
		return len(r.slots) + 1
	}
	return len(r.slots)
}

// sku is the SKU of a slot, or after those of the studs.
func (r *rawStack) sku(slot int) string {
	layer := studLayer
	if slot < len(r.slots) {
		layer = r.slots[slot].layer
	}
	if layer < 0 || r.chosen[layer] == nil {
		return ""
	}
	return sku(r.chosen[layer].Part)
}

// standsInFor reports whether one stack can stand in for another in every kit without
// adding cost: what it takes more of costs, bought for itself, no more than what it
// takes less of is sure to save even after all that the sources of that could save.
// Tied parts displace nothing.
func (r *rawStack) standsInFor(o *rawStack, savings *Savings) bool {
	spare, lost := o.penalty-r.penalty, uint64(0)
	for i := range o.parts[:o.kinds] {
		c := &o.parts[i]
		n, left := c.n, r.often(c.Part)
		if n <= left {
			continue
		}
		lost |= c.Sources
		if left == 0 || c.Sources == 0 {
			spare += c.packs(Packs(c.Part, n)) - c.packs(Packs(c.Part, left))
		}
	}
	for i := range r.parts[:r.kinds] {
		c := &r.parts[i]
		n, had := c.n, o.often(c.Part)
		switch {
		case n <= had:
		case c.Tied:
			return false
		case had == 0 || c.Sources == 0:
			spare -= c.packs(Packs(c.Part, n)) - c.packs(Packs(c.Part, had))
		default: // pieces from a source may have kept what is bought below a charge
			spare -= int64(Packs(c.Part, n-had))*c.Cost + c.Once
		}
	}
	return spare >= savings.Of(lost)
}

// often is how often a part is in a stack.
func (r *rawStack) often(p *catalog.Part) int {
	for i := range r.parts[:r.kinds] {
		if r.parts[i].Part == p {
			return r.parts[i].n
		}
	}
	return 0
}

func (s *StackSearch) option(r *rawStack) StackOption {
	o := StackOption{Layers: lendZero(&s.layers, len(r.slots))}
	o.Uses, o.chosen = lendZero(&s.uses, len(r.chosen))[:0], s.chosen[:0]
	o.ClampedIn = flangeIn
	for i := range r.slots {
		slot := &r.slots[i]
		if slot.layer < 0 {
			o.Layers[i] = Layer{slot.item, nil, slot.heightIn}
		} else {
			c, layer := r.chosen[slot.layer], &stackLayers[slot.layer]
			o.Layers[i] = Layer{slot.item, c.Part, layer.nominalIn}
			if c.Part != nil {
				o.Layers[i].HeightIn = c.Part.HeightIn
			}
			if layer.clamped {
				o.ClampedIn += o.Layers[i].HeightIn
			}
			o.add(layer.need, *c, 1)
		}
		o.TotalIn += o.Layers[i].HeightIn
	}
	thread := s.q.StudThread
	if c := r.chosen[studLayer]; c != nil {
		o.add(needStuds, *c, 1)
		if c.Part != nil {
			thread = new(c.Part.Thread())
		}
	}
	o.MarginIn, o.StudNeededIn = s.q.HoodClearanceIn-o.TotalIn, StudNeededFor(o.ClampedIn, thread)
	o.finish(s.q.Savings)
	s.chosen, o.chosen = o.chosen[:0], nil
	return o
}

// undominated sorts candidates by cost and leaves out those that another, no larger, can
// stand in for at no more cost, however often (up to most times) it is used.
func undominated(list []rankedCandidate, most int, savings *Savings) []rankedCandidate {
	slices.SortFunc(list, func(a, b rankedCandidate) int {
		if n := cmp.Compare(a.alone, b.alone); n != 0 {
			return n
		}
		return cmp.Or(cmp.Compare(Packs(a.Part, most), Packs(b.Part, most)), strings.Compare(sku(a.Part), sku(b.Part)))
	})
	kept := list[:0]
next:
	for _, c := range list {
		saving := savings.Of(c.Sources)
		for i := range kept {
			k := &kept[i]
			if k.sizeIn <= c.sizeIn && !k.Tied && k.alone <= c.alone-saving && (most == 1 || neverDearer(k.Candidate, c.Candidate, most, saving)) {
				continue next
			}
		}
		kept = append(kept, c)
	}
	return kept
}

// neverDearer reports whether units of c cost no more than as many of d after all that
// the sources of d can save, for one to most times, beside whatever uses of c are there
// already.
func neverDearer(c, d *Candidate, most int, saving int64) bool {
	once := c.once(Packs(c.Part, most))
	for n := 1; n <= most; n++ {
		if int64(Packs(c.Part, n))*c.Cost+once+int64(n)*c.Penalty > d.packs(Packs(d.Part, n))+int64(n)*d.Penalty-saving {
			return false
		}
	}
	return true
}
