package kit

import (
	"cmp"
	"context"
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
	job             int64  // that looked and useless are of
	looked, useless uint64 // contents, a bit each of the first 64: looked at, and those that cannot serve

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
	*fairBundle
	saving int64
}

// weigh finds the sources of parts for a choice under an aim: what is had already, and
// the bundles that can be in an optimum, with the parts that these may bring, and the tied
// parts that can.
func (j *job) weigh(ctx context.Context, a aim) {
	j.room.choice++
	j.savings.Reset()
	for i, h := range j.holdings {
		j.held[i] = j.savings.Add(j.worth(h.Part, j.pieces(h.Part), a))
	}
	apart, live := j.room.apart[:0], j.room.live[:0]
	j.room.usual, j.unproven = j.room.usual[:0], false
	weigh := func(b *fairBundle) {
		known := &j.room.sources[b.Index()]
		if known.choice == j.room.choice {
			return
		}
		known.choice, known.bit = j.room.choice, 0
		if known.dead == j.room.job && known.deadFor == a.objective {
			return
		}
		saving, whatever := j.saving(b, known, a)
		if saving < 0 {
			if whatever && a.restock == nil {
				known.dead, known.deadFor = j.room.job, a.objective
			}
			return
		}
		live = append(live, liveBundle{b, saving})
	}
	for _, h := range j.holdings { // what is known beforehand is not of jobs that have some already
		for _, b := range h.Part.Bundles() {
			weigh(&j.s.fairness.all.bundles[b.Index()])
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
		known := &j.room.sources[l.Index()]
		known.bit = j.savings.Add(l.saving)
		for i := range l.contents {
			c := &l.contents[i]
			if p := l.Parts()[c.at]; !p.Discontinued && !p.Tied() && j.useful(known, c) && !slices.Contains(apart, p) {
				apart = append(apart, p)
			}
		}
	}
	for _, p := range worth.tied {
		if j.usable(p.Form) {
			apart = append(apart, p)
		}
	}
	j.room.apart, j.room.live = apart, live
}

// sources are where a part may come from beside its own packs: bundles that can save
// money, the box, the shelf at home.
func (j *job) sources(p *catalog.Part) uint64 {
	bits := uint64(0)
	for _, b := range p.Bundles() {
		bits |= j.bundleBit(b)
	}
	if i := slices.IndexFunc(j.holdings, func(h fit.Holding) bool { return h.Part == p }); i >= 0 {
		bits |= j.held[i]
	}
	return bits
}

// bundleBit is the bit of a bundle among the sources, 0 when it cannot be in an optimum.
func (j *job) bundleBit(b *catalog.Bundle) uint64 {
	if known := &j.room.sources[b.Index()]; known.choice == j.room.choice {
		return known.bit
	}
	return 0
}

// useful reports whether a content of a bundle could serve in this kit at all.
func (j *job) useful(known *source, c *fairContent) bool {
	if c.required || c.at >= 64 {
		return true
	}
	if len(j.room.byKind[c.kind]) == 0 {
		return false
	}
	if known.job != j.room.job {
		known.job, known.looked, known.useless = j.room.job, 0, 0
	}
	bit := uint64(1) << c.at
	if known.looked&bit == 0 {
		known.looked |= bit
		if !j.usable(c.form) {
			known.useless |= bit
		}
	}
	return known.useless&bit == 0
}

// saving is the most that a bundle can save in the kit, negative when it cannot be in an
// optimum: other parts in place of its contents cost less, maybe whatever the finish wanted.
func (j *job) saving(b *fairBundle, known *source, a aim) (saving int64, whatever bool) {
	// What it costs to do without the contents is looked for only as far as need be.
	spare := b.spare
	for i := range b.contents {
		if spare < 0 {
			return -1, true
		}
		if c := &b.contents[i]; !j.useful(known, c) {
			spare -= c.least
		}
	}
	if spare < 0 || b.Discontinued {
		return -1, true
	}
	saving = -a.bundle(j.s.Catalog, b.Bundle)
	instead := j.room.instead[:0]
	spare = saving
	for i := range b.contents {
		c := &b.contents[i]
		instead = append(instead, c.least)
		if j.useful(known, c) {
			worth := j.worth(b.Parts()[c.at], b.Contents[c.at].Quantity, a)
			instead[i] = min(instead[i], worth)
			saving += worth
			spare += instead[i]
		}
	}
	j.room.instead = instead
	whatever = true
	for _, everything := range [...]bool{false, true} {
		for i := range b.contents {
			if spare < 0 {
				return -1, whatever
			}
			c := &b.contents[i]
			if !j.useful(known, c) {
				continue
			}
			p, pieces := b.Parts()[c.at], b.Contents[c.at].Quantity
			look := j.insteadUsual
			if everything {
				look = j.instead
			}
			found, finish := look(p, pieces, instead[i], a)
			whatever = whatever && finish == p.Finish
			spare, instead[i] = spare-(instead[i]-found), found
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
	worth := int64(fit.Packs(p, pieces*fit.PieceUnits(p))) * p.Price.AmountMinor
	if once, above := a.once(j.s.Catalog, &p.Offer); once > 0 {
		packs := enoughStock
		if most, _ := j.taken(p, p); most > 0 {
			packs = fit.Packs(p, most)
		}
		if packs > int(above) {
			worth += once
		}
	}
	return worth
}

// usual is the cheapest part of a bucket that some demand accepts; part nil for none.
type usual struct {
	bucket *catalog.Bucket
	part   *catalog.Part
}

// insteadUsual is what instead is, or more, from a look at one part: the one that is
// cheapest for most.
func (j *job) insteadUsual(p *catalog.Part, pieces int, known int64, a aim) (minor int64, finish catalog.Finish) {
	if p.Tied() {
		return known, p.Finish
	}
	places := j.placesOf(p)
	if places == nil {
		return known, p.Finish
	}
	i := slices.IndexFunc(j.room.usual, func(u usual) bool { return u.bucket == places })
	if i < 0 {
		i = len(j.room.usual)
		j.room.usual = append(j.room.usual, usual{places, j.cheapest(places, a)})
	}
	q := j.room.usual[i].part
	if q != nil && a.penaltyOf(q.Finish) <= a.penaltyOf(p.Finish) && (q.Form == p.Form || j.replaces(q.Form, p)) {
		if cost := j.inPlace(p, q, pieces, a); cost < known {
			return cost, q.Finish
		}
	}
	return known, p.Finish
}

// cheapest is the part of a bucket that costs least by the piece and that some demand
// accepts, in stock where that counts.
func (j *job) cheapest(bucket *catalog.Bucket, a aim) (best *catalog.Part) {
	least := int64(math.MaxInt64)
	for i := range bucket.Rows {
		row := &bucket.Rows[i]
		if row.Parts[0].PriceMinor >= least {
			break // as all in the rows after it are no cheaper
		}
		penalty := a.penaltyOf(row.Finish)
		for k := range row.Parts {
			sold := &row.Parts[k]
			if sold.PriceMinor+penalty >= least {
				break
			}
			if !j.wanted(sold.Form) {
				continue
			}
			if once, above := a.once(j.s.Catalog, &sold.Part.Offer); once == 0 || above > 0 {
				best, least = sold.Part, sold.PriceMinor+penalty
				break
			}
		}
	}
	return best
}

// bundle is what a bundle counts when it is bought.
func (a *aim) bundle(s *catalog.Snapshot, b *catalog.Bundle) int64 {
	cost := b.Price.AmountMinor
	if once, above := a.once(s, &b.Offer); above < 1 {
		cost += once
	}
	return cost
}

// insteadLooks is how many parts instead looks at. To look at more makes it less, seldom, but
// takes longer than to search with a bundle that is not worth it.
const insteadLooks = 40

// instead is the most that it costs any kit to do without so many pieces of a part from a
// bundle: at most known, or what other parts count that can take its place wherever it may
// stand, and are not tied; with the finish of the part that does, the same if none.
func (j *job) instead(p *catalog.Part, pieces int, known int64, a aim) (minor int64, finish catalog.Finish) {
	finish = p.Finish
	if p.Tied() { // the kit may hang on this very part
		return known, finish
	}
	units, mixed := j.taken(p, p)
	places := j.placesOf(p)
	if units == 0 || places == nil {
		return known, finish
	}
	if mixed {
		units = pieces
	}
	penalty, looks := a.penaltyOf(p.Finish), insteadLooks
	for i := range places.Rows {
		row := &places.Rows[i]
		if row.Parts[0].PriceMinor >= known {
			break // as all in the rows after it are no cheaper
		}
		if a.penaltyOf(row.Finish) > penalty {
			continue
		}
		packs := int64(1) // at least
		if !p.ByLength() {
			packs = int64((units-1)/row.UnitsPerPack() + 1)
		}
		for k := range row.Parts { // cheapest first
			sold := &row.Parts[k]
			if packs*sold.PriceMinor >= known || looks == 0 {
				break
			}
			looks--
			if sold.Form == p.Form || j.replaces(sold.Form, p) {
				if cost := j.inPlace(p, sold.Part, pieces, a); cost < known {
					known, finish = cost, row.Finish
				}
			}
		}
	}
	return known, finish
}

// inPlace is the most that a part q costs any kit in place of so many pieces of a part p
// from a bundle.
func (j *job) inPlace(p, q *catalog.Part, pieces int, a aim) int64 {
	units, mixed := j.taken(p, q)
	switch {
	case units == 0:
		return math.MaxInt64
	case mixed:
		units = pieces
	}
	cost := int64(fit.Packs(q, units)) * q.Price.AmountMinor
	most, _ := j.taken(q, q)
	if once, above := a.once(j.s.Catalog, &q.Offer); fit.Packs(q, most) > int(above) {
		cost += once
	}
	return cost
}

// placesOf are the parts among which those are that can take a part's place: in a fuel
// path they join what it does; nil when nothing takes it.
func (j *job) placesOf(p *catalog.Part) *catalog.Bucket {
	var places *catalog.Bucket
	for d := range j.takers(p.Form) {
		if slices.Contains(pathNeeds, d.need) {
			return j.s.network.Alike(p.Form)
		}
		if places == nil {
			places = j.find(d)
		}
	}
	return places
}

// replaces reports whether parts of a form in placesOf can stand wherever another can.
func (j *job) replaces(q *catalog.Form, p *catalog.Part) bool {
	for d := range j.takers(p.Form) {
		if !j.fits(d, q) {
			return false
		}
		if !slices.Contains(stackNeeds, d.need) {
			continue
		}
		if q.HeightIn > p.HeightIn || q.Text("flange") != p.Text("flange") {
			return false
		}
		if d.need == "mount.studs" && (q.Thread() != p.Thread() || q.LengthIn < p.LengthIn) {
			return false
		}
	}
	return true
}

// taken is the most units of a part q that the kit takes in place of a part p, 0 when that
// is not known. They are mixed when each piece may be another part; else all that a demand
// takes are of one.
func (j *job) taken(p, q *catalog.Part) (most int, mixed bool) {
	mixed = true
	inPath := 0
	for d := range j.takers(p.Form) {
		switch {
		case d.need == "fuel.hose":
			return 0, false // how it is cut is found by the search for paths
		case slices.Contains(pathNeeds, d.need):
			inPath, mixed = mostInPath[p.Kind], mixed && d.need != "fuel.clamps"
		case slices.Contains(stackNeeds, d.need):
			most += max(fit.MaxGaskets, int(d.remaining()))
			mixed = mixed && d.remaining() <= 1
		default:
			n := j.consumed(d, q)
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
	out, seen := j.room.switches[:0], j.room.bundles[:0] // for one search at a time
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
	for _, sw := range j.room.elsewhere {
		if slices.Contains(parts, sw.Taken.Part) {
			out = append(out, sw)
		}
	}
	j.room.switches, j.room.bundles = out, seen
	return out
}

func (j *job) bundleSwitch(b *catalog.Bundle, parts []*catalog.Part, a aim) fit.Switch {
	sw := fit.Switch{Cost: a.bundle(j.s.Catalog, b), Saving: j.savings.Of(j.bundleBit(b)), Holds: lend(&j.room.holdings, len(b.Contents))[:0]}
	for i, p := range b.Parts() {
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
				j.holdings, j.held = lend(&j.room.holdings, n)[:0], lend(&j.room.held, n)[:0]
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
