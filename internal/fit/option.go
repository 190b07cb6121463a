package fit

import (
	"cmp"
	"math/bits"
	"slices"
	"strings"

	"onetrip/internal/catalog"
)

// Candidate is a part that rules allow for a role.
//
// Cost (0 or more) is what each pack costs under the objective when bought for this
// alone, however many it takes; a part owned in limited number keeps its price here.
//
// Once is due once when more than OnceAbove packs are bought, whatever their number:
// what an objective counts for a line, not for a pack.
//
// Penalty is due for every place that the part takes: what an objective counts for a
// choice, however it is bought.
//
// Sources is the set of other places that the part may come from: a bundle, the box,
// the shelf at home. Bit i stands for a source that saves at most Savings[i] in the
// whole kit, all its pieces together.
//
// Tied parts require or conflict with another, or another requires or conflicts
// with them: whether they can be had is known only in the whole kit, so a tied part
// never displaces another.
//
// Part nil stands for whatever is in the box or on the shelf, of nominal size, at
// no cost.
type Candidate struct {
	Part      *catalog.Part
	Cost      int64
	Once      int64
	OnceAbove int32
	Penalty   int64
	Sources   uint64
	Tied      bool
}

// Savings is the most that each source of parts can save in a kit.
type Savings struct{ most []int64 }

// maxSources is how many sources are told apart; what further ones save is added to
// the last, which makes bounds weaker but never wrong.
const maxSources = 64

// Add counts one more source and returns its bit.
func (s *Savings) Add(most int64) uint64 {
	if len(s.most) == maxSources {
		s.most[maxSources-1] += most
		return 1 << (maxSources - 1)
	}
	s.most = append(s.most, most)
	return 1 << (len(s.most) - 1)
}

// Reset forgets all sources.
func (s *Savings) Reset() { s.most = s.most[:0] }

// Of adds up what a set of sources can save.
func (s *Savings) Of(sources uint64) int64 {
	total := int64(0)
	for ; sources != 0; sources &= sources - 1 {
		total += s.most[bits.TrailingZeros64(sources)]
	}
	return total
}

// once is the charge due for a number of packs.
func (c *Candidate) once(packs int) int64 {
	if packs > int(c.OnceAbove) {
		return c.Once
	}
	return 0
}

// packs is what a number of packs costs, bought for one purpose.
func (c *Candidate) packs(n int) int64 { return int64(n)*c.Cost + c.once(n) }

// Alone is what a number of units costs, bought for one place.
func (c *Candidate) Alone(units int) int64 { return c.packs(Packs(c.Part, units)) + c.Penalty }

// Beside is what so many units cost in as many places, with the charge that is due when as
// many as most are bought.
func (c *Candidate) Beside(units, most int) int64 {
	return int64(Packs(c.Part, units))*c.Cost + c.once(Packs(c.Part, most)) + int64(units)*c.Penalty
}

// Use is a number of units of one part for one need: pieces, or inches of goods
// sold by length. Part is nil as in Candidate.
type Use struct {
	Need  string
	Part  *catalog.Part
	Units int
}

// Packs is how many packs hold a number of units of a part: pieces, or inches of
// goods sold by length. A nil part comes without packs.
func Packs(p *catalog.Part, units int) int {
	if p == nil || units <= 0 {
		return 0
	}
	if units == 1 {
		return 1
	}
	capacity := PackUnits(p)
	return (units + capacity - 1) / capacity
}

// PackUnits is how many units one pack holds: pieces, or inches of goods sold by length.
func PackUnits(p *catalog.Part) int { return max(p.PackQuantity, 1) * PieceUnits(p) }

// PieceUnits is how many units one piece counts for: 1, or its whole inches.
func PieceUnits(p *catalog.Part) int {
	if p.ByLength() {
		return max(int(p.LengthIn), 1)
	}
	return 1
}

// Option is one way to meet the needs of a fuel path or a mounting stack. Uses are
// sorted by need and SKU, one entry for each pair. Cost is that of its packs when all
// are bought for it alone, penalties included; Floor takes off all that the sources of
// its parts can save.
type Option struct {
	Uses        []Use
	Cost, Floor int64
	Penalty     int64 // of all places

	chosen []chosen
	tied   bool
}

// chosen is the units of one candidate in an option, all needs together.
type chosen struct {
	Candidate
	units int
}

// add counts units of a candidate for a need.
func (o *Option) add(need string, c Candidate, units int) {
	o.tied = o.tied || c.Tied
	o.Penalty += c.Penalty
	i := slices.IndexFunc(o.Uses, func(u Use) bool { return u.Need == need && u.Part == c.Part })
	if i < 0 {
		o.Uses = append(o.Uses, Use{Need: need, Part: c.Part, Units: units})
	} else {
		o.Uses[i].Units += units
	}
	if c.Part == nil {
		return
	}
	i = slices.IndexFunc(o.chosen, func(d chosen) bool { return d.Part == c.Part })
	if i < 0 {
		o.chosen = append(o.chosen, chosen{c, units})
	} else {
		o.chosen[i].units += units
	}
}

// finish sorts the uses and adds up packs.
func (o *Option) finish(savings *Savings) {
	slices.SortFunc(o.Uses, func(a, b Use) int {
		if n := strings.Compare(a.Need, b.Need); n != 0 {
			return n
		}
		return strings.Compare(sku(a.Part), sku(b.Part))
	})
	o.Cost = o.Penalty
	sources := uint64(0)
	for i := range o.chosen {
		d := &o.chosen[i]
		o.Cost += d.packs(Packs(d.Part, d.units))
		sources |= d.Sources
	}
	o.Floor = o.Cost
	if savings != nil {
		o.Floor -= savings.Of(sources)
	}
}

func sku(p *catalog.Part) string {
	if p == nil {
		return ""
	}
	return p.SKU
}

// Gap says why nothing joins: the need that no candidate meets and the end of the
// chain so far that it would have to join (zero in a stack). Text is one sentence.
type Gap struct {
	Need string
	End  catalog.End
	Text string
}

// Needs that FuelPath and Stack fill.
const (
	needInletFitting = "fuel.inlet_fitting"
	needFittings     = "fuel.fittings"
	needHose         = "fuel.hose"
	needFilter       = "fuel.filter"
	needClamps       = "fuel.clamps"
	needRegulator    = "fuel.pressure_regulator"

	needAdapter     = "mount.adapter"
	needBaseGasket  = "mount.base_gasket"
	needSpacer      = "mount.spacer"
	needStuds       = "mount.studs"
	needNeckAdapter = "air.neck_adapter"
	needAirGasket   = "air.gasket"
	needLowProfile  = "air.low_profile"
)

func compareOptions(a, b *Option) int {
	if n := cmp.Or(cmp.Compare(a.Cost, b.Cost), cmp.Compare(len(a.Uses), len(b.Uses))); n != 0 {
		return n
	}
	return slices.CompareFunc(a.Uses, b.Uses, func(x, y Use) int {
		return cmp.Or(strings.Compare(x.Need, y.Need), strings.Compare(sku(x.Part), sku(y.Part)), cmp.Compare(x.Units, y.Units))
	})
}
