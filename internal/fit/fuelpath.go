package fit

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// Limits of a fuel path. Common practice, no source.
const (
	maxFittings = 2   // in a row
	clampsPiece = 2   // one on each end of a piece of hose, both alike
	barbOverlap = 1.0 // inches of each piece that go over barbs
)

// FuelQuery asks for the chain of parts that brings fuel From the end of the
// vehicle's supply line To the carburetor inlet over RunLengthIn inches.
//
// The functions return the parts that rules allow and that have an end which mates
// with the given one; Clamps those that close on a hose of the given bore.
// InletFittings are asked for the fitting that enters the inlet, Fittings for all
// others. Fuel flows through filters and regulators from their first end to their
// second; fittings are turned either way.
type FuelQuery struct {
	From, To      catalog.End
	RunLengthIn   float64
	NeedRegulator bool
	Fittings      func(end catalog.End) []Candidate
	InletFittings func(end catalog.End) []Candidate
	Filters       func(end catalog.End) []Candidate
	Regulators    func(end catalog.End) []Candidate
	Hoses         func(end catalog.End) []Candidate
	Clamps        func(hose units.Size) []Candidate
	That          string // what rules demand of the parts, for the sentence of a Gap: "that withstands 14 psi"
}

// Step is one part of a fuel path with the ends that fuel enters and leaves by.
// LengthIn is the cut length of a hose, the part's own length elsewhere.
type Step struct {
	Need     string
	Part     *catalog.Part
	From, To catalog.End
	LengthIn float64
}

// FuelOption is one fuel path: Steps from the line to the inlet; clamps are only in
// Uses. HoseBoreIn is the bore of its narrowest hose.
type FuelOption struct {
	Option
	Steps      []Step
	HoseBoreIn float64
}

// FuelPath returns every fuel path that could belong to the optimum of a whole kit,
// cheapest first, or the Gap that keeps the line from the inlet.
//
// A path has one filter and after it, where needed, one regulator. Before each of
// them and before the inlet come up to two fittings, a piece of hose, and up to two
// fittings again, or fewer; at least one piece of hose takes up the engine's
// movement. The pieces are equally long: together the run, each an inch more for the
// barbs. Every hose end has a clamp.
func FuelPath(q FuelQuery) ([]FuelOption, *Gap) {
	components := []role{filterRole, inletRole}
	if q.NeedRegulator {
		components = []role{filterRole, regulatorRole, inletRole}
	}
	var found []FuelOption
	best := int64(math.MaxInt64)
	for pieces := 1; pieces <= len(components); pieces++ {
		s := newFuelSearch(&q, components, pieces)
		best = min(best, s.bound(s.start).cost)
		s.best = best
		s.walk(s.start, 0)
		best = s.best
		found = append(found, s.found...)
	}
	if len(found) == 0 {
		return nil, q.gap(components)
	}
	found = slices.DeleteFunc(found, func(o FuelOption) bool { return o.Floor > best })
	return prune(found, func(o *FuelOption) *Option { return &o.Option }), nil
}

// role is a place in the chain.
type role int

const (
	hoseRole role = iota
	fittingRole
	filterRole
	regulatorRole
	inletRole // the fitting that enters the inlet
)

var roleNeeds = [...]string{needHose, needFittings, needFilter, needRegulator, needInletFitting}

// fuelState is how far a chain has come: components passed, fittings in a row,
// whether a hose came since the last component, pieces of hose so far, and the open
// end that the next part must mate.
type fuelState struct {
	passed, fittings, pieces int8
	hosed                    bool
	end                      int16
}

// fuelEdge is a part that can come next, with the clamps of a hose.
type fuelEdge struct {
	part, clamp Candidate
	from, to    catalog.End
	toID        int16
	units       int
	cost, floor int64 // of the part and its clamps: of whole packs, and the units' share of packs
}

// fuelBound bounds what completes a chain: floor from below over all chains, cost
// from above over those without tied parts.
type fuelBound struct{ floor, cost int64 }

var deadEnd = fuelBound{math.MaxInt64, math.MaxInt64}

// fuelSearch finds all chains with exactly so many pieces of hose.
type fuelSearch struct {
	q          *FuelQuery
	components []role
	pieces     int
	orFewer    bool // pieces is the most there may be
	pieceIn    float64
	start      fuelState

	ends   []catalog.End
	edges  map[fuelEdgeKey][]fuelEdge
	bounds map[fuelState]fuelBound

	best  int64
	path  []fuelMove
	found []FuelOption
}

type fuelEdgeKey struct {
	role role
	end  int16
}

type fuelMove struct {
	role role
	edge *fuelEdge
	next fuelState
}

