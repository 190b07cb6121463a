package kit

import (
	"cmp"
	"fmt"
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

// fairness is, for each content of each bundle and for each tied part, the parts that can
// take its place wherever it stands: of the same pack and finish, not tied, and of forms
// that to rules and fit are as good. Cheapest first, and no more than insteadMost.
type fairness struct {
	instead     [][][]*catalog.Part // by bundle and content
	insteadTied [][]*catalog.Part   // by tied part

	all, byPrice worthwhile // what there is, and what can be in a kit of the least price
}

// worthwhile is what can be in some optimum.
type worthwhile struct {
	bundles []fairBundle
	tied    []*catalog.Part
}

// fairBundle is a bundle that can be in an optimum. spare is what it costs at most to do
// without all its contents, less what the bundle costs.
type fairBundle struct {
	*catalog.Bundle
	contents []fairContent // those that it costs most to do without first
	spare    int64
}

// fairContent is the form of a content, with its kind, whether another part requires it, and
// what it costs at most to do without.
type fairContent struct {
	at       int // in Bundle.Contents
	form     *catalog.Form
	kind     int // KindSpec.Index
	required bool
	least    int64
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

func newFairness(s *Snapshot) *fairness {
	f := &fairness{}
	alike := map[string][]*catalog.Form{}
	kinds := map[catalog.Kind]*likeness{}
	enter := func(p *catalog.Part) {
		if kinds[p.Kind] != nil {
			return
		}
		like := newLikeness(s.Rules.Tested(p.Kind))
		kinds[p.Kind] = like
		for _, form := range s.Catalog.Forms(p.Kind) {
			k := like.key(form)
			alike[k] = append(alike[k], form)
		}
	}
	for _, b := range s.Catalog.Bundles() {
		all := fairBundle{Bundle: b}
		for _, p := range b.Parts() {
			all.add(p, unknown)
			enter(p)
		}
		f.all.bundles = append(f.all.bundles, all)
	}
	for _, p := range s.Catalog.Tied() {
		if !p.Discontinued {
			f.all.tied = append(f.all.tied, p)
			enter(p)
		}
	}
	// A part takes its own place, whoever else brings it.
	itself := func(p *catalog.Part) []*catalog.Part { return []*catalog.Part{p} }
	others := func(p *catalog.Part) []*catalog.Part {
		return inPlaceOf(p, kinds[p.Kind], alike[kinds[p.Kind].key(p.Form)])
	}
	for _, b := range f.all.bundles {
		contents := make([][]*catalog.Part, len(b.Contents))
		for i, p := range b.Parts() {
			if contents[i] = itself(p); len(p.Bundles()) == 1 && !p.Tied() {
				contents[i] = others(p)
			}
		}
		f.instead = append(f.instead, contents)
	}
	for _, p := range f.all.tied {
		instead := itself(p)
		if len(p.Bundles()) == 0 && !p.Required() {
			instead = others(p)
		}
		f.insteadTied = append(f.insteadTied, instead)
	}
	f.byPrice = f.worthALook(func(*catalog.Part) bool { return true })
	return f
}

// likeness compares forms of a kind by what rules and fit look at: some attributes must be
// the same, of others more or less is as good. Of the height fit knows that lower is.
type likeness struct {
	same        []string
	least, most []string
}

func newLikeness(tested map[string]rules.Op) *likeness {
	l := &likeness{same: []string{"flange", "thread", "hose_in", "jets_in", "rods_in"}}
	if op, known := tested["height_in"]; !known || op == rules.AtMost {
		tested["height_in"] = rules.AtMost
	} else {
		tested["height_in"] = rules.Equal
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
	fmt.Fprintf(&b, "%s|%g|%v", f.Kind, f.LengthIn, f.Ends)
	for _, name := range l.same {
		a, stated := f.Attr(name)
		fmt.Fprintf(&b, "|%t %s", stated, a.String())
	}
	return b.String()
}

// asGood reports whether a form is as good as another of the same key; what is not stated
// passes no test.
func (l *likeness) asGood(f, as *catalog.Form) bool {
	for i, names := range [...][]string{l.least, l.most} {
		for _, name := range names {
			was, stated := as.Attr(name)
			is, known := f.Attr(name)
			if stated && (!known || i == 0 && is.Value.Num < was.Value.Num || i == 1 && is.Value.Num > was.Value.Num) {
				return false
			}
		}
	}
	return true
}

// inPlaceOf finds the parts that can take the place of one among forms that are alike, the
// part among them.
func inPlaceOf(p *catalog.Part, like *likeness, alike []*catalog.Form) []*catalog.Part {
	var out []*catalog.Part
	for _, f := range alike {
		if !like.asGood(f, p.Form) {
			continue
		}
		for _, q := range f.Parts() { // cheapest first
			if q.Price.AmountMinor > p.Price.AmountMinor {
				break
			}
			if q == p || q.Finish == p.Finish && q.PackQuantity == p.PackQuantity && !q.Discontinued && !q.Tied() {
				out = append(out, q)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b *catalog.Part) int { return cmp.Compare(a.Price.AmountMinor, b.Price.AmountMinor) })
	return slices.Clip(out[:min(len(out), insteadMost)])
}

// worthALook lists what can be in an optimum when only parts of which there is enough take
// the place of others.
func (f *fairness) worthALook(enough func(*catalog.Part) bool) worthwhile {
	var out worthwhile
	for n := range f.all.bundles {
		b := f.all.bundles[n].Bundle
		known := fairBundle{Bundle: b, spare: -b.Price.AmountMinor}
		for i, p := range b.Parts() {
			least := int64(unknown)
			if at := slices.IndexFunc(f.instead[n][i], enough); at >= 0 {
				least = int64(fit.Packs(p, b.Contents[i].Quantity*fit.PieceUnits(p))) * f.instead[n][i][at].Price.AmountMinor
			}
			known.add(p, least)
		}
		if known.spare >= 0 {
			out.bundles = append(out.bundles, known)
		}
	}
	for n, p := range f.all.tied {
		if at := slices.IndexFunc(f.insteadTied[n], enough); at < 0 || f.insteadTied[n][at].Price.AmountMinor >= p.Price.AmountMinor {
			out.tied = append(out.tied, p)
		}
	}
	return out
}

func (b *fairBundle) add(p *catalog.Part, least int64) {
	c := fairContent{len(b.contents), p.Form, p.Spec().Index(), p.Required(), least}
	at, _ := slices.BinarySearchFunc(b.contents, c, func(a, b fairContent) int { return cmp.Compare(b.least, a.least) })
	b.contents = slices.Insert(b.contents, at, c)
	b.spare += least
}

// inStock lists what can be in an optimum by stock, of kits that take no more than
// usualPieces of a kind.
func (f *fairness) inStock(cat *catalog.Snapshot, location int) worthwhile {
	return f.worthALook(func(p *catalog.Part) bool {
		return !p.Discontinued && cat.OnHand(&p.Offer, location) >= fit.Packs(p, usualPieces(p.Kind)*fit.PieceUnits(p))
	})
}

// fairByStock are inStock of each location and of all together, worked out when they are
// asked for first.
func (s *Snapshot) fairByStock() []func() worthwhile {
	out := make([]func() worthwhile, len(s.Catalog.Locations)+1)
	for i := range out {
		out[i] = sync.OnceValue(func() worthwhile { return s.fairness.inStock(s.Catalog, i+catalog.AllLocations) })
	}
	return out
}

// worthALook is what can be in an optimum of a job under an aim, as far as is known
// beforehand: of a job that has nothing of a bundle's already.
func (j *job) worthALook(a aim) worthwhile {
	switch {
	case a.objective == ByPrice:
		return j.s.fairness.byPrice
	case a.objective == ByStock && j.fewPieces():
		return j.s.inStock[a.location-catalog.AllLocations]()
	}
	return j.s.fairness.all
}

// fewPieces reports whether the job can take no more than usualPieces of any kind.
func (j *job) fewPieces() bool {
	for _, demands := range j.room.byKind {
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
