package kit

import (
	"slices"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
)

// A bundle is worth a look only when what it holds of use in this kit would cost at
// least as much bought piece by piece, the same parts or others of their forms: otherwise
// buying the useful pieces beats it in every kit. What its own parts cost more than it is
// the most that it can save.

// sourceBits are the bits of a bundle, or of a part that is had, in the savings of a job,
// by objective; 0 for a bundle that cannot be in an optimum.
type sourceBits struct {
	job   int64 // that they are of
	known [3]bool
	bits  [3]uint64

	useless uint64 // contents of a bundle, a bit each of the first 64, that cannot serve
}

// sources are where a part may come from beside its own packs: bundles that can save
// money, the box, the shelf at home.
func (j *job) sources(p *catalog.Part, a aim) uint64 {
	bits := uint64(0)
	for _, b := range p.Bundles() {
		bits |= j.bundleBit(b, a)
	}
	if i := slices.IndexFunc(j.holdings, func(h fit.Holding) bool { return h.Part == p }); i >= 0 {
		bits |= j.bit(&j.held[i], a, func() int64 { return a.alone(j.s.Catalog, p, j.pieces(p)) })
	}
	return bits
}

// bit is the bit of a source, worked out when it is asked for first.
func (j *job) bit(known *sourceBits, a aim, saving func() int64) uint64 {
	o := a.objective.index()
	if !known.known[o] {
		known.known[o] = true
		if most := saving(); most >= 0 {
			known.bits[o] = j.savings.Add(most)
		}
	}
	return known.bits[o]
}

// bundleBit is the source bit of a bundle, 0 when it cannot be in an optimum.
func (j *job) bundleBit(b *catalog.Bundle, a aim) uint64 {
	if a.objective == ByPrice && j.s.dear[b.Index()] &&
		!slices.ContainsFunc(j.holdings, func(h fit.Holding) bool { return slices.Contains(h.Part.Bundles(), b) }) {
		return 0
	}
	known := j.source(b)
	return j.bit(known, a, func() int64 { return j.saving(b, known, a) })
}

// dear reports whether a bundle can be in no kit of the least price, whatever the finish
// wanted, of a job that has none of its parts already: even if all that it holds is of
// use, as many pieces of other parts cost less. These are of the same forms, finishes and
// packs and no dearer, so that they can take the place of further pieces bought too, but
// not of those that come from another bundle.
func dear(b *catalog.Bundle) bool {
	spare := -b.Price.AmountMinor
	for i, p := range b.Parts() {
		least := p.Price.AmountMinor
		if !p.Tied() && len(p.Bundles()) == 1 {
			for _, q := range p.Form.Parts() { // cheapest first
				if q.Price.AmountMinor >= least {
					break
				}
				if q.Finish == p.Finish && q.PackQuantity == p.PackQuantity && !q.Discontinued && !q.Tied() {
					least = q.Price.AmountMinor
				}
			}
		}
		spare += int64(fit.Packs(p, b.Contents[i].Quantity*fit.PieceUnits(p))) * least
	}
	return spare < 0
}

// source is what is known of a bundle as a source.
func (j *job) source(b *catalog.Bundle) *sourceBits {
	known := &j.room.sources[b.Index()]
	if known.job != j.room.job {
		*known = sourceBits{job: j.room.job}
		for i, p := range b.Parts() {
			if i < 64 && !j.usable(p) {
				known.useless |= 1 << i
			}
		}
	}
	return known
}

// forgetSources lets all bits be worked out again.
func (j *job) forgetSources() {
	j.room.job++
	clear(j.held)
}

// saving is the most that a bundle can save in the kit, negative when it cannot be in an
// optimum: other parts of the same forms in place of its contents cost less.
func (j *job) saving(b *catalog.Bundle, known *sourceBits, a aim) int64 {
	if b.Discontinued {
		return -1
	}
	saving := -a.bundle(j.s.Catalog, b)
	for i, p := range b.Parts() {
		if known.useless&(1<<i) == 0 {
			saving += a.alone(j.s.Catalog, p, b.Contents[i].Quantity)
		}
	}
	spare := saving
	for i, p := range b.Parts() {
		if known.useless&(1<<i) == 0 && spare >= 0 {
			alone := a.alone(j.s.Catalog, p, b.Contents[i].Quantity)
			spare -= alone - j.instead(p, b.Contents[i].Quantity, alone, a)
		}
	}
	if spare < 0 {
		return -1
	}
	return saving
}

