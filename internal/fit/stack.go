package fit

import (
	"cmp"
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
	q     *StackQuery
	studs []*Candidate
	slots []stackSlot // of the run
	above []float64   // least height of the slots from each on
	rest  []int64     // least that they cost, after all that their sources could save
	path  []*Candidate
	taken []*Candidate // studs, for the stack in path
	best  int64
	found []rawStack
	alike map[special]int // index of found

	// room for what stacks are made of
	slotRoom   []stackSlot
	candidates []*Candidate
	byCost     []*rawStack
	options    []StackOption
	layers     []Layer
	uses       []Use
	chosen     []chosen
}

var stackSearches = sync.Pool{New: func() any { return new(StackSearch) }}

// NewStackSearch takes memory that must be given back by Release.
func NewStackSearch() *StackSearch { return stackSearches.Get().(*StackSearch) }

// Release lets the memory of a search be used again, with the stacks it returned.
func (s *StackSearch) Release() {
	s.q, s.studs, s.slots = nil, nil, nil
	clear(s.alike)
	emptied(&s.path)
	emptied(&s.taken)
	emptied(&s.found)
	emptied(&s.slotRoom)
	emptied(&s.candidates)
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
// until Release.
func (s *StackSearch) Stack(q *StackQuery) ([]StackOption, *Gap) {
	s.q, s.best = q, math.MaxInt64
	emptied(&s.found)
	if s.alike == nil {
		s.alike = map[special]int{}
	}
	clear(s.alike)
	s.studs = s.undominated(q.Studs, 1, func(a, b *Candidate) bool {
		return a.Part == nil || b.Part != nil && a.Part.LengthIn >= b.Part.LengthIn && a.Part.Text("thread") == b.Part.Text("thread")
	})
	gap := s.run(false)
	if len(q.LowProfile) > 0 {
		gap = s.run(true)
	}
	if len(s.found) == 0 {
		return nil, gap
	}
	return s.spellOut(), nil
}

// stackSlot is a layer to be chosen, or a given one of the nominal height.
type stackSlot struct {
	need, item string
	nominalIn  float64
	candidates []*Candidate
	given      bool
	clamped    bool // held down by the studs
}

func (s *stackSlot) heightIn(c *Candidate) float64 {
	if s.given || c.Part == nil {
		return s.nominalIn
	}
	return c.Part.HeightIn
}

// layersOf lists the layers, lowest first, each with the candidates that no other can
// stand in for; a lower part can stand in for a higher one.
func (s *StackSearch) layersOf(lowProfile bool) []stackSlot {
	q, slots := s.q, lendZero(&s.slotRoom, maxLayers)[:0]
	choose := func(need, item string, nominalIn float64, clamped bool, candidates []Candidate) {
		slot := stackSlot{need: need, item: item, nominalIn: nominalIn, clamped: clamped}
		slot.candidates = s.undominated(candidates, MaxGaskets, func(a, b *Candidate) bool { return slot.heightIn(a) <= slot.heightIn(b) })
		slots = append(slots, slot)
	}
	given := func(item string, heightIn float64) {
		slots = append(slots, stackSlot{item: item, nominalIn: heightIn, given: true, candidates: nothing})
	}
	if q.Adapter.Asked {
		if q.ManifoldGasket.Asked {
			choose(needBaseGasket, "gasket under the adapter", nominalGasketIn, true, q.ManifoldGasket.Candidates)
		}
		choose(needAdapter, "adapter plate", nominalAdapterIn, true, q.Adapter.Candidates)
	}
	if q.Spacer.Asked {
		gasket := q.SpacerGasket
		if !gasket.Asked {
			gasket = q.BaseGasket
		}
		if gasket.Asked {
			choose(needBaseGasket, "gasket under the spacer", nominalGasketIn, true, gasket.Candidates)
		}
		choose(needSpacer, "heat spacer", nominalSpacerIn, true, q.Spacer.Candidates)
	}
	if q.BaseGasket.Asked {
		choose(needBaseGasket, "base gasket", nominalGasketIn, true, q.BaseGasket.Candidates)
	}
	given("carburetor", q.CarburetorHeightIn)
	if q.NeckAdapter.Asked && !lowProfile {
		choose(needNeckAdapter, "neck adapter", nominalNeckAdapterIn, false, q.NeckAdapter.Candidates)
	}
	if q.CleanerGasket.Asked {
		choose(needAirGasket, "air cleaner gasket", nominalCleanerGasketIn, false, q.CleanerGasket.Candidates)
	}
	if lowProfile {
		choose(needLowProfile, "low-profile air cleaner", nominalLowProfileIn, false, q.LowProfile)
	} else {
		given("air cleaner", q.CleanerHeightIn)
	}
	return slots
}

// nothing is the one candidate for a layer that is given.
var nothing = []*Candidate{{}}

// run collects the stacks of the slots, or says why there is none.
func (s *StackSearch) run(lowProfile bool) *Gap {
	slots := s.layersOf(lowProfile)
	s.slots, s.above, s.rest = slots, zeroed(s.above, len(slots)+1), zeroed(s.rest, len(slots)+1)
	clampedIn := flangeIn
	for i := len(slots) - 1; i >= 0; i-- {
		slot := &slots[i]
		lowest, least := math.Inf(1), int64(math.MaxInt64)
		for _, c := range slot.candidates {
			lowest, least = min(lowest, slot.heightIn(c)), min(least, c.share()-s.q.Savings.Of(c.Sources))
		}
		if len(slot.candidates) == 0 {
			return &Gap{Need: slot.need, Text: "nothing meets what the rules ask of the " + slot.item}
		}
		s.above[i], s.rest[i] = s.above[i+1]+lowest, s.rest[i+1]+least
		if slot.clamped {
			clampedIn += lowest
		}
	}
	before := len(s.found)
	s.walk(0, 0, flangeIn, 0, 0)
	switch {
	case len(s.found) > before:
		return nil
	case !s.fits(s.above[0]):
		return &Gap{Need: needLowProfile, Text: fmt.Sprintf("the lowest stack stands %.4g in above the manifold flange, and under the hood are %.4g in, of which %g in must stay free", s.above[0], s.q.HoodClearanceIn, HoodMarginIn)}
	}
	return &Gap{Need: needStuds, Text: fmt.Sprintf("no studs have the %.4g in of free length that the lowest stack takes", StudNeededFor(clampedIn, s.q.StudThread))}
}

func (s *StackSearch) fits(totalIn float64) bool {
	return totalIn+HoodMarginIn <= s.q.HoodClearanceIn+roundingIn
}

// walk chooses the slots from i on, over totalIn of stack of which clampedIn is held
// by studs.
func (s *StackSearch) walk(i int, totalIn, clampedIn float64, cost int64, sources uint64) {
	if !s.fits(totalIn+s.above[i]) || cost+s.rest[i]-s.q.Savings.Of(sources) > s.best {
		return
	}
	if i == len(s.slots) {
		s.chooseStuds(totalIn, clampedIn, cost, sources)
		return
	}
	slot := &s.slots[i]
	for j := range slot.candidates {
		c := slot.candidates[j]
		height, clamped := slot.heightIn(c), clampedIn
		if slot.clamped {
			clamped += height
		}
		s.path = append(s.path, c)
		s.walk(i+1, totalIn+height, clamped, cost+c.share(), sources|c.Sources)
		s.path = s.path[:len(s.path)-1]
	}
}

// chooseStuds completes a stack with the vehicle's own studs or with each set that is
// long enough.
func (s *StackSearch) chooseStuds(totalIn, clampedIn float64, cost int64, sources uint64) {
	needed := StudNeededFor(clampedIn, s.q.StudThread)
	if own := s.q.StudLengthIn; own != nil && *own+roundingIn >= needed {
		s.add(totalIn, needed, nil)
		return
	}
	s.taken = s.taken[:0]
	for i := range s.studs {
		c := s.studs[i]
		if cost+c.share()-s.q.Savings.Of(sources|c.Sources) > s.best || s.bettered(c) {
			continue
		}
		if c.Part == nil {
			s.add(totalIn, needed, c)
			s.taken = append(s.taken, c)
			continue
		}
		thread := c.Part.Thread()
		if thread.IsZero() {
			continue // not a stud set
		}
		if needed := StudNeededFor(clampedIn, &thread); c.Part.LengthIn+roundingIn >= needed {
			s.add(totalIn, needed, c)
			s.taken = append(s.taken, c)
		}
	}
}

// improves reports whether a stack stays one, and costs no more whatever the rest of the
// kit, with a cheaper part in place of one that comes from nowhere else: then that stack
// is found too.
func (s *StackSearch) improves(r *rawStack, studs *Candidate) bool {
	hoodIn := s.q.HoodClearanceIn - HoodMarginIn - r.totalIn + roundingIn // what the other part may be higher
	studIn := math.Inf(1)
	if studs == nil && s.q.StudLengthIn != nil {
		studIn = *s.q.StudLengthIn - r.studNeededIn + roundingIn
	} else if studs != nil && studs.Part != nil {
		studIn = studs.Part.LengthIn - r.studNeededIn + roundingIn
	}
	for i := range r.slots {
		slot, c := &r.slots[i], r.chosen[i]
		if slot.given || c.Part == nil || c.Sources != 0 || r.often(c.Part) > 1 {
			continue
		}
		for _, k := range slot.candidates {
			if k == c {
				break
			}
			higherIn := slot.heightIn(k) - slot.heightIn(c)
			if !k.Tied && r.often(k.Part) == 0 && higherIn <= hoodIn && (!slot.clamped || higherIn <= studIn) && neverDearer(k, c, 1, 0) {
				return true
			}
		}
	}
	return false
}

// bettered reports whether studs that the same stack was given already can take the
// place of others, even after all that the sources of these could save.
func (s *StackSearch) bettered(studs *Candidate) bool {
	saving := s.q.Savings.Of(studs.Sources)
	return slices.ContainsFunc(s.taken, func(c *Candidate) bool { return !c.Tied && neverDearer(c, studs, 1, saving) })
}

// rawStack is a stack found: what was chosen for each slot, then the studs if any.
type rawStack struct {
	slots                 []stackSlot
	chosen                [maxLayers]*Candidate
	count                 int
	parts                 [maxLayers]often // without repeats
	kinds                 int              // of parts
	totalIn, studNeededIn float64
	cost, floor, penalty  int64
	tied                  bool
}

// often is how often a candidate's part is in a stack.
type often struct {
	*Candidate
	n int
}

// maxLayers is more than a stack can have: every layer of StackQuery, and studs.
const maxLayers = 12

func (s *StackSearch) add(totalIn, studNeededIn float64, studs *Candidate) {
	r := rawStack{slots: s.slots, totalIn: totalIn, studNeededIn: studNeededIn}
	r.count = copy(r.chosen[:], s.path)
	if studs != nil {
		r.chosen[r.count] = studs
		r.count++
	}
	sources := uint64(0)
	for _, c := range r.chosen[:r.count] {
		r.tied = r.tied || c.Tied
		r.penalty += c.Penalty
		sources |= c.Sources
		if c.Part == nil {
			continue
		}
		k := slices.IndexFunc(r.parts[:r.kinds], func(o often) bool { return o.Part == c.Part })
		if k < 0 {
			k = r.kinds
			r.parts[k].Candidate = c
			r.kinds++
		}
		r.parts[k].n++
	}
	if s.improves(&r, studs) {
		return
	}
	for _, o := range r.parts[:r.kinds] {
		r.cost += o.packs(Packs(o.Part, o.n))
	}
	r.cost += r.penalty
	r.floor = r.cost - s.q.Savings.Of(sources)
	if r.floor > s.best {
		return
	}
	if !r.tied {
		s.best = min(s.best, r.cost)
	}
	// Of stacks that differ only in parts that come from nowhere else the cheapest counts.
	var key special
	for i, c := range r.chosen[:r.count] {
		if c.Sources != 0 || c.Tied {
			key[i] = c
		}
	}
	if at, known := s.alike[key]; !known {
		s.alike[key] = len(s.found)
		s.found = append(s.found, r)
	} else if r.compare(&s.found[at]) < 0 {
		s.found[at] = r
	}
}

// special are the candidates of a stack, by layer, that may come from elsewhere or are
// tied.
type special [maxLayers]*Candidate

// spellOut spells out the stacks that none other can stand in for.
func (s *StackSearch) spellOut() []StackOption {
	byCost := lendZero(&s.byCost, len(s.found))[:0]
	for i := range s.found {
		if r := &s.found[i]; r.floor <= s.best {
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
	return cmp.Or(cmp.Compare(r.cost, o.cost), cmp.Compare(r.count, o.count), slices.CompareFunc(r.chosen[:r.count], o.chosen[:o.count],
		func(x, y *Candidate) int { return strings.Compare(sku(x.Part), sku(y.Part)) }))
}

// standsInFor reports whether one stack can stand in for another in every kit without
// adding cost: what it takes more of costs, bought for itself, no more than what it
// takes less of is sure to save even after all that the sources of that could save.
// Tied parts displace nothing.
func (r *rawStack) standsInFor(o *rawStack, savings *Savings) bool {
	spare, lost := o.penalty-r.penalty, uint64(0)
	for _, c := range o.parts[:o.kinds] {
		n, left := c.n, r.often(c.Part)
		if n <= left {
			continue
		}
		lost |= c.Sources
		if left == 0 || c.Sources == 0 {
			spare += c.packs(Packs(c.Part, n)) - c.packs(Packs(c.Part, left))
		}
	}
	for _, c := range r.parts[:r.kinds] {
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
	o := StackOption{Layers: lendZero(&s.layers, len(r.slots)), TotalIn: r.totalIn,
		MarginIn: s.q.HoodClearanceIn - r.totalIn, StudNeededIn: r.studNeededIn}
	o.Uses, o.chosen = lendZero(&s.uses, r.count)[:0], s.chosen[:0]
	for i := range r.slots {
		slot, c := &r.slots[i], r.chosen[i]
		o.Layers[i] = Layer{slot.item, c.Part, slot.heightIn(c)}
		if !slot.given {
			o.add(slot.need, *c, 1)
		}
	}
	if r.count > len(r.slots) {
		o.add(needStuds, *r.chosen[len(r.slots)], 1)
	}
	o.finish(s.q.Savings)
	s.chosen, o.chosen = o.chosen[:0], nil
	return o
}

// undominated lists candidates by cost, without those that another can stand in for at no
// more cost, however often (up to most times) it is used. replaces reports whether a can
// physically stand in for b.
func (s *StackSearch) undominated(list []Candidate, most int, replaces func(a, b *Candidate) bool) []*Candidate {
	byCost := lendZero(&s.candidates, len(list))
	for i := range list {
		byCost[i] = &list[i]
	}
	slices.SortStableFunc(byCost, func(a, b *Candidate) int {
		return cmp.Or(cmp.Compare(a.Cost+a.Penalty, b.Cost+b.Penalty), cmp.Compare(Packs(a.Part, most), Packs(b.Part, most)), strings.Compare(sku(a.Part), sku(b.Part)))
	})
	kept := byCost[:0]
next:
	for _, c := range byCost {
		saving := s.q.Savings.Of(c.Sources)
		for _, k := range kept {
			if !k.Tied && replaces(k, c) && neverDearer(k, c, most, saving) {
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
