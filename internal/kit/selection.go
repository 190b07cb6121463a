package kit

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/pick"
	"onetrip/internal/units"
)

// Weights of the objectives, in minor units. One line not in stock, or one SKU
// more, weighs more than any kit can cost, so the objectives are lexicographic.
const (
	lineWeight = 10_000_000_000
	// FinishMismatchMinor is what a part in another finish than the one preferred
	// counts as extra, for each place it takes, when parts are compared. It is never
	// charged.
	FinishMismatchMinor = 500
)

// aim is an objective with what it looks at.
type aim struct {
	objective Objective
	finish    catalog.Finish
	location  int      // index, or catalog.AllLocations
	restock   *restock // see shortage.go; nil for the objectives of requests
}

// penalty is what choosing a part counts beside its price.
func (a *aim) penalty(o *catalog.Offer) int64 {
	return a.penaltyOf(o.Finish)
}

func (a *aim) penaltyOf(f catalog.Finish) int64 {
	if a.finish != "" && f != a.finish {
		return FinishMismatchMinor
	}
	return 0
}

// uniform is the penalty of all parts of some finishes, if it is the same.
func (a *aim) uniform(finishes []catalog.Finish) (penalty int64, ok bool) {
	if a.finish == "" || !slices.Contains(finishes, a.finish) {
		return a.penaltyOf(""), true
	}
	return 0, len(finishes) == 1
}

// onHand is how many packs of an offer the aim counts as in stock.
func (a *aim) onHand(s *catalog.Snapshot, o *catalog.Offer) int {
	if a.restock != nil && a.restock.plenty[o] {
		return 10 * enoughStock
	}
	return s.OnHand(o, a.location)
}

// once is what a line counts on top of its packs when it has more than above packs.
func (a *aim) once(s *catalog.Snapshot, o *catalog.Offer) (charge int64, above int32) {
	switch a.objective {
	case ByStock:
		charge = lineWeight
		if a.restock != nil && a.restock.shunned[o] {
			charge *= 2
		}
		return charge, int32(min(a.onHand(s, o), 1<<30))
	case ByFewest:
		return lineWeight, 0
	}
	return 0, 0
}

// An option is one way to meet a group of demands: the parts used, and the path or
// stack they form.
type option struct {
	uses    []fit.Use
	penalty int64
	path    *fit.PathOption
	stack   *fit.StackOption
}

// A group is met by exactly one of its options: one demand, or those that the fuel
// path or the stack meets together.
type group struct {
	name    string
	demands []*demand
	options []option
}

// A selection is the optimum under one aim.
type selection struct {
	aim      aim
	groups   []group
	chosen   []*option       // one per group
	buys     []buy           // by SKU
	gone     []*catalog.Part // that the kit would have to buy, and that are discontinued
	solution pick.Solution
	parts    []*catalog.Part // resource id -> part
	clashes  []clash         // of each conflict between options, why
	free     []ownedUnits    // by resource id
}

// buy is a number of packs of one part or bundle.
type buy struct {
	offer  *catalog.Offer
	part   *catalog.Part // or
	bundle *catalog.Bundle
	packs  int
}

// A clash is a pair of parts that conflict. Of a required part that another option may bring,
// it is that part twice: the option is chosen or not. Of sealant left out it is none.
type clash [2]*catalog.Part

// ownedUnits is what is had of a part by SKU, in pieces or inches.
type ownedUnits struct{ boxed, onHand int }

// ErrLimit says that a search was stopped, by the deadline or its size, before any kit was
// found.
var ErrLimit = pick.ErrLimit

// pickLimits stop a search that presolve and bounds should have made short; a stopped search
// answers with its gap in the proof.
var pickLimits = pick.Limits{MaxNodes: 50_000}

