package kit

import (
	"cmp"
	"fmt"
	"iter"
	"maps"
	"math"
	"slices"
	"strings"
	"sync"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/rules"
)

// Most bundles can be in no optimum, whatever the job: even if all that they hold is of
// use, as many pieces of other parts cost less. So it is with most tied parts. These are
// found once for the catalogue and once for the stock of each location, so that a job
// weighs only the others.

// dominance is what is known of bundles and tied parts whatever the job.
type dominance struct {
	peers        int        // how many there are
	all, byPrice worthwhile // what there is, and what can be in a kit of the least price
}

// worthwhile is what can be in some optimum.
type worthwhile struct {
	bundles []weighedBundle
	tied    []weighedContent
}

// weighedBundle is a bundle that can be in an optimum. spare is what it costs at most to do
// without all its contents, less what the bundle costs.
type weighedBundle struct {
	*catalog.Bundle
	contents []weighedContent // those that it costs most to do without first
	spare    int64
}

// weighedContent is a content of a bundle, or a tied part.
type weighedContent struct {
	*catalog.Part
	pieces   int
	required bool // by another part
	peers    *peers
	numbers  []float64
	instead  []*catalog.Part // see inPlaceOf
	least    int64           // what it costs at most to do without
}

// peers are parts that to rules and fit differ in numbers alone, of which more is as good:
// whatever one of them meets, others with as much meet. The numbers are kept side by side,
// so that a job that asks for some looks at no part that has not enough.
type peers struct {
	*likeness
	*catalog.Bucket
	index   int           // among all
	form    *catalog.Form // of one of them, for what they have in common
	numbers [][]float64   // by row, those of its parts one after another
}

// unknown is more than doing without a content can cost.
const unknown = math.MaxInt64 / 1024

// insteadMost bounds what is kept; parts beyond are only dearer.
const insteadMost = 32

// usualPieces is as many pieces as kits take of a kind; a job that may take more has to
// weigh all bundles. See fewPieces.
func usualPieces(k catalog.Kind) int {
	if n, inPath := mostInPath[k]; inPath {
		return n + 1
	}
	return 2 * fit.MaxGaskets
}

// mostInPath is how many pieces a fuel path takes of a kind.
var mostInPath = map[catalog.Kind]int{"fuel_fitting": fit.MaxFittings, "fuel_filter": 1, "pressure_regulator": 1, "fuel_hose": fit.MaxHoses, "hose_clamp": fit.MaxClamps}

func newDominance(s *Snapshot) *dominance {
	d := &dominance{}
	kinds := map[catalog.Kind]*likeness{}
	alike := map[string][]*catalog.Form{}
	known := map[string]*peers{}
	content := func(p *catalog.Part, pieces int, replaceable bool) weighedContent {
		like := kinds[p.Kind]
		if like == nil {
			like = newLikeness(p.Spec(), s.Rules.Tested(p.Kind))
			kinds[p.Kind] = like
			for _, form := range s.Catalog.Forms(p.Kind) {
				key := like.key(form)
				alike[key] = append(alike[key], form)
			}
		}
		key := like.key(p.Form)
		if known[key] == nil {
			known[key] = newPeers(like, alike[key], len(known))
		}
		c := weighedContent{Part: p, pieces: pieces, required: p.Required(), peers: known[key], numbers: like.numbers(nil, p.Form), least: unknown}
		c.instead = inPlaceOf(&c, replaceable)
		return c
	}
	for _, b := range s.Catalog.Bundles() {
		all := weighedBundle{Bundle: b, spare: int64(len(b.Contents)) * unknown}
		for i, p := range b.Parts() {
			all.contents = append(all.contents, content(p, b.Contents[i].Quantity, len(p.Bundles()) == 1 && !p.Tied()))
		}
		d.all.bundles = append(d.all.bundles, all)
	}
	for _, p := range s.Catalog.Tied() {
		if !p.Discontinued {
			d.all.tied = append(d.all.tied, content(p, 1, len(p.Bundles()) == 0 && !p.Required()))
		}
	}
	d.peers = len(known)
	d.byPrice = d.worthALook(func(*catalog.Part) bool { return true })
	return d
}

