package fit

import (
	"cmp"
	"context"
	"math"
	"slices"
	"strings"
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
// together.go sees to.
type PathSearch struct {
	q      *PathQuery
	stages []stage
	bores  []boreChoice
	packed bool                 // some fitting comes in packs
	of     [Fitting + 1][]int32 // choice + 1 by role and class of the network, 0 when not looked at yet
	alone  [Roles]int32         // choice of the stand-in for a role, -1 where there is none
	graded []verdicts           // by grade of the network
	had    []networkPart        // of what is owned

	// room for what the above refers to
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

// apart is a part that may be had otherwise than by buying it for the path.
type apart struct {
	part  Candidate
	roles uint8 // that it can take, a bit each

	held, tied bool // by a switch or owned; only to be had when the rest of the kit allows it
	had        bool // owned or in a bundle
	shared     bool // others may take some

	firm     int   // units that cost nothing under the setting
	free     int   // with those that cost no more than the charge
	charge   int64 // of the switches that are open
	piece    int64 // cost of one piece under the setting
	blocked  bool  // tied, and not to be had under the setting
	taken    int   // units, by others
	required int   // units that are in the kit at least
	unknown  bool  // how many these are is open
}

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

// pathSwitch is a Switch in terms of the search.
type pathSwitch struct {
	Switch
	tied  int32 // -1 for none
	taken int32 // part of which others take some, -1 for none
	holds []heldUnits
	idle  [len(soleRoles)]int64 // the least that is lost when its piece for the role is not used, 0 when it has none
}

type heldUnits struct {
	apart  int32
	units  int
	charge int64 // part of its switch's cost that using it bears at least
}

// soleRoles are those that one piece in a path takes.
var soleRoles = [...]Role{InletFitting, Filter, Regulator}

// state of a switch: off and on are decided, open ones count as on while paths are
// compared, but for a charge.
type state int8

const (
	off state = iota
	opened
	on
)

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

// emptied drops what a slice refers to and keeps its room.
func emptied[T any](s *[]T) {
	clear(*s)
	*s = (*s)[:0]
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

// lendZero hands out n zero elements of a pile that stay where they are when it grows.
func lendZero[T any](pile *[]T, n int) []T {
	if cap(*pile)-len(*pile) < n {
		*pile = make([]T, 0, max(64, n, 2*cap(*pile)))
	}
	from := len(*pile)
	*pile = (*pile)[:from+n]
	return (*pile)[from : from+n : from+n]
}

// zeroed makes a slice of n zeros, in the room it has where that is enough.
func zeroed[T any](s []T, n int) []T {
	s = resize(s, n)
	clear(s)
	return s
}

// resize makes a slice n long, in the room it has where that is enough.
func resize[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// choose makes a choice of the parts of a class that may take a role, and a stand-in if
// it is not nil.
func (s *PathSearch) choose(role Role, of int32, standIn *catalog.Part) int32 {
	c := choice{role: role, class: of, standIn: standIn}
	if of >= 0 {
		class := &s.q.Network.classes[of]
		c.rows, c.looked = class.rows, lendZero(&s.looked, len(class.rows))
		for i := 0; i < len(c.rows) && !c.sold; i++ {
			c.sold = s.lookOn(&c, i, impossible)
		}
		c.sold = c.sold || slices.ContainsFunc(class.tied, func(grade int32) bool { return s.accepts(role, grade) })
		lasting := lendZero(&s.lasting, len(s.had))[:0]
		for _, p := range s.had {
			gone := p.Discontinued && !slices.Contains(soleRoles[:], role) // serves where a path takes no second
			if p.class == of && !gone && s.accepts(role, p.grade) && !slices.Contains(lasting, p.Part) {
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

// networkPart is a part as it is filed in the network.
type networkPart struct {
	*catalog.Part
	filed
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

func (s *PathSearch) empty(choice int32) bool {
	c := &s.choices[choice]
	return !c.sold && len(c.lasting) == 0 && c.standIn == nil
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

// hasApart reports whether what a choice costs may depend on the setting.
func (s *PathSearch) hasApart(choice int32) bool {
	c := &s.choices[choice]
	return c.from < c.to && s.entries[c.from].apart >= 0
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

// setSwitches puts the switches in terms of the search.
func (s *PathSearch) setSwitches(prices PathPrices) {
	emptied(&s.switches)
	for i := range s.apart {
		a := &s.apart[i]
		a.held, a.tied, a.had, a.shared = false, false, false, false
	}
	for _, h := range s.owned {
		s.apart[h.apart].held, s.apart[h.apart].had = true, true
	}
	switches := prices.Switches(s.parts)
	for i := range switches {
		if p := switches[i].Taken.Part; p != nil {
			a := &s.apart[s.apartID[p]]
			a.held, a.shared = true, true
		}
	}
	for _, sw := range switches {
		x := pathSwitch{Switch: sw, tied: -1, taken: -1, holds: lendZero(&s.held, len(sw.Holds))[:0]}
		if sw.Tied != nil {
			x.tied = s.apartID[sw.Tied]
			s.apart[x.tied].tied = true
		}
		if sw.Taken.Part != nil {
			x.taken = s.apartID[sw.Taken.Part]
		}
		for _, h := range sw.Holds {
			id, ok := s.apartID[h.Part]
			if !ok {
				continue
			}
			x.holds = append(x.holds, heldUnits{apart: id, units: h.Units})
			a := &s.apart[id]
			a.held, a.had = true, true
			for i, role := range soleRoles {
				if c := a.part.packs(1); a.roles == 1<<role && !a.shared && (x.idle[i] == 0 || c < x.idle[i]) {
					x.idle[i] = c
				}
			}
		}
		s.spread(&x)
		s.switches = append(s.switches, x)
	}
	s.state = resize(s.state, len(s.switches))
}

// spread lets those parts of a bundle that a path takes in one place only bear its cost,
// by what they cost alone: a path that uses all of them bears all, another less than it
// must. A fitting may stand in several places and bears nothing, nor does what others take.
func (s *PathSearch) spread(sw *pathSwitch) {
	worth := func(h *heldUnits) int64 {
		a := &s.apart[h.apart]
		if a.roles&(1<<Fitting) != 0 || a.shared {
			return 0
		}
		return a.part.packs(Packs(a.part.Part, h.units))
	}
	total := int64(0)
	for i := range sw.holds {
		total += worth(&sw.holds[i])
	}
	for i := range sw.holds {
		if h := &sw.holds[i]; total > 0 && sw.Cost > 0 {
			h.charge = int64(float64(sw.Cost) * (float64(worth(h)) / float64(total)) * (1 - 1e-9))
		}
	}
}

func (s *PathSearch) set(all state) {
	for i := range s.state {
		s.state[i] = all
	}
}

// explore finds the cheapest path with every open switch on. If it uses none of them
// it is the cheapest of all settings left and is kept; else the first that it uses is
// decided both ways. A branch ends when, even so, no path can pay for what is on:
// without is what the path costs with every switch off. It may cost more when others take
// what is held, or more than is in stock. It ends before all is looked at only when some
// path is known.
func (s *PathSearch) explore(ctx context.Context, without int64, first int) {
	if (s.left <= 0 || ctx.Err() != nil) && len(s.found) > first {
		s.cut = true
		return
	}
	s.left--
	most, unknown := without, false
	for i, st := range s.state {
		switch st {
		case on:
			most -= s.switches[i].Cost
		case opened:
			most -= min(0, s.switches[i].Cost)
		}
		if id := s.switches[i].taken; st != off && id >= 0 && !s.switches[i].Required {
			a := &s.apart[id]
			if unknown = unknown || a.had; a.part.OnceAbove > 0 {
				most += a.part.Once
			}
		}
	}
	if unknown || most >= impossible {
		most = impossible - 1
	}
	p := s.solve(most)
	if p.cost >= impossible {
		return
	}
	i := s.firstUsed(&p)
	if i < 0 {
		s.keep(&p, first)
		return
	}
	from := len(s.saved)
	s.saved = append(s.saved, s.state...)
	s.state[i] = off
	s.explore(ctx, without, first)
	copy(s.state, s.saved[from:])
	s.state[i] = on
	for k := range s.switches {
		if s.state[k] == opened && s.exclude(i, k) {
			s.state[k] = off
		}
	}
	s.explore(ctx, without, first)
	copy(s.state, s.saved[from:])
	s.saved = s.saved[:from]
}

// firstUsed is the first open switch that a path makes use of, -1 for none.
func (s *PathSearch) firstUsed(p *solved) int {
	s.used = zeroed(s.used, len(s.apart))
	s.along(p, func(_ Role, e int32, _, _ catalog.End) {
		if id := s.entries[e].apart; id >= 0 {
			s.used[id] = true
		}
	})
	for i, st := range s.state {
		sw := &s.switches[i]
		if st == opened && (sw.tied >= 0 && s.used[sw.tied] || sw.taken >= 0 && s.used[sw.taken] || slices.ContainsFunc(sw.holds, func(h heldUnits) bool { return s.used[h.apart] })) {
			return i
		}
	}
	return -1
}

// exclude reports whether two bundles can never both pay: a path has one inlet fitting,
// one filter and one regulator, and where both hold one, the bundle whose piece lies
// idle must still save something. A need takes one part at most.
func (s *PathSearch) exclude(i, k int) bool {
	a, b := &s.switches[i], &s.switches[k]
	if a.taken >= 0 && b.taken >= 0 && a.By == b.By && !a.Required && !b.Required {
		return true
	}
	for role := range soleRoles {
		if a.idle[role] > a.Saving && b.idle[role] > b.Saving {
			return true
		}
	}
	return false
}

// label is the cheapest chain to an open end with so much hose; bores of the pieces
// are indexes plus one, falling, 0 for none.
type label struct {
	end    int // index among the ends that the next stage starts from
	pieces [maxLinks]int8
	cost   int64
	prev   int // index among the labels of the stage before
	bore   int // of the link that led here, -1 without hose
	gate   int // of the stage
	entry  int32
}

// solved is the cheapest path under one setting.
type solved struct {
	cost    int64
	legs    [maxLinks]leg // from the line on
	pieceIn float64
	hoses   [maxLinks]bored
}

// leg is a link, of one run of fittings or with hose of a bore between two, and the gate
// that it leads to.
type leg struct {
	from, gate int // end and gate of the stage
	bore       int // -1 without hose
	runs       [2]chosenFittings
	entry      int32 // of the gate
}

// chosenFittings are a run and the entries in its places; run is -1 where the ends mate,
// second where there is one.
type chosenFittings struct{ run, first, second int32 }

// bored is the hose and clamp (their entries) chosen for a bore; pieces 0: none.
type bored struct {
	bore, pieces int
	hose, clamp  int32
}

// solve finds the cheapest path under the setting of the switches that costs at most so
// much.
func (s *PathSearch) solve(most int64) solved {
	s.setting()
	out := s.apiece(most)
	s.shareAmongPlaces(&out, most)
	return out
}

// apiece is the cheapest path when every place is paid for by itself.
func (s *PathSearch) apiece(most int64) solved {
	out := solved{cost: impossible}
	trail := &s.trail
	trail[0] = append(trail[0][:0], label{gate: -1, bore: -1})
	for i := range s.stages {
		s.extend(&s.stages[i], trail[i], &trail[i+1], most)
	}
	at := -1
	final := trail[len(s.stages)]
	for l := range final {
		if s.withHose(&out, &final[l], most) {
			at = l
		}
	}
	for i := len(s.stages); i > 0 && at >= 0; i-- {
		l := &trail[i][at]
		at = l.prev
		out.legs[i-1] = s.leg(&s.stages[i-1], l, trail[i-1][at].end)
	}
	return out
}

// leg is the link and gate that led to a label from an end, the cheapest.
func (s *PathSearch) leg(st *stage, l *label, from int) leg {
	pick := func(j *join) chosenFittings {
		if j.direct {
			return chosenFittings{-1, -1, -1}
		}
		out := chosenFittings{run: j.best, second: -1}
		r := &s.runs[j.best]
		if _, out.first = s.cheapest(r.first); r.second >= 0 {
			_, out.second = s.cheapest(r.second)
		}
		return out
	}
	out := leg{from: from, gate: l.gate, bore: l.bore, entry: l.entry}
	if l.bore < 0 {
		out.runs[0] = pick(&st.straight[from*len(st.gates)+l.gate])
	} else {
		out.runs[0], out.runs[1] = pick(&st.left[from*len(s.bores)+l.bore]), pick(&st.right[l.bore*len(st.gates)+l.gate])
	}
	return out
}

// setting works out what the setting of the switches means for the parts apart.
func (s *PathSearch) setting() {
	s.number++
	s.forget(false)
	for i := range s.apart {
		a := &s.apart[i]
		a.firm, a.free, a.charge, a.blocked, a.taken, a.required, a.unknown = 0, 0, impossible, false, 0, 0, false
	}
	hold := func(list []heldUnits) {
		for _, h := range list {
			s.apart[h.apart].firm += h.units
			s.apart[h.apart].free += h.units
		}
	}
	hold(s.owned)
	for i, st := range s.state {
		sw := &s.switches[i]
		switch {
		case sw.taken >= 0:
			a := &s.apart[sw.taken]
			a.unknown = a.unknown || st == opened
			switch {
			case sw.Required && st != off:
				a.required = max(a.required, sw.Taken.Units)
			case st == on:
				a.taken += sw.Taken.Units
			}
		case st == on:
			hold(sw.holds)
		case st == opened:
			for _, h := range sw.holds {
				a := &s.apart[h.apart]
				a.free += h.units
				a.charge = min(a.charge, h.charge)
			}
		case sw.tied >= 0:
			s.apart[sw.tied].blocked = true
		}
	}
	s.heldFittings = false
	for i := range s.apart {
		a := &s.apart[i]
		c := &a.part
		if a.piece = impossible; !a.blocked {
			a.piece = a.cost(1) + c.Penalty
		}
		s.heldFittings = s.heldFittings || a.free+a.required > 0 && a.roles&(1<<Fitting) != 0
	}
}

// extend goes from the labels of one stage through the gates of the next.
func (s *PathSearch) extend(st *stage, from []label, into *[]label, most int64) {
	to := (*into)[:0]
	for g := range st.gates {
		gt := &st.gates[g]
		own, entry := int64(0), int32(-1)
		if gt.choice >= 0 {
			own, entry = s.cheapest(gt.choice)
		}
		for l := range from {
			before := &from[l]
			rest := most - before.cost - own
			if rest < 0 {
				continue
			}
			if cost := s.joined(&st.straight[before.end*len(st.gates)+g]); cost <= rest {
				to = s.keepCheapest(to, &label{gt.next, before.pieces, before.cost + cost + own, l, -1, g, entry})
			}
			for b := range s.bores {
				left := s.joined(&st.left[before.end*len(s.bores)+b])
				if left > rest {
					continue
				}
				if right := s.joined(&st.right[b*len(st.gates)+g]); right <= rest-left {
					to = s.keepCheapest(to, &label{gt.next, withPiece(before.pieces, b), before.cost + left + right + own, l, b, g, entry})
				}
			}
		}
	}
	for l := range to {
		s.labels[s.place(&to[l])] = 0
	}
	*into = to
}

// forget lets the costs of joins be worked out again, of all or of those that depend on the
// setting.
func (s *PathSearch) forget(all bool) {
	for i := range s.stages {
		st := &s.stages[i]
		for _, joins := range [...][]join{st.straight, st.left, st.right} {
			for k := range joins {
				if j := &joins[k]; j.from < j.to && (all || j.hasApart) {
					j.cost = unknown
				}
			}
		}
	}
}

// joined is the cost of the cheapest run of a join under the setting.
func (s *PathSearch) joined(j *join) int64 {
	if j.cost == unknown {
		s.join(j)
	}
	return j.cost
}

// join finds the cheapest run of a join.
func (s *PathSearch) join(j *join) {
	j.cost, j.hasApart = impossible, false
	for i := j.from; i < j.to; i++ {
		r := &s.runs[i]
		cost, _ := s.cheapest(r.first)
		j.hasApart = j.hasApart || s.hasApart(r.first)
		if r.second >= 0 {
			more, _ := s.cheapest(r.second)
			cost += more
			j.hasApart = j.hasApart || s.hasApart(r.second)
		}
		if cost < j.cost {
			j.cost, j.best = cost, i
		}
	}
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

// cost is what units of a part cost at least under the setting: bought beside those that
// are firm, or beside those of open switches too, for which a charge is due. Where others
// take some, what is had is theirs first, and their packs and line are there. Of those that
// are required the path is the first to use some.
func (a *apart) cost(units int) int64 {
	packs := func(units int) int64 { return a.part.packs(Packs(a.part.Part, units)) }
	others := a.taken + a.required
	switch {
	case a.unknown || others > 0 && a.free > a.firm: // what a pack may have left is free, until that is decided
		return int64(max(0, units-a.free-a.required)/PackUnits(a.part.Part)) * a.part.Cost
	case others > 0:
		return packs(max(a.taken+units, a.required)-a.firm) - packs(max(a.taken, a.required)-a.firm)
	case units <= a.firm:
		return 0
	}
	cost := packs(units - a.firm)
	if a.charge < cost {
		cost = min(cost, a.charge+packs(units-a.free))
	}
	return cost
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

func withPiece(pieces [maxLinks]int8, bore int) [maxLinks]int8 {
	b := int8(bore + 1)
	for i := range pieces {
		if b > pieces[i] {
			pieces[i], b = b, pieces[i]
		}
	}
	return pieces
}

// keepCheapest keeps of two labels of one end and hose the cheaper.
func (s *PathSearch) keepCheapest(list []label, l *label) []label {
	at := &s.labels[s.place(l)]
	switch {
	case *at == 0:
		list = append(list, *l)
		*at = int32(len(list))
	case l.cost < list[*at-1].cost:
		list[*at-1] = *l
	}
	return list
}

// place numbers the labels of a stage by end and hose.
func (s *PathSearch) place(l *label) int {
	n := l.end
	for _, piece := range l.pieces {
		n = n*(len(s.bores)+1) + int(piece)
	}
	return n
}

// withHose adds the cheapest hose and clamps of each bore to a whole chain and, if it
// beats the best path so far and costs at most so much, takes its place.
func (s *PathSearch) withHose(best *solved, l *label, most int64) bool {
	count := 0
	for count < maxLinks && l.pieces[count] > 0 {
		count++
	}
	if count == 0 || l.cost >= best.cost {
		return false
	}
	cost := l.cost
	var hoses [maxLinks]bored
	for i, kinds := 0, 0; i < count; kinds++ {
		bore, n := int(l.pieces[i])-1, 1
		for i++; i < count && int(l.pieces[i])-1 == bore; i++ {
			n++
		}
		hose, hoseCost, clamp, clampCost := s.withClamps(bore, count, n)
		if cost += hoseCost + clampCost; cost >= best.cost || cost > most {
			return false
		}
		hoses[kinds] = bored{bore, n, hose, clamp}
	}
	best.cost, best.pieceIn, best.hoses = cost, s.pieceIn(count), hoses
	return true
}

// pieceIn is how long each of so many pieces of hose is.
func (s *PathSearch) pieceIn(count int) float64 { return s.q.RunLengthIn/float64(count) + barbOverlap }

// withClamps is the cheapest hose and clamps, as entries, for n of so many pieces.
func (s *PathSearch) withClamps(bore, count, n int) (hose int32, hoseCost int64, clamp int32, clampCost int64) {
	b, pieceIn := &s.bores[bore], s.pieceIn(count)
	hose, hoseCost = s.cheapestOf(b.hoses, &b.hose[count-1][n-1], n, func(lengthIn float64) int {
		if lengthIn < pieceIn {
			return 0
		}
		return n * cutUnits(lengthIn, pieceIn)
	})
	clamp, clampCost = s.cheapestOf(b.clamps, &b.clamp[count-1][n-1], n, func(float64) int { return n * clampsPiece })
	return hose, hoseCost, clamp, clampCost
}

// along visits the parts of the path that was just solved, from the line on; clamps
// after their hose. A hose's ends are those of its bore.
func (s *PathSearch) along(p *solved, visit func(role Role, entry int32, in, out catalog.End)) {
	for i := range s.stages {
		st, l := &s.stages[i], &p.legs[i]
		gt := &st.gates[l.gate]
		run := func(c *chosenFittings, from, to *open) {
			if c.run < 0 {
				return
			}
			in, _ := entering(from.end)
			out, _ := entering(to.end)
			last := Fitting
			if st.last && to == &gt.in {
				last = InletFitting
			}
			if c.second < 0 {
				visit(last, c.first, in, out)
				return
			}
			mid := &s.runs[c.run].run.mid
			visit(Fitting, c.first, in, mid[0])
			visit(last, c.second, mid[1], out)
		}
		if l.bore < 0 {
			run(&l.runs[0], &st.from[l.from], &gt.in)
		} else {
			b := &s.bores[l.bore]
			run(&l.runs[0], &st.from[l.from], &b.end)
			with := p.hoses[slices.IndexFunc(p.hoses[:], func(b bored) bool { return b.pieces > 0 && b.bore == l.bore })]
			visit(Hose, with.hose, b.end.end, b.end.end)
			visit(Clamp, with.clamp, b.end.end, b.end.end)
			run(&l.runs[1], &b.end, &gt.in)
		}
		if l.entry >= 0 {
			visit(gt.role, l.entry, gt.in.end, gt.out.end)
		}
	}
}

// maxUses is more than a path has: two fittings at each end of every link, the gates, and
// hose and clamps of as many bores as there are links.
const maxUses = 7 * maxLinks

// keep spells out the path that was just solved, unless one found since first is the
// same.
func (s *PathSearch) keep(p *solved, first int) {
	o := PathOption{HoseBoreIn: math.Inf(1)}
	firstStep := len(s.steps)
	o.Uses, o.chosen = lendZero(&s.uses, maxUses)[:0], s.chosen[:0]
	s.along(p, func(role Role, e int32, in, out catalog.End) {
		c := s.candidate(e)
		units, lengthIn := 1, c.Part.LengthIn
		switch role {
		case Hose:
			units, lengthIn = CutUnits(c.Part, p.pieceIn), p.pieceIn
			o.HoseBoreIn = min(o.HoseBoreIn, in.Size.Inches())
		case Clamp:
			o.add(role.Need(), c, clampsPiece)
			return
		}
		o.add(role.Need(), c, units)
		s.steps = append(s.steps, Step{role.Need(), c.Part, in, out, lengthIn})
	})
	o.Option.finish(nil)
	s.chosen, o.chosen = o.chosen[:0], nil
	if slices.ContainsFunc(s.found[first:], func(f PathOption) bool { return slices.Equal(f.Uses, o.Uses) }) {
		s.steps = s.steps[:firstStep]
		return
	}
	o.Steps = s.steps[firstStep:len(s.steps):len(s.steps)]
	s.found = append(s.found, o)
}

// CutUnits is how many inches one of several equal pieces counts for, so that a sum of
// inches fits into a number of stock lengths exactly when the pieces can be cut from
// them: a stock length L yields k pieces, and each counts for L/k in whole inches,
// rounded down unless one piece too many would then seem to fit.
func CutUnits(p *catalog.Part, pieceIn float64) int { return cutUnits(p.LengthIn, pieceIn) }

func cutUnits(stockIn, pieceIn float64) int {
	length := int(stockIn)
	k := max(int(stockIn/pieceIn), 1)
	u := max(length/k, 1)
	if (k+1)*u <= length {
		u++
	}
	return u
}
