package fit

import (
	"cmp"
	"slices"
	"strings"

	"onetrip/internal/catalog"
)

// Candidate is a part that rules allow for a role.
//
// Cost (0 or more) is what each pack costs under the objective when bought for this
// alone, however many it takes; a part owned in limited number keeps its price here.
// Floor (0 to Cost) is a lower bound on what one pack adds to the kit: 0 when
// a bundle may hold it, when other needs may share it, or when it is owned; equal to
// Cost when nothing of the kind is possible.
//
// Once is due once when more than OnceAbove packs are bought, whatever their number:
// what an objective counts for a line, not for a pack.
//
// Penalty is due for every place that the part takes: what an objective counts for a
// choice, however it is bought.
//
// Tied parts require or conflict with another, or another requires or conflicts
// with them: whether they can be had is known only in the whole kit, so a tied part
// never displaces another.
//
// Part nil stands for whatever is in the box or on the shelf, of nominal size, at
// no cost.
type Candidate struct {
	Part        *catalog.Part
	Cost, Floor int64
	Once        int64
	OnceAbove   int32
	Penalty     int64
	Tied        bool
}

// once is the charge due for a number of packs.
func (c *Candidate) once(packs int) int64 {
	if packs > int(c.OnceAbove) {
		return c.Once
	}
	return 0
}

// sureOnce is the part of once that is due whatever else is in the kit.
func (c *Candidate) sureOnce(packs int) int64 {
	if c.Floor < c.Cost {
		return 0
	}
	return c.once(packs)
}

// mayOnce is the most of once that buying these packs may cause: when other needs may
// share the part, the packs of all together may be too many.
func (c *Candidate) mayOnce(packs int) int64 {
	if c.Floor < c.Cost {
		return c.Once
	}
	return c.once(packs)
}

// bounds bounds what one of up to most uses of so many units adds to the cost of a
// chain from above, and from below by the units' share of packs: summed over the uses
// the bounds hold for the packs of all together.
func (c *Candidate) bounds(units, most int) (above, below int64) {
	if c.Part == nil {
		return 0, 0
	}
	above = int64(Packs(c.Part, units))*c.Cost + c.mayOnce(Packs(c.Part, most*units))
	return above, c.Floor * int64(units) / int64(PackUnits(c.Part))
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
// sorted by need and SKU, one entry for each pair. Cost is that of its packs when
// all are bought for it alone, Floor the lower bound on what they add to the kit.
type Option struct {
	Uses        []Use
	Cost, Floor int64
	Penalty     int64 // of all places; in Cost and Floor

	chosen []chosen
	most   int64 // upper bound on what its packs add to the kit
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
func (o *Option) finish() {
	slices.SortFunc(o.Uses, func(a, b Use) int {
		if n := strings.Compare(a.Need, b.Need); n != 0 {
			return n
		}
		return strings.Compare(sku(a.Part), sku(b.Part))
	})
	o.Cost, o.Floor, o.most = o.Penalty, o.Penalty, o.Penalty
	for i := range o.chosen {
		d := &o.chosen[i]
		packs := Packs(d.Part, d.units)
		o.Cost += int64(packs)*d.Cost + d.once(packs)
		o.most += int64(packs)*d.Cost + d.mayOnce(packs)
		o.Floor += int64(packs)*d.Floor + d.sureOnce(packs)
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

// prune keeps the options that could belong to the optimum of a whole kit, cheapest
// first, ties by SKU. An option goes when another can stand in for it in every kit
// without adding cost: what the other takes more of costs, bought for this alone, no
// more than what it takes less of is sure to save. Tied options displace nothing.
func prune[O any](options []O, of func(*O) *Option) []O {
	slices.SortStableFunc(options, func(a, b O) int { return compareOptions(of(&a), of(&b)) })
	kept := options[:0]
next:
	for _, o := range options {
		for i := range kept {
			if of(&kept[i]).standsInFor(of(&o)) {
				continue next
			}
		}
		kept = append(kept, o)
	}
	return kept
}

func compareOptions(a, b *Option) int {
	if n := cmp.Or(cmp.Compare(a.Cost, b.Cost), cmp.Compare(len(a.Uses), len(b.Uses))); n != 0 {
		return n
	}
	return slices.CompareFunc(a.Uses, b.Uses, func(x, y Use) int {
		return cmp.Or(strings.Compare(x.Need, y.Need), strings.Compare(sku(x.Part), sku(y.Part)), cmp.Compare(x.Units, y.Units))
	})
}

// standsInFor compares purchases alone: with the same ones, o does.
func (o *Option) standsInFor(other *Option) bool {
	spare := other.Penalty - o.Penalty // what o is sure to save less what it may cost more
	for _, d := range other.chosen {
		packs, fewer := Packs(d.Part, d.units), Packs(d.Part, o.unitsOf(d.Part))
		if saved := packs - fewer; saved > 0 {
			spare += int64(saved)*d.Floor + d.sureOnce(packs) - d.sureOnce(fewer)
		}
	}
	for _, d := range o.chosen {
		if more := d.units - other.unitsOf(d.Part); more > 0 {
			if d.Tied {
				return false
			}
			spare -= int64(Packs(d.Part, more))*d.Cost + d.mayOnce(Packs(d.Part, d.units))
		}
	}
	return spare >= 0
}

func (o *Option) unitsOf(p *catalog.Part) int {
	for _, d := range o.chosen {
		if d.Part == p {
			return d.units
		}
	}
	return 0
}

// undominated sorts a list by cost and drops every item that another can stand in for
// at no more cost, however often (up to most times) it is used. of gives an item's
// candidate and how many units each use takes, replaces whether a can physically
// stand in for b.
func undominated[T any](list []T, of func(*T) (*Candidate, int), most int, replaces func(a, b *T) bool) []T {
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(a, b T) int {
		x, m := of(&a)
		y, n := of(&b)
		return cmp.Or(cmp.Compare(x.Cost, y.Cost), cmp.Compare(Packs(x.Part, most*m), Packs(y.Part, most*n)), strings.Compare(sku(x.Part), sku(y.Part)))
	})
	kept := list[:0]
next:
	for _, item := range list {
		c, n := of(&item)
		for i := range kept {
			if k, m := of(&kept[i]); !k.Tied && replaces(&kept[i], &item) && neverDearer(k, m, c, n, most) {
				continue next
			}
		}
		kept = append(kept, item)
	}
	return kept
}

// neverDearer reports whether m units of c cost no more than n units of d are sure to
// save, for one to most times as many, beside whatever uses of c are there already.
func neverDearer(c *Candidate, m int, d *Candidate, n, most int) bool {
	once := c.mayOnce(Packs(c.Part, most*m))
	for k := 1; k <= most; k++ {
		x, y := Packs(c.Part, k*m), Packs(d.Part, k*n)
		if c.Cost*int64(x)+once+int64(k)*c.Penalty > d.Floor*int64(y)+d.sureOnce(y)+int64(k)*d.Penalty {
			return false
		}
	}
	return true
}