func newPeers(like *likeness, forms []*catalog.Form, index int) *peers {
	by := catalog.SomePieces
	if forms[0].ByLength() {
		by = catalog.ByLength
	}
	p := &peers{likeness: like, Bucket: catalog.NewBucket(forms, by), index: index, form: forms[0]}
	for _, row := range p.Rows {
		var numbers []float64
		for _, sold := range row.Parts {
			numbers = like.numbers(numbers, sold.Form)
		}
		p.numbers = append(p.numbers, numbers)
	}
	return p
}

// enough yields the parts of a row that have so much of each number, cheapest first.
func (p *peers) enough(row int, least []float64) iter.Seq[*catalog.RowPart] {
	return func(yield func(*catalog.RowPart) bool) {
		numbers := p.numbers[row]
		for i := range p.Rows[row].Parts {
			if asMuch(numbers[i*len(least):], least) && !yield(&p.Rows[row].Parts[i]) {
				return
			}
		}
	}
}

// asMuch reports whether numbers are no less than others.
func asMuch(numbers, least []float64) bool {
	for i, n := range least {
		if numbers[i] < n {
			return false
		}
	}
	return true
}

// inPlaceOf are the parts that can take a part's place wherever it stands: itself, whoever
// else brings it, and if it is replaceable what is of the same pack and finish, not tied,
// and as good. Cheapest first, and no more than insteadMost.
func inPlaceOf(c *weighedContent, replaceable bool) []*catalog.Part {
	var out []*catalog.Part
	for i := range c.peers.Rows {
		row := &c.peers.Rows[i]
		if !replaceable || row.Finish != c.Finish || row.Pack != c.PackQuantity || row.LengthIn > 0 && row.LengthIn != c.LengthIn {
			continue
		}
		for sold := range c.peers.enough(i, c.numbers) {
			if sold.PriceMinor > c.Price.AmountMinor || len(out) == insteadMost {
				break
			}
			out = append(out, sold.Part)
		}
	}
	return slices.Clip(append(out, c.Part))
}

// likeness compares forms of a kind by what rules and fit look at: some attributes must be
// the same, of others more or less is as good. Of the height fit knows that lower is, of the
// length that longer is; how long a part between two ends is it does not look at.
type likeness struct {
	same        []string
	least, most []string
}

func newLikeness(spec *catalog.KindSpec, tested map[string]rules.Op) *likeness {
	l := &likeness{same: []string{"flange", "thread", "hose_in", "jets_in", "rods_in"}}
	of := func(attr string, good rules.Op) {
		if op, known := tested[attr]; known && op != good {
			good = rules.Equal
		}
		tested[attr] = good
	}
	of("height_in", rules.AtMost)
	if _, known := tested["length_in"]; known || spec.ByLength || spec.Ends == 0 {
		of("length_in", rules.AtLeast)
	}
	for _, attr := range slices.Sorted(maps.Keys(tested)) {
		switch {
		case slices.Contains(l.same, attr):
		case tested[attr] == rules.AtLeast:
			l.least = append(l.least, attr)
		case tested[attr] == rules.AtMost:
			l.most = append(l.most, attr)
		default:
			l.same = append(l.same, attr)
		}
	}
	return l
}

// key is the same for forms that are the same in what must be.
func (l *likeness) key(f *catalog.Form) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s|%v", f.Kind, f.Ends)
	for _, name := range l.same {
		a, stated := f.Attr(name)
		fmt.Fprintf(&b, "|%t %s", stated, a.String())
	}
	return b.String()
}

