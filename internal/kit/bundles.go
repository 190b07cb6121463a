package kit

import (
	"slices"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
)

// A bundle is worth a look only when what it holds of use in this kit would cost at
// least as much bought piece by piece: otherwise buying the useful pieces beats it
// in every kit.

// bundleWorth is the cost of a bundle and what its useful contents cost alone.
type bundleWorth struct {
	cost, contents int64
}

// worthwhile reports whether a bundle can be in an optimum.
func (w bundleWorth) worthwhile() bool { return w.cost <= w.contents }

type bundleAim struct {
	bundle *catalog.Bundle
	aim    aim
}

// worth weighs a bundle under an aim; the answer is kept for the job.
func (j *job) worth(b *catalog.Bundle, a aim) bundleWorth {
	if w, ok := j.worths[bundleAim{b, a}]; ok {
		return w
	}
	var w bundleWorth
	once, _ := a.once(j.s.Catalog, &b.Offer)
	if a.objective != ByFewest {
		once = 0 // at best the bundle is in stock
	}
	w.cost = b.Price.AmountMinor + once
	for _, content := range b.Contents {
		if p, err := j.s.Catalog.Part(content.SKU); err == nil && j.usable(p) {
			w.contents += a.alone(j.s.Catalog, p, content.Quantity)
		}
	}
	if b.Discontinued {
		w.contents = -1
	}
	if j.worths == nil {
		j.worths = map[bundleAim]bundleWorth{}
	}
	j.worths[bundleAim{b, a}] = w
	return w
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

// bundleFloor is the least that one pack of a part can add to the kit when it comes
// out of a bundle: the bundle's cost less the most that its other contents can save.
func (j *job) bundleFloor(b *catalog.Bundle, p *catalog.Part, a aim) int64 {
	w := j.worth(b, a)
	if !w.worthwhile() {
		return p.Price.AmountMinor
	}
	for _, content := range b.Contents {
		if content.SKU == p.SKU {
			others := w.contents - a.alone(j.s.Catalog, p, content.Quantity)
			return max(0, (w.cost-others)*int64(p.PackQuantity)/int64(content.Quantity))
		}
	}
	return 0
}

// usable reports whether a part could serve in this kit at all: some open demand
// accepts it and, for a fuel fitting, it joins ends between line and inlet.
func (j *job) usable(p *catalog.Part) bool {
	accepted := slices.ContainsFunc(j.demands, func(d *demand) bool {
		return d.status == "" && d.spec.Kind == p.Kind && d.accepts(p.Form)
	})
	if !accepted {
		return false
	}
	return p.Kind != "fuel_fitting" || j.pathForms()[p.Form]
}

// pathForms are the fittings that can occur in the fuel path: those between line,
// filters, regulators, hoses and inlet.
func (j *job) pathForms() map[*catalog.Form]bool {
	if j.fittingForms != nil {
		return j.fittingForms
	}
	open := []catalog.End{j.supply, j.carburetor.Inlet.End}
	add := func(e catalog.End) {
		if !slices.Contains(open, e) {
			open = append(open, e)
		}
	}
	for _, bore := range j.s.fuelBores {
		add(catalog.End{Family: catalog.Hose, Size: bore})
	}
	for _, need := range []string{"fuel.filter", "fuel.pressure_regulator"} {
		if d := j.role(need); d != nil {
			for _, f := range j.s.Catalog.Forms(d.spec.Kind) {
				for _, e := range f.Ends {
					add(e)
				}
			}
		}
	}
	j.fittingForms = j.s.fittings.Between(open)
	return j.fittingForms
}
