package fit

import (
	"context"
	"math"
	"slices"
	"sync"

	"onetrip/internal/catalog"
)

const (
	clampsPiece = 2   // one clamp on each end of a piece of hose
	barbOverlap = 1.0 // inches of hose that the barbs of one piece take; common practice, no source
)

// PathQuery asks for the chain of parts that brings fuel From the end of the vehicle's
// supply line To the carburetor inlet over RunLengthIn inches, over the joints of a
// Network.
//
// Accepts reports whether rules allow the parts of a form for a role: the same for all of one
// of the network's grades. Parts that are neither owned nor Apart are merely bought, so that
// of those that join the same only the cheapest counts. StandIns, by role, are things
// without a SKU that join whatever they must, at no more than a penalty; nil where there is
// none. Owned is what is had already.
type PathQuery struct {
	From, To      catalog.End
	RunLengthIn   float64
	NeedRegulator bool
	NoPipeThread  bool // among the ends of the parts
	Network       *Network
	Accepts       func(Role, *catalog.Form) bool
	StandIns      [Roles]*catalog.Part
	Owned         []Holding
}

// PathPrices are what the parts of a path count under one objective, the parts Apart that
// are tied, that a bundle may bring or other needs take, and the switches among these and
// the owned ones. Which parts join does not depend on them.
//
// What is merely bought costs its price and the Penalty of its finish, as Price says too, and
// something Once only where Lines count.
type PathPrices struct {
	Price    func(*catalog.Part) Candidate
	Penalty  func(catalog.Finish) int64
	Apart    []*catalog.Part
	Lines    bool
	Switches func(apart []*catalog.Part) []Switch
	Most     int // settings of the switches that are solved; see Cut
}

// Role is what a part does in a fuel path.
type Role int8

// Roles of parts. A fitting may enter the inlet or stand anywhere else.
const (
	InletFitting Role = iota
	Fitting
	Hose
	Filter
	Clamp
	Regulator
	Roles // how many there are
)

// Need is the need that a role fills.
func (r Role) Need() string { return roleNeeds[r] }

var roleNeeds = [Roles]string{"fuel.inlet_fitting", "fuel.fittings", "fuel.hose", "fuel.filter", "fuel.clamps", "fuel.pressure_regulator"}

// Holding is a number of units of a part that cost nothing.
type Holding struct {
	Part  *catalog.Part
	Units int
}

// A Switch is decided for the kit as a whole and changes which path is cheapest: a
// bundle, whose Holds are free once it is bought, or a Tied part, which can be used
// only when the rest of the kit allows it. Cost is the least that the path must bear
// of the bundle's price: the price less what its other contents are worth elsewhere;
// it may be negative. Saving is the most that the bundle can save in the whole kit.
//
// Or it is a number of units of a part that is Taken by another need of the kit, By a
// number: packs and lines then serve both, and what is held is theirs first. A need takes
// one part at most. What it is worth to it that a bundle holds such a part is off that
// bundle's Cost. With Required they need only be in the kit, as another part asks for them:
// those that the path uses will do.
type Switch struct {
	Cost, Saving int64
	Holds        []Holding
	Tied         *catalog.Part
	Taken        Holding
	By           int
	Required     bool
}

// Step is one part of a fuel path with the ends that fuel enters and leaves by.
// LengthIn is the cut length of a hose, the part's own length elsewhere.
type Step struct {
	Need     string
	Part     *catalog.Part
	From, To catalog.End
	LengthIn float64
}

// PathOption is one fuel path: Steps from the line to the inlet; clamps are only in
// Uses. HoseBoreIn is the bore of its narrowest hose.
type PathOption struct {
	Option
	Steps      []Step
	HoseBoreIn float64
}

