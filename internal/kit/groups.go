package kit

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/units"
)

// Needs that one choice meets together: the fuel path and the mounting stack.
var (
	pathNeeds  = []string{"fuel.inlet_fitting", "fuel.fittings", "fuel.hose", "fuel.filter", "fuel.clamps", "fuel.pressure_regulator"}
	stackNeeds = []string{"mount.adapter", "mount.base_gasket", "mount.spacer", "mount.studs", "air.neck_adapter", "air.gasket", "air.low_profile"}
)

// studsNeed is met by studs as long as the stack takes.
const studsNeed = "mount.studs"

// sealantNeed goes on pipe threads: there is none of it in a kit that makes no such joint.
const sealantNeed = "shop.thread_sealant"

// meteringNeed is met by jets and rods that suit the carburetor and the altitude.
const meteringNeed = "tuning.metering_set"

// groups states the choices of a job under an aim: one group for each open demand,
// one for the fuel path, one for the stack. What nothing meets is left out here and
// noted as a gap of the job.
func (j *job) groups(ctx context.Context, a aim) []group {
	j.weigh(ctx, a)
	out := lend(&j.scratch.choices, len(j.demands)+2)[:0]
	for _, d := range j.demands {
		if d.status != "" || slices.Contains(pathNeeds, d.need) || slices.Contains(stackNeeds, d.need) {
			continue
		}
		g, known := j.again(d, a)
		if !known {
			g = j.single(d, a)
			d.found, d.foundFor = g, a
		}
		if len(g.options) > 0 {
			if d.need == sealantNeed && j.mayStayDry() {
				g.options = append(slices.Clone(g.options), option{}) // see seal
			}
			out = append(out, g)
		} else {
			j.gap(d, NothingMatches, "")
		}
	}
	if j.dropFeed() {
		return j.groups(ctx, a)
	}
	j.findElsewhere(out, a)
	if g := j.fuelGroup(ctx, a); len(g.options) > 0 {
		out = append(out, g)
	}
	return j.addStack(ctx, out, a)
}

// dropFeed takes off what would feed a choke that is not made electric after all, and reports
// whether there was any.
func (j *job) dropFeed() bool {
	conversion := j.role("choke.conversion")
	if conversion == nil || conversion.asked("to") != string(catalog.ChokeElectric) || conversion.status != NotThere && !conversion.status.leftOut() {
		return false
	}
	dropped := false
	for _, need := range []string{"choke.feed_wire", "choke.ground_wire", "choke.relay"} {
		if d := j.role(need); d != nil && d.status != NotNeeded && !d.status.leftOut() {
			j.drop(d)
			dropped = true
		}
	}
	return dropped
}

// dropSealant takes off sealant that is not to be chosen, since nobody sells it, say, or the
// owner has it, where the kit chosen joins no pipe threads. Selection drops what is: see seal.
func (j *job) dropSealant(sel *selection) {
	d := j.role(sealantNeed)
	if d == nil || d.status == "" || !j.mayStayDry() {
		return
	}
	if path := sel.path(); path == nil || !sealed(*path) {
		j.drop(d)
	}
}

// drop notes that a demand is none after all.
func (j *job) drop(d *demand) {
	d.status, d.quantity = NotNeeded, 0
	j.gaps = slices.DeleteFunc(j.gaps, func(g gap) bool { return g.demand == d })
}

// again is the group of a demand that was found under another aim before, when the two
// differ in the finish wanted alone and all that may meet the demand counts the same for
// its finish. Then what is compared costs so much more for each place that is taken, in
// all parts alike, and the options are those found, at another penalty. What bundles bring
// under this aim they may not have brought under that.
func (j *job) again(d *demand, a aim) (g group, ok bool) {
	then, now := d.foundFor, a
	then.finish, now.finish = "", ""
	brought := slices.ContainsFunc(j.scratch.apart, func(p *catalog.Part) bool { return p.Spec() == d.spec })
	if d.found.options == nil || then != now || a.restock != nil || brought {
		return group{}, false
	}
	finishes := j.find(d).Finishes
	was, alike := d.foundFor.uniform(finishes)
	is, alikeNow := a.uniform(finishes)
	if !alike || !alikeNow {
		return group{}, false
	}
	g = d.found
	g.options = lend(&j.scratch.options, len(g.options))
	for i, o := range d.found.options {
		o.penalty += is - was
		g.options[i] = o
	}
	return g, true
}

// one is a list of one demand.
func (j *job) one(d *demand) []*demand {
	list := lend(&j.scratch.demandList, 1)
	list[0] = d
	return list
}

// candidate prices a part under an aim.
func (j *job) candidate(p *catalog.Part, a aim) fit.Candidate {
	c := a.price(j.s.Catalog, p)
	c.Sources = j.sources(p)
	return c
}

