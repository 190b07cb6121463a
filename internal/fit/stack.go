package fit

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"onetrip/internal/calc"
	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// Figures of the mounting stack, in inches. Common practice, no source.
const (
	MaxGaskets   = 3   // a part of the stack is used at most so often
	HoodMarginIn = 0.5 // kept free under the hood: the engine moves on its mounts

	flangeIn  = 0.5   // thickness of a carburetor's mounting flange
	washerIn  = 0.065 // under the nut of a stud
	wingNutIn = 0.5   // thread above the air cleaner for its nut

	// heights of things that are at hand without their figures being known
	nominalGasketIn        = 0.06
	nominalAdapterIn       = 1.0
	nominalSpacerIn        = 0.5
	nominalNeckAdapterIn   = 0.5
	nominalCleanerGasketIn = 0.1
	nominalLowProfileIn    = 2.5
)

// longIn is longer than any stud, in inches.
const longIn = 1000

// roundingIn lets a stack that fits to the limit fit in spite of binary fractions.
const roundingIn = 1e-9

// usualStud is the nominal diameter reckoned with when that of the vehicle's studs
// is not known. Common practice, no source.
var usualStud = units.Inches(5, 16)

// StackRole is one layer of the stack: with Asked, one of the Candidates must be in it.
type StackRole struct {
	Asked      bool
	Candidates []Candidate
}

// StackQuery asks what goes between manifold flange and hood. Lengths in inches.
// Lowest first: with an adapter its gasket and the adapter, with a spacer its gasket
// and the spacer, a gasket, the carburetor, then either the vehicle's own cleaner on
// its neck adapter and gasket, or a low-profile one on a gasket.
type StackQuery struct {
	HoodClearanceIn    float64
	CarburetorHeightIn float64
	CleanerHeightIn    float64       // of the vehicle's own cleaner
	StudLengthIn       *float64      // free length of the vehicle's studs; nil: unknown
	StudThread         *units.Thread // nil: unknown

	Adapter        StackRole
	BaseGasket     StackRole // of the carburetor's flange: under the carburetor
	SpacerGasket   StackRole // of the carburetor's flange: under a spacer; as BaseGasket when not asked for
	ManifoldGasket StackRole // of the manifold's flange: under an adapter
	Spacer         StackRole
	Studs          []Candidate // taken when the vehicle's own are unknown or too short
	NeckAdapter    StackRole   // for the vehicle's own cleaner; a low-profile one fits the carburetor's neck
	CleanerGasket  StackRole
	LowProfile     []Candidate // allowed in place of the vehicle's own cleaner
	Savings        *Savings    // of the sources of all candidates
}

// Layer is one piece of a stack.
type Layer struct {
	Item     string
	Part     *catalog.Part
	HeightIn float64
}

// StackOption is one stack: Layers lowest first, their sum, what is left of the hood
// clearance, and the free stud length it takes.
type StackOption struct {
	Option
	Layers       []Layer
	TotalIn      float64
	MarginIn     float64
	StudNeededIn float64
}

// StackSearch is memory that searches for stacks use one after another; it is for one
// goroutine.
type StackSearch struct {
	q           *StackQuery
	ctx         context.Context
	looks       int  // steps taken
	cut         bool // not all stacks were looked at
	lists       [studLayer + 1]stackList
	slots       []stackSlot               // of the run, lowest first
	steps       []stackStep               // of the run, in the order in which they are taken
	path        [studLayer + 1]*Candidate // by layer
	ownIn       float64                   // of flange and layers that the vehicle's own studs hold down
	mostIn      float64                   // that any studs do
	best        int64                     // of the stacks found that can be had in any kit
	hood, clamp float64                   // prices of an inch; see plan
	loose       float64                   // what bounds are too high for rounding, at most
	found       []rawStack                // that without anything special first
	alike       map[special]int           // index of found

	// room for what stacks are made of
	slotRoom []stackSlot
	ranked   []rankedCandidate
	byCost   []*rawStack
	options  []StackOption
	layers   []Layer
	uses     []Use
	chosen   []chosen
}

var stackSearches = sync.Pool{New: func() any { return new(StackSearch) }}

// NewStackSearch takes memory that must be given back by Release.
func NewStackSearch() *StackSearch { return stackSearches.Get().(*StackSearch) }

