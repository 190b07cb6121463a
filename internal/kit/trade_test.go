package kit_test

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"onetrip/internal/calc"
	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/units"
)

// The facts of the trade on whole kits of the demo catalogue. Unless a test names
// another source, each fact is common practice, no source.

// usual is an ordinary V8 that takes a square-bore carburetor of 500 cfm, changed.
func usual(change ...func(v *catalog.Vehicle)) *catalog.Vehicle {
	no, stud, quarter := false, 1.5, units.Thread{Major: units.Inches(1, 4), PerInch: 20}
	mount := units.Thread{Major: units.Inches(5, 16), PerInch: 18}
	v := &catalog.Vehicle{
		Engine:       catalog.Engine{DisplacementIn3: 347, Cylinders: 8, Tune: catalog.TuneStock},
		Intake:       catalog.Intake{Flange: catalog.SquareBore, HoodClearanceIn: 8, StudLengthIn: &stud, StudThread: &mount},
		Throttle:     catalog.Throttle{Kind: catalog.ThrottleCable, End: catalog.EndBall, BracketOn: catalog.BracketOnCarburetor, PedalTravelIn: 1.6},
		Transmission: catalog.Transmission{Kind: catalog.Automatic, Downshift: catalog.VacuumModulator},
		Fuel:         catalog.Fuel{Pump: catalog.PumpMechanical, PressurePSI: 5.5, LineODIn: units.Inches(3, 8), LineEnd: catalog.PlainTube, RunLengthIn: 16},
		Ignition:     catalog.Ignition{Advance: catalog.AdvancePorted},
		Accessories:  catalog.Accessories{PowerBrakes: true, PCV: true, CanisterPurge: &no, EGR: &no, CruiseControl: &no},
		Electrical:   catalog.Electrical{NominalVolts: 12, NegativeGround: true, ChokeFeedLengthFt: 4},
		AirCleaner:   catalog.AirCleaner{NeckIn: 5.125, HeightIn: 3, StudThread: &quarter},
		Road:         catalog.Road{OnRoad: true},
	}
	for _, c := range change {
		c(v)
	}
	return v
}

// usualCarburetor is a new square-bore carburetor of 500 cfm with an electric choke.
const usualCarburetor = "QYC-2A07"