// price is a candidate that is only bought.
func (a *aim) price(s *catalog.Snapshot, p *catalog.Part) fit.Candidate {
	c := fit.Candidate{Part: p, Cost: packMinor(&p.Offer), Penalty: a.penalty(&p.Offer), Tied: p.Tied()}
	c.Once, c.OnceAbove = a.once(s, &p.Offer)
	return c
}

// role is how a demand of the path or stack takes part in it.
func (j *job) role(need string) *demand { return find(j.demands, need, -1) }

// had reports whether the owner sees to a need without buying: it is in the box, on
// hand or declined.
func had(d *demand) bool { return d.status != "" || d.boxed > 0 || d.owned > 0 }

// owns reports whether the owner has pieces for a need that the job raises.
func (j *job) owns(need string) bool {
	d := j.role(need)
	return d != nil && d.owned > 0
}

// Settings of its switches for which a fuel path is looked for: kits come to some dozens,
// those of fewest lines to thousands. Few, where the choice is not proven the best anyway.
const (
	mostSettings = 20_000
	fewSettings  = 500
)

// fuelGroup is the group of the fuel path. Without any path that mates end to end
// the search is repeated with stand-ins for parts nobody sells, at a price above
// any real part, so that the kit names the fewest missing pieces and still lists
// all the others.
func (j *job) fuelGroup(ctx context.Context, a aim) group {
	g := group{name: "fuel path", demands: lend(&j.scratch.demandList, len(pathNeeds))[:0]}
	for _, need := range pathNeeds {
		if d := j.role(need); d != nil {
			g.demands = append(g.demands, d)
		}
	}
	if len(g.demands) == 0 || slices.ContainsFunc(g.demands, func(d *demand) bool { return d.status == NotThere }) {
		return group{} // the second time it is known that there is no path
	}
	apart := j.scratch.apart
	for _, sw := range j.scratch.elsewhere {
		if p := sw.Taken.Part; !p.Discontinued && !p.Tied() && !slices.Contains(apart, p) {
			apart = append(apart[:len(apart):len(apart)], p)
		}
	}
	prices := fit.PathPrices{
		Price: func(p *catalog.Part) fit.Candidate {
			if !real(p) {
				return fit.Candidate{Part: p, Penalty: p.Price.AmountMinor}
			}
			return a.price(j.s.Catalog, p) // its sources are switches
		},
		Penalty:  a.penaltyOf,
		Apart:    apart,
		Lines:    a.objective != ByPrice,
		Switches: func(parts []*catalog.Part) []fit.Switch { return j.switches(parts, a) },
		Most:     mostSettings,
	}
	if j.unproven {
		prices.Most = fewSettings
	}
	var paths []fit.PathOption
	for _, broken := range []bool{false, true} {
		if j.paths == nil || broken {
			j.fuelBroken = broken
			if j.paths != nil {
				j.paths.Release()
			}
			j.paths = fit.NewPathSearch(j.pathQuery(broken))
		}
		paths = slices.DeleteFunc(j.paths.Paths(ctx, prices), func(o fit.PathOption) bool { return conflicting(o.Uses) != "" })
		if len(paths) > 0 {
			break
		}
	}
	j.unproven = j.unproven || j.paths.Cut()
	// One without pipe threads may cost more, by less than the sealant.
	if slices.ContainsFunc(paths, sealed) && j.mayStayDry() {
		if j.dryPaths == nil {
			q := j.pathQuery(j.fuelBroken)
			q.NoPipeThread = true
			j.dryPaths = fit.NewPathSearch(q)
		}
		dry := j.dryPaths.Paths(ctx, prices)
		j.unproven = j.unproven || j.dryPaths.Cut()
		paths = append(paths, slices.DeleteFunc(dry, func(o fit.PathOption) bool { return conflicting(o.Uses) != "" })...)
	}
	g.options = lend(&j.scratch.options, len(paths))[:0]
	for i := range paths {
		g.options = append(g.options, option{uses: paths[i].Uses, penalty: paths[i].Penalty, path: &paths[i]})
	}
	if len(paths) == 0 { // not even with stand-ins: nothing can be said of single parts
		for _, d := range g.demands {
			if d.status == "" {
				j.gap(d, NoPath, fmt.Sprintf("No row of parts leads from the supply line, %s, to the inlet, %s.", j.supply, j.carburetor.Inlet.End))
			}
		}
	}
	return g
}

// mayStayDry reports whether the fuel path alone says if sealant is needed: nothing
// else that the job demands has pipe threads, nor has either end of the path.
func (j *job) mayStayDry() bool {
	return j.supply.Family != catalog.NPT && j.carburetor.Inlet.End.Family != catalog.NPT &&
		!slices.ContainsFunc(j.demands, func(d *demand) bool { return slices.Contains(pipeNeeds, d.need) })
}

