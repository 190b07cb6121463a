package fit

import (
	"math"
	"math/bits"
	"slices"
)

// Fittings that go in more than once. A pack may serve two places, a line counts once
// whatever its number, and where one piece is held the second is bought: what such a part
// costs depends on how many places of the path it takes. The search that pays for every
// place by itself is right all the same where no path that is cheap enough has two places for
// one class, and the path that it finds costs no more in truth. Else the search here finds
// the cheapest: its labels carry the parts that may come again, and one label takes
// another's place only where it costs no more whatever comes.

// together is the scratch of this search.
type together struct {
	classes []repeated // of fittings that may be in a path
	at      []int32    // index + 1 in classes, by class of the network
	parts   []*contender
	bags    []chosenBag
	trail   [maxLinks + 1][]longLabel

	reach, rest [maxLinks + 1][]int64 // by stage and end: the least that a path costs up to there, and from there on
	via         [maxLinks][]int64     // by stage and bore: from the hose on
	toHose      []int64               // by bore, of the stage at hand: up to the hose
	least       []int64               // by choice of fittings: what a place costs at least
}

// repeated is a class of fittings with the places that it may take in one path: most in
// all, and after each stage. A choice is -1 where it cannot take the role.
type repeated struct {
	choices [Fitting + 1]int32
	most    int
	after   [maxLinks]int
	slots   [maxLinks][3]int // straight, left, right

	// of the setting: whether a path worth a look may take the class in two places, what one
	// costs at least then, and the slots that some path worth a look takes it in, a bit each
	twice bool
	floor int64
	in    uint16

	prices, number int32 // that bought and now are of
	bought, mixed  []contender
	now            []contender // what is worth a look under the setting
}

// contender is a part with its costs by the number of places that it takes.
type contender struct {
	entry  int32
	roles  uint8     // that it may take, a bit each
	even   bool      // so many and so many more cost no more than both do apart
	linear bool      // and no less
	number int16     // among the parts that are tracked, -1 for none
	class  *repeated // of a part tracked
	costs  [MaxFittings + 1]int64
}

// bag is fittings of a path: tracked by number, rising, those of one price in all places by
// what they cost.
type bag struct {
	plain, cost int64 // cost is with what is tracked
	count       int8
	tracked     [MaxFittings]int16
}

// chosenBag is a bag of the fittings of one run.
type chosenBag struct {
	bag
	chosen chosenFittings
}

// longLabel is a label with the fittings that led to it; what cannot come again counts as
// plain.
type longLabel struct {
	label
	bag  bag
	runs [2]chosenFittings
}

// release drops what refers to a query.
func (t *together) release() { t.classes, t.parts = t.classes[:0], t.parts[:0] }

// shareAmongPlaces puts right what was found with every place paid for by itself.
func (s *PathSearch) shareAmongPlaces(out *solved, most int64) {
	if !s.lines && !s.packed && !s.heldFittings {
		return
	}
	least := out.cost // that any path costs, unless sharing helps
	if least < impossible {
		if out.cost += s.sharing(out); out.cost > most {
			out.cost = impossible
		}
	}
	limit := min(most, out.cost-1)
	if least > limit && !(s.lines || s.packed) {
		return
	}
	after := s.leastAfter()
	if saves := s.findFloors(); least > limit && !saves {
		return
	}
	if twice := s.findTwice(limit, &after); least > limit && !twice {
		return
	}
	if better := s.solveTogether(limit, after); better.cost < impossible {
		*out = better
	}
}

// leastAfter is by stage the least that the gates from it on cost and, as one piece of it
// is in every path, hose: a piece that is no longer than any.
func (s *PathSearch) leastAfter() (after [maxLinks + 1]int64) {
	links := len(s.stages)
	after[links] = impossible
	for i := range s.bores {
		_, hose, _, clamp := s.withClamps(i, links, 1)
		after[links] = min(after[links], hose+clamp)
	}
	for i := links - 1; i >= 0; i-- {
		least := int64(impossible)
		for g := range s.stages[i].gates {
			least = min(least, s.ofGate(&s.stages[i].gates[g]))
		}
		after[i] = after[i+1] + least
	}
	return after
}

