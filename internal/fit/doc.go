// Package fit answers whether pieces join: which vacuum port serves which user
// (Vacuum), which chain of parts brings fuel from the line to the inlet (FuelPath),
// what stacks up between manifold and hood (Stack, Figures) and how far levers and
// cables travel (Travel). All functions are pure and exact; the same input gives
// the same answer, byte for byte.
//
// FuelPath and Stack choose among parts but do not decide the purchase: a part may
// come in a bundle, meet other needs as well, or lie on the owner's shelf. They
// return every Option that could belong to one optimum over the whole kit and leave
// the choice to package pick.
package fit

import (
	"slices"
	"strings"

	"onetrip/internal/catalog"
)

// Candidate is a part that rules allow for a role.
//
// Cost (0 or more) is what one pack costs under the objective when bought for this
// alone. Floor (0 to Cost) is a lower bound on what one pack adds to the kit: 0 when
// a bundle may hold it, when other needs may share it, or when it is owned; equal to
// Cost when nothing of the kind is possible.
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
	Tied        bool
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
	capacity := packUnits(p)
	return (units + capacity - 1) / capacity
}

func packUnits(p *catalog.Part) int {
	pieces := max(p.PackQuantity, 1)
	if spec, ok := p.Kind.Spec(); ok && spec.ByLength {
		return max(int(p.LengthIn), 1) * pieces
	}
	return pieces
}

// Option is one way to meet the needs of a fuel path or a mounting stack. Uses are
// sorted by need and SKU, one entry for each pair. Cost is that of its packs when
// all are bought for it alone, Floor the lower bound on what they add to the kit.
type Option struct {
	Uses        []Use
	Cost, Floor int64

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
	for _, d := range o.chosen {
		packs := int64(Packs(d.Part, d.units))
		o.Cost += packs * d.Cost
		o.Floor += packs * d.Floor
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
