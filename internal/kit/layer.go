package kit

import (
	"math"
	"slices"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/rules"
)

// Parts of the mounting stack are found on ladders, lowest first: a part that can be had
// settles all that are no lower and no cheaper, and those are jumped over. So the search
// does not grow with the catalogue, while what it leaves out could stand in no stack where
// something that it found could not, for no more. Studs are on ladders too, longest first.

// A climb is the search on one ladder.
type climb struct {
	*catalog.Ladder
	at      int     // of Rungs; those before are done with
	least   float64 // asked of the attribute Least
	meets   bool    // all that has so much meets the demand
	penalty int64   // of its finish
	limit   int64   // from this price on parts are settled; at it, those of a later SKU
	sku     string
}

// settled jumps over rungs that have too little or are settled, and reports whether the
// ladder is at its end. What Next leads over comes after something that is settled.
func (c *climb) settled() bool {
	for c.at < len(c.Rungs) {
		r, next := &c.Rungs[c.at], int32(0)
		if c.settles(r) {
			next = r.Next
		}
		if r.Has < c.least {
			next = max(next, r.More)
		}
		if next == 0 {
			return false
		}
		c.at = int(next)
	}
	return true
}

// settles reports whether what is found settles a rung, or is that itself.
func (c *climb) settles(r *catalog.Rung) bool {
	return r.PriceMinor > c.limit || r.PriceMinor == c.limit && r.Part.SKU >= c.sku
}

// least is how much a demand asks of an attribute, and how many other tests it has.
func (d *demand) least(attr string) (least float64, others int) {
	least = math.Inf(-1)
	for i := range d.matches {
		for k := range d.matches[i].Tests {
			if t := &d.matches[i].Tests[k]; t.Op == rules.AtLeast && t.Attr == attr {
				least = max(least, t.Value.Num)
			} else {
				others++
			}
		}
	}
	return least, others
}

// layerCost is what 1, 2 and so on of a candidate cost: at most, beside others of it, and by
// themselves.
type layerCost struct {
	part          *catalog.Part
	thread        string
	beside, alone [fit.MaxGaskets]int64
}

func costLayer(c *fit.Candidate, thread string, most int) layerCost {
	l := layerCost{part: c.Part, thread: thread}
	for n := range most {
		l.beside[n], l.alone[n] = c.Beside(n+1, most), c.Alone(n+1)+int64(n)*c.Penalty
	}
	return l
}

// settles reports whether up to most of a part cost no more than as many of another, which
// comes later where they cost the same.
func (l *layerCost) settles(o *layerCost, most int) bool {
	for n := range most {
		if l.beside[n] > o.alone[n] {
			return false
		}
	}
	return l.beside[0] < o.alone[0] || l.part.SKU < o.part.SKU
}

// limits lets a part found, which is no higher than any left on a ladder, settle those of
// them that can cost no less: if nothing else, they cost their packs.
func (l *layerCost) limits(c *climb, most int) {
	if c.Thread != l.thread { // other studs take other nuts
		return
	}
	price := int64(0)
	for n := range most {
		packs := int64(1)
		if c.Pack > 0 && c.Pack < catalog.LadderPack {
			packs += int64(n / c.Pack)
		}
		price = max(price, (l.beside[n]-int64(n+1)*c.penalty+packs-1)/packs)
	}
	sku := l.part.SKU
	if l.beside[0] < price+c.penalty {
		sku = "" // cheaper than any at that price, whatever its SKU
	}
	if price < c.limit || price == c.limit && sku < c.sku {
		c.limit, c.sku = price, sku
	}
}

// layer is a layer of the stack that must come from the catalogue: the parts of which a
// stack may take one, highest first. A gasket is of the flange given, "" for what is none.
// They may be most layers of it.
func (j *job) layer(d *demand, flange catalog.Flange, most int, a aim) fit.StackRole {
	out, costs, climbs := j.scratch.layer[:0], j.scratch.costs[:0], j.scratch.climbs[:0]
	bucket, passed := j.find(d), d.equal
	if flange != "" {
		passed = 0
		index := j.s.gaskets
		if most > 1 {
			index = j.s.gasketPacks
		}
		bucket = index.Lookup([]catalog.Value{{Text: string(flange)}})
	}
	for i := range bucket.Ladders {
		l := &bucket.Ladders[i]
		least, others := d.least(l.Least)
		climbs = append(climbs, climb{Ladder: l, at: l.From(least), least: least, meets: others == passed, penalty: a.penaltyOf(l.Finish), limit: math.MaxInt64})
	}
	for {
		var on *climb // the ladder with the lowest rung
		for i := range climbs {
			if c := &climbs[i]; !c.settled() && (on == nil || c.Rungs[c.at].RankIn < on.Rungs[on.at].RankIn) {
				on = c
			}
		}
		if on == nil {
			break
		}
		r := &on.Rungs[on.at]
		p := r.Part
		if !on.meets && !j.fits(d, p.Form) {
			on.at = int(r.Past)
			continue
		}
		if on.at++; r.Bundled && j.sources(p) != 0 || j.pieces(p) > 0 {
			continue
		}
		c := fit.Candidate{Part: p, Cost: r.PriceMinor, Penalty: on.penalty}
		c.Once, c.OnceAbove = a.once(j.s.Catalog, &p.Offer)
		cost := costLayer(&c, on.Thread, most)
		if slices.ContainsFunc(costs, func(l layerCost) bool { return l.settles(&cost, most) }) {
			continue // charges for lines counted
		}
		out, costs = append(out, c), append(costs, cost)
		for i := range climbs {
			cost.limits(&climbs[i], most)
		}
		if on.settles(r) {
			on.at = int(r.Next) // in one jump
		}
	}
	slices.Reverse(out)
	j.eachApart(d, func(p *catalog.Part) {
		if flange == "" || p.Text("flange") == string(flange) {
			out = append(out, j.candidate(p, a))
		}
	})
	j.scratch.layer, j.scratch.costs, j.scratch.climbs = out, costs, climbs
	candidates := lend(&j.scratch.candidates, len(out))
	copy(candidates, out)
	return fit.StackRole{Asked: true, Candidates: candidates}
}
