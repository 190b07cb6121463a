package kit

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
)

// What may meet a demand is found in the bucket of its strictest rule, cheapest parts
// first, and the search ends where nothing better can come: so that it does not grow with
// the catalogue. Parts that are tied, had already or from a bundle worth a look are looked
// at apart, as their price says little.

// find finds the bucket of a demand, through the index of the rule with most equality
// tests.
func (j *job) find(d *demand) *catalog.Bucket {
	if d.bucket != nil {
		return d.bucket
	}
	best := 0
	for i, r := range d.rules {
		if len(r.EqualityAttrs()) > len(d.rules[best].EqualityAttrs()) {
			best = i
		}
	}
	var values [8]catalog.Value
	equal := values[:0]
	for i := range d.rules[best].EqualityAttrs() {
		equal = append(equal, d.matches[best].Equal(i))
	}
	d.bucket, d.equal = j.s.indexes[d.rules[best]].Lookup(equal), len(equal)
	return d.bucket
}

// fits reports whether a form of the bucket meets a demand.
func (j *job) fits(d *demand, f *catalog.Form) bool {
	return d.accepts(f) && j.meters(d, f) && j.reaches(d, f)
}

// reaches reports whether a form is long enough where a demand is of studs and no stack says
// how long they must be: those that may be needed are.
func (j *job) reaches(d *demand, f *catalog.Form) bool {
	return d.need != studsNeed || j.stackGap == nil || f.LengthIn >= j.figures.StudNeededIn-fit.RoundingIn
}

// meters reports whether a form meters as a demand wants it, if that is of metering sets.
func (j *job) meters(d *demand, f *catalog.Form) bool {
	return d.need != meteringNeed || !j.someMeterRight(d) || j.metersRight(f)
}

// forms are the physical forms that meet a demand.
func (j *job) forms(d *demand) []*catalog.Form {
	bucket := j.find(d)
	out := lend(&j.scratch.forms, len(bucket.Forms))[:0]
	for _, f := range bucket.Forms {
		if j.fits(d, f) {
			out = append(out, f)
		}
	}
	return out
}

// jetting tells whether some metering set that matches leaves the mixture within the
// limit of its check: then only such sets fit, else all do.
type jetting int8

const (
	jettingUnknown jetting = iota
	someRight
	noneRight
)

func (j *job) someMeterRight(d *demand) bool {
	if d.right == jettingUnknown {
		d.right = noneRight
		if slices.ContainsFunc(j.find(d).Forms, func(f *catalog.Form) bool { return d.accepts(f) && j.metersRight(f) }) {
			d.right = someRight
		}
	}
	return d.right == someRight
}

// metersRight reports whether the nearest jets of a metering set leave the mixture within
// the limit of its check.
func (j *job) metersRight(f *catalog.Form) bool {
	pair, ok := meteringPair(j.carburetor, j.figures, f)
	return ok && math.Abs(pair.ResidualPercent) <= reJetPercent
}

// enoughStock is more packs of one part than any kit takes.
const enoughStock = 100

// consumed is how many units of a part meet what remains of a demand, 0 when the
// part cannot (a piece of hose shorter than the run).
func (j *job) consumed(d *demand, p *catalog.Part) int {
	if !d.spec.ByLength {
		return int(d.remaining())
	}
	if p.LengthIn < d.remaining() {
		return 0
	}
	return fit.CutUnits(p, d.remaining())
}

// shared reports whether a form meets another open demand too.
func (j *job) shared(d *demand, f *catalog.Form) bool {
	for o := range j.takers(f) {
		if o != d {
			return true
		}
	}
	return false
}

// eachApart visits the parts apart that meet a demand, and those had already.
func (j *job) eachApart(d *demand, visit func(*catalog.Part)) {
	for _, p := range j.scratch.apart {
		if p.Spec() == d.spec && j.fits(d, p.Form) {
			visit(p)
		}
	}
	for i, h := range j.holdings {
		p := h.Part
		twice := slices.ContainsFunc(j.holdings[:i], func(o fit.Holding) bool { return o.Part == p })
		if twice || p.Spec() != d.spec || !j.fits(d, p.Form) {
			continue
		}
		if !slices.Contains(j.scratch.apart, p) {
			visit(p)
		}
	}
}

