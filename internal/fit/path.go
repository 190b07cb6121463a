package fit

import (
	"math"
	"slices"
	"sync"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

const (
	clampsPiece = 2   // one clamp on each end of a piece of hose
	barbOverlap = 1.0 // inches of hose that the barbs of one piece take; common practice, no source
)

// Fittings knows which ends the fuel fittings of a catalogue join, one fitting or two
// in a row. It is built once and shared.
type Fittings struct {
	runs map[endPair][]run
}

type endPair struct{ in, out catalog.End }

// run is one fitting, or two that mate, with the ends between them.
type run struct {
	forms [2]*catalog.Form // the second nil for a single fitting
	mid   [2]catalog.End   // where the first ends and the second begins
}

// NewFittings indexes forms of fuel fittings by the ends they lead from and to, single
// ones before pairs.
func NewFittings(forms []*catalog.Form) *Fittings {
	x := &Fittings{runs: map[endPair][]run{}}
	type turned struct {
		form *catalog.Form
		endPair
	}
	var all []turned
	entering := map[catalog.End][]turned{}
	for _, f := range forms {
		if len(f.Ends) != 2 {
			continue
		}
		ways := []turned{{f, endPair{f.Ends[0], f.Ends[1]}}, {f, endPair{f.Ends[1], f.Ends[0]}}}
		if f.Ends[0] == f.Ends[1] {
			ways = ways[:1]
		}
		for _, t := range ways {
			all = append(all, t)
			entering[t.in] = append(entering[t.in], t)
			x.runs[t.endPair] = append(x.runs[t.endPair], run{forms: [2]*catalog.Form{f, nil}})
		}
	}
	for _, first := range all {
		mate, ok := first.out.Mate()
		if !ok {
			continue
		}
		for _, second := range entering[mate] {
			pair := endPair{first.in, second.out}
			if first.in == second.out {
				continue
			}
			x.runs[pair] = append(x.runs[pair], run{[2]*catalog.Form{first.form, second.form}, [2]catalog.End{first.out, second.in}})
		}
	}
	return x
}

// Between lists the forms that occur in any run between one of the open ends and
// another of them.
func (x *Fittings) Between(open []catalog.End) map[*catalog.Form]bool {
	forms := map[*catalog.Form]bool{}
	for _, from := range open {
		in, ok := entering(from)
		if !ok {
			continue
		}
		for _, to := range open {
			out, ok := entering(to)
			if !ok {
				continue
			}
			for _, r := range x.runs[endPair{in, out}] {
				forms[r.forms[0]] = true
				if r.forms[1] != nil {
					forms[r.forms[1]] = true
				}
			}
		}
	}
	return forms
}

// PathQuery asks for the chain of parts that brings fuel From the end of the vehicle's
// supply line To the carburetor inlet over RunLengthIn inches.
//
// The functions return the parts that rules allow: of a form for the fitting that
// enters the inlet (InletFitting) or any other (Fitting), hoses and clamps of a bore.
// Fuel flows through filters and regulators from their first end to their second;
// fittings are turned either way. StandIns, by need, are things without a SKU that
// join whatever they must. Owned is what is had already.
type PathQuery struct {
	From, To              catalog.End
	RunLengthIn           float64
	NeedRegulator         bool
	Runs                  *Fittings
	Fitting, InletFitting func(*catalog.Form) []Candidate
	Filters, Regulators   []Candidate
	Bores                 []units.Size // of the hoses that may be used
	Hoses, Clamps         func(bore units.Size) []Candidate
	StandIns              map[string]Candidate
	Owned                 []Holding
	Switches              func(parts []*catalog.Part) []Switch
}

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
type Switch struct {
	Cost, Saving int64
	Holds        []Holding
	Tied         *catalog.Part
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

// Paths returns the cheapest fuel path under every setting of the switches that can
// be part of the optimum of a whole kit, without repeats; none when nothing joins line
// and inlet.
//
// A path has one filter and after it, where needed, one regulator. Between line,
// filter, regulator and inlet lies a link: a piece of hose with up to two fittings at
// each end, or up to two fittings alone; at least one link has hose, which takes up
// the engine's movement. The pieces are equally long: together the run, each an inch
// more for the barbs. Every piece has a clamp at each end. All hose of one bore in a
// path is of one kind, and so are its clamps. Of paths at one cost the one with fewer
// pieces of hose is taken, then the first in the order of candidates.
//
// It is a shortest path over (node passed, hose so far), since under one setting every
// part has one price. A fitting in two places counts as bought twice while paths are
// compared, or as held twice where one is held.
func Paths(q *PathQuery) []PathOption {
	s := NewPathSearch(q)
	defer s.Release()
	return s.Paths(nil)
}

// Paths answers as the function Paths does, with every part priced anew when price is
// not nil: which parts join does not depend on what they cost.
func (s *PathSearch) Paths(price func(*catalog.Part) Candidate) []PathOption {
	if price != nil {
		for i := range s.parts {
			s.parts[i] = price(s.parts[i].Part)
		}
	}
	s.switches = nil
	if s.q.Switches != nil {
		parts := make([]*catalog.Part, len(s.parts))
		for i := range s.parts {
			parts[i] = s.parts[i].Part
		}
		s.switches = s.q.Switches(parts)
	}
	s.state = make([]state, len(s.switches))
	s.set(off)
	without := s.solve()
	var found []PathOption
	keep := func(p *solved) {
		o := s.option(p)
		if !slices.ContainsFunc(found, func(f PathOption) bool { return slices.Equal(f.Uses, o.Uses) }) {
			found = append(found, o)
		}
	}
	if without.cost < impossible {
		keep(&without)
	}
	if len(s.switches) > 0 {
		s.set(open)
		s.explore(without.cost, keep)
	}
	slices.SortStableFunc(found, func(a, b PathOption) int { return compareOptions(&a.Option, &b.Option) })
	return found
}

// state of a switch: off and on are decided, open ones count as on while paths are
// compared.
type state int8

const (
	off state = iota
	open
	on
)

func (s *PathSearch) set(all state) {
	for i := range s.state {
		s.state[i] = all
	}
}

// explore finds the cheapest path with every open switch on. If it uses none of them
// it is the cheapest of all settings left and is kept; else the first that it uses is
// decided both ways. A branch ends when, even so, no path can pay for what is on:
// without is what the path costs with every switch off.
func (s *PathSearch) explore(without int64, keep func(*solved)) {
	p := s.solve()
	if p.cost == impossible {
		return
	}
	bound := p.cost
	for i, st := range s.state {
		switch st {
		case on:
			bound += s.switches[i].Cost
		case open:
			bound += min(0, s.switches[i].Cost)
		}
	}
	if bound > without {
		return
	}
	i := s.firstUsed(&p)
	if i < 0 {
		keep(&p)
		return
	}
	saved := slices.Clone(s.state)
	s.state[i] = off
	s.explore(without, keep)
	copy(s.state, saved)
	s.state[i] = on
	for k := range s.switches {
		if s.state[k] == open && s.exclude(i, k) {
			s.state[k] = off
		}
	}
	s.explore(without, keep)
	copy(s.state, saved)
}

// firstUsed is the first open switch that a path makes use of, -1 for none.
func (s *PathSearch) firstUsed(p *solved) int {
	for i, st := range s.state {
		if st == open && s.uses(p, i) {
			return i
		}
	}
	return -1
}

func (s *PathSearch) uses(p *solved, i int) bool {
	sw := &s.switches[i]
	if sw.Tied != nil {
		return s.holdsPart(p, sw.Tied)
	}
	return slices.ContainsFunc(sw.Holds, func(h Holding) bool { return s.holdsPart(p, h.Part) })
}

// exclude reports whether two bundles can never both pay: a path has one inlet fitting,
// one filter and one regulator, and where both hold one, the bundle whose piece lies
// idle must still save something.
func (s *PathSearch) exclude(i, k int) bool {
	a, b := &s.switches[i], &s.switches[k]
	for _, role := range [...]string{needInletFitting, needFilter, needRegulator} {
		x, y := s.idle(a, role), s.idle(b, role)
		if x > a.Saving && y > b.Saving {
			return true
		}
	}
	return false
}

// idle is the least that is lost when the piece of a bundle for a role is not used, 0
// when it holds none.
func (s *PathSearch) idle(sw *Switch, role string) int64 {
	least := int64(0)
	for _, h := range sw.Holds {
		id, ok := s.ids[h.Part]
		if !ok || s.only[id] != role {
			continue
		}
		if c := s.parts[id].packs(1); least == 0 || c < least {
			least = c
		}
	}
	return least
}

// impossible is the cost of what cannot be had.
const impossible = math.MaxInt64 / 4

const maxLinks = 3 // to filter, regulator and inlet

// PathSearch holds what does not depend on the setting of the switches: the parts that
// may be used, and the joins between nodes.
type PathSearch struct {
	q        *PathQuery
	parts    []Candidate
	only     []string // by part: the one need it can serve, "" for several
	ids      map[*catalog.Part]int
	stages   []stage
	hoses    [][]int // by bore: candidate parts
	clamps   [][]int
	switches []Switch
	state    []state

	joins  []join                // room for the joins of stages
	runs   [][]placed            // and for their runs
	placed []placed              // and for the parts of these
	trail  [maxLinks + 1][]label // room for solve
	number int                   // of the setting of the switches that is being solved
	free   []int                 // by part, units that cost nothing under it
	piece  []int64               // by part, cost of one piece under it
}

// stage is the choice of one node, and the joins that lead to it: straight from an open
// end (by end, node), from an end to hose of a bore (by end, bore), and from the hose
// to a node (by bore, node).
type stage struct {
	from     []catalog.End
	nodes    []node
	straight [][]*join
	left     [][]*join
	right    [][]*join
}

// node is a filter or regulator, or the inlet; part is -1 for the inlet. next is the
// index of its out end among the next stage's from.
type node struct {
	in, out catalog.End
	need    string
	part    int
	next    int
}

// placed is a fitting in a run.
type placed struct {
	need    string
	part    int
	in, out catalog.End
}

// join lists the runs of fittings between two open ends; an empty run where the ends
// mate.
type join struct {
	runs [][]placed

	number int // setting that cost and best are of
	cost   int64
	best   int
}

var pathSearches = sync.Pool{New: func() any { return &PathSearch{ids: map[*catalog.Part]int{}} }}

// Release lets the memory of a search be used again, once nothing will be asked of it
// any more. What Paths returned stays.
func (s *PathSearch) Release() {
	clear(s.ids)
	clear(s.parts[:cap(s.parts)])
	*s = PathSearch{ids: s.ids, parts: s.parts[:0], only: s.only[:0], joins: s.joins[:0], placed: s.placed[:0],
		runs: s.runs[:0], trail: s.trail, free: s.free[:0], piece: s.piece[:0]}
	pathSearches.Put(s)
}

// NewPathSearch finds out which parts join for a query; it is for one goroutine.
func NewPathSearch(q *PathQuery) *PathSearch {
	s := pathSearches.Get().(*PathSearch)
	s.q = q
	nodes := [][]node{s.nodes(q.Filters, needFilter)}
	if q.NeedRegulator {
		nodes = append(nodes, s.nodes(q.Regulators, needRegulator))
	}
	nodes = append(nodes, []node{{in: q.To, part: -1}})
	for _, bore := range q.Bores {
		s.hoses = append(s.hoses, s.consumables(q.Hoses(bore), needHose))
		s.clamps = append(s.clamps, s.consumables(q.Clamps(bore), needClamps))
	}
	from := []catalog.End{q.From}
	for i := range nodes {
		st := stage{from: from, nodes: nodes[i]}
		last := i == len(nodes)-1
		var next []catalog.End
		byIn := map[catalog.End]int{}
		for n := range st.nodes {
			nd := &st.nodes[n]
			if nd.next = slices.Index(next, nd.out); nd.next < 0 {
				nd.next = len(next)
				next = append(next, nd.out)
			}
		}
		into := func(open catalog.End) []*join {
			row := make([]*join, len(st.nodes))
			clear(byIn)
			for n := range st.nodes {
				if k, known := byIn[st.nodes[n].in]; known {
					row[n] = row[k]
					continue
				}
				byIn[st.nodes[n].in] = n
				row[n] = s.join(open, st.nodes[n].in, last)
			}
			return row
		}
		for _, bore := range q.Bores {
			st.right = append(st.right, into(hoseEnd(bore)))
		}
		for _, f := range from {
			st.straight = append(st.straight, into(f))
			row := make([]*join, len(q.Bores))
			for b, bore := range q.Bores {
				row[b] = s.join(f, hoseEnd(bore), false)
			}
			st.left = append(st.left, row)
		}
		s.stages = append(s.stages, st)
		from = next
	}
	s.free, s.piece = resize(s.free, len(s.parts)), resize(s.piece, len(s.parts))
	return s
}

// resize makes a slice n long, in the room it has where that is enough.
func resize[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

func hoseEnd(bore units.Size) catalog.End { return catalog.End{Family: catalog.Hose, Size: bore} }

func (s *PathSearch) id(c Candidate, need string) int {
	if i, ok := s.ids[c.Part]; ok {
		if s.only[i] != need {
			s.only[i] = ""
		}
		return i
	}
	s.parts = append(s.parts, c)
	s.only = append(s.only, need)
	s.ids[c.Part] = len(s.parts) - 1
	return len(s.parts) - 1
}

func (s *PathSearch) nodes(candidates []Candidate, need string) []node {
	var out []node
	for _, c := range candidates {
		if len(c.Part.Ends) == 2 {
			out = append(out, node{in: c.Part.Ends[0], out: c.Part.Ends[1], need: need, part: s.id(c, need)})
		}
	}
	if c, ok := s.q.StandIns[need]; ok {
		part, same := s.id(c, need), len(out)
		for _, in := range s.q.Bores {
			for _, to := range s.q.Bores { // a step of the bore may be what only this part can give
				n := node{in: catalog.End{Family: catalog.HoseBarb, Size: in}, out: catalog.End{Family: catalog.HoseBarb, Size: to}, need: need, part: part}
				if in != to {
					out = append(out, n)
				} else {
					out = slices.Insert(out, same, n) // first, so that it is taken where both would do
					same++
				}
			}
		}
	}
	return out
}

func (s *PathSearch) consumables(candidates []Candidate, need string) []int {
	if c, ok := s.q.StandIns[need]; ok {
		candidates = append(slices.Clone(candidates), c)
	}
	out := make([]int, len(candidates))
	for i, c := range candidates {
		out[i] = s.id(c, need)
	}
	return out
}

// join finds the runs between two open ends.
func (s *PathSearch) join(from, to catalog.End, last bool) *join {
	if len(s.joins) == cap(s.joins) {
		s.joins = make([]join, 0, 256) // those handed out stay where they are
	}
	first := len(s.runs)
	s.findRuns(from, to, last)
	s.joins = append(s.joins, join{runs: s.runs[first:len(s.runs):len(s.runs)]})
	return &s.joins[len(s.joins)-1]
}

func (s *PathSearch) findRuns(from, to catalog.End, last bool) {
	if from.Mates(to) {
		s.runs = append(s.runs, nil)
		return
	}
	in, entered := entering(from)
	out, left := entering(to)
	if !entered || !left {
		return
	}
	need, list := needFittings, s.q.Fitting
	if last {
		need, list = needInletFitting, s.q.InletFitting
	}
	// Where one fitting joins the ends, pairs that do the same are left out: every joint
	// is a place to leak.
	single := false
	for _, r := range s.q.Runs.runs[endPair{in, out}] {
		if r.forms[1] != nil && single {
			break
		}
		if r.forms[1] == nil {
			for _, c := range list(r.forms[0]) {
				s.runs = append(s.runs, s.run(placed{need, s.id(c, need), in, out}))
				single = true
			}
			continue
		}
		for _, a := range s.q.Fitting(r.forms[0]) {
			for _, b := range list(r.forms[1]) {
				s.runs = append(s.runs, s.run(placed{needFittings, s.id(a, needFittings), in, r.mid[0]}, placed{need, s.id(b, need), r.mid[1], out}))
			}
		}
	}
	if c, ok := s.q.StandIns[need]; ok {
		s.runs = append(s.runs, s.run(placed{need, s.id(c, need), in, out}))
	}
}

// run keeps the parts of a run in room shared by all.
func (s *PathSearch) run(parts ...placed) []placed {
	from := len(s.placed)
	s.placed = append(s.placed, parts...)
	return s.placed[from:len(s.placed):len(s.placed)]
}

// entering is the end of a fitting that joins an open end.
func entering(open catalog.End) (catalog.End, bool) {
	if open.Family == catalog.Hose {
		return catalog.End{Family: catalog.HoseBarb, Size: open.Size}, true
	}
	return open.Mate()
}

// priced chooses the cheapest run of a join under the setting.
func (s *PathSearch) priced(j *join) int64 {
	if j.number == s.number {
		return j.cost
	}
	j.number, j.cost = s.number, impossible
	for i, run := range j.runs {
		cost := int64(0)
		for _, p := range run {
			cost += s.piece[p.part]
		}
		if cost < j.cost {
			j.cost, j.best = cost, i
		}
	}
	return j.cost
}

// label is the cheapest chain to an open end with so much hose; bores of the pieces
// are indexes plus one, falling, 0 for none.
type label struct {
	end    int // index among the ends that the next stage starts from
	pieces [maxLinks]int8
	cost   int64
	prev   int // index among the labels of the stage before
	bore   int // of the link that led here, -1 without hose
	node   int // of the stage
}

// solved is the cheapest path under one setting.
type solved struct {
	cost    int64
	labels  [maxLinks + 1]label // the chain, from the line on
	pieceIn float64
	hoses   [maxLinks]bored
}

// bored is the hose and clamp chosen for a bore; pieces 0: none.
type bored struct{ bore, pieces, hose, clamp int }

// solve finds the cheapest path under the setting of the switches.
func (s *PathSearch) solve() solved {
	s.number++
	for i := range s.free {
		s.free[i] = 0
	}
	for _, h := range s.q.Owned {
		s.hold(h)
	}
	for i, st := range s.state {
		if st != off {
			for _, h := range s.switches[i].Holds {
				s.hold(h)
			}
		}
	}
	for i := range s.parts {
		s.piece[i] = s.price(i, 1) + s.parts[i].Penalty
	}
	for i, st := range s.state {
		if t := s.switches[i].Tied; t != nil && st == off {
			s.piece[s.ids[t]] = impossible
		}
	}

	trail := &s.trail
	trail[0] = append(trail[0][:0], label{node: -1, bore: -1})
	for i := range s.stages {
		trail[i+1] = trail[i+1][:0]
	}
	for i := range s.stages {
		st := &s.stages[i]
		for n := range st.nodes {
			nd := &st.nodes[n]
			own := int64(0)
			if nd.part >= 0 {
				own = s.piece[nd.part]
			}
			if own >= impossible {
				continue
			}
			for l := range trail[i] {
				from := &trail[i][l]
				if cost := s.priced(st.straight[from.end][n]); cost < impossible {
					trail[i+1] = keepCheapest(trail[i+1], label{nd.next, from.pieces, from.cost + cost + own, l, -1, n})
				}
				for b := range s.q.Bores {
					left := s.priced(st.left[from.end][b])
					if left >= impossible {
						continue
					}
					if right := s.priced(st.right[b][n]); right < impossible {
						trail[i+1] = keepCheapest(trail[i+1], label{nd.next, withPiece(from.pieces, b), from.cost + left + right + own, l, b, n})
					}
				}
			}
		}
	}
	out := solved{cost: impossible}
	at := -1
	final := trail[len(s.stages)]
	for l := range final {
		if s.withHose(&out, &final[l]) {
			at = l
		}
	}
	for i := len(s.stages); i >= 0 && at >= 0; i-- {
		out.labels[i] = trail[i][at]
		at = out.labels[i].prev
	}
	return out
}

// holdsPart reports whether a path has a part in it.
func (s *PathSearch) holdsPart(p *solved, part *catalog.Part) bool {
	id := s.ids[part]
	in := func(j *join) bool {
		return slices.ContainsFunc(j.runs[j.best], func(f placed) bool { return f.part == id })
	}
	for i := range s.stages {
		st, l := &s.stages[i], &p.labels[i+1]
		from := p.labels[i].end
		if l.bore < 0 && in(st.straight[from][l.node]) || st.nodes[l.node].part == id {
			return true
		}
		if l.bore >= 0 && (in(st.left[from][l.bore]) || in(st.right[l.bore][l.node])) {
			return true
		}
	}
	return slices.ContainsFunc(p.hoses[:], func(b bored) bool { return b.pieces > 0 && (b.hose == id || b.clamp == id) })
}

func (s *PathSearch) hold(h Holding) {
	if i, ok := s.ids[h.Part]; ok {
		s.free[i] += h.Units
	}
}

// price is what units of a part cost beside those that are free.
func (s *PathSearch) price(part, n int) int64 {
	c := &s.parts[part]
	return c.packs(Packs(c.Part, n-s.free[part]))
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

func keepCheapest(list []label, l label) []label {
	for i := range list {
		if list[i].end == l.end && list[i].pieces == l.pieces {
			if l.cost < list[i].cost {
				list[i] = l
			}
			return list
		}
	}
	return append(list, l)
}

// withHose adds the cheapest hose and clamps of each bore to a whole chain and, if it
// beats the best path so far, takes its place.
func (s *PathSearch) withHose(best *solved, l *label) bool {
	count := 0
	for count < maxLinks && l.pieces[count] > 0 {
		count++
	}
	if count == 0 || l.cost >= best.cost {
		return false
	}
	pieceIn := s.q.RunLengthIn/float64(count) + barbOverlap
	cost := l.cost
	var hoses [maxLinks]bored
	for i, kinds := 0, 0; i < count; kinds++ {
		bore, n := int(l.pieces[i])-1, 1
		for i++; i < count && int(l.pieces[i])-1 == bore; i++ {
			n++
		}
		hose, hoseCost := s.cheapest(s.hoses[bore], n, func(p *catalog.Part) int {
			if p.LengthIn < pieceIn {
				return 0
			}
			return n * CutUnits(p, pieceIn)
		})
		clamp, clampCost := s.cheapest(s.clamps[bore], n, func(*catalog.Part) int { return n * clampsPiece })
		if cost += hoseCost + clampCost; cost >= best.cost {
			return false
		}
		hoses[kinds] = bored{bore, n, hose, clamp}
	}
	best.cost, best.pieceIn, best.hoses = cost, pieceIn, hoses
	return true
}

// cheapest is the part that costs least for so many places and units in all.
func (s *PathSearch) cheapest(parts []int, places int, unitsOf func(*catalog.Part) int) (best int, cost int64) {
	best, cost = -1, impossible
	for _, i := range parts {
		n := unitsOf(s.parts[i].Part)
		if n == 0 || s.piece[i] >= impossible {
			continue
		}
		if c := s.price(i, n) + int64(places)*s.parts[i].Penalty; c < cost {
			best, cost = i, c
		}
	}
	return best, cost
}

// option spells out the path that was just solved.
func (s *PathSearch) option(p *solved) PathOption {
	o := PathOption{HoseBoreIn: math.Inf(1)}
	run := func(j *join) {
		for _, f := range j.runs[j.best] {
			part := s.parts[f.part]
			o.Steps = append(o.Steps, Step{f.need, part.Part, f.in, f.out, part.Part.LengthIn})
			o.add(f.need, part, 1)
		}
	}
	for i := range s.stages {
		st, from, l := &s.stages[i], p.labels[i].end, &p.labels[i+1]
		if l.bore < 0 {
			run(st.straight[from][l.node])
		} else {
			run(st.left[from][l.bore])
			with := p.hoses[slices.IndexFunc(p.hoses[:], func(b bored) bool { return b.pieces > 0 && b.bore == l.bore })]
			hose, clamp := s.parts[with.hose], s.parts[with.clamp]
			end := hoseEnd(s.q.Bores[l.bore])
			o.Steps = append(o.Steps, Step{needHose, hose.Part, end, end, p.pieceIn})
			o.HoseBoreIn = min(o.HoseBoreIn, end.Size.Inches())
			o.add(needHose, hose, CutUnits(hose.Part, p.pieceIn))
			o.add(needClamps, clamp, clampsPiece)
			run(st.right[l.bore][l.node])
		}
		if nd := &st.nodes[l.node]; nd.part >= 0 {
			part := s.parts[nd.part]
			o.Steps = append(o.Steps, Step{nd.need, part.Part, nd.in, nd.out, part.Part.LengthIn})
			o.add(nd.need, part, 1)
		}
	}
	o.Option.finish(nil)
	return o
}

// CutUnits is how many inches one of several equal pieces counts for, so that a sum of
// inches fits into a number of stock lengths exactly when the pieces can be cut from
// them: a stock length L yields k pieces, and each counts for L/k in whole inches,
// rounded down unless one piece too many would then seem to fit.
func CutUnits(p *catalog.Part, pieceIn float64) int {
	length := int(p.LengthIn)
	k := max(int(p.LengthIn/pieceIn), 1)
	u := max(length/k, 1)
	if (k+1)*u <= length {
		u++
	}
	return u
}
