package fit

import (
	"math"
	"slices"

	"onetrip/internal/catalog"
)

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
