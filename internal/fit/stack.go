package fit

import (
	"context"
	"fmt"
	"math"
	"slices"
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

// RoundingIn lets a stack that fits to the limit fit in spite of binary fractions.
const RoundingIn = 1e-9

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
// clearance, what the studs hold down, and the free length of them that it takes.
type StackOption struct {
	Option
	Layers       []Layer
	TotalIn      float64
	MarginIn     float64
	ClampedIn    float64
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

	// scratch for what stacks are made of
	slotScratch []stackSlot
	ranked      []rankedCandidate
	byCost      []*rawStack
	options     []StackOption
	layers      []Layer
	uses        []Use
	chosen      []chosen
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
	emptied(&s.slotScratch)
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
	slots := lendZero(&s.slotScratch, len(stackLayers)+1)[:0]
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
	if s.fits(lowestIn) && clampedIn <= s.mostIn+RoundingIn {
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
	return totalIn+HoodMarginIn <= s.q.HoodClearanceIn+RoundingIn
}

// heights are the least and the most height in a list.
func heights(list []rankedCandidate) (leastIn, mostIn float64) {
	leastIn, mostIn = math.Inf(1), math.Inf(-1)
	for i := range list {
		leastIn, mostIn = min(leastIn, list[i].sizeIn), max(mostIn, list[i].sizeIn)
	}
	return leastIn, mostIn
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
	AirStudNeededIn                float64 // above the air horn, with the vehicle's own cleaner or, where none fits, a low-profile one
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
	if f.AirStudNeededIn > f.BareHoodMarginIn+RoundingIn {
		f.AirStudNeededIn = max(wingNutIn, min(f.BareHoodMarginIn-HoodMarginIn, nominalCleanerGasketIn+nominalLowProfileIn+wingNutIn))
	}
	f.StudsSuffice = v.Intake.StudLengthIn != nil && *v.Intake.StudLengthIn+RoundingIn >= f.StudNeededIn
	return f
}
