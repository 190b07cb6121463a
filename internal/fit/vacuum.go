package fit

import (
	"fmt"
	"math"
	"math/bits"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// Costs that rank assignments of users to ports; they are no money. Common practice,
// no source.
const (
	costMisplaced  = 100 // PCV off the large front port, booster off the large rear one
	costTee        = 30  // one more user on a port
	costLargePort  = 20  // a small user on a large port
	costReducer    = 10  // hose and port differ in bore
	costNipple     = 5   // a hose on a tapped hole
	costTeeReduces = 5   // a tee whose branch is not of the run's bore
	costClosed     = 1   // a cap or plug

	// The least important user without a port, more than all of the costs above together;
	// each one more important counts twice as much, more than all those below it.
	costUnserved = 1_000_000
)

// vacuumUser is what one user of vacuum asks of a port.
type vacuumUser struct {
	use      string
	title    string
	signal   catalog.Signal
	alone    bool         // needs a large port, and no tee on it
	bores    []units.Size // hose bores its own nipple takes, usual one first
	lengthIn float64      // usual run
}

// The users, most important first. Bores and lengths are common practice, no source;
// a modulator has a steel line along the engine and only a short hose.
var (
	booster   = vacuumUser{"booster", "brake booster", catalog.SignalManifold, true, sizes(3, 8, 11, 32), 36}
	pcv       = vacuumUser{"pcv", "PCV valve", catalog.SignalManifold, true, sizes(3, 8, 5, 16), 24}
	modulator = vacuumUser{"modulator", "transmission modulator", catalog.SignalManifold, false, sizes(3, 16, 5, 32), 12}
	advance   = vacuumUser{"advance", "distributor advance", catalog.SignalPorted, false, sizes(3, 16, 5, 32), 24} // signal as the vehicle says
	egr       = vacuumUser{"egr", "EGR valve", catalog.SignalPorted, false, sizes(3, 16, 5, 32), 18}
	purge     = vacuumUser{"purge", "canister purge", catalog.SignalPorted, false, sizes(1, 4, 3, 16), 36}
	cruise    = vacuumUser{"cruise", "cruise control", catalog.SignalManifold, false, sizes(3, 16, 5, 32, 1, 4), 36}

	largePipe = units.Inches(1, 4) // the least pipe thread that counts as a large port
)

const maxVacuumUsers = 7

func sizes(fractions ...int) []units.Size {
	var list []units.Size
	for i := 0; i < len(fractions); i += 2 {
		list = append(list, units.Inches(fractions[i], fractions[i+1]))
	}
	return list
}

// VacuumPlan says which port serves which user and what that takes. Sizes are inches.
type VacuumPlan struct {
	Ports      []PortUse    // in the carburetor's order
	Hoses      []VacuumHose // most important user first
	Caps       []SizeCount  // by hose size
	Plugs      []SizeCount  // by pipe thread
	Tees       []SizePair   // run and branch
	Reducers   []SizePair   // large and small side; a moulded sleeve that goes over the port
	Nipples    []SizePair   // pipe thread and hose
	Unassigned []Unassigned // users without a port, most important first
	Cost       int          // of the assignment; ranks, no money
}

// PortUse is what one port is for: a user, "cap" or "plug". Shared are further
// users through tees. Size is the hose or cap at the port, or the plug's pipe thread.
type PortUse struct {
	Port   *catalog.Port
	Use    string
	Shared []string
	Size   units.Size
	Text   string
}

// VacuumHose is the hose of one user.
type VacuumHose struct {
	Use      string
	Bore     units.Size
	LengthIn float64
}

// SizeCount is how many of one size.
type SizeCount struct {
	Size  units.Size
	Count int
}

// SizePair is how many of one pair of sizes.
type SizePair struct {
	Large, Small units.Size
	Count        int
}

// Unassigned is a user without a port and a sentence why.
type Unassigned struct {
	Use      string
	LengthIn float64 // its hose's usual run
	Text     string
}

// Vacuum assigns the vehicle's users of vacuum to the carburetor's ports at least
// cost, exactly. PCV, booster, modulator and cruise control take manifold vacuum,
// canister purge and EGR ported, the distributor advance what the vehicle says; PCV
// and booster need a large port without a tee, the modulator none shared with the
// advance. Ports without a user are closed. Source: common practice, no source.
func Vacuum(v *catalog.Vehicle, c *catalog.Carburetor) VacuumPlan {
	p := vacuumProblem{users: vacuumUsers(v), ports: c.Ports}
	for i := range p.ports {
		port := &p.ports[i]
		if port.Signal == catalog.SignalManifold && isLarge(port) {
			p.largeFront = p.largeFront || port.Location == catalog.LocationFront
			p.largeRear = p.largeRear || port.Location == catalog.LocationRear
		}
	}
	served, cost := p.solve()
	return p.plan(served, cost)
}

func vacuumUsers(v *catalog.Vehicle) []*vacuumUser {
	known := func(b *bool) bool { return b != nil && *b }
	users := make([]*vacuumUser, 0, maxVacuumUsers)
	add := func(has bool, u *vacuumUser) {
		if has {
			users = append(users, u)
		}
	}
	add(v.Accessories.PowerBrakes, &booster)
	add(v.Accessories.PCV, &pcv)
	add(v.Transmission.Downshift == catalog.VacuumModulator, &modulator)
	switch v.Ignition.Advance {
	case catalog.AdvancePorted:
		users = append(users, &advance)
	case catalog.AdvanceManifold:
		onManifold := advance
		onManifold.signal = catalog.SignalManifold
		users = append(users, &onManifold)
	}
	add(known(v.Accessories.EGR), &egr)
	add(known(v.Accessories.CanisterPurge), &purge)
	add(known(v.Accessories.CruiseControl), &cruise)
	return users
}

type vacuumProblem struct {
	users                 []*vacuumUser
	ports                 []catalog.Port
	largeFront, largeRear bool // there is such a manifold port
}

func isLarge(p *catalog.Port) bool { return p.Large || p.NPTIn.Compare(largePipe) >= 0 }

// A set of users is a bit mask over vacuumProblem.users.
type userSet = uint8

// solve goes through the ports one by one and keeps, for every set of users, the
// least cost at which the ports so far serve exactly that set. It returns the set
// that each port serves in the optimum.
func (p *vacuumProblem) solve() ([]userSet, int) {
	const unreachable = math.MaxInt
	all := 1 << len(p.users)
	least := make([]int, all)
	next := make([]int, all)
	choice := make([]userSet, all*len(p.ports)) // by port and set served up to and with it
	for set := 1; set < all; set++ {
		least[set] = unreachable
	}
	for i := range p.ports {
		for set := range next {
			next[set] = unreachable
		}
		for add := 0; add < all; add++ {
			cost, ok := p.cost(&p.ports[i], userSet(add))
			if !ok {
				continue
			}
			for set := 0; set < all; set++ {
				if set&add == 0 && least[set] != unreachable && least[set]+cost < next[set|add] {
					next[set|add] = least[set] + cost
					choice[i*all+set|add] = userSet(add)
				}
			}
		}
		least, next = next, least
	}
	best, bestCost := 0, unreachable
	for set := 0; set < all; set++ {
		if least[set] == unreachable {
			continue
		}
		cost := least[set]
		for i := range p.users {
			if set&(1<<i) == 0 {
				cost += costUnserved << (len(p.users) - 1 - i)
			}
		}
		if cost < bestCost {
			best, bestCost = set, cost
		}
	}
	served := make([]userSet, len(p.ports))
	for i := len(p.ports) - 1; i >= 0; i-- {
		served[i] = choice[i*all+best]
		best &^= int(served[i])
	}
	return served, bestCost
}

// cost of a port serving a set of users; ok is false when it cannot.
func (p *vacuumProblem) cost(port *catalog.Port, set userSet) (cost int, ok bool) {
	if set == 0 {
		return costClosed, true
	}
	large, shared := isLarge(port), bits.OnesCount8(set) > 1
	var first *vacuumUser
	hasModulator, hasAdvance := false, false
	run := units.Size{}
	for rest := set; rest != 0; rest &= rest - 1 {
		u := p.users[bits.TrailingZeros8(rest)]
		if u.signal != port.Signal || u.alone && (!large || shared) {
			return 0, false
		}
		hasModulator = hasModulator || u.use == modulator.use
		hasAdvance = hasAdvance || u.use == advance.use
		if hasModulator && hasAdvance {
			return 0, false
		}
		if first == nil {
			first = u
			var reduced bool
			if run, reduced = boreAt(port, u); reduced {
				cost += costReducer
			}
			if !port.NPTIn.IsZero() {
				cost += costNipple
			}
			if large && !u.alone {
				cost += costLargePort
			}
			continue
		}
		cost += costTee
		if branchBore(run, u) != run {
			cost += costTeeReduces
		}
	}
	if first.use == pcv.use && p.largeFront && port.Location != catalog.LocationFront ||
		first.use == booster.use && p.largeRear && port.Location != catalog.LocationRear {
		cost += costMisplaced
	}
	return cost, true
}

// boreAt is the bore of a user's hose at a port, and whether that takes a reducer. A
// hose takes the port's bore where the user allows it; a tapped hole takes a nipple
// of the user's usual bore.
func boreAt(port *catalog.Port, u *vacuumUser) (bore units.Size, reduced bool) {
	if !port.NPTIn.IsZero() {
		return u.bores[0], false
	}
	if slices.Contains(u.bores, port.HoseIn) {
		return port.HoseIn, false
	}
	return u.bores[0], true
}

// branchBore is the bore of a user's hose at a tee on a run.
func branchBore(run units.Size, u *vacuumUser) units.Size {
	if slices.Contains(u.bores, run) {
		return run
	}
	return u.bores[0]
}

// portTextBytes is about what the texts of a port take, with the pieces they are made of.
const portTextBytes = 200

// plan spells out the sets that ports serve as hardware.
func (p *vacuumProblem) plan(served []userSet, cost int) VacuumPlan {
	plan := VacuumPlan{Ports: make([]PortUse, len(p.ports)), Cost: cost}
	var t units.Texts
	t.Grow(portTextBytes * len(p.ports))
	var bores [maxVacuumUsers]units.Size // by user, zero without a port
	for i := range p.ports {
		port := &p.ports[i]
		use := &plan.Ports[i]
		use.Port = port
		if served[i] == 0 {
			plan.close(&t, use)
			continue
		}
		for rest := served[i]; rest != 0; rest &= rest - 1 {
			j := bits.TrailingZeros8(rest)
			u := p.users[j]
			if use.Use != "" {
				bores[j] = branchBore(use.Size, u)
				use.Shared = append(use.Shared, u.use)
				countPair(&plan.Tees, use.Size, bores[j])
				use.Text = t.Sayf("%s, with the %s through a tee", use.Text, u.title)
				continue
			}
			bore, reduced := boreAt(port, u)
			bores[j], use.Use, use.Size = bore, u.use, bore
			use.Text = t.Sayf("%s: %s in hose to the %s", describe(&t, port), bore, u.title)
			if reduced {
				large, small := port.HoseIn, bore
				if large.Compare(small) < 0 {
					large, small = small, large
				}
				countPair(&plan.Reducers, large, small)
				use.Text = t.Sayf("%s, over a reducer from the %s in port", use.Text, port.HoseIn)
			}
			if !port.NPTIn.IsZero() {
				countPair(&plan.Nipples, port.NPTIn, bore)
				use.Text = t.Sayf("%s, on a nipple in the %s in pipe thread", use.Text, port.NPTIn)
			}
		}
	}
	for j, u := range p.users {
		if bores[j].IsZero() {
			plan.Unassigned = append(plan.Unassigned, Unassigned{u.use, u.lengthIn, p.whyUnassigned(u, plan.Ports)})
			continue
		}
		plan.Hoses = append(plan.Hoses, VacuumHose{u.use, bores[j], u.lengthIn})
	}
	return plan
}

// close caps an unused nipple or plugs an unused tapped hole.
func (plan *VacuumPlan) close(t *units.Texts, use *PortUse) {
	if npt := use.Port.NPTIn; !npt.IsZero() {
		use.Use, use.Size = "plug", npt
		use.Text = t.Sayf("%s: unused, closed with a %s in pipe plug", describe(t, use.Port), npt)
		countSize(&plan.Plugs, npt)
		return
	}
	use.Use, use.Size = "cap", use.Port.HoseIn
	use.Text = t.Sayf("%s: unused, closed with a %s in cap", describe(t, use.Port), use.Size)
	countSize(&plan.Caps, use.Size)
}

func describe(t *units.Texts, port *catalog.Port) string {
	size, side := "small", ""
	if isLarge(port) {
		size = "large"
	}
	switch port.Location {
	case catalog.LocationDriver, catalog.LocationPassenger:
		side = "-side"
	}
	return t.Sayf("%s, %s %s%s port, %s vacuum", port.ID, size, string(port.Location), side, string(port.Signal))
}

// whyUnassigned names what the user needs and who has the ports that would do.
func (p *vacuumProblem) whyUnassigned(u *vacuumUser, uses []PortUse) string {
	kind := string(u.signal) + "-vacuum port"
	if u.alone {
		kind = "large " + kind + " of its own"
	}
	var taken []string
	for i := range uses {
		if port := uses[i].Port; port.Signal == u.signal && (isLarge(port) || !u.alone) {
			taken = append(taken, port.ID+" serves "+strings.Join(append([]string{uses[i].Use}, uses[i].Shared...), " and "))
		}
	}
	why := "the carburetor has none"
	if len(taken) > 0 {
		why = strings.Join(taken, ", ")
		if !u.alone {
			why += " and cannot take another"
		}
	}
	return fmt.Sprintf("The %s has no port: it needs a %s, and %s.", u.title, kind, why)
}

func countSize(list *[]SizeCount, size units.Size) {
	i, found := slices.BinarySearchFunc(*list, size, func(c SizeCount, s units.Size) int { return c.Size.Compare(s) })
	if !found {
		*list = slices.Insert(*list, i, SizeCount{Size: size})
	}
	(*list)[i].Count++
}

func countPair(list *[]SizePair, large, small units.Size) {
	i, found := slices.BinarySearchFunc(*list, SizePair{Large: large, Small: small}, func(a, b SizePair) int {
		if n := a.Large.Compare(b.Large); n != 0 {
			return n
		}
		return a.Small.Compare(b.Small)
	})
	if !found {
		*list = slices.Insert(*list, i, SizePair{Large: large, Small: small})
	}
	(*list)[i].Count++
}