// sharing is what a path costs more than with every place paid for by itself.
func (s *PathSearch) sharing(p *solved) int64 {
	var fittings [MaxFittings]int32 // entries
	n := 0
	for i := range s.stages {
		for _, c := range p.legs[i].runs[:1+min(1, p.legs[i].bore+1)] {
			for _, e := range [...]int32{c.first, c.second} {
				if c.run >= 0 && e >= 0 {
					fittings[n] = e
					n++
				}
			}
		}
	}
	more := int64(0)
	for i, e := range fittings[:n] {
		same := func(o int32) bool { return s.entries[o].Part == s.entries[e].Part }
		if slices.ContainsFunc(fittings[:i], same) {
			continue
		}
		places := 1
		for _, o := range fittings[i+1 : n] {
			if same(o) {
				places++
			}
		}
		if places > 1 {
			more += s.inPlaces(e, places) - int64(places)*s.inPlaces(e, 1)
		}
	}
	return more
}

// inPlaces is what a fitting costs in so many places under the setting.
func (s *PathSearch) inPlaces(e int32, places int) int64 {
	part := s.candidate(e)
	if id := s.entries[e].apart; id >= 0 {
		return s.apart[id].cost(places) + int64(places)*part.Penalty
	}
	return part.inPlaces(places, places)
}

// findFloors finds the classes of which several places may cost otherwise than each by
// itself, with what one of several fittings costs at least; saves is whether it may be less.
// More they cost where some are held, or where a line counts from so many on.
func (s *PathSearch) findFloors() (saves bool) {
	s.findRepeated()
	for i := range s.together.classes {
		r := &s.together.classes[i]
		if r.twice = false; r.most < 2 {
			continue
		}
		r.floor = s.floor(r)
		for _, c := range r.choices {
			if c >= 0 {
				one, _ := s.cheapest(c)
				saves = saves || r.floor < one
				r.twice = r.twice || r.floor < one || s.lines || s.hasApart(c)
			}
		}
	}
	return saves
}

// findTwice finds the classes, if any, that a path may take in two places and cost no more
// than the limit, when every place costs what a fitting of its class costs there at least;
// after is leastAfter. One of a class that is left out costs what it does alone, so
// that this is asked again until none is.
func (s *PathSearch) findTwice(limit int64, after *[maxLinks + 1]int64) (any bool) {
	t := &s.together
	for again := true; again; {
		s.findSlots(limit, after)
		any, again = false, false
		for i := range t.classes {
			r := &t.classes[i]
			if r.twice && bits.OnesCount16(r.in) < 2 {
				r.twice, again = false, true
			}
			any = any || r.twice
		}
		again = again && any
	}
	return any
}

// floor is what one of several fittings of a class costs at least under the setting.
func (s *PathSearch) floor(r *repeated) int64 {
	least := int64(impossible)
	for _, choice := range r.choices {
		if choice < 0 {
			continue
		}
		c := &s.choices[choice]
		for i := range c.rows {
			row := &c.rows[i]
			if row.leastMinor/int64(r.most) >= least {
				break // as all in the rows after it are dearer
			}
			// The fewest packs for one place are had when all in a pack are used, or all places taken.
			least = min(least, row.leastMinor/int64(min(row.UnitsPerPack(), r.most))+s.penalty(row.Finish))
		}
		for e := c.from; e < c.to; e++ {
			for n := 2; n <= r.most; n++ {
				least = min(least, s.inPlaces(e, n)/int64(n))
			}
		}
	}
	return least
}