// choose builds the selection problem of a job under an aim and solves it. After the
// deadline of ctx the choice is made among what was found, and not proven.
func (j *job) choose(ctx context.Context, a aim) (*selection, error) {
	sel := &lend(&j.scratch.selections, 1)[0]
	var offers []buy
	for {
		var p *pick.Problem
		var err error
		sel.aim, sel.groups = a, j.groups(ctx, a)
		p, offers = j.problem(sel)
		if sel.solution, err = solve(ctx, p); err == nil {
			break
		}
		if errors.Is(err, pick.ErrInfeasible) {
			err = j.giveUp(ctx, sel, p)
		}
		if err != nil {
			return nil, err
		}
	}
	if err := ctx.Err(); err != nil && !late(ctx) {
		return nil, err // nobody waits for the answer
	}
	solution := &sel.solution
	if j.unproven {
		solution.Optimal, solution.LowerBound = false, 0
	}
	sel.chosen = lend(&j.scratch.chosen, len(sel.groups))
	for g := range sel.groups {
		sel.chosen[g] = &sel.groups[g].options[solution.Choice[g]]
	}
	if !j.chosen {
		j.dropSealant(sel)
		j.chosen = true
	}
	sel.buys = lend(&j.scratch.buys, len(offers))[:0]
	for i, packs := range solution.Buy {
		if packs > 0 {
			b := offers[i]
			if b.packs = int(packs); b.offer.Discontinued {
				sel.gone = append(sel.gone, b.part)
			} else {
				sel.buys = append(sel.buys, b)
			}
		}
	}
	slices.SortFunc(sel.buys, func(x, y buy) int { return strings.Compare(x.offer.SKU, y.offer.SKU) })
	return sel, nil
}

// late reports whether the deadline has passed.
func late(ctx context.Context) bool { return errors.Is(ctx.Err(), context.DeadlineExceeded) }

func solve(ctx context.Context, p *pick.Problem) (pick.Solution, error) {
	solution, err := pick.Solve(ctx, p, pickLimits)
	if err != nil {
		err = fmt.Errorf("selection: %w", err)
	}
	return solution, err
}