// single is the group of one demand: an option for each candidate part that no other can
// stand in for. What comes from nowhere else and can serve nothing else adds its price to
// a kit, so that only the cheapest of such is one.
func (j *job) single(d *demand, a aim) group {
	g := group{name: d.need, demands: j.one(d)}
	found := rivalry{j: j, aim: a, bids: j.scratch.bids[:0]}
	found.demands[0], found.count = d, 1
	for _, o := range j.scratch.byKind[d.spec.Index()] {
		if o != d && o.status == "" && !contradict(d, o) {
			if found.count == maxRivals || o.byFit {
				found.all = true // who takes how many is not known here
				continue
			}
			found.demands[found.count] = o
			found.count++
		}
	}
	j.eachApart(d, func(p *catalog.Part) {
		c := j.candidate(p, a)
		found.special(&c)
	})
	bucket := j.find(d)
	for i := range bucket.Rows {
		row := &bucket.Rows[i]
		if d.spec.ByLength && row.LengthIn < d.remaining() {
			continue
		}
		found.enter(row)
		if found.beats(row.Parts[0].PriceMinor, 0) {
			if found.packs[1<<found.count-1] == 1 {
				break // as all in the rows after it are dearer
			}
			continue // larger packs of theirs may cost less in the end
		}
		penalty, refused := a.penaltyOf(row.Finish), true // all so far
		for k := 0; k < len(row.Parts); k++ {
			sold := &row.Parts[k]
			if found.beats(sold.PriceMinor, penalty) {
				break
			}
			if refused = refused && !d.accepts(sold.Form); refused {
				k = int(sold.More) - 1
				continue
			}
			if j.fits(d, sold.Form) && j.sources(sold.Part) == 0 {
				c := a.price(j.s.Catalog, sold.Part)
				found.add(&c)
			}
		}
	}
	slices.SortFunc(found.bids, compareBids)
	j.scratch.bids = found.bids
	uses := lend(&j.scratch.uses, len(found.bids))
	g.options = lend(&j.scratch.options, len(found.bids))
	for i := range found.bids {
		b := &found.bids[i]
		uses[i] = fit.Use{Need: d.need, Part: b.Part, Units: b.units}
		g.options[i] = option{uses: uses[i : i+1 : i+1], penalty: b.Penalty}
	}
	return g
}

// maxRivals is how many demands are weighed together.
const maxRivals = 4

// contradict reports whether no form can meet two demands: they ask different values of
// one attribute.
func contradict(a, b *demand) bool {
	for i := range a.matches {
		for k := range b.matches {
			if a.matches[i].Contradicts(&b.matches[k]) {
				return true
			}
		}
	}
	return false
}

// rivalry compares parts for a demand, the first, beside others that the same parts may
// meet: a part stands in for another when it meets whatever that meets, and however many
// of them take it, costs no more.
type rivalry struct {
	j       *job
	aim     aim
	demands [maxRivals]*demand
	count   int
	all     bool                  // the demands are not all: parts of forms that others take too are all kept
	packs   [1 << maxRivals]int64 // by set of demands: what they take at least of the row that is looked at
	bids    []bid
}

// bid is a part for the first demand. packs is what its packs and places cost by set of
// the demands that take it, costs the same with the charge for the line where that is due;
// charge is what is due when all take it.
type bid struct {
	fit.Candidate
	units        int
	meets        uint8
	special      bool
	packs, costs [1 << maxRivals]int64
	charge       int64
}