func newFuelSearch(q *FuelQuery, components []role, pieces int) *fuelSearch {
	s := &fuelSearch{q: q, components: components, pieces: pieces,
		pieceIn: q.RunLengthIn/float64(pieces) + barbOverlap,
		edges:   map[fuelEdgeKey][]fuelEdge{}, bounds: map[fuelState]fuelBound{}}
	s.start.end = s.endID(q.From)
	return s
}

func (s *fuelSearch) endID(end catalog.End) int16 {
	if i := slices.Index(s.ends, end); i >= 0 {
		return int16(i)
	}
	s.ends = append(s.ends, end)
	return int16(len(s.ends) - 1)
}

// enough reports whether a chain with so many pieces of hose may end.
func (s *fuelSearch) enough(pieces int8) bool {
	return int(pieces) == s.pieces || s.orFewer && pieces > 0
}

// completes reports whether the open end goes into the inlet as it is.
func (s *fuelSearch) completes(st fuelState) bool {
	if int(st.passed) == len(s.components) {
		return true // through an inlet fitting
	}
	return s.components[st.passed] == inletRole && st.fittings == 0 && s.enough(st.pieces) &&
		s.ends[st.end].Mates(s.q.To)
}

// moves visits every part that can come next.
func (s *fuelSearch) moves(st fuelState, visit func(fuelMove)) {
	try := func(r role, next fuelState) {
		edges := s.edgesAt(r, st.end)
		for i := range edges {
			next.end = edges[i].toID
			visit(fuelMove{r, &edges[i], next})
		}
	}
	if !st.hosed && int(st.pieces) < s.pieces {
		try(hoseRole, fuelState{passed: st.passed, pieces: st.pieces + 1, hosed: true})
	}
	if r := s.components[st.passed]; r != inletRole || s.enough(st.pieces) && st.fittings < maxFittings {
		try(r, fuelState{passed: st.passed + 1, pieces: st.pieces})
	}
	if st.fittings < maxFittings {
		try(fittingRole, fuelState{passed: st.passed, fittings: st.fittings + 1, pieces: st.pieces, hosed: st.hosed})
	}
}

// bound bounds the cost of completing a chain from a state.
func (s *fuelSearch) bound(st fuelState) fuelBound {
	if s.completes(st) {
		return fuelBound{}
	}
	if b, ok := s.bounds[st]; ok {
		return b
	}
	b := deadEnd
	s.moves(st, func(m fuelMove) {
		rest := s.bound(m.next)
		if rest.floor != math.MaxInt64 {
			b.floor = min(b.floor, m.edge.floor+rest.floor)
		}
		if rest.cost != math.MaxInt64 && !m.edge.part.Tied && !m.edge.clamp.Tied {
			b.cost = min(b.cost, m.edge.cost+rest.cost)
		}
	})
	s.bounds[st] = b
	return b
}

// walk collects every chain whose floor is within the least cost known.
func (s *fuelSearch) walk(st fuelState, floor int64) {
	if s.completes(st) {
		o := s.option()
		if !o.tied {
			s.best = min(s.best, o.most)
		}
		s.found = append(s.found, o)
		return
	}
	s.moves(st, func(m fuelMove) {
		rest := s.bound(m.next).floor
		if rest == math.MaxInt64 || floor+m.edge.floor+rest > s.best {
			return
		}
		s.path = append(s.path, m)
		s.walk(m.next, floor+m.edge.floor)
		s.path = s.path[:len(s.path)-1]
	})
}

// option spells out the chain walked.
func (s *fuelSearch) option() FuelOption {
	o := FuelOption{Steps: make([]Step, len(s.path)), HoseBoreIn: math.Inf(1)}
	for i, m := range s.path {
		e := m.edge
		step := Step{Need: roleNeeds[m.role], Part: e.part.Part, From: e.from, To: e.to}
		if m.role == hoseRole {
			step.LengthIn = s.pieceIn
			o.HoseBoreIn = min(o.HoseBoreIn, e.to.Size.Inches())
			o.add(needClamps, e.clamp, clampsPiece)
		} else if e.part.Part != nil {
			step.LengthIn = e.part.Part.LengthIn
		}
		o.Steps[i] = step
		o.add(step.Need, e.part, e.units)
	}
	o.finish()
	return o
}

// mostUses is in how many places of a chain the same part may be in a role.
func (s *fuelSearch) mostUses(r role) int {
	switch r {
	case hoseRole:
		return s.pieces
	case fittingRole, inletRole:
		return 2 * maxFittings * len(s.components)
	}
	return 1
}