// mustResolve answers a request against a snapshot.
func mustResolve(t testing.TB, s *kit.Snapshot, r *kit.Request) *kit.Kit {
	t.Helper()
	k, err := kit.Resolve(context.Background(), s, r)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// swap is the kit of a vehicle and a carburetor of the demo catalogue.
func swap(t testing.TB, v *catalog.Vehicle, carburetor string) *kit.Kit {
	t.Helper()
	return mustResolve(t, demoSnapshot(t), &kit.Request{Vehicle: v, CarburetorSKU: carburetor})
}

func need(k *kit.Kit, id string) (kit.Need, bool) {
	for _, n := range k.Needs {
		if n.ID == id {
			return n, true
		}
	}
	return kit.Need{}, false
}

func wantStatus(t testing.TB, k *kit.Kit, id string, want kit.Status) {
	t.Helper()
	if n, ok := need(k, id); !ok || n.Status != want {
		t.Errorf("%s is %q, wanted %s", id, n.Status, want)
	}
}

func wantNoNeed(t testing.TB, k *kit.Kit, id string) {
	t.Helper()
	if n, ok := need(k, id); ok {
		t.Errorf("%s is %s, wanted no such need", id, n.Status)
	}
}

func check(t testing.TB, k *kit.Kit, id string) kit.Check {
	t.Helper()
	for _, c := range k.Checks {
		if c.ID == id {
			return c
		}
	}
	t.Fatalf("no check %s", id)
	return kit.Check{}
}

func portOf(t testing.TB, k *kit.Kit, use string) kit.PortUse {
	t.Helper()
	for _, p := range k.VacuumPorts {
		if p.Use == use || slices.Contains(p.Shared, use) {
			return p
		}
	}
	t.Fatalf("no port serves %s", use)
	return kit.PortUse{}
}

func TestTradeSizesThatSuitAnEngine(t *testing.T) {
	s := demoSnapshot(t)
	verdicts := func(in3 float64, tune catalog.Tune) map[float64]calc.Verdict {
		sizing, err := kit.Size(s, usual(func(v *catalog.Vehicle) { v.Engine.DisplacementIn3, v.Engine.Tune = in3, tune }))
		if err != nil {
			t.Fatal(err)
		}
		out := map[float64]calc.Verdict{}
		for _, c := range sizing.Carburetors {
			if c.RatedAtInHg == calc.ComparisonInHg { // the sizes named are those of four-barrels
				out[c.FlowCFM] = c.Verdict
			}
		}
		return out
	}
	// "About" a size is within 5 % of it: 475 and 500 are about 500, 575, 600 and 625 about 600.
	about := func(found map[float64]calc.Verdict, flow float64) bool {
		for f, v := range found {
			if math.Abs(f/flow-1) <= 0.05 && v == calc.Suits {
				return true
			}
		}
		return false
	}
	for _, tune := range []catalog.Tune{catalog.TuneStock, catalog.TuneMild} {
		for _, in3 := range []float64{300, 318, 340, 349} {
			if !about(verdicts(in3, tune), 500) {
				t.Errorf("%v in³ %s: nothing of about 500 cfm suits", in3, tune)
			}
		}
		for _, in3 := range []float64{360, 390, 420, 454} {
			if !about(verdicts(in3, tune), 600) {
				t.Errorf("%v in³ %s: nothing of about 600 cfm suits", in3, tune)
			}
		}
		if v := verdicts(302, tune); v[750] != calc.OverCarbureted {
			t.Errorf("750 cfm on 302 in³ %s: %s", tune, v[750])
		}
	}
	if v := verdicts(454, catalog.TuneRace); v[850] != calc.Suits && v[950] != calc.Suits {
		t.Errorf("454 in³ race: 850 is %s, 950 %s", v[850], v[950])
	}
	if v := verdicts(300, catalog.TuneStock); v[850] != calc.OverCarbureted {
		t.Errorf("850 cfm on 300 in³: %s, far too large", v[850])
	}
	if v := verdicts(500, catalog.TuneStock); v[500] != calc.Restrictive {
		t.Errorf("500 cfm on 500 in³: %s, too small", v[500])
	}
}

func TestTradeVacuumPorts(t *testing.T) {
	k := swap(t, usual(), usualCarburetor)
	if p := portOf(t, k, "advance"); p.Signal != catalog.SignalPorted {
		t.Errorf("the distributor advance is on %s vacuum", p.Signal)
	}
	if p := portOf(t, k, "modulator"); p.Signal != catalog.SignalManifold {
		t.Errorf("the modulator is on %s vacuum", p.Signal)
	}
	if p := portOf(t, k, "pcv"); p.Signal != catalog.SignalManifold || p.Location != catalog.LocationFront || p.HoseIn != "3/8" {
		t.Errorf("PCV is on %s, %s, %s in", p.Location, p.Signal, p.HoseIn)
	}
	if p := portOf(t, k, "booster"); p.Location != catalog.LocationRear {
		t.Errorf("the booster is at the %s", p.Location)
	}
	k = swap(t, usual(func(v *catalog.Vehicle) {
		v.Accessories.PowerBrakes, v.Ignition.Advance = false, catalog.AdvanceManifold
		v.Transmission = catalog.Transmission{Kind: catalog.Manual, Downshift: catalog.DownshiftNone}
	}), usualCarburetor)
	if p := portOf(t, k, "advance"); p.Signal != catalog.SignalManifold {
		t.Errorf("a distributor that takes manifold vacuum is on %s vacuum", p.Signal)
	}
	// The rear port is for the booster; unused it is closed with a 1/4 in pipe plug.
	if p := portOf(t, k, "plug"); p.Location != catalog.LocationRear || p.HoseIn != "1/4" {
		t.Errorf("a %s in plug at the %s", p.HoseIn, p.Location)
	}
	wantStatus(t, k, "vacuum.pipe_plug", kit.InTheBox)
}

func TestTradeUnusedSmallPortsAreCapped(t *testing.T) {
	k := swap(t, usual(func(v *catalog.Vehicle) {
		v.Transmission = catalog.Transmission{Kind: catalog.Manual, Downshift: catalog.DownshiftNone}
		v.Ignition.Advance = catalog.AdvanceNone
	}), usualCarburetor)
	caps := 0.0
	for _, p := range k.VacuumPorts {
		if p.Use == "cap" {
			caps++
		}
	}
	if n, _ := need(k, "vacuum.caps"); caps == 0 || n.Quantity != caps {
		t.Errorf("%v caps for %v unused ports", n.Quantity, caps)
	}
}

func TestTradeSpreadManifoldNeedsAPlateUnderASquareCarburetor(t *testing.T) {
	wantNoNeed(t, swap(t, usual(), usualCarburetor), "mount.adapter")
	k := swap(t, usual(func(v *catalog.Vehicle) { v.Intake.Flange, v.Intake.HoodClearanceIn = catalog.SpreadBore, 9.5 }), usualCarburetor)
	wantStatus(t, k, "mount.adapter", kit.Filled)
	if n, _ := need(k, "mount.base_gasket"); n.Quantity != 2 {
		t.Errorf("%v gaskets, wanted one under the plate and one on it", n.Quantity)
	}
	items := []string{}
	for _, layer := range k.Stack {
		items = append(items, layer.Item)
	}
	if plate := slices.Index(items, "adapter plate"); plate < 0 || plate > slices.Index(items, "carburetor") {
		t.Errorf("stack %q", items)
	}
}

func TestTradeIdleStopSolenoidComesNewWithAirConditioning(t *testing.T) {
	for _, c := range []struct {
		air, solenoid bool
		level         kit.Level
	}{{true, true, kit.Recommended}, {false, true, kit.Optional}, {true, false, ""}, {false, false, ""}} {
		k := mustResolve(t, demoSnapshot(t), &kit.Request{
			Vehicle: usual(func(v *catalog.Vehicle) {
				v.Accessories.AirConditioning, v.Accessories.IdleStopSolenoid = c.air, c.solenoid
			}),
			CarburetorSKU: usualCarburetor, Preferences: kit.Preferences{Levels: []kit.Level{kit.Required, kit.Recommended, kit.Optional}},
		})
		if n, _ := need(k, "idle.stop_solenoid"); n.Level != c.level {
			t.Errorf("air conditioning %v, solenoid %v: level %q, wanted %q", c.air, c.solenoid, n.Level, c.level)
		}
	}
}

func TestTradeOneFilterStyleFitsBothLineSizes(t *testing.T) {
	style := func(line units.Size) string {
		k := swap(t, usual(func(v *catalog.Vehicle) { v.Fuel.LineODIn = line }), usualCarburetor)
		n, _ := need(k, "fuel.filter")
		if len(n.Lines) != 1 {
			t.Fatalf("%v line: filter lines %v", line, n.Lines)
		}
		p, err := demoSnapshot(t).Catalog.Part(n.Lines[0])
		if err != nil {
			t.Fatal(err)
		}
		if p.Ends[0] != (catalog.End{Family: catalog.HoseBarb, Size: line}) {
			t.Errorf("%v line: the filter's inlet is %v", line, p.Ends[0])
		}
		name, _, _ := strings.Cut(p.Name, "element")
		return name
	}
	if small, large := style(units.Inches(5, 16)), style(units.Inches(3, 8)); small != large {
		t.Errorf("5/16 line: %q, 3/8 line: %q", small, large)
	}
}

func TestTradeElectricChokeHasAFeedAndAGround(t *testing.T) {
	k := swap(t, usual(), usualCarburetor)
	wantStatus(t, k, "choke.feed_wire", kit.InTheBox)
	wantStatus(t, k, "choke.ground_wire", kit.InTheBox)
	if i := slices.IndexFunc(k.Cautions, func(c kit.Caution) bool { return c.ID == "choke.feed" }); i < 0 || !strings.Contains(k.Cautions[i].Text, "Never from the coil") {
		t.Error("no caution against feeding the choke from the coil")
	}
	k = swap(t, usual(), "QYC-2A03") // the same with a manual choke
	wantNoNeed(t, k, "choke.feed_wire")
	wantNoNeed(t, k, "choke.ground_wire")
}

// Source: ASME B18.2.2, a 5/16 hex nut is 1/2 in across flats, a 3/8 nut 9/16.
func TestTradeWrenchForTheFlangeNuts(t *testing.T) {
	for _, c := range []struct {
		stud units.Thread
		want string
	}{{units.Thread{Major: units.Inches(5, 16), PerInch: 18}, "1/2 in socket"}, {units.Thread{Major: units.Inches(3, 8), PerInch: 16}, "9/16 in socket"}} {
		k := swap(t, usual(func(v *catalog.Vehicle) { v.Intake.StudThread = &c.stud }), usualCarburetor)
		if !slices.ContainsFunc(k.Tools, func(tool kit.Tool) bool { return strings.HasPrefix(tool.Name, c.want) }) {
			t.Errorf("studs %v: no %s among %+v", c.stud, c.want, k.Tools)
		}
	}
}

func TestTradeBoxOfANewCarburetor(t *testing.T) {
	quarter := units.Thread{Major: units.Inches(5, 16), PerInch: 18}
	k := swap(t, usual(func(v *catalog.Vehicle) {
		v.Transmission = catalog.Transmission{Kind: catalog.Manual, Downshift: catalog.DownshiftNone}
		v.Accessories.PowerBrakes = false
		v.AirCleaner.StudThread = &quarter
	}), usualCarburetor)
	for _, id := range []string{"mount.base_gasket", "air.gasket", "vacuum.caps", "vacuum.pipe_plug", "choke.feed_wire", "choke.ground_wire", "throttle.end"} {
		wantStatus(t, k, id, kit.InTheBox)
	}
	wantStatus(t, k, "air.stud", kit.Filled) // the one in the box has the carburetor's thread at both ends
	stud := slices.ContainsFunc(k.Carburetor.InBox, func(in catalog.InBox) bool {
		p, err := demoSnapshot(t).Catalog.Part(in.SKU)
		return err == nil && p.Kind == "cleaner_stud"
	})
	if !stud {
		t.Error("no cleaner stud in the box")
	}
}

// Source: 49 CFR 571.124 S5.1: two sources of energy, each able to close the throttle.
func TestTradeTwoReturnSprings(t *testing.T) {
	for _, kind := range []catalog.ThrottleKind{catalog.ThrottleCable, catalog.ThrottleRod} {
		k := swap(t, usual(func(v *catalog.Vehicle) { v.Throttle.Kind = kind }), usualCarburetor)
		n, _ := need(k, "throttle.return_springs")
		if n.Level != kit.Required || n.Status != kit.Filled {
			t.Fatalf("%s: springs are %s, %s", kind, n.Level, n.Status)
		}
		if n.Because[0].Source != "49 CFR 571.124 S5.1" {
			t.Errorf("source %q", n.Because[0].Source)
		}
		for _, p := range partsOf(t, k, n.Lines, "return_spring_set") {
			if p.Num("springs") < 2 {
				t.Errorf("%s: %s has %v springs", kind, p.SKU, p.Num("springs"))
			}
		}
	}
}

// partsOf are the parts of a kind in lines, those in bundles too.
func partsOf(t testing.TB, k *kit.Kit, skus []string, kind catalog.Kind) []*catalog.Part {
	t.Helper()
	var out []*catalog.Part
	add := func(sku string) {
		if p, err := demoSnapshot(t).Catalog.Part(sku); err == nil && p.Kind == kind {
			out = append(out, p)
		}
	}
	for _, l := range k.Lines {
		if !slices.Contains(skus, l.SKU) {
			continue
		}
		add(l.SKU)
		for _, in := range l.Contents {
			add(in.SKU)
		}
	}
	if len(out) == 0 {
		t.Fatalf("no %s in %v", kind, skus)
	}
	return out
}

// A throttle-valve cable that does not travel its full way at wide open leaves line
// pressure low: that blocks.
func TestTradeThrottleValveCableNeedsItsFullTravel(t *testing.T) {
	automatic := func(travel float64) *catalog.Vehicle {
		return usual(func(v *catalog.Vehicle) {
			v.Transmission = catalog.Transmission{Kind: catalog.Automatic, Downshift: catalog.ThrottleValveCable, CableTravelIn: &travel}
		})
	}
	// The lever of 1.12 in swings 80 degrees: 2 * 1.12 * sin 40 = 1.4398 in.
	own := 2 * 1.12 * math.Sin(40*math.Pi/180)
	k := swap(t, automatic(own), usualCarburetor)
	wantNoNeed(t, k, "transmission.tv_geometry")
	if c := check(t, k, "transmission.cable_travel"); c.Outcome != kit.Pass || math.Abs(c.Value-own) > 1e-3 {
		t.Errorf("%s: %v", c.Outcome, c.Value)
	}
	k = swap(t, automatic(1.56), usualCarburetor)
	wantStatus(t, k, "transmission.tv_geometry", kit.Filled)
	if c := check(t, k, "transmission.cable_travel"); c.Outcome != kit.Pass {
		t.Errorf("with the lever: %s, %s", c.Outcome, c.Text)
	}
	k = swap(t, automatic(5), usualCarburetor) // nobody makes that
	i := slices.IndexFunc(k.Missing, func(m kit.Missing) bool { return m.Need == "transmission.tv_geometry" })
	if i < 0 || k.Missing[i].Severity != kit.Blocking || k.Verdict != kit.Incomplete {
		t.Errorf("verdict %s, missing %+v", k.Verdict, k.Missing)
	}
	if !slices.ContainsFunc(k.Cautions, func(c kit.Caution) bool { return c.ID == "transmission.tv_pressure" }) {
		t.Error("no caution about line pressure")
	}
}

// A lever is made for one travel of the cable: while that is not known none is bought, the kit
// is incomplete and asks. A lever at hand is the owner's to judge.
func TestNoGeometryLeverForACableOfUnknownTravel(t *testing.T) {
	r := &kit.Request{CarburetorSKU: usualCarburetor, Vehicle: usual(func(v *catalog.Vehicle) {
		v.Transmission = catalog.Transmission{Kind: catalog.Automatic, Downshift: catalog.ThrottleValveCable}
	})}
	k := mustResolve(t, demoSnapshot(t), r)
	wantStatus(t, k, "transmission.tv_geometry", kit.NotThere)
	if n, _ := need(k, "transmission.tv_geometry"); len(n.Lines) != 0 || k.Verdict != kit.Incomplete {
		t.Errorf("%s, bought %v", k.Verdict, n.Lines)
	}
	for _, l := range k.Lines {
		if slices.Contains(l.Fills, "transmission.tv_geometry") {
			t.Errorf("%s, %s, is a lever picked by nothing", l.SKU, l.Name)
		}
	}
	i := slices.IndexFunc(k.Missing, func(m kit.Missing) bool { return m.Need == "transmission.tv_geometry" })
	if i < 0 || k.Missing[i].Severity != kit.Blocking || len(k.Missing[i].Nearest) != 0 || !strings.Contains(k.Missing[i].Reason, "measure the cable's full travel") {
		t.Errorf("missing: %+v", k.Missing)
	}
	if !slices.ContainsFunc(k.Questions, func(q kit.Question) bool { return q.Field == "/vehicle/transmission/cable_travel_in" }) {
		t.Errorf("nobody asks for the travel: %+v", k.Questions)
	}
	r.OnHand = []kit.OnHand{{Need: "transmission.tv_geometry"}}
	wantStatus(t, mustResolve(t, demoSnapshot(t), r), "transmission.tv_geometry", kit.OnTheShelf)
}

// A pump above what the float valve holds gets a regulator within it, after the filter.
func TestTradeRegulatorStandsBeforeTheFloatValve(t *testing.T) {
	for _, psi := range []float64{6, 7, 14} {
		k := swap(t, usual(func(v *catalog.Vehicle) { v.Fuel.PressurePSI = psi }), usualCarburetor)
		if psi <= k.Carburetor.MaxFuelPSI {
			wantNoNeed(t, k, "fuel.pressure_regulator")
			continue
		}
		wantStatus(t, k, "fuel.pressure_regulator", kit.Filled)
		n, _ := need(k, "fuel.pressure_regulator")
		p := partsOf(t, k, n.Lines, "pressure_regulator")[0]
		if p.Num("outlet_max_psi") > k.Carburetor.MaxFuelPSI || p.Num("max_inlet_psi") < psi {
			t.Errorf("%v psi: %s gives up to %v psi from at most %v", psi, p.SKU, p.Num("outlet_max_psi"), p.Num("max_inlet_psi"))
		}
		var kinds []string
		for _, step := range k.FuelPath {
			if p, err := demoSnapshot(t).Catalog.Part(step.SKU); err == nil {
				kinds = append(kinds, string(p.Kind))
			}
		}
		if filter := slices.Index(kinds, "fuel_filter"); filter < 0 || filter > slices.Index(kinds, "pressure_regulator") {
			t.Errorf("%v psi: path %s", psi, fmt.Sprint(kinds))
		}
	}
}

// Linkages that can hold the throttle or burn clutches, and brakes without enough vacuum, are
// cautioned about.
func TestWhatHurtsIsCautionedAbout(t *testing.T) {
	weak := 12.0
	for _, c := range []struct {
		id     string // "" for neither of those below
		change func(v *catalog.Vehicle)
	}{
		{"transmission.kickdown", func(v *catalog.Vehicle) { v.Transmission.Downshift = catalog.KickdownRod }},
		{"transmission.kickdown", func(v *catalog.Vehicle) { v.Transmission.Downshift = catalog.DetentCable }},
		{"transmission.tv_pressure", func(v *catalog.Vehicle) { v.Transmission.Downshift = catalog.ThrottleValveCable }},
		{"", func(v *catalog.Vehicle) { v.Transmission.Downshift = catalog.ElectricSwitch }},
		{"", func(v *catalog.Vehicle) { v.Accessories.PowerBrakes = true }},
		{"brakes.low_vacuum", func(v *catalog.Vehicle) { v.Accessories.PowerBrakes, v.Engine.IdleVacuumInHg = true, &weak }},
		{"brakes.low_vacuum", func(v *catalog.Vehicle) { v.Accessories.PowerBrakes, v.Engine.Tune = true, catalog.TuneRace }},
	} {
		k := swap(t, usual(c.change), usualCarburetor)
		for _, id := range []string{"transmission.kickdown", "transmission.tv_pressure", "brakes.low_vacuum"} {
			if there := slices.ContainsFunc(k.Cautions, func(c kit.Caution) bool { return c.ID == id }); there != (id == c.id) {
				t.Errorf("%s with brakes %v: caution %s: %v", k.Vehicle.Transmission.Downshift, k.Vehicle.Accessories.PowerBrakes, id, there)
			}
		}
	}
}

// A lever whose radius nobody knows is not said to move the cable by nothing.
func TestUnknownLeverMovesNoCable(t *testing.T) {
	cable := 1.38
	k := swap(t, usual(func(v *catalog.Vehicle) {
		v.Transmission.Downshift, v.Transmission.CableTravelIn = catalog.ThrottleValveCable, &cable
	}), "QYC-2A95")
	n, _ := need(k, "transmission.tv_geometry")
	if len(n.Because) != 1 || strings.Contains(n.Because[0].Text, "moves it") || !strings.Contains(n.Because[0].Text, "no lever for it is known") {
		t.Errorf("%+v", n)
	}
}

// A hose matters as much without a port as with one: brakes without vacuum leave a kit incomplete,
// cruise control does not.
func TestHoseWithoutAPortMattersAsMuchAsWithOne(t *testing.T) {
	s, yes := demoSnapshot(t), true
	many := func(v *catalog.Vehicle) { v.Accessories.EGR, v.Accessories.CanisterPurge = &yes, &yes }
	levels, seen, alone := map[string]kit.Level{}, map[string]map[bool]bool{}, 0 // by need, whether it is missing
	severities := map[string]string{}
	for _, r := range s.Rules.Rules() {
		severities[r.Need] = r.Severity
	}
	for _, users := range []func(v *catalog.Vehicle){
		many,
		func(v *catalog.Vehicle) { many(v); v.Ignition.Advance = catalog.AdvanceManifold },
		func(v *catalog.Vehicle) { v.Transmission.Downshift = catalog.DownshiftNone },
	} {
		for _, c := range s.Catalog.Carburetors() {
			k := swap(t, usual(users, func(v *catalog.Vehicle) {
				v.Intake.Flange, v.AirCleaner.NeckIn, v.Accessories.CruiseControl = c.Flange, c.NeckIn, &yes
			}), c.SKU)
			for _, n := range k.Needs {
				if !strings.HasSuffix(n.ID, "_hose") || n.ID == "fuel.hose" {
					continue
				}
				if seen[n.ID] == nil {
					levels[n.ID], seen[n.ID] = n.Level, map[bool]bool{}
				}
				if seen[n.ID][n.Status == kit.NotThere] = true; levels[n.ID] != n.Level {
					t.Errorf("%s is %s with one carburetor and %s with %s", n.ID, levels[n.ID], n.Level, c.SKU)
				}
			}
			for _, m := range k.Missing {
				if _, hose := levels[m.Need]; hose && string(m.Severity) != severities[m.Need] {
					t.Errorf("%s is %s to lack without a port, %s with one", m.Need, m.Severity, severities[m.Need])
				}
			}
			if len(k.Missing) == 1 && k.Missing[0].Need == "vacuum.cruise_hose" {
				if alone++; k.Verdict != kit.CompleteWithWarnings {
					t.Errorf("%s: without cruise control alone the kit is %s", c.SKU, k.Verdict)
				}
			}
		}
	}
	for _, need := range []string{"vacuum.pcv_hose", "vacuum.advance_hose", "vacuum.purge_hose", "vacuum.egr_hose", "vacuum.cruise_hose", "transmission.modulator_hose"} {
		if len(seen[need]) < 2 {
			t.Errorf("%s is there %v of with and without a port", need, seen[need])
		}
	}
	if alone == 0 {
		t.Error("no kit lacks a port for cruise control alone")
	}
}

// A stack that fits to the last digit of the clearance passes the check of its height too.
func TestStackThatJustFitsPassesItsCheck(t *testing.T) {
	s := demoSnapshot(t)
	stacks := 0
	carburetors := s.Catalog.Carburetors()
	for i, v := range s.Catalog.Vehicles() {
		for n := i % 6; n < len(carburetors); n += 6 {
			c := carburetors[n]
			k := swap(t, v, c.SKU)
			if len(k.Stack) == 0 {
				continue
			}
			total := 0.0
			for _, item := range k.Stack {
				total += item.HeightIn
			}
			low := *v
			low.Intake.HoodClearanceIn = math.Round((total+0.5)*1e4) / 1e4
			if k = swap(t, &low, c.SKU); len(k.Stack) == 0 {
				continue
			}
			stacks++
			if height := check(t, k, "stack.height"); height.Outcome != kit.Pass {
				t.Errorf("%s on %s: %s, %v in under %v in: %s", c.SKU, v.ID, height.Outcome, height.Value, low.Intake.HoodClearanceIn, height.Text)
			}
		}
	}
	if stacks < 100 {
		t.Errorf("only %d stacks", stacks)
	}
}

// withNumber is a form with another value of an attribute.
func withNumber(f *catalog.Form, name string, value float64) *catalog.Form {
	out := *f
	out.Attributes = slices.Clone(f.Attributes)
	for i := range out.Attributes {
		if out.Attributes[i].Name == name {
			out.Attributes[i].Value.Num = value
		}
	}
	return &out
}

// A float valve that holds little wants less than 3 psi at the inlet: a pump that gives so much
// is left in peace, one that gives more gets a regulator made for so little.
func TestTradeLowPressureCarburetor(t *testing.T) {
	data := kittest.Data(t)
	for _, c := range data.Carburetors {
		c.MaxFuelPSI = 2.5
	}
	regulator := partOf(t, data, "REZ-2A43") // from 1 psi on
	regulator.Form = withNumber(regulator.Form, "outlet_max_psi", 2.25)
	s := kittest.Open(t, data)
	for _, psi := range []float64{2.4, 5} {
		k := mustResolve(t, s, &kit.Request{CarburetorSKU: usualCarburetor, Vehicle: usual(func(v *catalog.Vehicle) { v.Fuel.PressurePSI, v.Engine.DisplacementIn3 = psi, 250 })})
		wantNoNeed(t, k, "fuel.pump")
		if c := check(t, k, "fuel.delivered_pressure"); c.Outcome != kit.Pass || c.Value > 2.5 || *c.Limit.AtLeast > *c.Limit.AtMost {
			t.Errorf("%v psi: %s, %v psi delivered of %v to %v", psi, c.Outcome, c.Value, *c.Limit.AtLeast, *c.Limit.AtMost)
		}
		if n, there := need(k, "fuel.pressure_regulator"); there != (psi > 2.5) || there && !slices.Equal(n.Lines, []string{regulator.SKU}) {
			t.Errorf("%v psi: regulator %+v", psi, n)
		}
	}
}

// Studs stand in the manifold: a small two-bore carburetor on a large two-bore one takes four.
func TestTradeStudsAreThoseOfTheManifold(t *testing.T) {
	data := kittest.Data(t)
	for _, p := range data.Parts {
		if p.Kind == "stud_set" && p.Finish != catalog.FinishBright { // only bright sets have four
			p.Form = withNumber(p.Form, "studs", 3)
		}
	}
	s := kittest.Open(t, data)
	for flange, least := range map[catalog.Flange]float64{catalog.TwoBoreSmall: 3, catalog.TwoBoreLarge: 4} {
		k := mustResolve(t, s, &kit.Request{CarburetorSKU: "QYC-2B87", Vehicle: usual(func(v *catalog.Vehicle) {
			v.Intake.Flange, v.Intake.StudLengthIn, v.AirCleaner.NeckIn = flange, nil, 2.3125
		})})
		n, _ := need(k, "mount.studs")
		if len(n.Lines) != 1 {
			t.Fatalf("%s: studs %+v", flange, n)
		}
		if p, err := s.Catalog.Part(n.Lines[0]); err != nil || p.Num("studs") != least {
			t.Errorf("%s: %s has %v studs, %v", flange, n.Lines[0], p.Num("studs"), err)
		}
	}
}