// Release lets the memory of a search be used again, with the stacks it returned.
func (s *StackSearch) Release() {
	s.q, s.ctx, s.slots = nil, nil, nil
	clear(s.lists[:])
	clear(s.path[:])
	clear(s.alike)
	emptied(&s.steps)
	emptied(&s.found)
	emptied(&s.slotRoom)
	emptied(&s.ranked)
	emptied(&s.byCost)
	emptied(&s.options)
	emptied(&s.layers)
	emptied(&s.uses)
	clear(s.chosen[:cap(s.chosen)])
	stackSearches.Put(s)
}

// Stack returns every stack that could belong to the optimum of a whole kit,
// cheapest first: it leaves HoodMarginIn free under the hood, and the studs are long
// enough (StudNeededFor). Else the Gap says what is in the way. The stacks are good
// until Release. Once ctx is done, and a stack known that any kit can have, no further
// ones are looked at.
func (s *StackSearch) Stack(ctx context.Context, q *StackQuery) ([]StackOption, *Gap) {
	s.q, s.ctx, s.looks, s.cut, s.best = q, ctx, 0, false, impossible
	clear(s.alike)
	emptied(&s.found)
	s.found = append(s.found, rawStack{cost: impossible})
	s.list()
	low := s.run(false)
	if len(q.LowProfile) > 0 {
		low = s.run(true)
	}
	if out := s.spellOut(); len(out) > 0 {
		return out, nil
	}
	return nil, s.gap(low)
}

// Cut reports whether Stack stopped before all stacks were looked at, so that a better one
// may be missing.
func (s *StackSearch) Cut() bool { return s.cut }

// stackLayers are the layers that are chosen, lowest first, and the studs. The carburetor
// stands under the neck adapter.
var stackLayers = [...]struct {
	need, item string
	nominalIn  float64
	clamped    bool // held down by the studs
}{
	{needBaseGasket, "gasket under the adapter", nominalGasketIn, true},
	{needAdapter, "adapter plate", nominalAdapterIn, true},
	{needBaseGasket, "gasket under the spacer", nominalGasketIn, true},
	{needSpacer, "heat spacer", nominalSpacerIn, true},
	{needBaseGasket, "base gasket", nominalGasketIn, true},
	neckAdapterLayer: {needNeckAdapter, "neck adapter", nominalNeckAdapterIn, false},
	{needAirGasket, "air cleaner gasket", nominalCleanerGasketIn, false},
	lowProfileLayer: {needLowProfile, "low-profile air cleaner", nominalLowProfileIn, false},
	studLayer:       {needStuds, "studs", 0, false},
}

const (
	neckAdapterLayer = 5
	lowProfileLayer  = 7
	studLayer        = 8
)

// stackList is the candidates for a layer.
type stackList struct {
	asked   bool
	most    int // layers that one part may be
	ranked  []rankedCandidate
	special int // of these, that are special: in a plan the first ones
}

// rankedCandidate is a candidate with what one of it costs by itself, and its height; as
// studs with what they can hold down, taken negative.
type rankedCandidate struct {
	*Candidate
	alone  int64
	sizeIn float64

	least int64   // what it costs in any stack, after all that its sources could save
	worth float64 // least, and what its size takes away; see plan
}

// special reports whether a candidate may cost less in the whole kit, or not be had there.
func (c *Candidate) special() bool { return c.Sources != 0 || c.Tied }

// list lists the candidates of all layers, without those that another can stand in for.
func (s *StackSearch) list() {
	q := s.q
	roles := [...]StackRole{q.ManifoldGasket, q.Adapter, q.SpacerGasket, q.Spacer, q.BaseGasket, q.NeckAdapter, q.CleanerGasket,
		{len(q.LowProfile) > 0, q.LowProfile}, {true, q.Studs}}
	if !roles[2].Asked {
		roles[2] = q.BaseGasket
	}
	roles[0].Asked = roles[0].Asked && q.Adapter.Asked
	roles[2].Asked = roles[2].Asked && q.Spacer.Asked
	for i, role := range roles {
		l := &s.lists[i]
		if *l = (stackList{asked: role.Asked, most: 1}); !l.asked {
			continue
		}
		for k, other := range roles {
			if k != i && other.Asked && overlap(role.Candidates, other.Candidates) {
				l.most++
			}
		}
		l.ranked = lendZero(&s.ranked, len(role.Candidates))
		for k := range role.Candidates {
			c := &role.Candidates[k]
			sizeIn := stackLayers[i].nominalIn
			switch {
			case i == studLayer:
				sizeIn = -holdsDown(c.Part)
			case c.Part != nil:
				sizeIn = c.Part.HeightIn
			}
			l.ranked[k] = rankedCandidate{Candidate: c, alone: c.Alone(1), sizeIn: sizeIn}
		}
		l.ranked = undominated(l.ranked, l.most, q.Savings)
		for k := range l.ranked {
			if l.ranked[k].special() {
				l.special++
			}
		}
	}
	s.ownIn = -longIn
	if q.StudLengthIn != nil {
		s.ownIn = *q.StudLengthIn - StudNeededFor(0, q.StudThread)
	}
	s.mostIn = s.ownIn
	for i := range s.lists[studLayer].ranked {
		s.mostIn = max(s.mostIn, -s.lists[studLayer].ranked[i].sizeIn)
	}
}