// edgesAt lists the parts that can come next in a role, less those that another can
// always stand in for.
func (s *fuelSearch) edgesAt(r role, end int16) []fuelEdge {
	key := fuelEdgeKey{r, end}
	if edges, ok := s.edges[key]; ok {
		return edges
	}
	var edges []fuelEdge
	if r == hoseRole {
		edges = s.hoseEdges(s.ends[end])
	} else {
		edges = s.partEdges(r, s.ends[end])
	}
	most := s.mostUses(r)
	for i := range edges {
		e := &edges[i]
		e.toID = s.endID(e.to)
		e.cost, e.floor = e.part.bounds(e.units, most)
		if r == hoseRole {
			cost, floor := e.clamp.bounds(clampsPiece, most)
			e.cost, e.floor = e.cost+cost, e.floor+floor
		}
	}
	s.edges[key] = edges
	return edges
}

// hoseEdges pairs each hose that is long enough with each clamp.
func (s *fuelSearch) hoseEdges(end catalog.End) []fuelEdge {
	if !takesHose(end) {
		return nil
	}
	hose := catalog.End{Family: catalog.Hose, Size: end.Size}
	var hoses []fuelEdge
	for _, c := range s.q.Hoses(end) {
		if s.longEnough(c.Part) {
			hoses = append(hoses, fuelEdge{part: c, from: hose, to: hose, units: CutUnits(c.Part, s.pieceIn)})
		}
	}
	clamps := undominated(s.q.Clamps(end.Size), func(c *Candidate) (*Candidate, int) { return c, clampsPiece },
		s.mostUses(hoseRole), func(a, b *Candidate) bool { return true })
	var edges []fuelEdge
	for _, e := range undominatedEdges(hoses, s.mostUses(hoseRole)) {
		for _, e.clamp = range clamps {
			edges = append(edges, e)
		}
	}
	return edges
}

func takesHose(end catalog.End) bool {
	return end.Family == catalog.HoseBarb || end.Family == catalog.PlainTube
}

func (s *fuelSearch) longEnough(p *catalog.Part) bool { return p == nil || p.LengthIn >= s.pieceIn }

// CutUnits is how many inches one of several equal pieces counts for, so that a sum
// of inches fits into a number of stock lengths exactly when the pieces can be cut
// from them: a stock length L yields k pieces, and each counts for L/k in whole
// inches, rounded down unless one piece too many would then seem to fit.
func CutUnits(p *catalog.Part, pieceIn float64) int {
	if p == nil {
		return int(math.Ceil(pieceIn))
	}
	length := int(p.LengthIn)
	k := max(int(p.LengthIn/pieceIn), 1)
	u := max(length/k, 1)
	if (k+1)*u <= length {
		u++
	}
	return u
}

// partEdges turns candidates so that they mate the end.
func (s *fuelSearch) partEdges(r role, end catalog.End) []fuelEdge {
	var edges []fuelEdge
	offer := func(c Candidate, from, to catalog.End) {
		if r == fittingRole && to == end || r == inletRole && !to.Mates(s.q.To) {
			return // leads nowhere
		}
		edges = append(edges, fuelEdge{part: c, from: from, to: to, units: 1})
	}
	for _, c := range s.candidates(r, end) {
		switch {
		case c.Part == nil:
			s.offerNominal(r, c, end, offer)
		case len(c.Part.Ends) == 2:
			a, b := c.Part.Ends[0], c.Part.Ends[1]
			if a.Mates(end) {
				offer(c, a, b)
			}
			if turns := r == fittingRole || r == inletRole; turns && a != b && b.Mates(end) {
				offer(c, b, a)
			}
		}
	}
	return undominatedEdges(edges, s.mostUses(r))
}

// undominatedEdges drops parts that another can always stand in for, in chains that
// have one of them in up to most places.
func undominatedEdges(edges []fuelEdge, most int) []fuelEdge {
	return undominated(edges, func(e *fuelEdge) (*Candidate, int) { return &e.part, e.units },
		most, func(a, b *fuelEdge) bool { return a.to == b.to })
}

func (s *fuelSearch) candidates(r role, end catalog.End) []Candidate {
	switch r {
	case fittingRole:
		return s.q.Fittings(end)
	case inletRole:
		return s.q.InletFittings(end)
	case filterRole:
		return s.q.Filters(end)
	case regulatorRole:
		return s.q.Regulators(end)
	}
	return nil
}

// pipeSizes are the ports that a fitting of nominal size may screw into.
var pipeSizes = [...]string{"1/8", "1/4", "3/8"}

