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
	w.cost = a.unit(&b.Offer) + once
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
	cost := int64(packs) * a.unit(&p.Offer)
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
		return a.unit(&p.Offer)
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
// accepts it and, for a fuel fitting, its threads occur between line and inlet.
func (j *job) usable(p *catalog.Part) bool {
	accepted := slices.ContainsFunc(j.demands, func(d *demand) bool {
		return d.status == "" && d.spec.Kind == p.Kind && d.accepts(p.Form)
	})
	if !accepted {
		return false
	}
	return p.Kind != "fuel_fitting" || !slices.ContainsFunc(p.Ends, func(e catalog.End) bool {
		return e.Gender != catalog.Neutral && !j.threads()[joint(e)]
	})
}

// joint is an end without its gender: what it and its mate have in common.
func joint(e catalog.End) catalog.End {
	e.Gender = catalog.Neutral
	return e
}

// threads are the joints that can occur in the fuel path: those of line, inlet and
// regulators, and those one fitting away. A path has at most two fittings in a row.
func (j *job) threads() map[catalog.End]bool {
	if j.fuelThreads != nil {
		return j.fuelThreads
	}
	near := []catalog.End{j.supply, j.carburetor.Inlet.End}
	for _, d := range j.demands {
		if d.spec.Kind == "pressure_regulator" || d.spec.Kind == "fuel_filter" {
			for _, f := range j.forms(d) {
				near = append(near, f.Ends...)
			}
		}
	}
	j.fuelThreads = map[catalog.End]bool{}
	for _, e := range near {
		if e.Gender == catalog.Neutral || j.fuelThreads[joint(e)] {
			continue
		}
		j.fuelThreads[joint(e)] = true
		for _, gender := range []catalog.Gender{catalog.Male, catalog.Female} {
			e.Gender = gender
			j.s.Catalog.FormsJoining("fuel_fitting", e, func(f *catalog.Form) {
				for _, far := range f.Ends {
					if far.Gender != catalog.Neutral {
						j.fuelThreads[joint(far)] = true
					}
				}
			})
		}
	}
	return j.fuelThreads
}