// problem states a selection as pick understands it: resources are parts, items
// are the packs and bundles that supply them.
func (j *job) problem(sel *selection) (*pick.Problem, []buy) {
	options, uses := 0, 0
	for _, g := range sel.groups {
		options += len(g.options)
		for i := range g.options {
			uses += len(g.options[i].uses)
		}
	}
	p := &j.scratch.problem
	*p = pick.Problem{Groups: lend(&j.scratch.groups, len(sel.groups))[:0], Conflicts: p.Conflicts[:0], Free: p.Free[:0]}
	optionScratch, demandScratch := lend(&j.scratch.pickOptions, options), lend(&j.scratch.amounts, uses)[:0]
	sel.parts = lend(&j.scratch.parts, uses)[:0]
	id := func(part *catalog.Part) int32 {
		n, known := j.resource(sel, part)
		if !known {
			n = int32(len(sel.parts))
			j.scratch.ids[part.Ordinal()] = n
			sel.parts = append(sel.parts, part)
		}
		return n
	}
	for _, g := range sel.groups {
		pg := pick.Group{Name: g.name, Options: optionScratch[:len(g.options):len(g.options)]}
		optionScratch = optionScratch[len(g.options):]
		for i, o := range g.options {
			from := len(demandScratch)
			for _, u := range o.uses {
				if real(u.Part) && u.Units > 0 {
					demandScratch = append(demandScratch, pick.Amount{Resource: id(u.Part), Units: int32(u.Units)})
				}
			}
			pg.Options[i] = pick.Option{Penalty: o.penalty, Demands: demandScratch[from:len(demandScratch):len(demandScratch)]}
		}
		p.Groups = append(p.Groups, pg)
	}
	j.require(p, sel, id)
	seal(p, sel)
	for n, part := range sel.parts {
		for _, sku := range part.Conflicts {
			other, err := j.s.Catalog.Part(sku)
			if err != nil {
				continue
			}
			m, used := j.resource(sel, other)
			if !used {
				continue
			}
			refs := &j.scratch.refs
			refs[0], refs[1] = using(refs[0][:0], p, int32(n)), using(refs[1][:0], p, m)
			for _, a := range refs[0] {
				for _, b := range refs[1] {
					if a.Group != b.Group {
						p.Conflicts = append(p.Conflicts, [2]pick.OptionRef{a, b})
						sel.clashes = append(sel.clashes, clash{part, other})
					}
				}
			}
		}
	}

	most := len(sel.parts) + len(sel.parts)/4
	offers := lend(&j.scratch.buys, most)[:0]
	p.Items = lend(&j.scratch.items, most)[:0]
	supplyScratch := lend(&j.scratch.amounts, len(sel.parts))
	bundles := j.scratch.bundles[:0] // no search of paths is on now
	item := func(b buy, supplies []pick.Amount, most int32) {
		charge, above := sel.aim.once(j.s.Catalog, b.offer)
		p.Items = append(p.Items, pick.Item{SKU: b.offer.SKU, Unit: packMinor(b.offer), Charge: charge, ChargeAbove: above, Supplies: supplies, Max: most})
		offers = append(offers, b)
	}
	for n, part := range sel.parts {
		supplyScratch[n] = pick.Amount{Resource: int32(n), Units: int32(fit.PackUnits(part))}
		item(buy{offer: &part.Offer, part: part}, supplyScratch[n:n+1:n+1], 0)
		for _, b := range part.Bundles() {
			if slices.Contains(bundles, b) || j.bundleBit(b) == 0 {
				continue
			}
			bundles = append(bundles, b)
			supplies := lend(&j.scratch.amounts, len(b.Contents))[:0]
			for i, inside := range b.Parts() {
				if m, wanted := j.resource(sel, inside); wanted && !inside.Discontinued {
					supplies = append(supplies, pick.Amount{Resource: m, Units: int32(b.Contents[i].Quantity * fit.PieceUnits(inside))})
				}
			}
			item(buy{offer: &b.Offer, bundle: b}, supplies, 1) // a bundle is for one swap
		}
	}

	sel.free = lend(&j.scratch.owned, len(sel.parts))
	for i, h := range j.holdings {
		switch n, ok := j.resource(sel, h.Part); {
		case !ok:
		case i < j.inBox:
			sel.free[n].boxed += h.Units
		default:
			sel.free[n].onHand += h.Units
		}
	}
	for n, own := range sel.free {
		if own.boxed+own.onHand > 0 {
			p.Free = append(p.Free, pick.Amount{Resource: int32(n), Units: int32(own.boxed + own.onHand)})
		}
	}
	return p, offers
}

// require adds a group for each part that must be in the kit because another one is: while an
// option that brings the other is chosen, the part is bought or, at no cost, an option that
// uses it is chosen too.
func (j *job) require(p *pick.Problem, sel *selection, id func(*catalog.Part) int32) {
	if !slices.ContainsFunc(sel.parts, func(p *catalog.Part) bool { return len(p.Requires) > 0 }) {
		return
	}
	var all []*catalog.Part
	when := map[*catalog.Part][]pick.OptionRef{}
	for g := range sel.groups {
		for o := range sel.groups[g].options {
			ref := pick.OptionRef{Group: int32(g), Option: int32(o)}
			for _, r := range j.bringsAlong(sel.groups[g].options[o].uses) {
				if when[r] == nil {
					all = append(all, r)
				}
				when[r] = append(when[r], ref)
			}
		}
	}
	for _, r := range all {
		own := pick.Group{Name: r.SKU, When: when[r], Options: []pick.Option{{Demands: []pick.Amount{{Resource: id(r), Units: 1}}}}}
		for g := range sel.groups {
			uses := func(o option) bool { return slices.ContainsFunc(o.uses, func(u fit.Use) bool { return u.Part == r }) }
			if !slices.ContainsFunc(sel.groups[g].options, uses) {
				continue
			}
			used := pick.OptionRef{Group: int32(len(p.Groups)), Option: int32(len(own.Options))}
			own.Options = append(own.Options, pick.Option{})
			for o := range sel.groups[g].options {
				if !uses(sel.groups[g].options[o]) {
					p.Conflicts = append(p.Conflicts, [2]pick.OptionRef{used, {Group: int32(g), Option: int32(o)}})
					sel.clashes = append(sel.clashes, clash{r, r})
				}
			}
		}
		p.Groups = append(p.Groups, own)
	}
}

