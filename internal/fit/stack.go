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
	s.q, s.ctx, s.looks, s.cut, s.best = q, ctx, 0, false, math.MaxInt64
	clear(s.alike)
	emptied(&s.found)
	s.found = append(s.found, rawStack{cost: math.MaxInt64})
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
	most    int  // layers that one part may be
	special bool // some candidate is
	ranked  []rankedCandidate
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
		l.special = slices.ContainsFunc(l.ranked, func(c rankedCandidate) bool { return c.special() })
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

// stackStep is the choice for one layer. What is said of later steps bounds them together.
type stackStep struct {
	*stackList
	layer            int
	aboveIn, clampIn float64 // the least that later steps add, in height and held down
	least            int64   // the least that they cost, after all that their sources could save
	rest             float64 // the least that they are worth
	clamp            float64 // what an inch held down adds to that, 0 once the studs are chosen
	plain            bool    // nothing from this step on is special
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
	lowestIn, clampedIn := 0.0, flangeIn
	given := place{clampedIn: flangeIn}
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
		heightIn := lowest(list)
		lowestIn += heightIn
		if stackLayers[slot.layer].clamped {
			clampedIn += heightIn
		}
	}
	if s.fits(lowestIn) && clampedIn <= s.mostIn+roundingIn {
		s.plan(given, clampedIn)
		s.walk(0, given)
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

// lowest is the least height in a list.
func lowest(list []rankedCandidate) float64 {
	least := math.Inf(1)
	for i := range list {
		least = min(least, list[i].sizeIn)
	}
	return least
}

// plan puts the steps in the order in which they are taken: layers of which something is
// special; those that share parts, so that it is soon known what they cost; what else the studs
// hold down; the studs; all others. At least clampedIn is held down.
//
// A bound on cost alone says little under a low hood, where no stack that fits costs near to
// that. So an inch of height has a price, and an inch held down: what a stack costs together
// with those prices for what it takes too much is no more than its cost, whatever the prices,
// since a stack that fits takes too much of nothing (a Lagrangean bound).
func (s *StackSearch) plan(given place, clampedIn float64) {
	s.steps = s.steps[:0]
	for turn := range 6 {
		for _, slot := range s.slots {
			if slot.layer < 0 {
				continue
			}
			list, mine := &s.lists[slot.layer], 5
			switch {
			case list.special && list.most > 1:
				mine = 0
			case list.special:
				mine = 1
			case list.most > 1:
				mine = 2
			case stackLayers[slot.layer].clamped:
				mine = 3
			}
			if turn == mine {
				s.steps = append(s.steps, stackStep{stackList: list, layer: slot.layer})
			}
		}
		if turn == 4 {
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
	s.clamp = dearest(func(price, cost float64) (float64, float64) {
		least, heightIn, heldIn := s.relaxed(cost, cost*s.hood, price, own)
		return least + s.hood*heightIn, heldIn + given.clampedIn
	})
	s.loose = 0.25 + (s.hood+s.clamp)*10*roundingIn

	later := stackStep{plain: true, rest: s.hood * (HoodMarginIn - s.q.HoodClearanceIn)}
	for i := len(s.steps) - 1; i >= 0; i-- {
		step := &s.steps[i]
		step.aboveIn, step.clampIn, step.least, step.rest, step.clamp = later.aboveIn, later.clampIn, later.least, later.rest, later.clamp
		step.plain = later.plain && !step.special
		later = *step
		least, worth := int64(math.MaxInt64), math.Inf(1)
		if step.layer == studLayer {
			if later.clamp = s.clamp; own {
				least, worth = 0, -s.clamp*s.ownIn
			}
		}
		for k := range step.ranked {
			c := &step.ranked[k]
			c.worth = float64(c.least) + inchPrice(step.layer, s.hood, s.clamp)*c.sizeIn
			least, worth = min(least, c.least), min(worth, c.worth)
		}
		later.least, later.rest = later.least+least, later.rest+worth
		if step.layer != studLayer {
			slices.SortFunc(step.ranked, func(a, b rankedCandidate) int { return cmp.Compare(a.worth, b.worth) })
			heightIn := lowest(step.ranked)
			later.aboveIn += heightIn
			if stackLayers[step.layer].clamped {
				later.clampIn += heightIn
			}
		}
	}
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

// place is a stack so far.
type place struct {
	totalIn, clampedIn float64
	cost               int64
	sources            uint64
	special            bool
	known              bool // nothing special can follow:
	of                 int  // index of found of stacks with the same that is special
}

// looksAtOnce is how many steps a search takes before it asks again whether to stop.
const looksAtOnce = 256

// walk takes the steps from k on.
func (s *StackSearch) walk(k int, at place) {
	if s.looks++; s.looks%looksAtOnce == 0 && s.best < math.MaxInt64 && s.ctx.Err() != nil {
		s.cut = true
	}
	if s.cut {
		return
	}
	if !at.known && (k == len(s.steps) || s.steps[k].plain) {
		at.known = true
		if at.special {
			at.of = s.record(k)
		}
	}
	if k == len(s.steps) {
		s.add(&at)
		return
	}
	step := &s.steps[k]
	if step.layer == studLayer && at.clampedIn <= s.ownIn+roundingIn {
		s.path[studLayer] = nil
		s.walk(k+1, at)
		return
	}
	for i := range step.ranked {
		c := &step.ranked[i]
		next := at
		if step.layer == studLayer {
			if at.clampedIn > roundingIn-c.sizeIn {
				continue
			}
		} else {
			next.totalIn += c.sizeIn
			if stackLayers[step.layer].clamped {
				next.clampedIn += c.sizeIn
			}
			if !s.fits(next.totalIn+step.aboveIn) || next.clampedIn+step.clampIn > s.mostIn+roundingIn {
				continue
			}
		}
		if step.most == 1 {
			next.cost += c.alone
		} else {
			next.cost += c.more(s.taken(k, c.Part))
		}
		next.sources |= c.Sources
		least := next.cost + step.least
		worth := float64(next.cost) + s.hood*next.totalIn + step.clamp*next.clampedIn + step.rest - s.loose
		saving := s.q.Savings.Of(next.sources)
		if worth-float64(saving) > float64(s.best) || at.known && worth > float64(s.found[at.of].cost) {
			if step.plain && step.most == 1 {
				return // those that follow are worth no more
			}
			continue
		}
		if least-saving > s.best || at.known && least > s.found[at.of].cost {
			continue
		}
		next.special = next.special || c.special()
		s.path[step.layer] = c.Candidate
		s.walk(k+1, next)
	}
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

// record is the index of found of stacks with what is special before step k.
func (s *StackSearch) record(k int) int {
	var key special
	for i := range s.steps[:k] {
		if c := s.path[s.steps[i].layer]; c != nil && c.special() {
			key[s.steps[i].layer] = c
		}
	}
	at, known := s.alike[key]
	if !known {
		if s.alike == nil {
			s.alike = map[special]int{}
		}
		at = len(s.found)
		s.alike[key] = at
		s.found = append(s.found, rawStack{cost: math.MaxInt64})
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
