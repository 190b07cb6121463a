package fit

import (
	"cmp"
	"math"
	"slices"

	"onetrip/internal/catalog"
)

// stackStep is the choice for one layer, of any candidate, or of one that is not special.
type stackStep struct {
	*stackList
	layer      int
	any, plain atLeast
}

// atLeast is what the choice for a layer takes at least.
type atLeast struct {
	cost   int64 // after all that its sources could save
	worth  float64
	sizeIn float64 // of the layer; 0 for studs
}

// plan puts the steps in the order in which they are taken: layers that share parts, so that it
// is soon known what they cost; what else the studs hold down; the studs; all others. It adds
// what they take at least to what is given. Between clampedIn and mostClampedIn are held down;
// studs are chosen when the vehicle's own may not do.
//
// A bound on cost alone says little under a low hood, where no stack that fits costs near to
// that. So an inch of height has a price, and an inch held down: what a stack costs together
// with those prices for what it takes too much is no more than its cost, whatever the prices,
// since a stack that fits takes too much of nothing (a Lagrangean bound).
func (s *StackSearch) plan(given place, clampedIn, mostClampedIn float64) place {
	studs := mostClampedIn > s.ownIn+RoundingIn
	s.steps = s.steps[:0]
	for turn := range 4 {
		for _, slot := range s.slots {
			if slot.layer < 0 {
				continue
			}
			list, mine := &s.lists[slot.layer], 3
			switch {
			case list.most > 1:
				mine = 0
			case stackLayers[slot.layer].clamped:
				mine = 1
			}
			if turn == mine {
				s.steps = append(s.steps, stackStep{stackList: list, layer: slot.layer})
			}
		}
		if turn == 2 && studs {
			s.steps = append(s.steps, stackStep{stackList: &s.lists[studLayer], layer: studLayer})
		}
	}
	shared := false
	for i := range s.steps {
		step := &s.steps[i]
		for k := range step.ranked {
			c := &step.ranked[k]
			c.least = c.alone
			for n := 1; n < step.most && shared; n++ {
				c.least = min(c.least, c.more(n))
			}
			c.least -= s.q.Savings.Of(c.Sources)
		}
		shared = shared || step.most > 1
	}
	own := s.ownIn+RoundingIn >= clampedIn
	s.hood, s.clamp = 0, 0
	s.hood = dearest(func(price, cost float64) (float64, float64) {
		least, heightIn, _ := s.relaxed(cost, price, 0, own)
		return least, heightIn + given.totalIn + HoodMarginIn - s.q.HoodClearanceIn
	})
	if studs {
		s.clamp = dearest(func(price, cost float64) (float64, float64) {
			least, heightIn, heldIn := s.relaxed(cost, cost*s.hood, price, own)
			return least + s.hood*heightIn, heldIn + given.clampedIn
		})
	}
	s.loose = 0.25 + (s.hood+s.clamp)*10*RoundingIn

	at := given
	at.worth = s.hood*(given.totalIn+HoodMarginIn-s.q.HoodClearanceIn) + s.clamp*given.clampedIn
	for i := range s.steps {
		step := &s.steps[i]
		for k := range step.ranked {
			c := &step.ranked[k]
			c.worth = float64(c.least) + inchPrice(step.layer, s.hood, s.clamp)*c.sizeIn
		}
		slices.SortFunc(step.ranked, func(a, b rankedCandidate) int {
			switch special := a.special(); {
			case special != b.special() && special:
				return -1
			case special != b.special():
				return 1
			case step.layer == studLayer:
				return cmp.Compare(a.least, b.least)
			}
			return cmp.Compare(a.worth, b.worth)
		})
		step.any, step.plain = s.atLeast(step, step.ranked, own), s.atLeast(step, step.ranked[step.special:], own)
		at.add(step.layer, step.any)
	}
	return at
}