// findSlots finds the slots in which paths take fittings of each class that cost no more than
// the limit by what every place costs at least; after is leastAfter. What is left out on the
// way back as too dear even from the cheapest gates is too dear on the way there as well.
func (s *PathSearch) findSlots(limit int64, after *[maxLinks + 1]int64) {
	t, links, bores := &s.together, len(s.stages), len(s.bores)
	t.least = resize(t.least, len(s.choices))
	for _, c := range s.alone[:Fitting+1] {
		if c >= 0 {
			t.least[c], _ = s.cheapest(c)
		}
	}
	for i := range t.classes {
		r := &t.classes[i]
		r.in = 0
		for _, c := range r.choices {
			if c >= 0 {
				t.least[c], _ = s.cheapest(c)
				if r.twice {
					t.least[c] = min(t.least[c], r.floor)
				}
			}
		}
	}
	none := func(list *[]int64, n int) {
		*list = resize(*list, n)
		for i := range *list {
			(*list)[i] = impossible
		}
	}
	none(&t.rest[links], 1)
	t.rest[links][0] = after[links]
	for i := links - 1; i >= 0; i-- {
		st, most := &s.stages[i], limit-(after[0]-after[i])
		none(&t.rest[i], len(st.from))
		none(&t.via[i], bores)
		none(&t.toHose, bores)
		for e := range st.from {
			for b := range bores {
				t.toHose[b] = min(t.toHose[b], s.leastRun(&st.left[e*bores+b]))
			}
		}
		for g := range st.gates {
			gt := &st.gates[g]
			gt.rest = s.ofGate(gt) + t.rest[i+1][gt.next]
			if gt.rest > most {
				continue
			}
			for e := range st.from {
				t.rest[i][e] = min(t.rest[i][e], s.leastRun(&st.straight[e*len(st.gates)+g])+gt.rest)
			}
			for b := range bores {
				if t.toHose[b]+gt.rest <= most {
					t.via[i][b] = min(t.via[i][b], s.leastRun(&st.right[b*len(st.gates)+g])+gt.rest)
				}
			}
		}
		for e := range st.from {
			for b := range bores {
				t.rest[i][e] = min(t.rest[i][e], st.left[e*bores+b].least+t.via[i][b])
			}
		}
	}
	if t.rest[0][0] > limit {
		return
	}
	none(&t.reach[0], 1)
	t.reach[0][0] = 0
	for i := range s.stages {
		st, reach, next := &s.stages[i], t.reach[i], t.rest[i+1]
		none(&t.reach[i+1], len(next))
		none(&t.toHose, bores)
		for e := range st.from {
			if reach[e]+t.rest[i][e] > limit {
				continue
			}
			for b := range bores {
				j := &st.left[e*bores+b]
				s.noteSlot(j, 3*i+1, limit-reach[e]-t.via[i][b])
				t.toHose[b] = min(t.toHose[b], reach[e]+j.least)
			}
		}
		for g := range st.gates {
			gt := &st.gates[g]
			through := func(j *join, slot int, before int64) {
				if most := limit - before - gt.rest; most >= 0 {
					s.noteSlot(j, slot, most)
					to := &t.reach[i+1][gt.next]
					*to = min(*to, before+j.least+gt.rest-next[gt.next])
				}
			}
			for e := range st.from {
				through(&st.straight[e*len(st.gates)+g], 3*i, reach[e])
			}
			for b := range bores {
				through(&st.right[b*len(st.gates)+g], 3*i+2, t.toHose[b])
			}
		}
	}
}

// ofGate is what the part of a gate costs.
func (s *PathSearch) ofGate(g *gate) int64 {
	if g.choice < 0 {
		return 0
	}
	cost, _ := s.cheapest(g.choice)
	return cost
}

// leastRun is what a run of a join costs at least, and keeps it there.
func (s *PathSearch) leastRun(j *join) int64 {
	if j.least = impossible; j.direct {
		j.least = 0
	}
	for i := j.from; i < j.to; i++ {
		j.least = min(j.least, s.together.leastOf(&s.runs[i]))
	}
	return j.least
}

