package fit

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

func drawVacuum(t *rapid.T) (*catalog.Vehicle, *catalog.Carburetor) {
	flag := func(label string) *bool {
		return rapid.SampledFrom([]*bool{nil, new(false), new(true), new(true)}).Draw(t, label)
	}
	v := &catalog.Vehicle{}
	v.Accessories = catalog.Accessories{PowerBrakes: rapid.Bool().Draw(t, "booster"), PCV: rapid.Bool().Draw(t, "pcv"),
		CanisterPurge: flag("purge"), EGR: flag("egr"), CruiseControl: flag("cruise")}
	v.Ignition.Advance = rapid.SampledFrom([]catalog.Advance{catalog.AdvancePorted, catalog.AdvanceManifold, catalog.AdvanceNone}).Draw(t, "advance")
	v.Transmission.Downshift = rapid.SampledFrom([]catalog.Downshift{catalog.VacuumModulator, catalog.DownshiftNone}).Draw(t, "downshift")
	c := &catalog.Carburetor{}
	for i := range rapid.IntRange(0, 5).Draw(t, "ports") {
		p := catalog.Port{ID: fmt.Sprint("P", i),
			Location: rapid.SampledFrom([]catalog.PortLocation{catalog.LocationFront, catalog.LocationRear, catalog.LocationDriver}).Draw(t, "location"),
			Signal:   rapid.SampledFrom([]catalog.Signal{catalog.SignalManifold, catalog.SignalPorted}).Draw(t, "signal"),
			Large:    rapid.Bool().Draw(t, "large")}
		size := rapid.SampledFrom([]string{"3/16", "3/8", "1/4", "5/32", "1/8 npt", "1/4 npt"}).Draw(t, "size")
		text, pipe := strings.CutSuffix(size, " npt")
		z, _ := units.ParseSize(text)
		if pipe {
			p.NPTIn = z
		} else {
			p.HoseIn = z
		}
		c.Ports = append(c.Ports, p)
	}
	return v, c
}

// leastVacuumCost tries every way of giving each user a port or none. It states the
// rules of the trade anew, in words of the issue and not of the code under test.
func leastVacuumCost(v *catalog.Vehicle, c *catalog.Carburetor) int {
	type user struct {
		name, signal string
		bores        []string
	}
	var users []user
	add := func(has bool, name, signal string, bores ...string) {
		if has {
			users = append(users, user{name, signal, bores})
		}
	}
	a := v.Accessories
	add(a.PowerBrakes, "booster", "manifold", "3/8", "11/32")
	add(a.PCV, "pcv", "manifold", "3/8", "5/16")
	add(v.Transmission.Downshift == catalog.VacuumModulator, "modulator", "manifold", "3/16", "5/32")
	add(v.Ignition.Advance != catalog.AdvanceNone, "advance", string(v.Ignition.Advance), "3/16", "5/32")
	add(a.EGR != nil && *a.EGR, "egr", "ported", "3/16", "5/32")
	add(a.CanisterPurge != nil && *a.CanisterPurge, "purge", "ported", "1/4", "3/16")
	add(a.CruiseControl != nil && *a.CruiseControl, "cruise", "manifold", "3/16", "5/32", "1/4")
	big := func(p catalog.Port) bool { return p.Large || p.NPTIn.Inches() >= 0.25 }
	there := func(loc catalog.PortLocation) bool {
		return slices.ContainsFunc(c.Ports, func(p catalog.Port) bool { return big(p) && p.Signal == "manifold" && p.Location == loc })
	}
	judge := func(port []int) int {
		cost := 0
		for i, p := range c.Ports {
			var on []user
			for j, k := range port {
				if k == i {
					on = append(on, users[j])
				}
			}
			if len(on) == 0 {
				cost++
				continue
			}
			var names []string
			for _, u := range on {
				names = append(names, u.name)
				if u.signal != string(p.Signal) {
					return math.MaxInt
				}
			}
			is := func(name string) bool { return slices.Contains(names, name) }
			heavy := is("pcv") || is("booster")
			if heavy && (!big(p) || len(on) > 1) || is("modulator") && is("advance") {
				return math.MaxInt
			}
			bore := on[0].bores[0]
			if p.NPTIn.IsZero() {
				if slices.Contains(on[0].bores, p.HoseIn.String()) {
					bore = p.HoseIn.String()
				} else {
					cost += 10
				}
			} else {
				cost += 5
			}
			if big(p) && !heavy {
				cost += 20
			}
			if is("pcv") && there(catalog.LocationFront) && p.Location != catalog.LocationFront {
				cost += 100
			}
			if is("booster") && there(catalog.LocationRear) && p.Location != catalog.LocationRear {
				cost += 100
			}
			for _, u := range on[1:] {
				cost += 30
				if !slices.Contains(u.bores, bore) {
					cost += 5
				}
			}
		}
		for j, k := range port {
			if k < 0 {
				cost += 1_000_000 << (len(users) - 1 - j) // a PCV valve is not given up for any number of lesser users
			}
		}
		return cost
	}
	port := make([]int, len(users))
	best := math.MaxInt
	var try func(j int)
	try = func(j int) {
		if j == len(users) {
			best = min(best, judge(port))
			return
		}
		for k := -1; k < len(c.Ports); k++ {
			port[j] = k
			try(j + 1)
		}
	}
	try(0)
	return best
}