// overlap reports whether a part is in two lists. A list is of one kind of part.
func overlap(a, b []Candidate) bool {
	if len(a) == 0 || len(b) == 0 || a[0].Part == nil || b[0].Part == nil || a[0].Part.Kind != b[0].Part.Kind {
		return false
	}
	return slices.ContainsFunc(a, func(c Candidate) bool {
		return slices.ContainsFunc(b, func(d Candidate) bool { return c.Part == d.Part })
	})
}

// holdsDown is how much flange and layers, in inches, studs can hold down; nil: enough.
func holdsDown(studs *catalog.Part) float64 {
	if studs == nil {
		return longIn
	}
	thread := studs.Thread()
	if thread.IsZero() {
		return -longIn // not a stud set
	}
	return studs.LengthIn - StudNeededFor(0, &thread)
}

// stackSlot is a layer that is chosen, or one that is given.
type stackSlot struct {
	layer    int // -1: given
	item     string
	heightIn float64 // when given
}

// slotsOf lists the layers, lowest first.
func (s *StackSearch) slotsOf(lowProfile bool) []stackSlot {
	slots := lendZero(&s.slotRoom, len(stackLayers)+1)[:0]
	for i := range studLayer {
		if i == neckAdapterLayer {
			slots = append(slots, stackSlot{-1, "carburetor", s.q.CarburetorHeightIn})
		}
		if s.lists[i].asked && (i != neckAdapterLayer || !lowProfile) && (i != lowProfileLayer || lowProfile) {
			slots = append(slots, stackSlot{layer: i, item: stackLayers[i].item})
		}
	}
	if !lowProfile {
		slots = append(slots, stackSlot{-1, "air cleaner", s.q.CleanerHeightIn})
	}
	return slots
}

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

// lowestStack is how high the lowest stack would stand, and how much of it is held down;
// lacking is the slot that nothing can be put in.
type lowestStack struct {
	totalIn, clampedIn float64
	lacking            *stackSlot
}

// run collects the stacks with the vehicle's own air cleaner or a low-profile one.
func (s *StackSearch) run(lowProfile bool) lowestStack {
	s.slots = s.slotsOf(lowProfile)
	clear(s.path[:])
	lowestIn, clampedIn, mostClampedIn := 0.0, flangeIn, flangeIn
	given := place{clampedIn: flangeIn, heldIn: s.mostIn}
	for i := len(s.slots) - 1; i >= 0; i-- {
		slot := &s.slots[i]
		if slot.layer < 0 {
			given.totalIn += slot.heightIn
			lowestIn += slot.heightIn
			continue
		}
		list := s.lists[slot.layer].ranked
		if len(list) == 0 {
			return lowestStack{lacking: slot}
		}
		heightIn, mostIn := heights(list)
		lowestIn += heightIn
		if stackLayers[slot.layer].clamped {
			clampedIn, mostClampedIn = clampedIn+heightIn, mostClampedIn+mostIn
		}
	}
	if s.fits(lowestIn) && clampedIn <= s.mostIn+roundingIn {
		s.chooseSpecial(0, s.plan(given, clampedIn, mostClampedIn))
	}
	return lowestStack{totalIn: lowestIn, clampedIn: clampedIn}
}

// gap says why there is no stack.
func (s *StackSearch) gap(l lowestStack) *Gap {
	switch {
	case l.lacking != nil:
		return &Gap{Need: stackLayers[l.lacking.layer].need, Text: "nothing meets what the rules ask of the " + l.lacking.item}
	case !s.fits(l.totalIn):
		return &Gap{Need: needLowProfile, Text: fmt.Sprintf("the lowest stack stands %.4g in above the manifold flange, and under the hood are %.4g in, of which %g in must stay free", l.totalIn, s.q.HoodClearanceIn, HoodMarginIn)}
	}
	return &Gap{Need: needStuds, Text: fmt.Sprintf("no studs have the %.4g in of free length that the lowest stack takes", StudNeededFor(l.clampedIn, s.q.StudThread))}
}