// atLeast is the least of a list of candidates, of which there may be none when studs are the
// vehicle's own.
func (s *StackSearch) atLeast(step *stackStep, list []rankedCandidate, own bool) atLeast {
	out := atLeast{impossible, math.Inf(1), math.Inf(1)}
	if step.layer == studLayer && own {
		out.cost, out.worth = 0, -s.clamp*s.ownIn
	}
	for i := range list {
		c := &list[i]
		out.cost, out.worth, out.sizeIn = min(out.cost, c.least), min(out.worth, c.worth), min(out.sizeIn, c.sizeIn)
	}
	if step.layer == studLayer {
		out.sizeIn = 0
	}
	return out
}

// inchPrice is what an inch of a layer counts, or one less that studs can hold down.
func inchPrice(layer int, hood, clamp float64) float64 {
	switch {
	case layer == studLayer:
		return clamp
	case stackLayers[layer].clamped:
		return hood + clamp
	}
	return hood
}

// relaxed chooses for each step what is worth most, whether or not that stacks up, when cost
// and inches of height and of what is held down count so much, and returns what it costs, its
// height, and what is held down less what the studs can hold down.
func (s *StackSearch) relaxed(cost, hood, clamp float64, own bool) (least, heightIn, heldIn float64) {
	for i := range s.steps {
		step := &s.steps[i]
		best, bestCost, bestIn := math.Inf(1), 0.0, 0.0
		price := inchPrice(step.layer, hood, clamp)
		if step.layer == studLayer && own {
			best, bestIn = -clamp*s.ownIn, -s.ownIn
		}
		for k := range step.ranked {
			c := &step.ranked[k]
			if worth := cost*float64(c.least) + price*c.sizeIn; worth < best {
				best, bestCost, bestIn = worth, float64(c.least), c.sizeIn
			}
		}
		least += bestCost
		if step.layer != studLayer {
			heightIn += bestIn
		}
		if step.layer == studLayer || stackLayers[step.layer].clamped {
			heldIn += bestIn
		}
	}
	return least, heightIn, heldIn
}

// dearest is about the price of an inch at which what is worth most, with what it takes too
// much, costs most; 0 when it takes too much of nothing without one. choose chooses at a
// price and a weight of cost. Each turn takes the price at which the best choices known on
// either side of it are worth the same.
func dearest(choose func(price, cost float64) (least, tooMuchIn float64)) float64 {
	high, highIn := choose(0, 1)
	if highIn <= RoundingIn {
		return 0
	}
	low, lowIn := choose(1, 0)
	price := 0.0
	for range 20 {
		if lowIn >= highIn {
			break
		}
		price = max(0, (low-high)/(highIn-lowIn))
		least, tooMuchIn := choose(price, 1)
		if least+price*tooMuchIn >= high+price*highIn-0.25 {
			break
		}
		if tooMuchIn > 0 {
			high, highIn = least, tooMuchIn
		} else {
			low, lowIn = least, tooMuchIn
		}
	}
	return price
}

func (a atLeast) less(b atLeast) atLeast {
	return atLeast{a.cost - b.cost, a.worth - b.worth, a.sizeIn - b.sizeIn}
}

// place is a stack so far, with what the layers that are open take at least.
type place struct {
	totalIn, clampedIn float64
	heldIn             float64 // that studs hold down, at most
	cost               int64   // after all that the sources of what is open could save
	worth              float64
	chosen             uint16 // layers with what is special, a bit each
	sources            uint64
	of                 int // index of found of stacks with the same that is special
}

// add adds a layer to a stack.
func (p *place) add(layer int, l atLeast) {
	p.cost, p.worth, p.totalIn = p.cost+l.cost, p.worth+l.worth, p.totalIn+l.sizeIn
	if layer != studLayer && stackLayers[layer].clamped {
		p.clampedIn += l.sizeIn
	}
}

// choose puts a candidate in the place of what was said of a layer.
func (p *place) choose(layer int, was atLeast, c *rankedCandidate, cost int64) {
	is := atLeast{cost, c.worth + float64(cost-c.least), c.sizeIn}
	if layer == studLayer {
		p.heldIn, is.sizeIn = -c.sizeIn, 0
	}
	p.add(layer, is.less(was))
	p.sources |= c.Sources
}

// stands reports whether a stack fits under the hood and can be held down, at least, and costs
// no more than those found do.
func (s *StackSearch) stands(p *place, mostCost int64) bool {
	return s.fits(p.totalIn) && p.clampedIn <= p.heldIn+RoundingIn && p.cost <= mostCost && p.worth-s.loose <= float64(mostCost)
}