// pipeNeeds are met by parts with pipe threads, but for those of the fuel path. Of pumps only
// some have them.
var pipeNeeds = []string{"vacuum.nipples", "vacuum.pipe_plug", "fuel.pump"}

// sealed reports whether a path has a joint of pipe threads.
func sealed(o fit.PathOption) bool {
	return slices.ContainsFunc(o.Steps, func(s fit.Step) bool { return s.From.Family == catalog.NPT || s.To.Family == catalog.NPT })
}

// conflicting is the need of a part that conflicts with another of the same option, ""
// when none does. Conflicts between groups are selection's. The search keeps what does
// without a tied part, so that dropping an option loses no optimum.
func conflicting(uses []fit.Use) string {
	for _, u := range uses {
		if u.Part == nil {
			continue
		}
		for _, sku := range u.Part.Conflicts {
			if slices.ContainsFunc(uses, func(o fit.Use) bool { return real(o.Part) && o.Part.SKU == sku }) {
				return u.Need
			}
		}
	}
	return ""
}

// standInCost is what a part nobody sells counts: more than any real path.
const standInCost = 1_000_000_000_000

// packMinor is what a pack counts, in minor units. What is discontinued serves where it is
// had already; more of it counts as what nobody sells, and is missing in a kit that takes it.
func packMinor(o *catalog.Offer) int64 {
	if o.Discontinued {
		return standInCost
	}
	return o.Price.AmountMinor
}

// nobodySells tells a stand-in for a missing part from one for something the owner has.
func nobodySells(p *catalog.Part) bool { return p != nil && p.SKU == "" && p.Price.AmountMinor > 0 }

// standIn is a part without a SKU that joins whatever it must: something the owner
// has, or that nobody sells.
func standIn(need string, cost int64) *catalog.Part {
	kind := catalog.Kind(strings.ReplaceAll(need[len("fuel."):], "_", " "))
	return &catalog.Part{
		Offer: catalog.Offer{Name: string(kind), PackQuantity: 1000, Price: units.Money{AmountMinor: cost}},
		Form:  &catalog.Form{LengthIn: 1000},
	}
}

// pathQuery asks for the fuel path; standIns for everything lets no path be broken.
func (j *job) pathQuery(standIns bool) *fit.PathQuery {
	v := j.vehicle
	q := &fit.PathQuery{
		From: j.supply, To: j.carburetor.Inlet.End, RunLengthIn: v.Fuel.RunLengthIn,
		NeedRegulator: j.regulated(),
		Network:       j.s.network, Owned: j.holdings,
	}
	var buying [fit.Roles]*demand
	for role := range fit.Roles {
		switch d := j.role(role.Need()); {
		case d == nil:
		case had(d):
			q.StandIns[role] = standIn(role.Need(), 0)
		default:
			if buying[role] = d; standIns {
				q.StandIns[role] = standIn(role.Need(), standInCost)
			}
		}
	}
	q.Accepts = func(role fit.Role, f *catalog.Form) bool { return buying[role] != nil && buying[role].matched(f) }
	return q
}

// regulated reports whether the fuel path has a regulator: not where the owner declines one
// that the swap needs and has none, which a check tells.
func (j *job) regulated() bool {
	d := j.role("fuel.pressure_regulator")
	return d != nil && (!d.status.leftOut() || d.boxed > 0 || d.owned > 0)
}

// addStack adds the group of the mounting stack. When nothing stacks up, the need
// in the way is a gap and each of the others is met by itself.
func (j *job) addStack(ctx context.Context, out []group, a aim) []group {
	if j.stackGap == nil {
		g := group{name: "mounting stack", demands: lend(&j.scratch.demandList, len(stackNeeds))[:0]}
		for _, need := range stackNeeds {
			if d := j.role(need); d != nil {
				g.demands = append(g.demands, d)
			}
		}
		if j.stacks == nil {
			j.stacks = fit.NewStackSearch()
		}
		var stacks []fit.StackOption
		stacks, j.stackGap = j.stacks.Stack(ctx, j.stackQuery(a))
		j.unproven = j.unproven || j.stacks.Cut()
		if n := len(stacks); n > 0 {
			need := conflicting(stacks[0].Uses)
			stacks = slices.DeleteFunc(stacks, func(o fit.StackOption) bool { return conflicting(o.Uses) != "" })
			if len(stacks) == 0 {
				j.stackGap = &fit.Gap{Need: need, Text: "every stack that fits holds two parts that conflict"}
			}
		}
		if j.stackGap == nil {
			g.options = lend(&j.scratch.options, len(stacks))[:0]
			for i := range stacks {
				g.options = append(g.options, option{uses: stacks[i].Uses, penalty: stacks[i].Penalty, stack: &stacks[i]})
			}
			return append(out, g)
		}
		text := upperFirst(j.stackGap.Text) + "."
		if d := j.demandFor(j.stackGap.Need, text); d != nil {
			if len(d.rules) > 0 && !j.matched(d) {
				j.gap(d, NothingMatches, "") // what no part has says more than that nothing stacks up
			} else {
				j.gap(d, NoStack, text)
			}
		}
	}
	for _, need := range stackNeeds {
		d := j.role(need)
		if d == nil || d.status != "" {
			continue
		}
		d.quantity = max(1, d.quantity)
		if d.remaining() == 0 {
			if d.status = InTheBox; d.owned > 0 {
				d.status = OnTheShelf
			}
			continue
		}
		switch g := j.single(d, a); {
		case len(g.options) > 0:
			out = append(out, g)
		case d.need == studsNeed && j.matched(d): // but none that reaches
			j.gap(d, NoStack, fmt.Sprintf("No studs have the %.4g in of free length that may be needed.", j.figures.StudNeededIn))
		default:
			j.gap(d, NothingMatches, "")
		}
	}
	return out
}