// numbers appends what more is as good of in a form: less than any when it is not stated.
func (l *likeness) numbers(list []float64, f *catalog.Form) []float64 {
	for i, names := range [...][]string{l.least, l.most} {
		for _, name := range names {
			a, stated := f.Attr(name)
			switch {
			case !stated:
				list = append(list, math.Inf(-1))
			case i == 0:
				list = append(list, a.Value.Num)
			default:
				list = append(list, -a.Value.Num)
			}
		}
	}
	return list
}

// number is the place of an attribute in numbers, -1 for one that must be the same.
func (l *likeness) number(attr string) int {
	if i := slices.Index(l.least, attr); i >= 0 {
		return i
	}
	if i := slices.Index(l.most, attr); i >= 0 {
		return len(l.least) + i
	}
	return -1
}

// worthALook lists what can be in an optimum when only parts of which there is enough take
// the place of others.
func (d *dominance) worthALook(enough func(*catalog.Part) bool) worthwhile {
	var out worthwhile
	instead := func(c *weighedContent) (minor int64, known bool) {
		if at := slices.IndexFunc(c.instead, enough); at >= 0 {
			return c.instead[at].Price.AmountMinor, true
		}
		return 0, false
	}
	for _, b := range d.all.bundles {
		weighed := weighedBundle{b.Bundle, slices.Clone(b.contents), -b.Price.AmountMinor}
		for i := range weighed.contents {
			c := &weighed.contents[i]
			if c.Discontinued { // of no use
				c.least = 0
			} else if minor, known := instead(c); known {
				c.least = int64(fit.Packs(c.Part, c.pieces*fit.PieceUnits(c.Part))) * minor
			}
			weighed.spare += c.least
		}
		if weighed.spare >= 0 {
			slices.SortStableFunc(weighed.contents, func(a, b weighedContent) int { return cmp.Compare(b.least, a.least) })
			out.bundles = append(out.bundles, weighed)
		}
	}
	for _, p := range d.all.tied {
		if minor, known := instead(&p); !known || minor >= p.Price.AmountMinor {
			out.tied = append(out.tied, p)
		}
	}
	return out
}

// inStock lists what can be in an optimum by stock, of kits that take no more than
// usualPieces of a kind.
func (d *dominance) inStock(cat *catalog.Snapshot, location int) worthwhile {
	return d.worthALook(func(p *catalog.Part) bool {
		return !p.Discontinued && cat.OnHand(&p.Offer, location) >= fit.Packs(p, usualPieces(p.Kind)*fit.PieceUnits(p))
	})
}

// worthByStock are inStock of each location and of all together, worked out when they are
// asked for first.
func (s *Snapshot) worthByStock() []func() worthwhile {
	out := make([]func() worthwhile, len(s.Catalog.Locations)+1)
	for i := range out {
		out[i] = sync.OnceValue(func() worthwhile { return s.dominance.inStock(s.Catalog, i+catalog.AllLocations) })
	}
	return out
}

// worthALook is what can be in an optimum of a job under an aim, as far as is known
// beforehand: of a job that has nothing of a bundle's already.
func (j *job) worthALook(a aim) worthwhile {
	switch {
	case a.objective == ByPrice:
		return j.s.dominance.byPrice
	case a.objective == ByStock && j.fewPieces():
		return j.s.inStock[a.location-catalog.AllLocations]()
	}
	return j.s.dominance.all
}

// fewPieces reports whether the job can take no more than usualPieces of any kind.
func (j *job) fewPieces() bool {
	for _, demands := range j.scratch.byKind {
		pieces, inPath := 0, 0
		for _, d := range demands {
			switch {
			case d.status != "":
			case slices.Contains(pathNeeds, d.need):
				inPath = mostInPath[d.spec.Kind]
			case slices.Contains(stackNeeds, d.need):
				pieces += max(fit.MaxGaskets, int(d.remaining()))
			case d.spec.ByLength: // cut from one piece
				pieces++
			default:
				pieces += int(d.remaining())
			}
		}
		if len(demands) > 0 && pieces+inPath > usualPieces(demands[0].spec.Kind) {
			return false
		}
	}
	return true
}
