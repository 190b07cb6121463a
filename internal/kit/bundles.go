package kit

import (
	"slices"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
)

// A bundle is worth a look only when what it holds of use in this kit would cost at
// least as much bought piece by piece: otherwise buying the useful pieces beats it
// in every kit. The difference is the most that it can save.

// source is a bundle, or a part that is had already, under one objective.
type source struct {
	bundle    *catalog.Bundle
	part      *catalog.Part
	objective byte // first letter: the three differ in it
}

// holding lists the bundles that hold a part.
func (j *job) holding(p *catalog.Part) []*catalog.Bundle {
	if !p.Bundled() {
		return nil
	}
	return j.s.Catalog.BundlesHolding(p)
}

// sourceBit is the bit of a source in the job's savings, 0 for one that saves nothing.
func (j *job) sourceBit(from source, saving func() (most int64, ok bool)) uint64 {
	if bit, known := j.room.sourceBits[from]; known {
		return bit
	}
	bit := uint64(0)
	if most, ok := saving(); ok {
		bit = j.savings.Add(most)
	}
	j.room.sourceBits[from] = bit
	return bit
}

// sources are where a part may come from beside its own packs: bundles that can save
// money, the box, the shelf at home.
func (j *job) sources(p *catalog.Part, a aim) uint64 {
	bits := uint64(0)
	for _, b := range j.holding(p) {
		bits |= j.bundleBit(b, a)
	}
	if n := j.pieces(p.SKU); n > 0 {
		bits |= j.sourceBit(source{part: p, objective: a.objective[0]}, func() (int64, bool) { return a.alone(j.s.Catalog, p, n), true })
	}
	return bits
}

// bundleBit is the source bit of a bundle, 0 when it cannot be in an optimum.
func (j *job) bundleBit(b *catalog.Bundle, a aim) uint64 {
	return j.sourceBit(source{bundle: b, objective: a.objective[0]}, func() (int64, bool) {
		cost, contents := b.Price.AmountMinor, int64(0)
		if a.objective == ByFewest { // under ByStock the bundle may well be in stock
			cost += lineWeight
		}
		for i, p := range b.Parts() {
			if j.usable(p) {
				contents += a.alone(j.s.Catalog, p, b.Contents[i].Quantity)
			}
		}
		return contents - cost, !b.Discontinued && contents >= cost
	})
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
		for _, b := range j.holding(p) {
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
		case j.usable(p):
			sw.Cost -= a.alone(j.s.Catalog, p, pieces)
		}
	}
	return sw
}

// holdings are the parts that are had by SKU.
func (j *job) holdings() []fit.Holding {
	var out []fit.Holding
	add := func(sku string, pieces int) {
		if sku == "" {
			return // had by need, not by SKU
		}
		if p, err := j.s.Catalog.Part(sku); err == nil {
			out = append(out, fit.Holding{Part: p, Units: pieces * fit.PieceUnits(p)})
		}
	}
	for _, in := range j.carburetor.InBox {
		add(in.SKU, in.Quantity)
	}
	for _, h := range j.request.OnHand {
		add(h.SKU, h.Quantity)
	}
	return out
}

// pieces is how many of a SKU are in the box and on hand.
func (j *job) pieces(sku string) int {
	n := 0
	for i := range j.carburetor.InBox {
		if in := &j.carburetor.InBox[i]; in.SKU == sku {
			n += in.Quantity
		}
	}
	for i := range j.request.OnHand {
		if h := &j.request.OnHand[i]; h.SKU == sku {
			n += h.Quantity
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