// matched reports whether some form meets what the rules ask of a demand.
func (j *job) matched(d *demand) bool { return slices.ContainsFunc(j.find(d).Forms, d.accepts) }

// demandFor is the demand of a need that fit found in the way, raised now when no
// rule raised it; nil when no rule of the catalogue ever does.
func (j *job) demandFor(need, text string) *demand {
	if d := j.role(need); d != nil {
		return d
	}
	kind, known := j.s.Rules.NeedKind(need)
	if !known {
		return nil
	}
	spec, _ := kind.Spec()
	d := &demand{need: need, each: -1, level: Required, severity: Blocking, quantity: 1, spec: spec,
		because: []Because{{Rule: "stack", Text: text, Source: "arithmetic"}}}
	j.raise(d)
	return d
}

func (j *job) stackQuery(a aim) *fit.StackQuery {
	v, c := j.vehicle, j.carburetor
	adapter, gasket, spacer, studs := j.role("mount.adapter"), j.role("mount.base_gasket"), j.role("mount.spacer"), j.role("mount.studs")
	neck, airGasket, lowProfile := j.role("air.neck_adapter"), j.role("air.gasket"), j.role("air.low_profile")
	// A spacer is nothing the carburetor must have: one not asked for is not there.
	if spacer != nil && spacer.status.leftOut() {
		spacer = nil
	}
	layer := func(d *demand, flange catalog.Flange) fit.StackRole {
		most := 0
		for _, o := range [...]*demand{adapter, gasket, spacer, studs, neck, airGasket, lowProfile} {
			if o != nil && o.spec == d.spec {
				most++
			}
		}
		if gasket != nil && gasket.spec == d.spec && spacer != nil {
			most++ // on either side of it
		}
		return j.layer(d, flange, min(most, fit.MaxGaskets), a)
	}
	role := func(d *demand, flange catalog.Flange) fit.StackRole {
		switch {
		case d == nil:
			return fit.StackRole{}
		case had(d):
			return fit.StackRole{Asked: true, Candidates: []fit.Candidate{{}}}
		}
		return layer(d, flange)
	}
	q := &fit.StackQuery{
		HoodClearanceIn: v.Intake.HoodClearanceIn, CarburetorHeightIn: c.HeightIn, CleanerHeightIn: v.AirCleaner.HeightIn,
		Savings:      j.savings,
		StudLengthIn: v.Intake.StudLengthIn, StudThread: v.Intake.StudThread,
		Adapter:       role(adapter, ""),
		BaseGasket:    role(gasket, c.Flange),
		Spacer:        role(spacer, ""),
		Studs:         role(studs, "").Candidates,
		NeckAdapter:   role(neck, ""),
		CleanerGasket: role(airGasket, ""),
		LowProfile:    role(lowProfile, "").Candidates,
	}
	if gasket == nil {
		return q
	}
	// A box or shelf with one gasket has none for the other side of a spacer.
	if q.Spacer.Asked && gasket.status == "" && had(gasket) && gasket.boxed+gasket.owned < 2 {
		q.SpacerGasket = layer(gasket, c.Flange)
	}
	// The gasket in the box is of the carburetor's flange: under an adapter it is no use.
	if v.Intake.Flange != c.Flange {
		q.ManifoldGasket = fit.StackRole{Asked: true, Candidates: []fit.Candidate{{}}}
		if !gasket.status.leftOut() && gasket.owned == 0 {
			q.ManifoldGasket = layer(gasket, v.Intake.Flange)
		}
	}
	return q
}
