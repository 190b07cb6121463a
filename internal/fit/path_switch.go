package fit

import (
	"context"
	"slices"

	"onetrip/internal/catalog"
)

// pathSwitch is a Switch in terms of the search.
type pathSwitch struct {
	Switch
	tied  int32 // -1 for none
	taken int32 // part of which others take some, -1 for none
	holds []heldUnits
	idle  [len(soleRoles)]int64 // the least that is lost when its piece for the role is not used, 0 when it has none
}

type heldUnits struct {
	apart  int32
	units  int
	charge int64 // part of its switch's cost that using it bears at least
}

// soleRoles are those that one piece in a path takes.
var soleRoles = [...]Role{InletFitting, Filter, Regulator}

// state of a switch: off and on are decided, open ones count as on while paths are
// compared, but for a charge.
type state int8

const (
	off state = iota
	opened
	on
)

// apart is a part that may be had otherwise than by buying it for the path.
type apart struct {
	part  Candidate
	roles uint8 // that it can take, a bit each

	held, tied bool // by a switch or owned; only to be had when the rest of the kit allows it
	had        bool // owned or in a bundle
	shared     bool // others may take some

	firm     int   // units that cost nothing under the setting
	free     int   // with those that cost no more than the charge
	charge   int64 // of the switches that are open
	piece    int64 // cost of one piece under the setting
	blocked  bool  // tied, and not to be had under the setting
	taken    int   // units, by others
	required int   // units that are in the kit at least
	unknown  bool  // how many these are is open
}

// setSwitches puts the switches in terms of the search.
func (s *PathSearch) setSwitches(prices PathPrices) {
	emptied(&s.switches)
	for i := range s.apart {
		a := &s.apart[i]
		a.held, a.tied, a.had, a.shared = false, false, false, false
	}
	for _, h := range s.owned {
		s.apart[h.apart].held, s.apart[h.apart].had = true, true
	}
	switches := prices.Switches(s.parts)
	for i := range switches {
		if p := switches[i].Taken.Part; p != nil {
			a := &s.apart[s.apartID[p]]
			a.held, a.shared = true, true
		}
	}
	for _, sw := range switches {
		x := pathSwitch{Switch: sw, tied: -1, taken: -1, holds: lendZero(&s.held, len(sw.Holds))[:0]}
		if sw.Tied != nil {
			x.tied = s.apartID[sw.Tied]
			s.apart[x.tied].tied = true
		}
		if sw.Taken.Part != nil {
			x.taken = s.apartID[sw.Taken.Part]
		}
		for _, h := range sw.Holds {
			id, ok := s.apartID[h.Part]
			if !ok {
				continue
			}
			x.holds = append(x.holds, heldUnits{apart: id, units: h.Units})
			a := &s.apart[id]
			a.held, a.had = true, true
			for i, role := range soleRoles {
				if c := a.part.packs(1); a.roles == 1<<role && !a.shared && (x.idle[i] == 0 || c < x.idle[i]) {
					x.idle[i] = c
				}
			}
		}
		s.spread(&x)
		s.switches = append(s.switches, x)
	}
	s.state = resize(s.state, len(s.switches))
}

// spread lets those parts of a bundle that a path takes in one place only bear its cost,
// by what they cost alone: a path that uses all of them bears all, another less than it
// must. A fitting may stand in several places and bears nothing, nor does what others take.
func (s *PathSearch) spread(sw *pathSwitch) {
	worth := func(h *heldUnits) int64 {
		a := &s.apart[h.apart]
		if a.roles&(1<<Fitting) != 0 || a.shared {
			return 0
		}
		return a.part.packs(Packs(a.part.Part, h.units))
	}
	total := int64(0)
	for i := range sw.holds {
		total += worth(&sw.holds[i])
	}
	for i := range sw.holds {
		if h := &sw.holds[i]; total > 0 && sw.Cost > 0 {
			h.charge = int64(float64(sw.Cost) * (float64(worth(h)) / float64(total)) * (1 - 1e-9))
		}
	}
}

func (s *PathSearch) set(all state) {
	for i := range s.state {
		s.state[i] = all
	}
}