// PathSearch holds what does not depend on prices: the parts that may be used, and the
// joins between gates. It is for one goroutine.
//
// A path has one filter and after it, where needed, one regulator. Between line,
// filter, regulator and inlet lies a link: a piece of hose with up to two fittings at
// each end, or up to two fittings alone; at least one link has hose, which takes up
// the engine's movement. The pieces are equally long: together the run, each an inch
// more for the barbs. Every piece has a clamp at each end. All hose of one bore in a
// path is of one kind, and so are its clamps. Of paths at one cost the one with fewer
// pieces of hose is taken, then the first in the order of parts.
//
// It is a shortest path over (gate passed, hose so far), since under one setting of the
// switches every part has one price; but for fittings that go in more than once, which
// path_together.go sees to.
type PathSearch struct {
	q      *PathQuery
	stages []stage
	bores  []boreChoice
	packed bool                 // some fitting comes in packs
	of     [Fitting + 1][]int32 // choice + 1 by role and class of the network, 0 when not looked at yet
	alone  [Roles]int32         // choice of the stand-in for a role, -1 where there is none
	graded []verdicts           // by grade of the network
	had    []networkPart        // of what is owned

	// scratch for what the above refers to
	choices  []choice
	looked   []lookedAt
	accepted []int32
	lasting  []*catalog.Part // of choices
	joins    []join
	runs     []chosenRun
	gates    []gate
	opens    []open

	// of the prices
	prices   int32 // number
	apart    []apart
	apartID  map[*catalog.Part]int32
	outside  []networkPart
	parts    []*catalog.Part // of apart
	owned    []heldUnits
	entries  []entry
	price    func(*catalog.Part) Candidate
	penalty  func(catalog.Finish) int64
	lines    bool
	switches []pathSwitch
	held     []heldUnits // of switches
	rivals   []int32     // of choices
	state    []state
	saved    []state // stack of settings

	// of the setting of the switches
	number       int32
	heldFittings bool // some fitting costs nothing while it lasts
	trail        [maxLinks + 1][]label
	labels       []int32 // of a stage, by place: index + 1; between stages 0
	used         []bool  // by apart: it is in the path solved last

	together together

	left   int  // settings that may still be solved
	cut    bool // some were not
	found  []PathOption
	steps  []Step
	uses   []Use
	chosen []chosen
}

const maxLinks = 3 // to filter, regulator and inlet

// Pieces that a path takes at most: a hose in each link, fittings two at each of its ends,
// clamps one.
const (
	MaxHoses    = maxLinks
	MaxFittings = 4 * maxLinks
	MaxClamps   = 2 * maxLinks
)

// impossible is the cost of what cannot be had, unknown that of what was not looked at.
const (
	impossible = math.MaxInt64 / 4
	unknown    = -1
)

// gate is a filter or regulator of certain ends, or the inlet; next is the index of its
// out end among the next stage's ends.
type gate struct {
	in, out open
	role    Role
	choice  int32 // -1 for the inlet
	next    int
	rest    int64 // see findSlots
}

// stage is the choice of one gate, and the joins that lead to it: straight from an open
// end (by end, gate), from an end to hose of a bore (by end, bore), and from the hose
// to a gate (by bore, gate).
type stage struct {
	from                  []open
	gates                 []gate
	straight, left, right []join
	last                  bool
}

// boreChoice is the hoses and clamps of a bore; hose and clamp are known by the number of
// pieces in the path and of those of this bore.
type boreChoice struct {
	end           open
	hoses, clamps int32
	hose, clamp   [maxLinks][maxLinks]bought
}

// join lists the runs of fittings between two open ends; a direct one has none: the
// ends mate.
type join struct {
	direct, hasApart bool
	from, to         int32 // runs
	cost             int64 // of the best run under the setting; unknown until it is asked for
	best             int32
	least            int64 // see leastRun

	bagsOf             int32 // number that the bags are of
	firstBag, afterBag int32
}

// chosenRun is a run of the network, or a stand-in, with the choices for its places;
// second is -1 for a single fitting.
type chosenRun struct {
	run           *run
	first, second int32
}

var pathSearches = sync.Pool{New: func() any { return &PathSearch{apartID: map[*catalog.Part]int32{}} }}

