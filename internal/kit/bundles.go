package kit

import (
	"cmp"
	"context"
	"iter"
	"math"
	"slices"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
)

// A bundle is worth a look only when what it holds of use in this kit would cost at
// least as much bought piece by piece, the same parts or others that can take their
// places: otherwise buying the useful pieces beats it in every kit. What its own parts
// cost more than it is the most that it can save.

// source is what is known of a bundle, by job and by choice.
type source struct {
	choice int64 // that bit is of
	bit    uint64

	dead    int64 // job that it can be in no optimum of, whatever the finish wanted
	deadFor Objective
}

// A choice looks at up to mostBundles bundles, and of more only at the fewBundles that can
// save most: then it is not proven the best. So many are worth a look only where the fewest
// lines are asked for, as each saves some whatever it costs.
const (
	mostBundles = 32
	fewBundles  = 16
)

// liveBundle is a bundle that can be in an optimum, with the most that it can save.
type liveBundle struct {
	*weighedBundle
	saving int64
}

// weigh finds the sources of parts for a choice under an aim: what is had already, and
// the bundles that can be in an optimum, with the parts that these may bring, and the tied
// parts that can.
func (j *job) weigh(ctx context.Context, a aim) {
	j.scratch.choice++
	j.savings.Reset()
	for i, h := range j.holdings {
		j.held[i] = j.savings.Add(j.worth(h.Part, j.pieces(h.Part), a))
	}
	apart, live := j.scratch.apart[:0], j.scratch.live[:0]
	j.unproven = false
	weigh := func(b *weighedBundle) {
		known := &j.scratch.sources[b.Index()]
		if known.choice == j.scratch.choice {
			return
		}
		known.choice, known.bit = j.scratch.choice, 0
		if known.dead == j.scratch.job && known.deadFor == a.objective {
			return
		}
		saving, whatever := j.saving(b, a)
		if saving < 0 {
			if whatever && a.restock == nil {
				known.dead, known.deadFor = j.scratch.job, a.objective
			}
			return
		}
		live = append(live, liveBundle{b, saving})
	}
	for _, h := range j.holdings { // what is known beforehand is not of jobs that have some already
		for _, b := range h.Part.Bundles() {
			weigh(&j.s.dominance.all.bundles[b.Index()])
		}
	}
	worth := j.worthALook(a)
	for i := range worth.bundles {
		if ctx.Err() != nil {
			j.unproven = true
			break
		}
		weigh(&worth.bundles[i])
	}
	if len(live) > mostBundles {
		slices.SortStableFunc(live, func(a, b liveBundle) int { return cmp.Compare(b.saving, a.saving) })
		live, j.unproven = live[:fewBundles], true
	}
	for _, l := range live {
		known := &j.scratch.sources[l.Index()]
		known.bit = j.savings.Add(l.saving)
		for i := range l.contents {
			c := &l.contents[i]
			if p := c.Part; !p.Tied() && j.useful(c) && !slices.Contains(apart, p) {
				apart = append(apart, p)
			}
		}
	}
	required := int64(0)
	for i := range worth.tied {
		if c := &worth.tied[i]; j.serves(c) {
			if apart = append(apart, c.Part); c.Part.Required() {
				required += j.worth(c.Part, 1, a)
			}
		}
	}
	if j.required = 0; required > 0 {
		j.required = j.savings.Add(required)
	}
	j.scratch.apart, j.scratch.live = apart, live
}

// sources are where a part may come from beside its own packs: bundles that can save
// money, the box, the shelf at home, another part that brings it along.
func (j *job) sources(p *catalog.Part) uint64 {
	bits := uint64(0)
	for _, b := range p.Bundles() {
		bits |= j.bundleBit(b)
	}
	if i := slices.IndexFunc(j.holdings, func(h fit.Holding) bool { return h.Part == p }); i >= 0 {
		bits |= j.held[i]
	}
	if p.Required() {
		bits |= j.required
	}
	return bits
}

// bundleBit is the bit of a bundle among the sources, 0 when it cannot be in an optimum.
func (j *job) bundleBit(b *catalog.Bundle) uint64 {
	if known := &j.scratch.sources[b.Index()]; known.choice == j.scratch.choice {
		return known.bit
	}
	return 0
}

// asked is what a job asks of peers: which open demands parts of them may meet, and how much
// of each number some of these ask at least, and how much all.
type asked struct {
	job      int64
	by       []*demand
	any, all []float64
	stacked  bool // some demand is of the mounting stack
}

