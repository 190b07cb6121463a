package kit

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
)

// Most bundles can be in no optimum, whatever the job: even if all that they hold is of
// use, as many pieces of other parts cost less. These are found once for the catalogue and
// once for the stock of each location, so that a job weighs only the others.

// fairness is, for each content of each bundle, the parts that can take its place
// wherever it stands: of the same pack and finish, not tied, and of forms that neither
// rules nor fit tell apart, or lower. Cheapest first, and no more than insteadMost.
type fairness struct {
	bundles []*catalog.Bundle
	instead [][][]*catalog.Part // by bundle and content

	all     []fairBundle
	byPrice []fairBundle // that can be in a kit of the least price
}

// fairBundle is a bundle that can be in an optimum. least is what it costs at most to do
// without each of its contents, spare the sum of that less what the bundle costs.
type fairBundle struct {
	*catalog.Bundle
	least []int64
	spare int64
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
	f := &fairness{bundles: s.Catalog.Bundles()}
	alike := map[string][]*catalog.Form{} // lowest first
	keys := map[catalog.Kind]func(*catalog.Form) string{}
	for _, b := range f.bundles {
		for _, p := range b.Parts() {
			if keys[p.Kind] != nil {
				continue
			}
			key := s.tellingApart(p.Kind)
			keys[p.Kind] = key
			for _, form := range s.Catalog.Forms(p.Kind) {
				k := key(form)
				alike[k] = append(alike[k], form)
			}
		}
	}
	for _, forms := range alike {
		slices.SortStableFunc(forms, func(a, b *catalog.Form) int { return cmp.Compare(a.HeightIn, b.HeightIn) })
	}
	for _, b := range f.bundles {
		contents := make([][]*catalog.Part, len(b.Contents))
		for i, p := range b.Parts() {
			contents[i] = inPlaceOf(p, alike[keys[p.Kind](p.Form)])
		}
		f.instead, f.all = append(f.instead, contents), append(f.all, fairBundle{b, slices.Repeat([]int64{unknown}, len(b.Contents)), unknown * int64(len(b.Contents))})
	}
	f.byPrice = f.fair(func(*catalog.Part) bool { return true })
	return f
}

// tellingApart makes a key of what rules and fit look at in forms of a kind; of the height
// fit knows only that lower is as good.
func (s *Snapshot) tellingApart(kind catalog.Kind) func(*catalog.Form) string {
	attrs := s.Rules.Tested(kind)
	for _, name := range [...]string{"flange", "thread", "hose_in", "jets_in", "rods_in"} {
		if !slices.Contains(attrs, name) {
			attrs = append(attrs, name)
		}
	}
	return func(f *catalog.Form) string {
		var b strings.Builder
		fmt.Fprintf(&b, "%s|%g|%v", f.Kind, f.LengthIn, f.Ends)
		for _, name := range attrs {
			a, stated := f.Attr(name)
			fmt.Fprintf(&b, "|%t %s", stated, a.String())
		}
		return b.String()
	}
}

// inPlaceOf finds the parts that can take the place of one among forms that are alike.
func inPlaceOf(p *catalog.Part, alike []*catalog.Form) []*catalog.Part {
	var out []*catalog.Part
	if len(p.Bundles()) == 1 && !p.Tied() {
		for _, f := range alike {
			if f.HeightIn > p.HeightIn {
				break
			}
			for _, q := range f.Parts() { // cheapest first
				if q.Price.AmountMinor > p.Price.AmountMinor {
					break
				}
				if q.Finish == p.Finish && q.PackQuantity == p.PackQuantity && !q.Discontinued && !q.Tied() {
					out = append(out, q)
				}
			}
		}
		slices.SortStableFunc(out, func(a, b *catalog.Part) int { return cmp.Compare(a.Price.AmountMinor, b.Price.AmountMinor) })
	}
	if !slices.Contains(out, p) {
		out = append(out, p) // it takes its own place, whoever else brings it
	}
	return slices.Clip(out[:min(len(out), insteadMost)])
}

// fair lists the bundles that can be in an optimum when only parts of which there is enough
// take the place of what they hold.
func (f *fairness) fair(enough func(*catalog.Part) bool) []fairBundle {
	var out []fairBundle
	for n, b := range f.bundles {
		known := fairBundle{Bundle: b, least: make([]int64, len(b.Contents)), spare: -b.Price.AmountMinor}
		for i, p := range b.Parts() {
			known.least[i] = unknown
			if at := slices.IndexFunc(f.instead[n][i], enough); at >= 0 {
				known.least[i] = int64(fit.Packs(p, b.Contents[i].Quantity*fit.PieceUnits(p))) * f.instead[n][i][at].Price.AmountMinor
			}
			known.spare += min(known.least[i], unknown)
		}
		if known.spare >= 0 {
			out = append(out, known)
		}
	}
	return out
}

// inStock lists the bundles that can be in an optimum by stock, of kits that take no more
// than usualPieces of a kind.
func (f *fairness) inStock(cat *catalog.Snapshot, location int) []fairBundle {
	return f.fair(func(p *catalog.Part) bool {
		return !p.Discontinued && cat.OnHand(&p.Offer, location) >= fit.Packs(p, usualPieces(p.Kind)*fit.PieceUnits(p))
	})
}

// fairByStock are inStock of each location and of all together, worked out when they are
// asked for first.
func (s *Snapshot) fairByStock() []func() []fairBundle {
	out := make([]func() []fairBundle, len(s.Catalog.Locations)+1)
	for i := range out {
		out[i] = sync.OnceValue(func() []fairBundle { return s.fairness.inStock(s.Catalog, i+catalog.AllLocations) })
	}
	return out
}

// worthALook are the bundles that can be in an optimum of a job under an aim, as far as is
// known beforehand: of a job that has nothing of theirs already.
func (j *job) worthALook(a aim) []fairBundle {
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
	for _, d := range j.demands {
		if d.status != "" {
			continue
		}
		pieces, path := 0, false
		for _, o := range j.demands {
			switch {
			case o.status != "" || o.spec != d.spec:
			case slices.Contains(pathNeeds, o.need):
				path = true
			case slices.Contains(stackNeeds, o.need):
				pieces += max(fit.MaxGaskets, int(o.remaining()))
			case o.spec.ByLength: // cut from one piece
				pieces++
			default:
				pieces += int(o.remaining())
			}
		}
		if path {
			pieces += mostInPath[d.spec.Kind]
		}
		if pieces > usualPieces(d.spec.Kind) {
			return false
		}
	}
	return true
}