// explore finds the cheapest path with every open switch on. If it uses none of them
// it is the cheapest of all settings left and is kept; else the first that it uses is
// decided both ways. A branch ends when, even so, no path can pay for what is on:
// without is what the path costs with every switch off. It may cost more when others take
// what is held, or more than is in stock. It ends before all is looked at only when some
// path is known.
func (s *PathSearch) explore(ctx context.Context, without int64, first int) {
	if (s.left <= 0 || ctx.Err() != nil) && len(s.found) > first {
		s.cut = true
		return
	}
	s.left--
	most, unknown := without, false
	for i, st := range s.state {
		switch st {
		case on:
			most -= s.switches[i].Cost
		case opened:
			most -= min(0, s.switches[i].Cost)
		}
		if id := s.switches[i].taken; st != off && id >= 0 && !s.switches[i].Required {
			a := &s.apart[id]
			if unknown = unknown || a.had; a.part.OnceAbove > 0 {
				most += a.part.Once
			}
		}
	}
	if unknown || most >= impossible {
		most = impossible - 1
	}
	p := s.solve(most)
	if p.cost >= impossible {
		return
	}
	i := s.firstUsed(&p)
	if i < 0 {
		s.keep(&p, first)
		return
	}
	from := len(s.saved)
	s.saved = append(s.saved, s.state...)
	s.state[i] = off
	s.explore(ctx, without, first)
	copy(s.state, s.saved[from:])
	s.state[i] = on
	for k := range s.switches {
		if s.state[k] == opened && s.exclude(i, k) {
			s.state[k] = off
		}
	}
	s.explore(ctx, without, first)
	copy(s.state, s.saved[from:])
	s.saved = s.saved[:from]
}

// firstUsed is the first open switch that a path makes use of, -1 for none.
func (s *PathSearch) firstUsed(p *solved) int {
	s.used = zeroed(s.used, len(s.apart))
	s.along(p, func(_ Role, e int32, _, _ catalog.End) {
		if id := s.entries[e].apart; id >= 0 {
			s.used[id] = true
		}
	})
	for i, st := range s.state {
		sw := &s.switches[i]
		if st == opened && (sw.tied >= 0 && s.used[sw.tied] || sw.taken >= 0 && s.used[sw.taken] || slices.ContainsFunc(sw.holds, func(h heldUnits) bool { return s.used[h.apart] })) {
			return i
		}
	}
	return -1
}

// exclude reports whether two bundles can never both pay: a path has one inlet fitting,
// one filter and one regulator, and where both hold one, the bundle whose piece lies
// idle must still save something. A need takes one part at most.
func (s *PathSearch) exclude(i, k int) bool {
	a, b := &s.switches[i], &s.switches[k]
	if a.taken >= 0 && b.taken >= 0 && a.By == b.By && !a.Required && !b.Required {
		return true
	}
	for role := range soleRoles {
		if a.idle[role] > a.Saving && b.idle[role] > b.Saving {
			return true
		}
	}
	return false
}

// setting works out what the setting of the switches means for the parts apart.
func (s *PathSearch) setting() {
	s.number++
	s.forget(false)
	for i := range s.apart {
		a := &s.apart[i]
		a.firm, a.free, a.charge, a.blocked, a.taken, a.required, a.unknown = 0, 0, impossible, false, 0, 0, false
	}
	hold := func(list []heldUnits) {
		for _, h := range list {
			s.apart[h.apart].firm += h.units
			s.apart[h.apart].free += h.units
		}
	}
	hold(s.owned)
	for i, st := range s.state {
		sw := &s.switches[i]
		switch {
		case sw.taken >= 0:
			a := &s.apart[sw.taken]
			a.unknown = a.unknown || st == opened
			switch {
			case sw.Required && st != off:
				a.required = max(a.required, sw.Taken.Units)
			case st == on:
				a.taken += sw.Taken.Units
			}
		case st == on:
			hold(sw.holds)
		case st == opened:
			for _, h := range sw.holds {
				a := &s.apart[h.apart]
				a.free += h.units
				a.charge = min(a.charge, h.charge)
			}
		case sw.tied >= 0:
			s.apart[sw.tied].blocked = true
		}
	}
	s.heldFittings = false
	for i := range s.apart {
		a := &s.apart[i]
		c := &a.part
		if a.piece = impossible; !a.blocked {
			a.piece = a.cost(1) + c.Penalty
		}
		s.heldFittings = s.heldFittings || a.free+a.required > 0 && a.roles&(1<<Fitting) != 0
	}
}

// cost is what units of a part cost at least under the setting: bought beside those that
// are firm, or beside those of open switches too, for which a charge is due. Where others
// take some, what is had is theirs first, and their packs and line are there. Of those that
// are required the path is the first to use some.
func (a *apart) cost(units int) int64 {
	packs := func(units int) int64 { return a.part.packs(Packs(a.part.Part, units)) }
	others := a.taken + a.required
	switch {
	case a.unknown || others > 0 && a.free > a.firm: // what a pack may have left is free, until that is decided
		return int64(max(0, units-a.free-a.required)/PackUnits(a.part.Part)) * a.part.Cost
	case others > 0:
		return packs(max(a.taken+units, a.required)-a.firm) - packs(max(a.taken, a.required)-a.firm)
	case units <= a.firm:
		return 0
	}
	cost := packs(units - a.firm)
	if a.charge < cost {
		cost = min(cost, a.charge+packs(units-a.free))
	}
	return cost
}