func TestPropertyVacuumIsTheLeastOfAllAssignments(t *testing.T) {
	check(t, 2, func(t *rapid.T) {
		v, c := drawVacuum(t)
		plan := Vacuum(v, c)
		if want := leastVacuumCost(v, c); plan.Cost != want {
			t.Fatalf("cost %d, full permutation finds %d: %+v", plan.Cost, want, plan)
		}
	})
}

// Whatever the cost, the hardware must match the uses: every user once, every port
// closed or joined by what its sizes take.
func TestPropertyVacuumHardwareMatchesThePorts(t *testing.T) {
	check(t, 5, func(t *rapid.T) {
		v, c := drawVacuum(t)
		plan := Vacuum(v, c)
		seen := map[string]int{}
		closed, tees, nipples, hoses := 0, 0, 0, map[string]units.Size{}
		for _, h := range plan.Hoses {
			hoses[h.Use] = h.Bore
			if h.LengthIn <= 0 {
				t.Fatalf("hose without length: %+v", h)
			}
		}
		reducers := 0
		for i, use := range plan.Ports {
			if use.Port != &c.Ports[i] {
				t.Fatal("ports are not in the carburetor's order")
			}
			if use.Text == "" || use.Size.IsZero() {
				t.Fatalf("port without words or size: %+v", use)
			}
			switch use.Use {
			case "cap", "plug":
				closed++
				if (use.Use == "plug") != !use.Port.NPTIn.IsZero() {
					t.Fatalf("%s closes %+v", use.Use, use.Port)
				}
				continue
			}
			for _, u := range append([]string{use.Use}, use.Shared...) {
				seen[u]++
			}
			tees += len(use.Shared)
			if !use.Port.NPTIn.IsZero() {
				nipples++
			} else if use.Size != use.Port.HoseIn {
				reducers++
			}
			if hoses[use.Use] != use.Size {
				t.Fatalf("hose of %s is %s, at the port %s", use.Use, hoses[use.Use], use.Size)
			}
		}
		for _, u := range plan.Unassigned {
			seen[u.Use]++
			if !strings.HasPrefix(u.Text, "The ") {
				t.Fatalf("no sentence: %q", u.Text)
			}
		}
		for _, u := range vacuumUsers(v) {
			if seen[u.use] != 1 {
				t.Fatalf("%s is served %d times", u.use, seen[u.use])
			}
		}
		count := func(list []SizePair) (n int) {
			for _, p := range list {
				n += p.Count
			}
			return n
		}
		closers := 0
		for _, s := range slices.Concat(plan.Caps, plan.Plugs) {
			closers += s.Count
		}
		if closers != closed || count(plan.Tees) != tees || count(plan.Nipples) != nipples || count(plan.Reducers) != reducers {
			t.Fatalf("hardware does not match the ports: %+v", plan)
		}
		if len(plan.Hoses)+len(plan.Unassigned) != len(vacuumUsers(v)) {
			t.Fatalf("hoses %v", plan.Hoses)
		}
	})
}