// compareBids orders bids as the catalogue has them, the one merely bought for this demand
// alone last.
func compareBids(b, o bid) int {
	last := func(b *bid) int {
		if !b.special && b.meets == 1 {
			return 1
		}
		return 0
	}
	return cmp.Or(last(&b)-last(&o), b.Part.Place()-o.Part.Place(), cmp.Compare(b.Cost, o.Cost), strings.Compare(b.Part.SKU, o.Part.SKU))
}

func (r *rivalry) special(c *fit.Candidate) {
	if n := r.j.consumed(r.demands[0], c.Part); n > 0 {
		r.bids = append(r.bids, bid{Candidate: *c, units: n, special: true})
	}
}

// beats reports whether some part in the comparison, whoever of all demands takes it, costs
// less than any of the row does at such a price of one pack and such a penalty for each
// place.
func (r *rivalry) beats(priceMinor, penalty int64) bool {
	if r.all {
		return false
	}
next:
	for i := range r.bids {
		b := &r.bids[i]
		if b.special || b.meets != 1<<r.count-1 {
			continue
		}
		for set := uint8(1); set <= b.meets; set += 2 { // whoever else, the first demand takes it
			if b.packs[set]+b.charge >= r.packs[set]*priceMinor+int64(bits.OnesCount8(set))*penalty {
				continue next
			}
		}
		return true
	}
	return false
}

// enter works out how many packs of a row sets of demands take at least.
func (r *rivalry) enter(row *catalog.Row) {
	for set := 1; set < 1<<r.count; set += 2 {
		pieces := 1
		for i, d := range r.demands[:r.count] {
			if set&(1<<i) != 0 && !d.spec.ByLength {
				pieces += int(d.remaining())
			}
		}
		r.packs[set] = int64(max(0, pieces-2)/row.UnitsPerPack() + 1)
	}
}

// add takes a part that is merely bought into the comparison.
func (r *rivalry) add(c *fit.Candidate) {
	b := bid{Candidate: *c}
	var units [maxRivals]int
	for i, d := range r.demands[:r.count] {
		if i == 0 || d.accepts(c.Part.Form) {
			if units[i] = r.j.consumed(d, c.Part); units[i] > 0 {
				b.meets |= 1 << i
			}
		}
	}
	if b.units = units[0]; b.units == 0 {
		return
	}
	for set := uint8(1); set <= b.meets; set++ {
		if set&^b.meets != 0 {
			continue
		}
		n, places := 0, int64(0)
		for i := range r.count {
			if set&(1<<i) != 0 {
				n, places = n+units[i], places+1
			}
		}
		b.costs[set] = b.Alone(n) + (places-1)*b.Penalty
		b.packs[set] = int64(fit.Packs(b.Part, n))*b.Cost + places*b.Penalty
	}
	b.charge = b.costs[b.meets] - b.packs[b.meets]
	if r.all && r.j.shared(r.demands[0], c.Part.Form) {
		b.special = true
		r.bids = append(r.bids, b)
		return
	}
	for i := range r.bids {
		if !r.bids[i].special && r.bids[i].standsInFor(&b) {
			return
		}
	}
	r.bids = slices.DeleteFunc(r.bids, func(o bid) bool { return !o.special && b.standsInFor(&o) })
	r.bids = append(r.bids, b)
}

// standsInFor reports whether a part can take the place of another, whoever takes that; of
// two that cost the same, that with the lower SKU does.
func (b *bid) standsInFor(o *bid) bool {
	if o.meets&^b.meets != 0 {
		return false
	}
	if b.meets == 1 { // nobody else: what it costs alone decides
		return cmp.Or(cmp.Compare(b.costs[1], o.costs[1]), strings.Compare(b.Part.SKU, o.Part.SKU)) < 0
	}
	less := b.Part.SKU < o.Part.SKU
	for set := uint8(1); set <= o.meets; set++ {
		if set&^o.meets != 0 {
			continue
		}
		cost := b.packs[set] + b.charge // others may bring the charge about
		if cost > o.costs[set] {
			return false
		}
		less = less || cost < o.costs[set]
	}
	return less
}