// Release lets the memory of a search be used again, with the paths it returned.
func (s *PathSearch) Release() {
	clear(s.apartID)
	s.q, s.price, s.penalty, s.packed = nil, nil, nil, false
	emptied(&s.had)
	emptied(&s.stages)
	emptied(&s.bores)
	emptied(&s.owned)
	emptied(&s.apart)
	emptied(&s.parts)
	emptied(&s.outside)
	emptied(&s.entries)
	emptied(&s.choices)
	emptied(&s.looked)
	emptied(&s.accepted)
	emptied(&s.lasting)
	emptied(&s.joins)
	emptied(&s.runs)
	emptied(&s.gates)
	emptied(&s.opens)
	emptied(&s.switches)
	emptied(&s.held)
	emptied(&s.rivals)
	emptied(&s.found)
	emptied(&s.steps)
	emptied(&s.uses)
	s.together.release()
	clear(s.chosen[:cap(s.chosen)])
	pathSearches.Put(s)
}

// NewPathSearch finds out what may be used for a query.
func NewPathSearch(q *PathQuery) *PathSearch {
	s := pathSearches.Get().(*PathSearch)
	s.q = q
	net := q.Network
	for role := range s.of {
		s.of[role] = zeroed(s.of[role], len(net.classes))
	}
	s.graded = zeroed(s.graded, len(net.grades))
	for _, h := range q.Owned {
		if at, known := net.of[h.Part.Form]; known {
			s.had = append(s.had, networkPart{h.Part, at})
		}
	}
	for role, p := range q.StandIns {
		if s.alone[role] = -1; p != nil {
			s.alone[role] = s.choose(Role(role), -1, p)
		}
	}
	for i := range net.bores {
		b := &net.bores[i]
		hoses, clamps := s.choose(Hose, b.hoses, q.StandIns[Hose]), s.choose(Clamp, b.clamps, q.StandIns[Clamp])
		if !s.empty(hoses) && !s.empty(clamps) {
			s.bores = append(s.bores, boreChoice{end: b.end, hoses: hoses, clamps: clamps})
		}
	}
	s.stage(Filter, net.filters, net.open(q.From))
	if q.NeedRegulator {
		s.stage(Regulator, net.regulators)
	}
	inlet := stage{from: s.leaving(), gates: lendZero(&s.gates, 1), last: true}
	inlet.gates[0] = gate{in: net.open(q.To), choice: -1}
	s.addStage(inlet)
	return s
}

// stage adds the filters or regulators, after the stage before or from the end given.
func (s *PathSearch) stage(role Role, gates []networkGate, from ...open) {
	if len(from) == 0 {
		from = s.leaving()
	}
	standIns := len(s.bores)
	if s.alone[role] < 0 {
		standIns = 0
	}
	st := stage{from: append(lendZero(&s.opens, len(from))[:0], from...), gates: lendZero(&s.gates, len(gates)+standIns*standIns)[:0]}
	for i := range gates {
		g := &gates[i]
		if c := s.choose(role, g.class, nil); !s.empty(c) {
			st.gates = append(st.gates, gate{in: g.in, out: g.out, role: role, choice: c})
		}
	}
	// A step of the bore may be what only the stand-in can give; one bore comes first, so
	// that it is taken where both would do.
	for _, step := range []bool{false, true} {
		for i := range standIns {
			for k := range standIns {
				if (i != k) == step {
					st.gates = append(st.gates, gate{in: s.barb(i), out: s.barb(k), role: role, choice: s.alone[role]})
				}
			}
		}
	}
	s.addStage(st)
}

func (s *PathSearch) barb(bore int) open {
	return open{end: catalog.End{Family: catalog.HoseBarb, Size: s.bores[bore].end.end.Size}, number: -1}
}