// seal lets a kit do without sealant, where that is an option, only along a fuel path without
// pipe threads.
func seal(p *pick.Problem, sel *selection) {
	for g := range sel.groups {
		none := len(sel.groups[g].options) - 1
		if sel.groups[g].name != sealantNeed || sel.groups[g].options[none].uses != nil {
			continue
		}
		for k := range sel.groups {
			for o := range sel.groups[k].options {
				if path := sel.groups[k].options[o].path; path != nil && sealed(*path) {
					p.Conflicts = append(p.Conflicts, [2]pick.OptionRef{{Group: int32(g), Option: int32(none)}, {Group: int32(k), Option: int32(o)}})
					sel.clashes = append(sel.clashes, clash{})
				}
			}
		}
	}
}

// bringsAlong lists the parts that some others require, and those that these require, but for
// those that are used themselves.
func (j *job) bringsAlong(uses []fit.Use) (out []*catalog.Part) {
	add := func(p *catalog.Part) {
		for _, sku := range p.Requires {
			if r := j.asRequired(sku); r != nil && !slices.Contains(out, r) {
				out = append(out, r)
			}
		}
	}
	for _, u := range uses {
		if u.Part != nil {
			add(u.Part)
		}
	}
	for n := 0; n < len(out); n++ {
		add(out[n])
	}
	return slices.DeleteFunc(out, func(r *catalog.Part) bool {
		return slices.ContainsFunc(uses, func(u fit.Use) bool { return u.Part == r })
	})
}

// asRequired is the part that a requirement of a SKU asks for: that one, or when it is not sold
// any more and none is had, what takes its place, if that can be had. Nil when no part has
// the SKU.
func (j *job) asRequired(sku string) *catalog.Part {
	p, err := j.s.Catalog.Part(sku) // refused when the catalogue was read, if unknown
	switch {
	case err != nil:
		return nil
	case !p.Discontinued:
		return p
	}
	for _, r := range j.s.Catalog.Replacements(p) {
		if !r.Discontinued || j.pieces(r) > 0 {
			return r
		}
	}
	return p
}

// resource finds the resource of a part in the problem being stated.
func (j *job) resource(sel *selection, part *catalog.Part) (n int32, known bool) {
	n = j.scratch.ids[part.Ordinal()]
	return n, int(n) < len(sel.parts) && sel.parts[n] == part
}

// using adds the options of a problem that demand a resource to a list.
func using(refs []pick.OptionRef, p *pick.Problem, resource int32) []pick.OptionRef {
	for g := range p.Groups {
		for o := range p.Groups[g].Options {
			for _, d := range p.Groups[g].Options[o].Demands {
				if d.Resource == resource {
					refs = append(refs, pick.OptionRef{Group: int32(g), Option: int32(o)})
					break
				}
			}
		}
	}
	return refs
}

// real reports whether a part is one of the catalogue, not a stand-in for something
// the owner has or nobody sells.
func real(p *catalog.Part) bool { return p != nil && p.SKU != "" }

// money is the sum of what a selection's lines cost.
func (sel *selection) money(currency string) units.Money {
	total := units.Money{Currency: currency}
	for _, b := range sel.buys {
		total = total.Plus(b.offer.Price.Times(b.packs))
	}
	return total
}
