package kit

import (
	"slices"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
)

// What a fuel path costs depends on the rest of the kit only through what both can have
// together: bundles, parts that require or exclude each other, and parts of the path's
// kinds that other needs take as well, or that some part requires. Of these one pack may
// serve both, and a line counts once. For every way in which bundles are bought, tied
// parts can be had and others take of a part, the cheapest path is among those that the
// search gives, so that the optimum of the kit is a choice among them.

// requirers lists the parts of a catalogue that require some of the fuel path's kinds.
func requirers(cat *catalog.Snapshot) []*catalog.Part {
	var out []*catalog.Part
	for _, p := range cat.Tied() {
		if slices.ContainsFunc(p.Requires, func(sku string) bool {
			other, err := cat.Part(sku) // refused when the catalogue was read, if unknown
			return err == nil && slices.ContainsFunc(cat.Replacements(other), func(p *catalog.Part) bool { return slices.Contains(fuelKinds, p.Kind) })
		}) {
			out = append(out, p)
		}
	}
	return out
}

// findElsewhere finds what the groups so far may take of the fuel path's parts, and what
// other parts require of them.
func (j *job) findElsewhere(groups []group, a aim) {
	list, by := j.scratch.elsewhere[:0], 0
	take := func(p *catalog.Part, units int) {
		if slices.Contains(fuelKinds, p.Kind) && j.sharing(p, a) {
			list = append(list, fit.Switch{Taken: fit.Holding{Part: p, Units: units}, By: by})
		}
	}
	for i := range groups {
		if !slices.Contains(fuelKinds, groups[i].demands[0].spec.Kind) {
			continue
		}
		by++
		for _, o := range groups[i].options {
			take(o.uses[0].Part, o.uses[0].Units)
		}
	}
	for _, r := range j.s.requirers {
		if !r.Required() && !j.wanted(r.Form) {
			continue
		}
		for _, sku := range r.Requires {
			p := j.asRequired(sku)
			known := func(sw fit.Switch) bool { return sw.Required && sw.Taken.Part == p }
			if p != nil && slices.Contains(fuelKinds, p.Kind) && !slices.ContainsFunc(list, known) {
				list = append(list, fit.Switch{Taken: fit.Holding{Part: p, Units: 1}, Required: true})
			}
		}
	}
	j.scratch.elsewhere = list
}

// sharing reports whether so many and so many more of a part may cost something else than
// both do apart.
func (j *job) sharing(p *catalog.Part, a aim) bool {
	once, above := a.once(j.s.Catalog, &p.Offer)
	return once > 0 && above < enoughStock || fit.PackUnits(p) > 1 || j.sources(p) != 0
}

// takenElsewhere reports whether other needs than the fuel path may take a part.
func (j *job) takenElsewhere(p *catalog.Part) bool {
	return slices.ContainsFunc(j.scratch.elsewhere, func(sw fit.Switch) bool { return sw.Taken.Part == p })
}