// ask finds what the job asks of peers.
func (j *job) ask(p *peers) *asked {
	q := &j.scratch.asked[p.index]
	if q.job == j.scratch.job {
		return q
	}
	*q = asked{job: j.scratch.job, by: q.by[:0], any: q.any[:0], all: q.all[:0]}
	for _, d := range j.scratch.byKind[p.form.Spec().Index()] {
		if d.status != "" {
			continue
		}
		wants, ok := p.wants(d, j.scratch.wants[:0])
		j.scratch.wants = wants
		inPath := slices.Contains(pathNeeds, d.need)
		switch {
		case !ok || !j.meters(d, p.form):
			continue
		case inPath && p.form.Kind == "fuel_fitting" && !j.s.network.Serves(p.form, j.supply, j.carburetor.Inlet.End):
			continue
		case len(q.by) == 0:
			q.any, q.all = append(q.any, wants...), append(q.all, wants...)
		}
		for i, n := range wants {
			q.any[i], q.all[i] = min(q.any[i], n), max(q.all[i], n)
		}
		q.by = append(q.by, d)
		q.stacked = q.stacked || slices.Contains(stackNeeds, d.need)
	}
	return q
}

// wants appends to a list how much of each number a demand asks of peers; not ok when it asks
// something else of them than they have in common.
func (p *peers) wants(d *demand, list []float64) (wants []float64, ok bool) {
	for range len(p.least) + len(p.most) {
		list = append(list, math.Inf(-1))
	}
	for i := range d.matches {
		for k := range d.matches[i].Tests {
			t := &d.matches[i].Tests[k]
			switch at := p.number(t.Attr); {
			case at < 0:
				if !t.Accepts(p.form) {
					return list, false
				}
			case at < len(p.least):
				list[at] = max(list[at], t.Value.Num)
			default:
				list[at] = max(list[at], -t.Value.Num)
			}
		}
	}
	return list, true
}

// useful reports whether a content of a bundle could be in this kit at all.
func (j *job) useful(c *weighedContent) bool { return !c.Discontinued && (c.required || j.serves(c)) }

// serves reports whether a content of a bundle, or a tied part, could meet some demand.
func (j *job) serves(c *weighedContent) bool {
	q := j.ask(c.peers)
	return len(q.by) > 0 && asMuch(c.numbers, q.any)
}

// saving is the most that a bundle can save in the kit, negative when it cannot be in an
// optimum: other parts in place of its contents cost less, maybe whatever the finish wanted.
func (j *job) saving(b *weighedBundle, a aim) (saving int64, whatever bool) {
	// What it costs to do without the contents is looked for only as far as need be.
	spare := b.spare
	for i := range b.contents {
		if spare < 0 {
			return -1, true
		}
		if c := &b.contents[i]; !j.useful(c) {
			spare -= c.least
		}
	}
	if spare < 0 || b.Discontinued {
		return -1, true
	}
	saving = -a.bundle(j.s.Catalog, b.Bundle)
	least := j.scratch.least[:0]
	spare = saving
	for i := range b.contents {
		c := &b.contents[i]
		least = append(least, 0)
		if j.useful(c) {
			worth := j.worth(c.Part, c.pieces, a)
			least[i] = min(c.least, worth)
			saving, spare = saving+worth, spare+least[i]
		}
	}
	j.scratch.least, whatever = least, true
	for i := 0; i < len(least) && spare >= 0; i++ {
		if c := &b.contents[i]; least[i] > 0 {
			found, finish := j.instead(c, least[i], a)
			spare -= least[i] - found
			whatever = whatever && finish == c.Finish
		}
	}
	if spare < 0 {
		return -1, whatever
	}
	return saving, false
}

// worth is the most that pieces of a part save when they need not be bought: their packs,
// and the charge that is due when the kit takes as many of it as it can.
func (j *job) worth(p *catalog.Part, pieces int, a aim) int64 {
	worth := int64(fit.Packs(p, pieces*fit.PieceUnits(p))) * packMinor(&p.Offer)
	if once, above := a.once(j.s.Catalog, &p.Offer); once > 0 {
		packs := enoughStock
		if most, _ := j.taken(p, j.takers(p.Form)); most > 0 {
			packs = fit.Packs(p, most)
		}
		if packs > int(above) {
			worth += once
		}
	}
	return worth
}

// instead is the most that it costs any kit to do without a content of a bundle: at most
// known, or what peers of it count that can take its place wherever it may stand; with the
// finish of the one that does, its own if none.
func (j *job) instead(c *weighedContent, known int64, a aim) (minor int64, finish catalog.Finish) {
	finish = c.Finish
	if c.Tied() { // the kit may hang on this very part
		return known, finish
	}
	q := j.ask(c.peers)
	least := q.all
	if q.stacked {
		least = c.numbers // in a stack how high it is counts too
	}
	penalty := a.penaltyOf(finish)
	for i := range c.peers.Rows {
		row := &c.peers.Rows[i]
		if row.Parts[0].PriceMinor >= known {
			break // as all in the rows after it are no cheaper
		}
		most, mixed := j.taken(row.Parts[0].Part, slices.Values(q.by))
		if most == 0 || a.penaltyOf(row.Finish) > penalty {
			continue
		}
		buys := row.Packs(most)
		if mixed {
			buys = row.Packs(c.pieces)
		}
		for sold := range c.peers.enough(i, least) {
			cost := buys * sold.PriceMinor
			if cost >= known {
				break
			}
			once, above := a.once(j.s.Catalog, &sold.Part.Offer)
			if row.Packs(most) > int64(above) {
				cost += once
			}
			if cost < known {
				known, finish = cost, row.Finish
			}
			if once == 0 || above == 0 {
				break // as all after it cost more
			}
		}
	}
	return known, finish
}