// bundle is what a bundle counts when it is bought.
func (a *aim) bundle(s *catalog.Snapshot, b *catalog.Bundle) int64 {
	cost := b.Price.AmountMinor
	if once, above := a.once(s, &b.Offer); above < 1 {
		cost += once
	}
	return cost
}

// instead is the most that it costs any kit to do without so many pieces of a part from a
// bundle: at most alone, what they count when bought, or what parts of the same form do.
func (j *job) instead(p *catalog.Part, pieces int, alone int64, a aim) int64 {
	if p.Tied() { // the kit may hang on this very part
		return alone
	}
	most, mixed := j.taken(p)
	if most == 0 {
		return alone
	}
	units := most
	if mixed {
		units = pieces
	}
	penalty := a.penaltyOf(p.Finish)
	for _, q := range p.Form.Parts() { // cheapest first
		if q.Price.AmountMinor >= alone {
			break
		}
		if q.Discontinued || q.Tied() || a.penaltyOf(q.Finish) > penalty {
			continue
		}
		cost := int64(fit.Packs(q, units)) * q.Price.AmountMinor
		if once, above := a.once(j.s.Catalog, &q.Offer); fit.Packs(q, most) > int(above) {
			cost += once
		}
		alone = min(alone, cost)
	}
	return alone
}

// taken is the most units of parts of one form that the kit takes, 0 when that is not
// known. They are mixed when each piece may be another part; else all that a demand takes
// are of one.
func (j *job) taken(p *catalog.Part) (most int, mixed bool) {
	mixed = true
	for _, d := range j.demands {
		if d.status != "" || d.spec != p.Spec() || !d.accepts(p.Form) {
			continue
		}
		switch {
		case d.need == "fuel.hose":
			return 0, false // how it is cut is found by the search for paths
		case d.need == "fuel.clamps":
			most, mixed = most+fit.MaxClamps, false
		case slices.Contains(pathNeeds, d.need):
			most += fit.MaxFittings // or fewer: one filter, one regulator
		case slices.Contains(stackNeeds, d.need):
			most += max(fit.MaxGaskets, int(d.remaining()))
			mixed = mixed && d.remaining() <= 1
		default:
			most, mixed = most+j.consumed(d, p), false
		}
	}
	return most, mixed
}

// switches are the bundles that can save money on some of the parts, and the tied
// among them.
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
			if j.bundleBit(b, a) != 0 {
				out = append(out, j.bundleSwitch(b, parts, a))
			}
		}
	}
	j.room.switches, j.room.bundles = out, seen
	return out
}

func (j *job) bundleSwitch(b *catalog.Bundle, parts []*catalog.Part, a aim) fit.Switch {
	sw := fit.Switch{Cost: a.bundle(j.s.Catalog, b), Saving: j.savings.Of(j.bundleBit(b, a)), Holds: lend(&j.room.holdings, len(b.Contents))[:0]}
	for i, p := range b.Parts() {
		pieces := b.Contents[i].Quantity
		switch {
		case slices.Contains(parts, p):
			sw.Holds = append(sw.Holds, fit.Holding{Part: p, Units: pieces * fit.PieceUnits(p)})
		case j.source(b).useless&(1<<i) == 0:
			sw.Cost -= a.alone(j.s.Catalog, p, pieces)
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
			j.held = append(j.held, sourceBits{})
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

// alone is what pieces of a part count when bought for themselves.
func (a *aim) alone(s *catalog.Snapshot, p *catalog.Part, pieces int) int64 {
	packs := fit.Packs(p, pieces*fit.PieceUnits(p))
	cost := int64(packs) * p.Price.AmountMinor
	if once, above := a.once(s, &p.Offer); packs > int(above) {
		cost += once
	}
	return cost
}

// usable reports whether a part could serve in this kit at all: some open demand
// accepts it and, for a fuel fitting, it joins ends between line and inlet.
func (j *job) usable(p *catalog.Part) bool {
	accepted := slices.ContainsFunc(j.demands, func(d *demand) bool {
		return d.status == "" && d.spec == p.Spec() && d.accepts(p.Form)
	})
	if !accepted {
		return false
	}
	return p.Kind != "fuel_fitting" || j.s.network.Serves(p.Form, j.supply, j.carburetor.Inlet.End)
}