// leastOf is what a run costs at least.
func (t *together) leastOf(r *chosenRun) int64 {
	if r.second < 0 {
		return t.least[r.first]
	}
	return t.least[r.first] + t.least[r.second]
}

// noteSlot notes the classes of the runs of a join that cost at most so much.
func (s *PathSearch) noteSlot(j *join, slot int, most int64) {
	if j.least > most {
		return
	}
	t := &s.together
	for i := j.from; i < j.to; i++ {
		r := &s.runs[i]
		if r.run == nil || t.leastOf(r) > most {
			continue // the stand-in is of no class
		}
		for _, class := range [...]int32{r.run.first, r.run.second} {
			if class >= 0 {
				t.classes[t.at[class]-1].in |= 1 << slot
			}
		}
	}
}

// findRepeated lists the classes of fittings that a path of the query may have.
func (s *PathSearch) findRepeated() {
	t := &s.together
	if len(t.classes) > 0 {
		return
	}
	t.at = zeroed(t.at, len(s.q.Network.classes))
	note := func(class, choice int32, stage, slot int) {
		at := &t.at[class]
		if *at == 0 {
			if len(t.classes) < cap(t.classes) { // with the memory of the one there
				t.classes = t.classes[:len(t.classes)+1]
				last := &t.classes[len(t.classes)-1]
				*last = repeated{bought: last.bought[:0], mixed: last.mixed[:0]}
			} else {
				t.classes = append(t.classes, repeated{})
			}
			*at = int32(len(t.classes))
			t.classes[*at-1].choices = [...]int32{-1, -1}
		}
		r := &t.classes[*at-1]
		r.choices[s.choices[choice].role] = choice
		r.slots[stage][slot] = 1 // no run has a class twice: one of it alone joins the same ends
	}
	for i := range s.stages {
		for slot, joins := range [...][]join{s.stages[i].straight, s.stages[i].left, s.stages[i].right} {
			for k := range joins {
				for n := joins[k].from; n < joins[k].to; n++ { // none where the ends mate
					r := &s.runs[n]
					if r.run == nil {
						continue // the stand-in
					}
					note(r.run.first, r.first, i, slot)
					if r.second >= 0 {
						note(r.run.second, r.second, i, slot)
					}
				}
			}
		}
	}
	for i := range t.classes {
		r := &t.classes[i]
		for stage := len(s.stages) - 1; stage >= 0; stage-- {
			r.after[stage] = r.most
			r.most += max(r.slots[stage][0], r.slots[stage][1]+r.slots[stage][2])
		}
	}
}

// contenders are the parts of a class of which some cheapest path is made, if any is.
func (s *PathSearch) contenders(r *repeated) []contender {
	if r.prices != s.prices {
		r.prices, r.number = s.prices, 0
		s.findBought(r)
	}
	if r.number != s.number {
		r.number, r.now = s.number, r.bought
		if slices.ContainsFunc(r.choices[:], func(c int32) bool { return c >= 0 && s.hasApart(c) }) {
			r.mixed = append(r.mixed[:0], r.bought...)
			known := uint8(0) // roles: parts that may take one of these are there
			for role, choice := range r.choices {
				if choice < 0 {
					continue
				}
				for e := s.choices[choice].from; e < s.choices[choice].to; e++ {
					if id := s.entries[e].apart; id >= 0 {
						if a := &s.apart[id]; (a.held || a.tied) && !a.blocked && a.roles&known == 0 {
							r.mixed = s.consider(r, r.mixed, contender{entry: e, roles: a.roles & r.roles()})
						}
					}
				}
				known |= 1 << role
			}
			r.now = r.mixed
		}
	}
	return r.now
}

// roles are those that the class may take.
func (r *repeated) roles() uint8 {
	roles := uint8(0)
	for role, choice := range r.choices {
		if choice >= 0 {
			roles |= 1 << role
		}
	}
	return roles
}