// bundle is what a bundle counts when it is bought.
func (a *aim) bundle(s *catalog.Snapshot, b *catalog.Bundle) int64 {
	cost := b.Price.AmountMinor
	if once, above := a.once(s, &b.Offer); above < 1 {
		cost += once
	}
	return cost
}

// taken is the most units of a part that the kit takes for some demands, 0 when that is not
// known. They are mixed when each piece may be another part; else all that a demand takes
// are of one.
func (j *job) taken(p *catalog.Part, demands iter.Seq[*demand]) (most int, mixed bool) {
	mixed = true
	inPath := 0
	for d := range demands {
		switch {
		case d.need == "fuel.hose":
			return 0, false // how it is cut is found by the search for paths
		case slices.Contains(pathNeeds, d.need):
			inPath, mixed = mostInPath[p.Kind], mixed && d.need != "fuel.clamps"
		case slices.Contains(stackNeeds, d.need):
			most += max(fit.MaxGaskets, int(d.remaining()))
			mixed = mixed && d.remaining() <= 1
		default:
			n := j.consumed(d, p)
			if n == 0 {
				return 0, false
			}
			most, mixed = most+n, false
		}
	}
	return most + inPath, mixed
}

// switches are the bundles that can save money on some of the parts, the tied among them,
// and what other needs may take of them.
func (j *job) switches(parts []*catalog.Part, a aim) []fit.Switch {
	out, seen := j.scratch.switches[:0], j.scratch.bundles[:0] // for one search at a time
	for _, p := range parts {
		if !real(p) {
			continue
		}
		if p.Tied() {
			out = append(out, fit.Switch{Tied: p})
		}
		for _, b := range p.Bundles() {
			if slices.Contains(seen, b) {
				continue
			}
			seen = append(seen, b)
			if j.bundleBit(b) != 0 {
				out = append(out, j.bundleSwitch(b, parts, a))
			}
		}
	}
	for _, sw := range j.scratch.elsewhere {
		if slices.Contains(parts, sw.Taken.Part) {
			out = append(out, sw)
		}
	}
	j.scratch.switches, j.scratch.bundles = out, seen
	return out
}

func (j *job) bundleSwitch(b *catalog.Bundle, parts []*catalog.Part, a aim) fit.Switch {
	sw := fit.Switch{Cost: a.bundle(j.s.Catalog, b), Saving: j.savings.Of(j.bundleBit(b)), Holds: lend(&j.scratch.holdings, len(b.Contents))[:0]}
	for i, p := range b.Parts() {
		if p.Discontinued {
			continue
		}
		pieces := b.Contents[i].Quantity
		inPath := slices.Contains(parts, p)
		if inPath {
			sw.Holds = append(sw.Holds, fit.Holding{Part: p, Units: pieces * fit.PieceUnits(p)})
		}
		if j.takenElsewhere(p) || !inPath && (p.Required() || j.usable(p.Form)) {
			sw.Cost -= j.worth(p, pieces, a)
		}
	}
	return sw
}

// findHoldings finds the parts that are had by SKU.
func (j *job) findHoldings() {
	add := func(sku string, pieces int) {
		if sku == "" {
			return // had by need, not by SKU
		}
		if p, err := j.s.Catalog.Part(sku); err == nil {
			if j.holdings == nil {
				n := len(j.carburetor.InBox) + len(j.request.OnHand)
				j.holdings, j.held = lend(&j.scratch.holdings, n)[:0], lend(&j.scratch.held, n)[:0]
			}
			j.holdings = append(j.holdings, fit.Holding{Part: p, Units: pieces * fit.PieceUnits(p)})
			j.held = append(j.held, 0)
		}
	}
	for _, in := range j.carburetor.InBox {
		add(in.SKU, in.Quantity)
	}
	j.inBox = len(j.holdings)
	for _, h := range j.request.OnHand {
		add(h.SKU, h.Quantity)
	}
}

// pieces is how many of a part are in the box and on hand.
func (j *job) pieces(p *catalog.Part) int {
	n := 0
	for _, h := range j.holdings {
		if h.Part == p {
			n += h.Units / fit.PieceUnits(p)
		}
	}
	return n
}

// usable reports whether parts of a form could serve in this kit at all: some open demand
// accepts it and, for a fuel fitting, it joins ends between line and inlet.
func (j *job) usable(f *catalog.Form) bool {
	for range j.takers(f) {
		return f.Kind != "fuel_fitting" || j.s.network.Serves(f, j.supply, j.carburetor.Inlet.End)
	}
	return false
}