// leaving lists the ends that the gates of the last stage lead to, and tells these so.
func (s *PathSearch) leaving() []open {
	gates := s.stages[len(s.stages)-1].gates
	next := lendZero(&s.opens, len(gates))[:0]
	for i := range gates {
		g := &gates[i]
		if g.next = slices.IndexFunc(next, func(o open) bool { return o.end == g.out.end }); g.next < 0 {
			g.next = len(next)
			next = append(next, g.out)
		}
	}
	places := len(next)
	for range maxLinks {
		places *= len(s.bores) + 1
	}
	s.labels = resize(s.labels, max(places, len(s.labels)))
	return next
}

// addStage adds a stage with its joins; those from a bore that no end leads to stay
// without runs.
func (s *PathSearch) addStage(st stage) {
	st.straight = lendZero(&s.joins, len(st.from)*len(st.gates))
	st.left = lendZero(&s.joins, len(st.from)*len(s.bores))
	st.right = lendZero(&s.joins, len(s.bores)*len(st.gates))
	for e := range st.from {
		for g := range st.gates {
			s.find(&st.straight[e*len(st.gates)+g], &st.from[e], &st.gates[g].in, st.last)
		}
	}
	for b := range s.bores {
		bore, reached := &s.bores[b].end, false
		for e := range st.from {
			j := &st.left[e*len(s.bores)+b]
			s.find(j, &st.from[e], bore, false)
			reached = reached || j.direct || j.from < j.to
		}
		for g := range st.gates {
			if j := &st.right[b*len(st.gates)+g]; reached {
				s.find(j, bore, &st.gates[g].in, st.last)
			} else {
				j.cost = impossible
			}
		}
	}
	s.stages = append(s.stages, st)
}

// find finds the runs of a join.
func (s *PathSearch) find(j *join, from, to *open, last bool) {
	j.from = int32(len(s.runs))
	if j.direct = from.end.Mates(to.end); j.direct {
		return
	}
	role := Fitting
	if last {
		role = InletFitting
	}
	add := func(r *run, first, second int32) bool {
		if s.empty(first) || second >= 0 && s.empty(second) {
			return false
		}
		s.runs = append(s.runs, chosenRun{r, first, second})
		return true
	}
	if from.number >= 0 && to.number >= 0 {
		// Where one fitting joins the ends, pairs that do the same are left out: every joint
		// is a place to leak.
		single := false
		runs := *s.q.Network.between(endPair{from.number, to.number})
		for i := range runs {
			if r := &runs[i]; r.second < 0 {
				single = add(r, s.fitting(role, r.first), -1) || single
			} else if single {
				break
			} else {
				add(r, s.fitting(Fitting, r.first), s.fitting(role, r.second))
			}
		}
	}
	if from.joins && to.joins && s.alone[role] >= 0 {
		add(nil, s.alone[role], -1)
	}
	if j.to = int32(len(s.runs)); j.from == j.to {
		j.cost = impossible
	}
}

// Paths returns the cheapest fuel path under every setting of the switches that can
// be part of the optimum of a whole kit, without repeats, cheapest first; none when
// nothing joins line and inlet. They are good until Release. Once ctx is done no further
// settings are looked at, but for those without which none of the paths would be known.
func (s *PathSearch) Paths(ctx context.Context, prices PathPrices) []PathOption {
	s.prices++
	s.price, s.penalty, s.lines = prices.Price, prices.Penalty, prices.Lines
	s.enter(prices)
	s.rivals = s.rivals[:0]
	s.setSwitches(prices)
	s.forget(true)
	first := len(s.found)
	s.left, s.cut = prices.Most, false
	s.set(off)
	without := s.solve(impossible - 1)
	if without.cost < impossible {
		s.keep(&without, first)
	}
	if len(s.switches) > 0 {
		s.set(opened)
		s.explore(ctx, without.cost, first)
	}
	found := s.found[first:len(s.found):len(s.found)]
	slices.SortStableFunc(found, func(a, b PathOption) int { return compareOptions(&a.Option, &b.Option) })
	return found
}

// Cut reports whether Paths stopped before all settings were looked at, so that a better
// path may be missing.
func (s *PathSearch) Cut() bool { return s.cut }
