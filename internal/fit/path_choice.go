package fit

import (
	"cmp"
	"slices"
	"strings"

	"onetrip/internal/catalog"
)

// verdicts are what rules said of a grade: a bit for each role that they were asked about, and
// one for each that they accept it for.
type verdicts struct{ asked, accepted uint8 }

// entry is a part in a choice.
type entry struct {
	*catalog.Part
	apart int32 // -1 when it is merely bought
}

// choice is the parts that can take one place; the cheapest does. Those to be bought are
// in the rows of the class, if any is sold; lasting are those owned, whatever the prices.
type choice struct {
	role     Role
	class    int32 // -1 when there is only a stand-in
	sold     bool
	rows     []gradedRow
	looked   []lookedAt
	lasting  []*catalog.Part
	standIn  *catalog.Part
	from, to int32 // entries of the parts apart, then of the stand-in
	one      bought

	number int32 // setting that now and entry are of
	now    int64
	entry  int32
}

// lookedAt is the parts of a row that rules accept, by their place in it, as far as they are
// known: of those before next, which is among the first parts of the row until one is accepted.
type lookedAt struct {
	accepted []int32
	next     int
}

// bought is the cheapest of the parts of a choice that are merely bought, for so many
// pieces, and the others that may beat it.
type bought struct {
	prices int32 // that it is of
	entry  int32
	cost   int64
	rivals []int32 // entries
}

// networkPart is a part as it is filed in the network.
type networkPart struct {
	*catalog.Part
	filed
}

// choose makes a choice of the parts of a class that may take a role, and a stand-in if
// it is not nil.
func (s *PathSearch) choose(role Role, of int32, standIn *catalog.Part) int32 {
	c := choice{role: role, class: of, standIn: standIn}
	if of >= 0 && !(s.q.NoPipeThread && s.q.Network.classes[of].pipeThread()) {
		class := &s.q.Network.classes[of]
		c.rows, c.looked = class.rows, lendZero(&s.looked, len(class.rows))
		for i := 0; i < len(c.rows) && !c.sold; i++ {
			c.sold = s.lookOn(&c, i, impossible)
		}
		c.sold = c.sold || slices.ContainsFunc(class.tied, func(grade int32) bool { return s.accepts(role, grade) })
		lasting := lendZero(&s.lasting, len(s.had))[:0]
		for _, p := range s.had {
			if p.class == of && s.accepts(role, p.grade) && !slices.Contains(lasting, p.Part) {
				lasting = append(lasting, p.Part)
			}
		}
		c.lasting = lasting
	}
	s.choices = append(s.choices, c)
	return int32(len(s.choices) - 1)
}

// accepts reports whether rules allow forms of a grade for a role.
func (s *PathSearch) accepts(role Role, grade int32) bool {
	v, bit := &s.graded[grade], uint8(1)<<role
	if v.asked&bit == 0 {
		v.asked |= bit
		if s.q.Accepts(role, s.q.Network.grades[grade]) {
			v.accepted |= bit
		}
	}
	return v.accepted&bit != 0
}

// fitting is the choice of a class of fittings for a role.
func (s *PathSearch) fitting(role Role, i int32) int32 {
	of := &s.of[role][i]
	if *of == 0 {
		*of = s.choose(role, i, nil) + 1
		c := &s.choices[*of-1]
		s.packed = s.packed || slices.ContainsFunc(c.rows, func(r gradedRow) bool { return r.Pack > 1 }) ||
			slices.ContainsFunc(c.lasting, func(p *catalog.Part) bool { return p.PackQuantity > 1 })
	}
	return *of - 1
}

func (s *PathSearch) empty(choice int32) bool {
	c := &s.choices[choice]
	return !c.sold && len(c.lasting) == 0 && c.standIn == nil
}