// looksAtOnce is how many steps a search takes before it asks again whether to stop.
const looksAtOnce = 256

// stop reports whether the search is to stop.
func (s *StackSearch) stop() bool {
	if s.looks++; s.looks%looksAtOnce == 0 && s.best < impossible && s.ctx.Err() != nil {
		s.cut = true
	}
	return s.cut
}

// chooseSpecial decides for the steps from k on which of what is special is in the stack, before
// anything else: so that of the stacks with the same that is special, among which only the
// cheapest counts, the first ones found bound the others.
func (s *StackSearch) chooseSpecial(k int, at place) {
	for k < len(s.steps) && s.steps[k].special == 0 {
		k++
	}
	if s.stop() {
		return
	}
	if k == len(s.steps) {
		if at.chosen != 0 {
			at.of = s.record()
		}
		s.walk(0, at)
		return
	}
	step := &s.steps[k]
	try := func(next *place, c *Candidate) {
		if s.stands(next, s.best+s.q.Savings.Of(next.sources)) {
			s.path[step.layer] = c
			s.chooseSpecial(k+1, *next)
			s.path[step.layer] = nil
		}
	}
	if step.plain.cost < impossible {
		next := at
		next.add(step.layer, step.plain.less(step.any))
		try(&next, nil)
	}
	for i := range step.ranked[:step.special] {
		c := &step.ranked[i]
		next := at
		next.chosen |= 1 << step.layer
		next.choose(step.layer, step.any, c, s.cost(k, c))
		try(&next, c.Candidate)
	}
}

// walk takes those of the steps from k on for which nothing special was chosen.
func (s *StackSearch) walk(k int, at place) {
	for ; k < len(s.steps); k++ {
		step := &s.steps[k]
		chosen := at.chosen&(1<<step.layer) != 0
		if step.layer == studLayer {
			own := at.clampedIn <= s.ownIn+RoundingIn
			if own && chosen {
				return // nobody needs these studs
			}
			// What is held down is known now, so that an inch of it has no price any more.
			at.worth -= s.clamp * at.clampedIn
			switch {
			case chosen:
				at.worth += s.clamp * at.heldIn
			case own:
				at.add(studLayer, atLeast{}.less(step.plain))
				continue
			}
		}
		if !chosen {
			break
		}
	}
	if s.stop() {
		return
	}
	if k == len(s.steps) {
		s.add(&at)
		return
	}
	step, mostCost := &s.steps[k], min(s.best+s.q.Savings.Of(at.sources), s.found[at.of].cost)
	for i := step.special; i < len(step.ranked); i++ {
		c := &step.ranked[i]
		next := at
		next.choose(step.layer, step.plain, c, s.cost(k, c))
		if step.layer == studLayer {
			next.worth += s.clamp * next.heldIn
		}
		if next.worth-s.loose > float64(mostCost) && step.most == 1 {
			break // those that follow are worth no more
		}
		if s.stands(&next, mostCost) {
			s.path[step.layer] = c.Candidate
			s.walk(k+1, next)
			mostCost = min(s.best+s.q.Savings.Of(at.sources), s.found[at.of].cost)
		}
	}
	s.path[step.layer] = nil
}

// cost is what a candidate costs as step k beside the parts that are chosen for other steps.
func (s *StackSearch) cost(k int, c *rankedCandidate) int64 {
	if s.steps[k].most == 1 {
		return c.alone
	}
	return c.more(s.taken(k, c.Part))
}

// taken is how often a part was taken before step k.
func (s *StackSearch) taken(k int, p *catalog.Part) int {
	n := 0
	for i := range s.steps[:k] {
		if c := s.path[s.steps[i].layer]; p != nil && c != nil && c.Part == p {
			n++
		}
	}
	return n
}

// more is what one more of a candidate costs when n are taken already.
func (c *Candidate) more(n int) int64 {
	return c.packs(Packs(c.Part, n+1)) - c.packs(Packs(c.Part, n)) + c.Penalty
}