// offerNominal turns something whose ends are not known, because it is in the box or
// on the shelf: filters and regulators have barbs for the hose that comes, a fitting
// joins a threaded end to a hose of its size, or a hose to a pipe thread or the inlet.
func (s *fuelSearch) offerNominal(r role, c Candidate, end catalog.End, offer func(c Candidate, from, to catalog.End)) {
	barb := catalog.End{Family: catalog.HoseBarb, Size: end.Size}
	mate, threaded := end.Mate()
	switch {
	case end.Family == catalog.Hose && r == inletRole:
		if inlet, ok := s.q.To.Mate(); ok {
			offer(c, barb, inlet)
		}
	case end.Family == catalog.Hose && r == fittingRole:
		for _, size := range pipeSizes {
			if pipe, err := catalog.NewEnd(catalog.NPT, size, catalog.Male); err == nil {
				offer(c, barb, pipe)
			}
		}
	case end.Family == catalog.Hose:
		offer(c, barb, barb)
	case r == fittingRole && threaded:
		offer(c, mate, barb)
	}
}

// gap explains why no chain exists: what is missing next on the chains that come
// furthest. It asks for up to as many pieces of hose as there can be, each as short
// as it can be.
func (q *FuelQuery) gap(components []role) *Gap {
	s := newFuelSearch(q, components, len(components))
	s.orFewer = true
	if s.bound(s.start).floor != math.MaxInt64 {
		return &Gap{needHose, q.From, fmt.Sprintf("no fuel hose%s is long enough for the run of %.4g in", q.that(), q.RunLengthIn)}
	}
	furthest := fuelState{}
	for st := range s.bounds {
		if st.passed > furthest.passed || st.passed == furthest.passed && st.hosed && !furthest.hosed {
			furthest.passed, furthest.hosed = st.passed, st.hosed
		}
	}
	var open, hoseable []catalog.End
	for st := range s.bounds {
		if st.passed != furthest.passed || st.hosed != furthest.hosed {
			continue
		}
		end := s.ends[st.end]
		if !st.hosed && takesHose(end) && !slices.Contains(hoseable, end) {
			hoseable = append(hoseable, end)
		}
		if st.fittings == 0 && !slices.Contains(open, end) {
			open = append(open, end)
		}
	}
	if len(hoseable) > 0 {
		return s.hoseGap(byText(hoseable))
	}
	open = byText(open)
	next, what, to := s.components[furthest.passed], "fitting", "a hose"
	switch {
	case !furthest.hosed:
		next = fittingRole
	case next == filterRole:
		what, to = "fuel filter", ""
	case next == regulatorRole:
		what, to = "pressure regulator", ""
	default:
		to = "the inlet, " + endText(q.To)
	}
	text := fmt.Sprintf("no %s%s joins %s", what, q.that(), endTexts(open))
	if to != "" {
		text += " to " + to
	}
	return &Gap{roleNeeds[next], open[0], text}
}

// hoseGap explains why no hose goes on any of the ends.
func (s *fuelSearch) hoseGap(ends []catalog.End) *Gap {
	for _, end := range ends {
		for _, c := range s.q.Hoses(end) {
			if s.longEnough(c.Part) {
				return &Gap{needClamps, end, fmt.Sprintf("no hose clamp%s closes on a %s in hose", s.q.that(), end.Size)}
			}
		}
	}
	for _, end := range ends {
		if len(s.q.Hoses(end)) > 0 {
			return &Gap{needHose, end, fmt.Sprintf("no fuel hose%s for %s is long enough for the run of %.4g in", s.q.that(), endText(end), s.q.RunLengthIn)}
		}
	}
	return &Gap{needHose, ends[0], fmt.Sprintf("no fuel hose%s goes on %s", s.q.that(), endTexts(ends))}
}

func (q *FuelQuery) that() string {
	if q.That == "" {
		return ""
	}
	return " " + q.That
}

func byText(ends []catalog.End) []catalog.End {
	slices.SortFunc(ends, func(a, b catalog.End) int { return strings.Compare(a.String(), b.String()) })
	return ends
}

func endTexts(ends []catalog.End) string {
	texts := make([]string, len(ends))
	for i, end := range ends {
		texts[i] = endText(end)
	}
	return strings.Join(texts, " or ")
}

// endText names an end in the trade's words.
func endText(end catalog.End) string {
	size := end.SizeText()
	switch end.Family {
	case catalog.PlainTube:
		return "a " + size + " in tube"
	case catalog.HoseBarb:
		return "a " + size + " in hose barb"
	case catalog.Hose:
		return "a " + size + " in hose"
	case catalog.NPT:
		return fmt.Sprintf("a %s %s in pipe thread", end.Gender, size)
	case catalog.InvertedFlare:
		return fmt.Sprintf("a %s %s inverted flare", end.Gender, size)
	case catalog.ANFlare:
		return fmt.Sprintf("a %s %s AN flare", end.Gender, size)
	case catalog.Banjo:
		return fmt.Sprintf("a %s %s banjo", end.Gender, size)
	}
	return fmt.Sprintf("a %s %s port", end.Gender, size)
}