func (s *StackSearch) fits(totalIn float64) bool {
	return totalIn+HoodMarginIn <= s.q.HoodClearanceIn+roundingIn
}

// heights are the least and the most height in a list.
func heights(list []rankedCandidate) (leastIn, mostIn float64) {
	leastIn, mostIn = math.Inf(1), math.Inf(-1)
	for i := range list {
		leastIn, mostIn = min(leastIn, list[i].sizeIn), max(mostIn, list[i].sizeIn)
	}
	return leastIn, mostIn
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
	studs := mostClampedIn > s.ownIn+roundingIn
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
	own := s.ownIn+roundingIn >= clampedIn
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
	s.loose = 0.25 + (s.hood+s.clamp)*10*roundingIn

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
	if highIn <= roundingIn {
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
	return s.fits(p.totalIn) && p.clampedIn <= p.heldIn+roundingIn && p.cost <= mostCost && p.worth-s.loose <= float64(mostCost)
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
			own := at.clampedIn <= s.ownIn+roundingIn
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
	clampedIn := flangeIn
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
				clampedIn += o.Layers[i].HeightIn
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
	o.MarginIn, o.StudNeededIn = s.q.HoodClearanceIn-o.TotalIn, StudNeededFor(clampedIn, thread)
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

// StudNeededFor is the free stud length, in inches above the manifold flange, for
// clampedIn of flange, plates and gaskets. thread nil: of unknown studs, reckoned as
// 5/16. Source: calc.StudLengthIn; the washer is common practice, no source.
func StudNeededFor(clampedIn float64, thread *units.Thread) float64 {
	diameter := usualStud
	if thread != nil {
		diameter = thread.Major
	}
	return calc.StudLengthIn(clampedIn, washerIn, diameter)
}

// StackFigures are the figures before parts are chosen, as rules.Calc names them.
type StackFigures struct {
	TallestIn, ShortestIn          float64 // with the vehicle's own cleaner
	HoodMarginIn, BareHoodMarginIn float64 // under the hood above the tallest; above the lowest without a cleaner
	StudNeededIn                   float64 // for the tallest
	StudsSuffice                   bool    // false too when their length is unknown
	AirStudNeededIn                float64 // above the air horn, with the vehicle's own cleaner
}

// Figures works out the stack before parts are chosen, with gaskets and neck adapter
// of nominal height. adapters are those that join the flanges; none with flanges that
// differ stands for one of nominal height, and any are ignored when they agree.
func Figures(v *catalog.Vehicle, c *catalog.Carburetor, adapters []*catalog.Form) StackFigures {
	lowIn, highIn := 0.0, 0.0 // what is under the carburetor but its own gasket
	if v.Intake.Flange != c.Flange {
		lowIn, highIn = nominalAdapterIn, nominalAdapterIn
		for i, a := range adapters {
			if i == 0 {
				lowIn, highIn = a.HeightIn, a.HeightIn
			}
			lowIn, highIn = min(lowIn, a.HeightIn), max(highIn, a.HeightIn)
		}
		lowIn, highIn = lowIn+nominalGasketIn, highIn+nominalGasketIn
	}
	lowIn, highIn = lowIn+nominalGasketIn, highIn+nominalGasketIn
	airIn := nominalCleanerGasketIn + v.AirCleaner.HeightIn
	if v.AirCleaner.NeckIn != c.NeckIn {
		airIn += nominalNeckAdapterIn
	}
	f := StackFigures{
		TallestIn:       highIn + c.HeightIn + airIn,
		ShortestIn:      lowIn + c.HeightIn + airIn,
		StudNeededIn:    StudNeededFor(highIn+flangeIn, v.Intake.StudThread),
		AirStudNeededIn: airIn + wingNutIn,
	}
	f.HoodMarginIn = v.Intake.HoodClearanceIn - f.TallestIn
	f.BareHoodMarginIn = v.Intake.HoodClearanceIn - lowIn - c.HeightIn
	f.StudsSuffice = v.Intake.StudLengthIn != nil && *v.Intake.StudLengthIn+roundingIn >= f.StudNeededIn
	return f
}
