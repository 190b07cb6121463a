package fit

import (
	"cmp"
	"math"
	"slices"

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

// NewFittings indexes forms of fuel fittings by the ends they lead from and to. Where
// one fitting joins two ends, pairs that do the same are left out: every joint is a
// place to leak.
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
		for _, t := range ways[:1+min(1, boolInt(f.Ends[0] != f.Ends[1]))] {
			all = append(all, t)
			entering[t.in] = append(entering[t.in], t)
			x.runs[t.endPair] = append(x.runs[t.endPair], run{forms: [2]*catalog.Form{f, nil}})
		}
	}
	singles := make(map[endPair]bool, len(x.runs))
	for pair := range x.runs {
		singles[pair] = true
	}
	for _, first := range all {
		mate, ok := first.out.Mate()
		if !ok {
			continue
		}
		for _, second := range entering[mate] {
			pair := endPair{first.in, second.out}
			if first.in == second.out || singles[pair] {
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

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}

// PathQuery asks for the chain of parts that brings fuel From the end of the vehicle's
// supply line To the carburetor inlet over RunLengthIn inches.
//
// The functions return the parts that rules allow: of a form for the fitting that
// enters the inlet (InletFitting) or any other (Fitting), hoses and clamps of a bore.
// Fuel flows through filters and regulators from their first end to their second;
// fittings are turned either way. StandIns, by need, are things without a SKU that
// join whatever they must.
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
	Savings               *Savings // of the sources of all candidates
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

// Paths returns every fuel path that could belong to the optimum of a whole kit,
// cheapest first; none when nothing joins line and inlet.
//
// A path has one filter and after it, where needed, one regulator. Between line,
// filter, regulator and inlet lies a link: a piece of hose with up to two fittings at
// each end, or up to two fittings alone; at least one link has hose, which takes up
// the engine's movement. The pieces are equally long: together the run, each an inch
// more for the barbs. Every piece has a clamp at each end. All hose of one bore in a
// path is of one kind, and so are its clamps.
func Paths(q *PathQuery) []PathOption {
	s := pathSearch{q: q}
	stages := [][]node{s.nodes(q.Filters, needFilter)}
	if q.NeedRegulator {
		stages = append(stages, s.nodes(q.Regulators, needRegulator))
	}
	stages = append(stages, []node{{in: q.To}})

	labels := []label{{end: q.From}}
	for i, stage := range stages {
		last := i == len(stages)-1
		var next []label
		for n := range stage {
			// Labels with one open end see the same links.
			for _, from := range labels {
				for _, l := range s.links(from.end, stage[n].in, last) {
					next = s.keep(next, from.extend(l, &stage[n]))
				}
			}
		}
		labels = next
	}
	var found []PathOption
	for i := range labels {
		found = s.finish(found, &labels[i])
	}
	best := int64(math.MaxInt64)
	for i := range found {
		if !found[i].tied {
			best = min(best, found[i].Cost)
		}
	}
	found = slices.DeleteFunc(found, func(o PathOption) bool { return o.Floor > best })
	return prune(found, q.Savings, func(o *PathOption) *Option { return &o.Option })
}

// node is a filter or regulator, or the inlet.
type node struct {
	in, out catalog.End
	need    string
	part    Candidate
	special bool
}

// link is what lies between two nodes. bore is the index of its hose's bore, -1 for
// none.
type link struct {
	bore  int
	parts []linkPart
}

// linkPart is a fitting, or with a zero Candidate the place of the hose.
type linkPart struct {
	need    string
	part    Candidate
	in, out catalog.End
	special bool
}

// label is a chain so far: what its ordinary parts cost, its special parts, and its
// pieces of hose. Special are parts whose price in a whole
// kit is not simply added: held by bundles, owned, tied, or due once for several.
type label struct {
	end      catalog.End
	pieces   hoses
	cost     int64
	specials []counted
	links    [maxLinks]*link
	nodes    [maxLinks]*node
	depth    int
}

// maxLinks is how many links a path has at most: to filter, regulator and inlet.
const maxLinks = 3

// maxSame is in how many places one fitting can be: at both ends of each link's hose.
const maxSame = 2 * maxLinks

// hoses are the bores of the hose in a chain, as indexes into PathQuery.Bores plus
// one, falling, 0 for none.
type hoses [maxLinks]int

// with has one more piece.
func (h hoses) with(bore int) hoses {
	b := bore + 1
	for i := range h {
		if b > h[i] {
			h[i], b = b, h[i]
		}
	}
	return h
}

// counted is a special part and in how many places it is.
type counted struct {
	*Candidate
	n int
}

type pathSearch struct {
	q     *PathQuery
	known map[linkKey][]link
	parts map[partKey][]Candidate
}

type linkKey struct {
	from, to catalog.End
	last     bool
}

type partKey struct {
	form  *catalog.Form
	inlet bool
}

// nodes lists the components of a stage, those that no other can stand in for.
func (s *pathSearch) nodes(candidates []Candidate, need string) []node {
	var out []node
	for _, c := range candidates {
		if len(c.Part.Ends) == 2 {
			out = append(out, node{c.Part.Ends[0], c.Part.Ends[1], need, c, isSpecial(&c, false)})
		}
	}
	if c, ok := s.q.StandIns[need]; ok {
		for _, bore := range s.q.Bores {
			barb := catalog.End{Family: catalog.HoseBarb, Size: bore}
			out = append(out, node{barb, barb, need, c, false})
		}
	}
	return slices.DeleteFunc(out, func(n node) bool {
		return slices.ContainsFunc(out, func(o node) bool {
			return o.part.Part != n.part.Part && o.in == n.in && o.out == n.out && s.beats(&o.part, &n.part)
		})
	})
}

// isSpecial reports whether what a part adds to a kit depends on the rest of it.
// often: it may occur more than once in a path.
func isSpecial(c *Candidate, often bool) bool {
	return c.Sources != 0 || c.Tied || often && (c.Part.PackQuantity > 1 || c.once(maxSame) > 0) && c.Part.SKU != ""
}

// alone is what one piece costs, bought for itself.
func (c *Candidate) alone() int64 { return c.packs(1) + c.Penalty }

// beats reports whether c can always stand in for d: bought for itself it costs no
// more than d after all that d's sources can save, ties by SKU.
func (s *pathSearch) beats(c, d *Candidate) bool {
	if c.Tied {
		return false
	}
	floor := d.alone() - s.q.Savings.of(d.Sources)
	if c.alone() != floor {
		return c.alone() < floor
	}
	return d.alone() > floor || d.Tied || sku(c.Part) < sku(d.Part)
}

// links lists what can lie between an open end and a node's end.
func (s *pathSearch) links(from, to catalog.End, last bool) []link {
	key := linkKey{from, to, last}
	if l, ok := s.known[key]; ok {
		return l
	}
	var out []link
	for _, parts := range s.joins(from, to, last) {
		out = append(out, link{-1, parts})
	}
	for i, bore := range s.q.Bores {
		open := catalog.End{Family: catalog.Hose, Size: bore}
		hose := linkPart{in: open, out: open}
		lefts := s.joins(from, open, false)
		if len(lefts) == 0 {
			continue
		}
		for _, right := range s.joins(open, to, last) {
			for _, left := range lefts {
				parts := append(append(slices.Clone(left), hose), right...)
				out = append(out, link{i, parts})
			}
		}
	}
	if s.known == nil {
		s.known = map[linkKey][]link{}
	}
	s.known[key] = out
	return out
}

// joins lists the runs of fittings from an open end to another: none when they mate.
func (s *pathSearch) joins(from, to catalog.End, last bool) [][]linkPart {
	if from.Mates(to) {
		return [][]linkPart{nil}
	}
	in, ok := entering(from)
	if !ok {
		return nil
	}
	out, ok := entering(to)
	if !ok {
		return nil
	}
	var list [][]linkPart
	for _, r := range s.q.Runs.runs[endPair{in, out}] {
		if r.forms[1] == nil {
			for _, c := range s.fitting(r.forms[0], last) {
				list = append(list, []linkPart{s.part(c, in, out, last)})
			}
			continue
		}
		for _, a := range s.fitting(r.forms[0], false) {
			for _, b := range s.fitting(r.forms[1], last) {
				list = append(list, []linkPart{s.part(a, in, r.mid[0], false), s.part(b, r.mid[1], out, last)})
			}
		}
	}
	if c, ok := s.q.StandIns[fittingNeed(last)]; ok {
		list = append(list, []linkPart{s.part(c, in, out, last)})
	}
	return s.cheapest(list)
}

// entering is the end of a fitting that joins an open end.
func entering(open catalog.End) (catalog.End, bool) {
	if open.Family == catalog.Hose {
		return catalog.End{Family: catalog.HoseBarb, Size: open.Size}, true
	}
	return open.Mate()
}

func fittingNeed(last bool) string {
	if last {
		return needInletFitting
	}
	return needFittings
}

func (s *pathSearch) part(c Candidate, in, out catalog.End, last bool) linkPart {
	return linkPart{fittingNeed(last), c, in, out, isSpecial(&c, true)}
}

// fitting is the shortlist of a form, kept for the search.
func (s *pathSearch) fitting(f *catalog.Form, last bool) []Candidate {
	key := partKey{f, last}
	if c, ok := s.parts[key]; ok {
		return c
	}
	list := s.q.Fitting
	if last {
		list = s.q.InletFitting
	}
	c := list(f)
	if s.parts == nil {
		s.parts = map[partKey][]Candidate{}
	}
	s.parts[key] = c
	return c
}

// cheapest keeps of runs between the same ends the cheapest of ordinary parts, and
// every one with special parts that may yet cost less.
func (s *pathSearch) cheapest(list [][]linkPart) [][]linkPart {
	if len(list) < 2 {
		return list
	}
	best := int64(math.MaxInt64)
	for _, parts := range list {
		cost, tied := int64(0), false
		for i := range parts {
			cost += parts[i].most()
			tied = tied || parts[i].part.Tied
		}
		if !tied {
			best = min(best, cost)
		}
	}
	ordinary := false
	kept := list[:0]
	slices.SortStableFunc(list, compareRuns)
	for _, parts := range list {
		floor, special, sources := int64(0), false, uint64(0)
		for i := range parts {
			floor += parts[i].least()
			special = special || parts[i].special
			sources |= parts[i].part.Sources
		}
		floor -= s.q.Savings.of(sources)
		if special && floor <= best || !special && floor == best && !ordinary {
			ordinary = ordinary || !special
			kept = append(kept, parts)
		}
	}
	return kept
}

// most and least bound what the part adds to a path beside others of it, sources
// aside.
func (p *linkPart) most() int64 {
	if p.special {
		return p.part.Cost + p.part.Once + p.part.Penalty
	}
	return p.part.alone()
}

func (p *linkPart) least() int64 {
	if p.special {
		return p.part.sure() + p.part.Penalty
	}
	return p.part.alone()
}

// sure is what doing without one piece of a special part saves at least: nothing where
// it comes out of a pack that is opened for another.
func (c *Candidate) sure() int64 {
	if c.Part.PackQuantity > 1 {
		return 0
	}
	return c.Cost
}

func compareRuns(a, b []linkPart) int {
	return slices.CompareFunc(a, b, func(x, y linkPart) int { return cmp.Compare(sku(x.part.Part), sku(y.part.Part)) })
}

// extend is the chain with a link and a node more.
func (l label) extend(by link, to *node) label {
	out := l
	out.end = to.out
	out.specials = slices.Clone(l.specials)
	if by.bore >= 0 {
		out.pieces = l.pieces.with(by.bore)
	}
	for i := range by.parts {
		p := &by.parts[i]
		if p.part.Part == nil {
			continue
		}
		out.add(&p.part, p.special)
	}
	if to.part.Part != nil {
		out.add(&to.part, to.special)
	}
	out.links[l.depth], out.nodes[l.depth] = &by, to
	out.depth++
	return out
}

func (l *label) add(c *Candidate, special bool) {
	if !special {
		l.cost += c.alone()
		return
	}
	l.cost += c.Penalty
	for i := range l.specials {
		if l.specials[i].Part == c.Part {
			l.specials[i].n++
			return
		}
	}
	l.specials = append(l.specials, counted{c, 1})
}

// keep adds a chain unless another can stand in for it, and drops those it stands in for.
func (s *pathSearch) keep(list []label, l label) []label {
	for i := range list {
		if list[i].standsInFor(&l, s.q.Savings) {
			return list
		}
	}
	list = slices.DeleteFunc(list, func(o label) bool { return l.standsInFor(&o, s.q.Savings) })
	return append(list, l)
}

// standsInFor reports whether l completes as o does without ever costing more: with
// the same open end and hose, bought for itself it costs no more than o after all
// that the sources of o's other parts can save.
func (l *label) standsInFor(o *label, savings *Savings) bool {
	if l.end != o.end || l.pieces != o.pieces {
		return false
	}
	spare, lost := o.cost-l.cost, uint64(0)
	for _, c := range o.specials {
		if fewer := c.n - l.count(c.Candidate); fewer > 0 {
			spare += int64(fewer) * c.sure()
			lost |= c.Sources
		}
	}
	for _, c := range l.specials {
		switch more := c.n - o.count(c.Candidate); {
		case more <= 0:
		case c.Tied && more == c.n:
			return false // o does without it
		default:
			spare -= int64(more)*c.Cost + c.Once
		}
	}
	return spare >= savings.of(lost)
}

func (l *label) count(c *Candidate) int {
	for i := range l.specials {
		if l.specials[i].Part == c.Part {
			return l.specials[i].n
		}
	}
	return 0
}

// consumable is the hose or the clamp for a bore.
type consumable struct {
	bore        int // index into PathQuery.Bores
	hose, clamp Candidate
}

// finish spells a chain out with each hose and clamp that may be best for it.
func (s *pathSearch) finish(found []PathOption, l *label) []PathOption {
	pieces := 0
	for pieces < maxLinks && l.pieces[pieces] > 0 {
		pieces++
	}
	if pieces == 0 {
		return found
	}
	pieceIn := s.q.RunLengthIn/float64(pieces) + barbOverlap
	choices := [][]consumable{nil} // one for each bore
	for i := 0; i < pieces; {
		bore, n := l.pieces[i]-1, 1
		for i++; i < pieces && l.pieces[i]-1 == bore; i++ {
			n++
		}
		hoses := s.consumables(s.q.Hoses(s.q.Bores[bore]), needHose, n, func(c *Candidate) int {
			if c.Part.LengthIn < pieceIn {
				return 0
			}
			return n * CutUnits(c.Part, pieceIn)
		})
		clamps := s.consumables(s.q.Clamps(s.q.Bores[bore]), needClamps, n, func(*Candidate) int { return n * clampsPiece })
		var next [][]consumable
		for _, with := range choices {
			for _, h := range hoses {
				for _, c := range clamps {
					next = append(next, append(slices.Clone(with), consumable{bore, h, c}))
				}
			}
		}
		choices = next
	}
	for _, with := range choices {
		found = append(found, s.option(l, with, pieceIn))
	}
	return found
}

// consumables drops the candidates that another can stand in for, for a number of
// places and units in all; none of them 0 units.
func (s *pathSearch) consumables(list []Candidate, need string, places int, unitsOf func(*Candidate) int) []Candidate {
	if c, ok := s.q.StandIns[need]; ok {
		list = append(slices.Clone(list), c)
	}
	list = slices.DeleteFunc(slices.Clone(list), func(c Candidate) bool { return unitsOf(&c) == 0 })
	for i := range list {
		list[i].Penalty *= int64(places) // one use here stands for all places
	}
	list = undominated(list, s.q.Savings, func(c *Candidate) (*Candidate, int) { return c, unitsOf(c) }, 1, func(a, b *Candidate) bool { return true })
	for i := range list {
		list[i].Penalty /= int64(places)
	}
	return list
}

// option is a chain with its hoses and clamps.
func (s *pathSearch) option(l *label, with []consumable, pieceIn float64) PathOption {
	o := PathOption{HoseBoreIn: math.Inf(1)}
	for i := range l.depth {
		link, node := l.links[i], l.nodes[i]
		for _, p := range link.parts {
			if p.part.Part == nil {
				c := with[slices.IndexFunc(with, func(c consumable) bool { return c.bore == link.bore })]
				o.Steps = append(o.Steps, Step{needHose, c.hose.Part, p.in, p.out, pieceIn})
				o.HoseBoreIn = min(o.HoseBoreIn, p.in.Size.Inches())
				o.add(needHose, c.hose, CutUnits(c.hose.Part, pieceIn))
				o.add(needClamps, c.clamp, clampsPiece)
				continue
			}
			o.Steps = append(o.Steps, Step{p.need, p.part.Part, p.in, p.out, p.part.Part.LengthIn})
			o.add(p.need, p.part, 1)
		}
		if node.part.Part != nil {
			o.Steps = append(o.Steps, Step{node.need, node.part.Part, node.in, node.out, node.part.Part.LengthIn})
			o.add(node.need, node.part, 1)
		}
	}
	o.Option.finish(s.q.Savings)
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