// findBought finds the contenders among the parts that are merely bought. Of a row none is
// looked at beyond prices at which it cannot be one.
func (s *PathSearch) findBought(r *repeated) {
	r.bought = r.bought[:0]
	roles := r.roles()
	var rows []gradedRow
	for _, choice := range r.choices {
		if choice >= 0 {
			rows = s.choices[choice].rows
		}
	}
	for i := range rows {
		row := &rows[i]
		penalty := s.penalty(row.Finish)
		for k := range row.Parts {
			least, priceMinor := contender{roles: roles}, row.leastMinor
			if k > 0 {
				priceMinor = row.Parts[k].PriceMinor
			}
			for n := 1; n <= r.most; n++ {
				least.costs[n] = row.Packs(n)*priceMinor + int64(n)*penalty
			}
			if r.covered(r.bought, &least) {
				break
			}
			p := row.Parts[k].Part
			if slices.ContainsFunc(r.choices[:], func(c int32) bool { return c >= 0 && s.switched(&s.choices[c], p) }) {
				continue
			}
			c := contender{entry: int32(len(s.entries))}
			for role, choice := range r.choices {
				if choice >= 0 && s.accepts(Role(role), row.grades[k]) {
					c.roles |= 1 << role
				}
			}
			if c.roles != 0 {
				s.entries = append(s.entries, entry{p, -1})
				r.bought = s.consider(r, r.bought, c)
			}
		}
	}
}

// consider prices a part, and takes it up among the contenders of a class unless others cover
// it; those that it helps to cover go.
func (s *PathSearch) consider(r *repeated, list []contender, c contender) []contender {
	c.even, c.linear = true, true
	for n := 1; n <= r.most; n++ {
		c.costs[n] = s.inPlaces(c.entry, n)
		c.linear = c.linear && c.costs[n] == int64(n)*c.costs[1]
		for m := 1; m <= n/2; m++ {
			c.even = c.even && c.costs[n] <= c.costs[m]+c.costs[n-m]
		}
	}
	if r.covered(list, &c) {
		return list
	}
	list = append(list, c)
	for i := len(list) - 2; i >= 0; i-- {
		last := list[i]
		if rest := slices.Delete(list, i, i+1); r.covered(rest, &last) {
			list = rest
		} else {
			list = slices.Insert(rest, i, last)
		}
	}
	return list
}

// covered reports whether others can take the place of a part wherever it goes: one that
// costs no more, of which further ones cost no more than when bought apart; or as many that
// cost no more as a path has places for the class, one of which it does not take yet.
func (r *repeated) covered(by []contender, c *contender) bool {
	count := 0
	for i := range by {
		o := &by[i]
		if c.roles&^o.roles != 0 {
			continue
		}
		n := 1
		for n <= r.most && o.costs[n] <= c.costs[n] {
			n++
		}
		if n <= r.most {
			continue
		}
		if count++; o.even || count == r.most {
			return true
		}
	}
	return false
}

// solveTogether finds the cheapest path that costs at most so much; after is leastAfter.
func (s *PathSearch) solveTogether(limit int64, after [maxLinks + 1]int64) solved {
	t := &s.together
	t.bags, t.parts = t.bags[:0], t.parts[:0]
	for i := range t.classes {
		r := &t.classes[i]
		if !r.twice {
			continue
		}
		for k := range s.contenders(r) {
			c := &r.now[k]
			if c.number = -1; !c.linear && c.costs[1] <= limit-after[0] {
				c.number, c.class = int16(len(t.parts)), r
				t.parts = append(t.parts, c)
			}
		}
	}
	t.trail[0] = append(t.trail[0][:0], longLabel{label: label{gate: -1, bore: -1}})
	for i := range s.stages {
		s.extendTogether(i, limit-after[i+1], limit-after[0])
	}
	out, at := solved{cost: impossible}, -1
	final := t.trail[len(s.stages)]
	for l := range final {
		if s.withHose(&out, &final[l].label, limit) {
			at = l
		}
	}
	for i := len(s.stages); i > 0 && at >= 0; i-- {
		l := &t.trail[i][at]
		at = l.prev
		out.legs[i-1] = leg{from: t.trail[i-1][at].end, gate: l.gate, bore: l.bore, entry: l.entry, runs: l.runs}
	}
	return out
}