// enter makes the entries of all choices under the prices.
func (s *PathSearch) enter(prices PathPrices) {
	emptied(&s.entries)
	emptied(&s.apart)
	emptied(&s.parts)
	clear(s.apartID)
	emptied(&s.outside)
	classes := uint64(0) // of those outside, modulo 64: few have any
	bit := func(class int32) uint64 { return 1 << (uint32(class) % 64) }
	for _, p := range prices.Apart {
		if at, known := s.q.Network.of[p.Form]; known {
			s.outside = append(s.outside, networkPart{p, at})
			classes |= bit(at.class)
		}
	}
	for i := range s.choices {
		c := &s.choices[i]
		c.from = int32(len(s.entries))
		for _, p := range c.lasting {
			s.addApart(p, c.role)
		}
		if classes&bit(c.class) != 0 {
			for _, b := range s.outside {
				if b.class == c.class && s.accepts(c.role, b.grade) && !slices.Contains(c.lasting, b.Part) {
					s.addApart(b.Part, c.role)
				}
			}
		}
		if c.standIn != nil {
			s.entries = append(s.entries, entry{c.standIn, -1})
		}
		c.to = int32(len(s.entries))
	}
	emptied(&s.owned)
	for _, h := range s.q.Owned {
		if id, ok := s.apartID[h.Part]; ok {
			s.owned = append(s.owned, heldUnits{apart: id, units: h.Units})
		}
	}
}

// addApart makes an entry of a part that is apart.
func (s *PathSearch) addApart(p *catalog.Part, role Role) {
	id, known := s.apartID[p]
	if !known {
		id = int32(len(s.apart))
		s.apartID[p] = id
		s.apart = append(s.apart, apart{part: s.price(p)})
		s.parts = append(s.parts, p)
	}
	s.apart[id].roles |= 1 << role
	s.entries = append(s.entries, entry{p, id})
}

// candidate is the part of an entry, as it is priced.
func (s *PathSearch) candidate(e int32) Candidate {
	if id := s.entries[e].apart; id >= 0 {
		return s.apart[id].part
	}
	return s.price(s.entries[e].Part)
}

// hasApart reports whether what a choice costs may depend on the setting.
func (s *PathSearch) hasApart(choice int32) bool {
	c := &s.choices[choice]
	return c.from < c.to && s.entries[c.from].apart >= 0
}

// cheapest is the least that one piece of a choice costs under the setting, and its
// entry: the first of those that cost as little.
func (s *PathSearch) cheapest(choice int32) (cost int64, entry int32) {
	c := &s.choices[choice]
	if c.number != s.number {
		s.findCheapest(choice)
	}
	return c.now, c.entry
}

// findCheapest finds the cheapest of a choice under the setting.
func (s *PathSearch) findCheapest(choice int32) {
	c := &s.choices[choice]
	if c.one.prices != s.prices {
		s.compare(choice, &c.one, 1, func(float64) int { return 1 })
	}
	c.number, c.now, c.entry = s.number, c.one.cost, c.one.entry
	for _, e := range c.one.rivals {
		if cost := s.apart[s.entries[e].apart].piece; cost < c.now || cost == c.now && s.first(e, c.entry) {
			c.now, c.entry = cost, e
		}
	}
}

// cheapestOf is the entry of a choice that costs least for so many places, and so many
// units in all; 0 units: the part will not do. known keeps what the setting does not
// change.
func (s *PathSearch) cheapestOf(choice int32, known *bought, places int, unitsOf func(lengthIn float64) int) (entry int32, cost int64) {
	if known.prices != s.prices {
		s.compare(choice, known, places, unitsOf)
	}
	entry, cost = known.entry, known.cost
	for _, e := range known.rivals {
		a := &s.apart[s.entries[e].apart]
		if a.blocked {
			continue
		}
		if sum := a.cost(unitsOf(s.entries[e].LengthIn)) + int64(places)*a.part.Penalty; sum < cost || sum == cost && s.first(e, entry) {
			entry, cost = e, sum
		}
	}
	return entry, cost
}

