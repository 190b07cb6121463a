package kit

import (
	"slices"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
)

// A bundle is worth a look only when what it holds of use in this kit would cost at
// least as much bought piece by piece: otherwise buying the useful pieces beats it
// in every kit. The difference is the most that it can save.

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
	known := j.source(b)
	return j.bit(known, a, func() int64 { return j.saving(b, known, a) })
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
// optimum.
func (j *job) saving(b *catalog.Bundle, known *sourceBits, a aim) int64 {
	if b.Discontinued {
		return -1
	}
	saving := -b.Price.AmountMinor
	if a.objective == ByFewest { // under ByStock the bundle may well be in stock
		saving -= lineWeight
	}
	for i, p := range b.Parts() {
		if known.useless&(1<<i) == 0 {
			saving += a.alone(j.s.Catalog, p, b.Contents[i].Quantity)
		}
	}
	return saving
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
	sw := fit.Switch{Cost: b.Price.AmountMinor, Saving: j.savings.Of(j.bundleBit(b, a)), Holds: lend(&j.room.holdings, len(b.Contents))[:0]}
	if a.objective == ByFewest {
		sw.Cost += lineWeight
	}
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
				j.holdings, j.held = make([]fit.Holding, 0, n), make([]sourceBits, 0, n)
			}
			j.holdings = append(j.holdings, fit.Holding{Part: p, Units: pieces * fit.PieceUnits(p)})
			j.held = append(j.held, sourceBits{})
		}
	}
	for _, in := range j.carburetor.InBox {
		add(in.SKU, in.Quantity)
	}
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
func (a aim) alone(s *catalog.Snapshot, p *catalog.Part, pieces int) int64 {
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