// extendTogether goes from the labels before a stage through its gates, to labels that cost
// at most so much, by runs that do.
func (s *PathSearch) extendTogether(stage int, limit, limitRun int64) {
	t, st := &s.together, &s.stages[stage]
	from, to := t.trail[stage], t.trail[stage+1][:0]
	for g := range st.gates {
		gt := &st.gates[g]
		own, entry := int64(0), int32(-1)
		if gt.choice >= 0 {
			own, entry = s.cheapest(gt.choice)
		}
		arrive := func(l int, bore int, b bag, runs [2]chosenFittings) {
			if b.cost > limit {
				return
			}
			t.settle(&b, stage)
			next := longLabel{label: label{end: gt.next, pieces: from[l].pieces, cost: b.cost, prev: l, bore: bore, gate: g, entry: entry}, bag: b, runs: runs}
			if bore >= 0 {
				next.pieces = withPiece(next.pieces, bore)
			}
			to = t.keep(to, &next, stage)
		}
		for l := range from {
			before := from[l].bag
			before.plain, before.cost = before.plain+own, before.cost+own
			if before.cost > limit {
				continue
			}
			for _, run := range s.bagsOf(&st.straight[from[l].end*len(st.gates)+g], limitRun) {
				arrive(l, -1, t.with(before, &run.bag), [2]chosenFittings{run.chosen})
			}
			for b := range s.bores {
				lefts := s.bagsOf(&st.left[from[l].end*len(s.bores)+b], limitRun)
				if len(lefts) == 0 {
					continue
				}
				rights := s.bagsOf(&st.right[b*len(st.gates)+g], limitRun)
				for i := range lefts {
					half := t.with(before, &lefts[i].bag)
					for k := 0; k < len(rights) && half.cost <= limit; k++ {
						arrive(l, b, t.with(half, &rights[k].bag), [2]chosenFittings{lefts[i].chosen, rights[k].chosen})
					}
				}
			}
		}
	}
	t.trail[stage+1] = to
}

// keep adds a label unless one costs no more whatever comes; those it makes needless go.
func (t *together) keep(list []longLabel, l *longLabel, stage int) []longLabel {
	after := func(c *contender) int { return c.class.after[stage] }
	alike := func(o *longLabel) bool { return o.end == l.end && o.pieces == l.pieces }
	for i := range list {
		if o := &list[i]; alike(o) && t.noDearer(&o.bag, &l.bag, after) {
			return list
		}
	}
	list = slices.DeleteFunc(list, func(o longLabel) bool { return alike(&o) && t.noDearer(&l.bag, &o.bag, after) })
	return append(list, *l)
}

// bagsOf are the runs of a join that may be in a cheapest path.
func (s *PathSearch) bagsOf(j *join, limit int64) []chosenBag {
	t := &s.together
	if j.bagsOf == s.number {
		return t.bags[j.firstBag:j.afterBag]
	}
	first := len(t.bags)
	add := func(b *chosenBag) {
		list := t.bags[first:]
		anywhere := func(*contender) int { return MaxFittings }
		if b.cost > limit || slices.ContainsFunc(list, func(o chosenBag) bool { return t.noDearer(&o.bag, &b.bag, anywhere) }) {
			return
		}
		list = slices.DeleteFunc(list, func(o chosenBag) bool { return t.noDearer(&b.bag, &o.bag, anywhere) })
		t.bags = append(t.bags[:first+len(list)], *b)
	}
	if j.direct {
		add(&chosenBag{chosen: chosenFittings{-1, -1, -1}})
	}
	for i := j.from; i < j.to; i++ {
		r := &s.runs[i]
		s.eachFitting(r.first, r.class(0), func(e int32, b bag) {
			if r.second < 0 {
				add(&chosenBag{b, chosenFittings{i, e, -1}})
				return
			}
			s.eachFitting(r.second, r.class(1), func(e2 int32, b2 bag) {
				add(&chosenBag{t.with(b, &b2), chosenFittings{i, e, e2}})
			})
		})
	}
	j.bagsOf, j.firstBag, j.afterBag = s.number, int32(first), int32(len(t.bags))
	return t.bags[first:]
}