// fourBarrel is an invented carburetor with the usual ports of a four-barrel: large
// front nipple, rear pipe thread, and two small nipples.
func fourBarrel() *catalog.Carburetor {
	return &catalog.Carburetor{Ports: []catalog.Port{
		{ID: "F", Location: catalog.LocationFront, HoseIn: units.Inches(3, 8), Signal: catalog.SignalManifold, Large: true},
		{ID: "R", Location: catalog.LocationRear, NPTIn: units.Inches(1, 4), Signal: catalog.SignalManifold, Large: true},
		{ID: "SP", Location: catalog.LocationPassenger, HoseIn: units.Inches(3, 16), Signal: catalog.SignalPorted},
		{ID: "SM", Location: catalog.LocationDriver, HoseIn: units.Inches(3, 16), Signal: catalog.SignalManifold},
	}}
}

// Source: common practice of the trade, no published source.
func TestVacuumFollowsTheTrade(t *testing.T) {
	use := func(plan VacuumPlan, id string) string {
		for _, p := range plan.Ports {
			if p.Port.ID == id {
				return strings.Join(append([]string{p.Use}, p.Shared...), "+")
			}
		}
		return ""
	}
	for _, c := range []struct {
		fact string
		with func(*catalog.Vehicle)
		want string // uses of F R SP SM
	}{
		{"advance usually to the ported connection", func(v *catalog.Vehicle) { v.Ignition.Advance = catalog.AdvancePorted }, "cap plug advance cap"},
		{"advance on manifold vacuum where the vehicle says so", func(v *catalog.Vehicle) { v.Ignition.Advance = catalog.AdvanceManifold }, "cap plug cap advance"},
		{"modulator to manifold vacuum", func(v *catalog.Vehicle) { v.Transmission.Downshift = catalog.VacuumModulator }, "cap plug cap modulator"},
		{"PCV to the large front port, the unused rear one is plugged", func(v *catalog.Vehicle) { v.Accessories.PCV = true }, "pcv plug cap cap"},
		{"booster to the large rear port", func(v *catalog.Vehicle) { v.Accessories.PowerBrakes = true }, "cap booster cap cap"},
		{"the usual street vehicle", func(v *catalog.Vehicle) {
			v.Accessories.PCV, v.Accessories.PowerBrakes = true, true
			v.Ignition.Advance, v.Transmission.Downshift = catalog.AdvancePorted, catalog.VacuumModulator
		}, "pcv booster advance modulator"},
		{"modulator and manifold advance do not share", func(v *catalog.Vehicle) {
			v.Accessories.PCV = true
			v.Ignition.Advance, v.Transmission.Downshift = catalog.AdvanceManifold, catalog.VacuumModulator
		}, "pcv advance cap modulator"},
		{"EGR and ported advance share by a tee", func(v *catalog.Vehicle) {
			v.Accessories.EGR, v.Ignition.Advance = new(true), catalog.AdvancePorted
		}, "cap plug advance+egr cap"},
		{"cruise control does not take a large port while a tee will do", func(v *catalog.Vehicle) {
			v.Accessories.PCV, v.Accessories.PowerBrakes, v.Accessories.CruiseControl = true, true, new(true)
			v.Transmission.Downshift = catalog.VacuumModulator
		}, "pcv booster cap modulator+cruise"},
	} {
		v := &catalog.Vehicle{Ignition: catalog.Ignition{Advance: catalog.AdvanceNone}}
		c.with(v)
		plan := Vacuum(v, fourBarrel())
		got := strings.Join([]string{use(plan, "F"), use(plan, "R"), use(plan, "SP"), use(plan, "SM")}, " ")
		if got != c.want {
			t.Errorf("%s: F R SP SM serve %s, want %s", c.fact, got, c.want)
		}
		if len(plan.Unassigned) > 0 {
			t.Errorf("%s: %v", c.fact, plan.Unassigned)
		}
	}
}