// compare finds the cheapest of the parts of a choice that are merely bought, and which
// of the others may beat it under some setting: those that are held, and of those that
// are only tied the ones no dearer. Parts whose packs alone cost more are not looked at.
func (s *PathSearch) compare(of int32, known *bought, places int, unitsOf func(lengthIn float64) int) {
	c := &s.choices[of]
	var best *catalog.Part
	cost := int64(impossible)
	for i := range c.rows {
		row, looked := &c.rows[i], &c.looked[i]
		if row.leastMinor > cost {
			break // as all in the rows after it are dearer
		}
		n := unitsOf(row.LengthIn)
		if n == 0 {
			continue
		}
		packs, penalty := row.Packs(n), int64(places)*s.penalty(row.Finish)
		if packs*row.leastMinor+penalty > cost {
			continue
		}
		for k := 0; k < len(looked.accepted) || s.lookOn(c, i, (cost-penalty)/packs); k++ {
			sold := &row.Parts[looked.accepted[k]]
			p, sum := sold.Part, packs*sold.PriceMinor+penalty
			if sum > cost {
				break
			}
			if sum == cost && !s.precedes(p, best) || s.switched(c, p) {
				continue
			}
			if s.lines {
				priced := s.price(p)
				sum = priced.inPlaces(n, places)
			}
			if sum < cost || sum == cost && s.precedes(p, best) {
				best, cost = p, sum
			}
		}
	}
	*known = bought{prices: s.prices, entry: -1, cost: cost}
	if cost < impossible {
		known.entry = int32(len(s.entries))
		s.entries = append(s.entries, entry{best, -1})
	}
	known.rivals = lendZero(&s.rivals, int(c.to-c.from))[:0]
	for e := c.from; e < c.to; e++ {
		n := unitsOf(s.entries[e].LengthIn)
		if n == 0 {
			continue
		}
		if s.entries[e].apart < 0 {
			standIn := s.candidate(e)
			if sum := standIn.inPlaces(n, places); sum < known.cost {
				known.entry, known.cost = e, sum
			}
			continue
		}
		if a := &s.apart[s.entries[e].apart]; a.held || a.tied && a.part.inPlaces(n, places) <= known.cost {
			known.rivals = append(known.rivals, e)
		}
	}
}

// lookOn looks for one more part of the i-th row of a choice that rules accept, at no more
// than such a price.
func (s *PathSearch) lookOn(c *choice, i int, mostMinor int64) bool {
	row, l := &c.rows[i], &c.looked[i]
	for ; len(l.accepted) == 0; l.next++ {
		if l.next == len(row.first) || row.first[l.next].priceMinor > mostMinor {
			return false
		}
		if p := &row.first[l.next]; s.accepts(c.role, p.grade) {
			l.accepted = lendZero(&s.accepted, 4)[:1]
			l.accepted[0], l.next = p.at, int(p.at)+1
			return true
		}
	}
	for ; l.next < len(row.Parts) && row.Parts[l.next].PriceMinor <= mostMinor; l.next++ {
		if s.accepts(c.role, row.grades[l.next]) {
			l.accepted = append(l.accepted, int32(l.next))
			l.next++
			return true
		}
	}
	return false
}

// switched reports whether a part of a choice is held or tied under the prices, so that it is
// not merely bought.
func (s *PathSearch) switched(c *choice, p *catalog.Part) bool {
	for _, e := range s.entries[c.from:c.to] {
		if e.Part == p {
			return e.apart >= 0 && (s.apart[e.apart].held || s.apart[e.apart].tied)
		}
	}
	return false
}

// inPlaces is what units of a part cost in so many places.
func (c *Candidate) inPlaces(units, places int) int64 {
	return c.packs(Packs(c.Part, units)) + int64(places)*c.Penalty
}

// first reports whether of two entries that cost the same the first is taken: that of
// the form that the catalogue has first, of one form the cheaper part. Stand-ins are last.
func (s *PathSearch) first(a, b int32) bool {
	if b < 0 {
		return true
	}
	p, q := s.entries[a].Part, s.entries[b].Part
	return s.precedes(p, q)
}

func (s *PathSearch) precedes(p, q *catalog.Part) bool {
	order := 0
	if p.Form != q.Form {
		x, y := p.Form.Number(), q.Form.Number()
		if x == 0 || y == 0 {
			return x > 0
		}
		order = cmp.Compare(x, y)
	}
	return cmp.Or(order, cmp.Compare(p.Price.AmountMinor, q.Price.AmountMinor), strings.Compare(p.SKU, q.SKU)) < 0
}