// class is that of a place of a run, -1 for the stand-in.
func (r *chosenRun) class(place int) int32 {
	if r.run == nil {
		return -1
	}
	return [...]int32{r.run.first, r.run.second}[place]
}

// eachFitting visits the fittings that may take a place of a run.
func (s *PathSearch) eachFitting(choice, class int32, visit func(e int32, b bag)) {
	t := &s.together
	if class < 0 || !t.classes[t.at[class]-1].twice {
		if cost, e := s.cheapest(choice); cost < impossible {
			visit(e, bag{plain: cost, cost: cost})
		}
		return
	}
	role := s.choices[choice].role
	for k, list := 0, s.contenders(&t.classes[t.at[class]-1]); k < len(list); k++ {
		c := &list[k]
		switch {
		case c.roles&(1<<role) == 0:
		case c.linear:
			visit(c.entry, bag{plain: c.costs[1], cost: c.costs[1]})
		case c.number >= 0:
			b := bag{cost: c.costs[1], count: 1}
			b.tracked[0] = c.number
			visit(c.entry, b)
		}
	}
}

// at is the number of a tracked part, one beyond all after the last.
func (b *bag) at(i int8) int16 {
	if i < b.count {
		return b.tracked[i]
	}
	return math.MaxInt16
}

// with is a bag with the fittings of another.
func (t *together) with(b bag, other *bag) bag {
	b.plain, b.cost = b.plain+other.plain, b.cost+other.plain
	for _, p := range other.tracked[:other.count] {
		at := b.count
		for at > 0 && b.tracked[at-1] > p {
			b.tracked[at] = b.tracked[at-1]
			at--
		}
		n := 0
		for int(at)-n > 0 && b.tracked[int(at)-n-1] == p {
			n++
		}
		b.tracked[at] = p
		b.count++
		b.cost += t.parts[p].costs[n+1] - t.parts[p].costs[n]
	}
	return b
}

// settle makes plain what cannot come again after a stage.
func (t *together) settle(b *bag, stage int) {
	kept := int8(0)
	for i := int8(0); i < b.count; {
		p, n := b.tracked[i], int8(1)
		for b.at(i+n) == p {
			n++
		}
		if t.parts[p].class.after[stage] == 0 {
			b.plain += t.parts[p].costs[n]
		} else {
			kept += int8(copy(b.tracked[kept:], b.tracked[i:i+n]))
		}
		i += n
	}
	b.count = kept
}

// noDearer reports whether one bag costs no more than another, whatever else the path
// takes of their parts: of each at most so many more.
func (t *together) noDearer(a, b *bag, more func(*contender) int) bool {
	difference := a.plain - b.plain
	for i, k := int8(0), int8(0); i < a.count || k < b.count; {
		p, n, m := min(a.at(i), b.at(k)), 0, 0
		for ; a.at(i) == p; i++ {
			n++
		}
		for ; b.at(k) == p; k++ {
			m++
		}
		if n == m {
			continue
		}
		c := t.parts[p]
		worst := c.costs[n] - c.costs[m]
		for r := min(more(c), c.class.most-max(n, m)); r > 0; r-- {
			worst = max(worst, c.costs[n+r]-c.costs[m+r])
		}
		difference += worst
	}
	return difference <= 0
}