// A carburetor whose one port is large serves small users there through tees, unless PCV or
// booster takes it. Source: common practice of the trade, no published source.
func TestVacuumLargePortTakesTeesOfSmallUsers(t *testing.T) {
	c := &catalog.Carburetor{Ports: []catalog.Port{{ID: "F", Location: catalog.LocationFront, HoseIn: units.Inches(3, 8), Signal: catalog.SignalManifold, Large: true}}}
	v := &catalog.Vehicle{Ignition: catalog.Ignition{Advance: catalog.AdvanceManifold}}
	v.Accessories.CruiseControl = new(true)
	plan := Vacuum(v, c)
	if got, want := fmt.Sprint(plan.Hoses, plan.Tees, plan.Reducers, plan.Unassigned), "[{advance 3/16 24} {cruise 3/16 36}] [{3/16 3/16 1}] [{3/8 3/16 1}] []"; got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
	v.Accessories.PCV = true
	if plan = Vacuum(v, c); plan.Ports[0].Use != "pcv" || len(plan.Ports[0].Shared) > 0 || len(plan.Unassigned) != 2 {
		t.Errorf("beside the PCV valve: %+v", plan)
	}
}

func TestVacuumHardwareOfTheUsualVehicle(t *testing.T) {
	v := &catalog.Vehicle{Ignition: catalog.Ignition{Advance: catalog.AdvancePorted}}
	v.Accessories = catalog.Accessories{PowerBrakes: true, CanisterPurge: new(true)}
	plan := Vacuum(v, fourBarrel())
	got := fmt.Sprint(plan.Hoses, plan.Caps, plan.Plugs, plan.Nipples, plan.Tees, plan.Reducers)
	want := "[{booster 3/8 36} {advance 3/16 24} {purge 3/16 36}] [{3/16 1} {3/8 1}] [] [{1/4 3/8 1}] [{3/16 3/16 1}] []"
	if got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
	if text, want := plan.Ports[1].Text, "R, large rear port, manifold vacuum: 3/8 in hose to the brake booster, on a nipple in the 1/4 in pipe thread"; text != want {
		t.Errorf("%s\nwant %s", text, want)
	}
}

func TestVacuumSaysWhoHasNoPort(t *testing.T) {
	v := &catalog.Vehicle{Ignition: catalog.Ignition{Advance: catalog.AdvanceManifold}, Transmission: catalog.Transmission{Downshift: catalog.VacuumModulator}}
	v.Accessories = catalog.Accessories{PowerBrakes: true, PCV: true, EGR: new(true)}
	c := &catalog.Carburetor{Ports: []catalog.Port{
		{ID: "B", Location: catalog.LocationFront, HoseIn: units.Inches(3, 8), Signal: catalog.SignalManifold, Large: true},
		{ID: "S", Location: catalog.LocationDriver, HoseIn: units.Inches(3, 16), Signal: catalog.SignalManifold},
	}}
	var got []string
	for _, u := range Vacuum(v, c).Unassigned {
		got = append(got, u.Use+": "+u.Text)
	}
	want := []string{
		"pcv: The PCV valve has no port: it needs a large manifold-vacuum port of its own, and B serves booster.",
		"advance: The distributor advance has no port: it needs a manifold-vacuum port, and B serves booster, S serves modulator and cannot take another.",
		"egr: The EGR valve has no port: it needs a ported-vacuum port, and the carburetor has none.",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}
