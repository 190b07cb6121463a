package kit_test

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/rules"
	"onetrip/internal/units"
)

var allLevels = []kit.Level{kit.Required, kit.Recommended, kit.Optional}

// A cleaner made for another neck goes on an adapter, or another cleaner comes in its
// place; it never stands on the carburetor as it is.
func TestCleanerOfAnotherNeckNeedsAnAdapter(t *testing.T) {
	s := demoSnapshot(t)
	for _, hood := range []float64{5.5, 6.5, 7, 7.5, 8, 9, 10} {
		for _, flange := range []catalog.Flange{catalog.SquareBore, catalog.SpreadBore} {
			k := mustResolve(t, s, &kit.Request{CarburetorSKU: usualCarburetor, Vehicle: usual(func(v *catalog.Vehicle) {
				v.AirCleaner.NeckIn, v.Intake.Flange, v.Intake.HoodClearanceIn = 4.25, flange, hood
			})})
			var items []string
			for _, layer := range k.Stack {
				items = append(items, layer.Item)
			}
			if slices.Contains(items, "air cleaner") && !slices.Contains(items, "neck adapter") {
				t.Errorf("%s, %v in of hood: %q", flange, hood, items)
			}
		}
	}
}

// The box of a small two-barrel holds one base gasket: enough by itself, one short
// with a spacer.
func TestBoxWithOneGasketLeavesOneToBuyForASpacer(t *testing.T) {
	const twoBarrel = "QYC-2B87"
	v := usual(func(v *catalog.Vehicle) {
		v.Intake.Flange, v.AirCleaner.NeckIn, v.Intake.HoodClearanceIn = catalog.TwoBoreSmall, 2.3125, 8.25
	})
	request := &kit.Request{Vehicle: v, CarburetorSKU: twoBarrel, Preferences: kit.Preferences{Levels: allLevels}}
	k := mustResolve(t, demoSnapshot(t), request)
	wantStatus(t, k, "mount.spacer", kit.Filled)
	n, _ := need(k, "mount.base_gasket")
	if n.Status != kit.Filled || n.Quantity != 2 {
		t.Fatalf("with a spacer: %v gaskets, %s", n.Quantity, n.Status)
	}
	for _, l := range k.Lines {
		if slices.Contains(n.Lines, l.SKU) && l.Quantity != 1 {
			t.Errorf("%d packs of %s, one gasket is in the box", l.Quantity, l.SKU)
		}
	}
	request.Preferences.Declined = []string{"mount.spacer"}
	k = mustResolve(t, demoSnapshot(t), request)
	if n, _ := need(k, "mount.base_gasket"); n.Status != kit.InTheBox || n.Quantity != 1 {
		t.Errorf("without: %v gaskets, %s", n.Quantity, n.Status)
	}
}

// Caps by SKU in the box cover what they fit; the rest is bought.
func TestBoxCoversPartOfTheCaps(t *testing.T) {
	v := usual(func(v *catalog.Vehicle) {
		v.Transmission = catalog.Transmission{Kind: catalog.Manual, Downshift: catalog.DownshiftNone}
		v.Ignition.Advance = catalog.AdvanceNone
	})
	const carburetor = "QYC-2B31" // one cap of 3/16 in the box
	k := mustResolve(t, demoSnapshot(t), &kit.Request{Vehicle: v, CarburetorSKU: carburetor})
	wantStatus(t, k, "vacuum.caps", kit.InTheBox)
	v.Accessories.PCV = false // the large front port must be closed too
	k = mustResolve(t, demoSnapshot(t), &kit.Request{Vehicle: v, CarburetorSKU: carburetor})
	n, _ := need(k, "vacuum.caps")
	if n.Status != kit.Filled || n.Quantity != 2 {
		t.Fatalf("%v caps, %s", n.Quantity, n.Status)
	}
	for _, p := range partsOf(t, k, n.Lines, "vacuum_cap") {
		if p.Text("hose_in") != "3/8" {
			t.Errorf("bought %s, the box holds 3/16", p.Name)
		}
	}
	// Both on hand by need: nothing to buy.
	k = mustResolve(t, demoSnapshot(t), &kit.Request{Vehicle: v, CarburetorSKU: carburetor, OnHand: []kit.OnHand{{Need: "vacuum.caps"}}})
	wantStatus(t, k, "vacuum.caps", kit.OnTheShelf)
}

func TestLevelsDeclinedAndShowAll(t *testing.T) {
	s := demoSnapshot(t)
	resolve := func(p kit.Preferences) *kit.Kit {
		return mustResolve(t, s, &kit.Request{Vehicle: usual(), CarburetorSKU: usualCarburetor, Preferences: p})
	}
	byDefault := resolve(kit.Preferences{})
	wantStatus(t, byDefault, "shop.fender_cover", kit.NotAsked) // optional
	wantStatus(t, byDefault, "shop.thread_sealant", kit.Filled) // recommended
	if k := resolve(kit.Preferences{Levels: allLevels}); k.Totals.All.AmountMinor <= byDefault.Totals.All.AmountMinor {
		t.Errorf("all levels cost %v, the usual two %v", k.Totals.All, byDefault.Totals.All)
	} else {
		wantStatus(t, k, "shop.fender_cover", kit.Filled)
	}
	required := resolve(kit.Preferences{Levels: []kit.Level{kit.Required}})
	wantStatus(t, required, "shop.thread_sealant", kit.NotAsked)
	if required.Totals.All != required.Totals.Required || required.Totals.Recommended.AmountMinor != 0 {
		t.Errorf("required alone: %+v", required.Totals)
	}
	declined := resolve(kit.Preferences{Declined: []string{"vacuum.pcv_hose"}})
	wantStatus(t, declined, "vacuum.pcv_hose", kit.Declined)
	if n, _ := need(declined, "vacuum.pcv_hose"); len(n.Lines) != 0 {
		t.Errorf("declined, and bought: %v", n.Lines)
	}
	low := func(v *catalog.Vehicle) { v.Intake.HoodClearanceIn = 7.3 } // own studs and cleaner suffice
	quiet := mustResolve(t, s, &kit.Request{Vehicle: usual(low), CarburetorSKU: usualCarburetor})
	all := mustResolve(t, s, &kit.Request{Vehicle: usual(low), CarburetorSKU: usualCarburetor, Preferences: kit.Preferences{ShowAll: true}})
	if slices.ContainsFunc(quiet.Needs, func(n kit.Need) bool { return n.Status == kit.NotNeeded }) {
		t.Error("needs that are not needed are listed unasked")
	}
	wantStatus(t, all, "fuel.fittings", kit.NotNeeded) // hose goes over the plain tube
	if len(all.Lines) != len(quiet.Lines) || all.Totals != quiet.Totals {
		t.Error("listing more needs changed the lines")
	}
}

// What a check of pressure reckons with is what the regulator chosen lets through.
func TestDeliveredPressureIsThatOfTheRegulator(t *testing.T) {
	k := swap(t, usual(func(v *catalog.Vehicle) { v.Fuel.PressurePSI = 14 }), usualCarburetor)
	n, _ := need(k, "fuel.pressure_regulator")
	outlet := partsOf(t, k, n.Lines, "pressure_regulator")[0].Num("outlet_max_psi")
	loss := check(t, k, "fuel.line_loss").Value
	want := math.Min(outlet, k.Carburetor.MaxFuelPSI) - loss
	if c := check(t, k, "fuel.delivered_pressure"); math.Abs(c.Value-want) > 0.01 {
		t.Errorf("%v psi delivered, the regulator lets %v through and the line takes %v", c.Value, outlet, loss)
	}
}

// The cheapest set whose jets reach the mixture is chosen, not the cheapest of the series.
func TestMeteringSetPutsTheMixtureRight(t *testing.T) {
	s := demoSnapshot(t)
	for _, c := range s.Catalog.Carburetors() {
		if c.Discontinued {
			continue
		}
		for _, ft := range []float64{3000, 5600, 9000} {
			k := mustResolve(t, s, &kit.Request{CarburetorSKU: c.SKU, Vehicle: usual(func(v *catalog.Vehicle) {
				v.Site.AltitudeFt, v.Intake.Flange, v.AirCleaner.NeckIn = ft, c.Flange, c.NeckIn
			})})
			n, _ := need(k, "tuning.metering_set")
			if n.Status != kit.Filled {
				continue
			}
			if got := check(t, k, "altitude.mixture"); got.Outcome != kit.Pass {
				// Then no set of the series can: the finest must fail too.
				for _, f := range s.Catalog.Forms("metering_set") {
					if f.Text("series") == c.Series && reaches(f, c, got.Inputs) {
						t.Errorf("%s at %v ft: %s, though %s would do", c.SKU, ft, got.Text, f.Parts()[0].SKU)
					}
				}
			}
		}
	}
}

// reaches tries every jet and rod of a set for a mixture within 3 % of sea level's.
func reaches(set *catalog.Form, c *catalog.Carburetor, in kit.Inputs) bool {
	ratio := 0.0
	for _, v := range in {
		if v.Name == "density_ratio" {
			ratio = v.Value
		}
	}
	rodIn := 0.0
	rods := []float64{0}
	if c.Jets.RodCruiseIn != nil {
		rodIn = *c.Jets.RodCruiseIn
		a, _ := set.Attr("rods_in")
		rods = a.Value.Numbers
	}
	want := (c.Jets.MainIn*c.Jets.MainIn - rodIn*rodIn) * math.Sqrt(ratio)
	jets, _ := set.Attr("jets_in")
	for _, jet := range jets.Value.Numbers {
		for _, rod := range rods {
			if math.Abs((jet*jet-rod*rod)/want-1) < 0.0295 { // the ratio is rounded
				return true
			}
		}
	}
	return false
}

// With much ethanol the leaner jets of the mountains would be the wrong way.
func TestNoLeanerJetsForEthanol(t *testing.T) {
	k := swap(t, usual(func(v *catalog.Vehicle) { v.Site.AltitudeFt, v.Fuel.EthanolPercent = 6000, 85 }), usualCarburetor)
	wantNoNeed(t, k, "tuning.metering_set")
	if c := check(t, k, "altitude.mixture"); c.Outcome != kit.Warn || !strings.Contains(c.Text, "leaner than it should be") {
		t.Errorf("%s: %s", c.Outcome, c.Text)
	}
	if !slices.ContainsFunc(k.Cautions, func(c kit.Caution) bool { return c.ID == "tuning.ethanol" }) {
		t.Error("no caution about ethanol")
	}
}

// Ethanol beyond the 10 % that petrol is sold with leans the mixture and altitude richens it:
// jets are chosen for both. On 30 % a jet passes fuel for 1.127/1.039 = 1.085 times less air
// than on 10 %; air of 0.85 of its density, at about 5,400 ft, takes that away.
func TestJetsAreForAltitudeAndEthanolTogether(t *testing.T) {
	for _, c := range []struct {
		ethanol, ft, rich float64
		jets              bool
	}{
		{0, 0, 0, false}, {10, 0, 0, false}, {10, 5400, 8.5, true}, {30, 5400, 0, false}, {30, 0, -7.8, true}, {20, 9000, 10.1, true},
	} {
		k := swap(t, usual(func(v *catalog.Vehicle) { v.Fuel.EthanolPercent, v.Site.AltitudeFt = c.ethanol, c.ft }), usualCarburetor)
		n, jets := need(k, "tuning.metering_set")
		if jets != c.jets {
			t.Errorf("%g %% at %g ft: jets %v", c.ethanol, c.ft, jets)
		}
		mixture := check(t, k, "altitude.mixture")
		if !jets {
			if math.Abs(mixture.Value-c.rich) > 0.3 || mixture.Outcome != kit.Pass {
				t.Errorf("%g %% at %g ft: %v %% rich, wanted %v", c.ethanol, c.ft, mixture.Value, c.rich)
			}
			continue
		}
		in := map[string]float64{}
		for _, x := range mixture.Inputs {
			in[x.Name] = x.Value * x.Value
		}
		left := (in["jet_in"]-in["rod_in"])/(in["jet_as_shipped_in"]-in["rod_as_shipped_in"])*(1+c.rich/100) - 1
		if n.Status == kit.Filled && (math.Abs(left) > 0.035 || math.Abs(mixture.Value-left*100) > 0.5) {
			t.Errorf("%g %% at %g ft: jets leave %.1f %%, the check says %v %%", c.ethanol, c.ft, left*100, mixture.Value)
		}
	}
}

// Where altitude makes up for ethanol the jets as shipped are right, and too lean lower down, which
// no metering set tells of.
func TestWhoDrivesDownhillIsWarnedOfLeanJets(t *testing.T) {
	for _, c := range []struct {
		ethanol, ft float64
		lean        bool
	}{
		{10, 0, false}, {30, 0, false}, {10, 1500, false}, {10, 2500, true}, {30, 5400, true}, {40, 9000, true},
	} {
		k := swap(t, usual(func(v *catalog.Vehicle) { v.Fuel.EthanolPercent, v.Site.AltitudeFt = c.ethanol, c.ft }), usualCarburetor)
		if told := slices.ContainsFunc(k.Cautions, func(o kit.Caution) bool { return o.ID == "tuning.lean" }); told != c.lean {
			t.Errorf("%g %% at %g ft: cautioned: %v", c.ethanol, c.ft, told)
		}
	}
}

// What is said of the fuel system follows from what is said to go into it, whatever the fuel: the
// orifice equation of ISO 5167-2, 6,894.757 Pa to a psi and 231 in³ to a US gallon (NIST SP 811).
func TestFuelFiguresFollowFromTheirInputs(t *testing.T) {
	const m3PerGallon = 231 * 0.0254 * 0.0254 * 0.0254
	flows := map[float64]bool{}
	for _, ethanol := range []float64{0, 10, 85} {
		k := swap(t, usual(func(v *catalog.Vehicle) { v.Fuel.EthanolPercent = ethanol }), usualCarburetor)
		of := func(id string) (map[string]float64, float64) {
			in, c := map[string]float64{}, check(t, k, id)
			for _, x := range c.Inputs {
				in[x.Name] = x.Value
			}
			return in, c.Value
		}
		in, passes := of("fuel.float_valve")
		seat := in["needle_seat_in"] * 0.0254
		m3PerS := in["Cd"] * math.Pi / 4 * seat * seat * math.Sqrt(2*in["delivered_psi"]*6894.757/in["fuel_density_kg_m3"])
		if gph := m3PerS * 3600 / m3PerGallon; math.Abs(gph-passes) > 0.1 {
			t.Errorf("%g %%: the float valve passes %v gal/h, by its inputs %.2f", ethanol, passes, gph)
		}
		in, loss := of("fuel.line_loss")
		bore := in["bore_in"] * 0.0254
		metersPerS := in["flow_gph"] * m3PerGallon / 3600 / (math.Pi / 4 * bore * bore)
		fittings := 0.9 * in["fittings"] * in["fuel_density_kg_m3"] * metersPerS * metersPerS / 2 / 6894.757
		if math.Abs(fittings-in["fittings_psi"]) > 0.001 || math.Abs(in["friction_psi"]+fittings+in["filter_psi"]-loss) > 0.001 {
			t.Errorf("%g %%: line and fittings take %v psi, by the inputs %.4f for fittings alone", ethanol, loss, fittings)
		}
		flows[passes] = true
	}
	if len(flows) != 3 {
		t.Errorf("the float valve passes of every fuel %v", flows)
	}
}

// How much leaner: stoichiometric air of 14.7 and 9.0 kg/kg, densities of 0.740 and 0.794 kg/L
// (handbook values from memory), through an orifice.
func TestSomeEthanolIsCautionedAbout(t *testing.T) {
	for percent, leaner := range map[float64]string{10: "", 15: " 6 % leaner", 20: " 8 % leaner", 30: " 11 % leaner", 31: ""} {
		k := swap(t, usual(func(v *catalog.Vehicle) { v.Fuel.EthanolPercent = percent }), usualCarburetor)
		at := slices.IndexFunc(k.Cautions, func(c kit.Caution) bool { return c.ID == "tuning.some_ethanol" })
		switch {
		case leaner == "" && at >= 0:
			t.Errorf("%g %%: %s", percent, k.Cautions[at].Text)
		case leaner != "" && (at < 0 || !strings.Contains(k.Cautions[at].Text, leaner)):
			t.Errorf("%g %%: no caution with%s in %+v", percent, leaner, k.Cautions)
		}
	}
}

func TestAlternativesStateTheirDifferences(t *testing.T) {
	k := mustResolve(t, demoSnapshot(t), &kit.Request{Vehicle: usual(), CarburetorSKU: usualCarburetor,
		Preferences: kit.Preferences{Finish: catalog.FinishBright, Location: "brindlecote", Levels: allLevels}})
	names := map[string]kit.Alternative{}
	for _, a := range k.Alternatives {
		names[a.Objective] = a
		sum := int64(0)
		for _, c := range a.Changes {
			sum += c.Delta.AmountMinor
		}
		if a.Delta.AmountMinor != sum || a.Total.AmountMinor != k.Totals.All.AmountMinor+sum {
			t.Errorf("%s: total %v, delta %v, changes add up to %d", a.Objective, a.Total, a.Delta, sum)
		}
	}
	price, ok := names["price"]
	if !ok || price.Delta.AmountMinor >= 0 {
		t.Errorf("bright costs no more than the cheapest: %+v", price)
	}
	if _, ok := names["bright"]; ok {
		t.Error("the kit asked for is an alternative to itself")
	}
}

func TestMixedUpUnitsAreRecognised(t *testing.T) {
	for _, c := range []struct {
		pointer, hint string
		change        func(v *catalog.Vehicle)
	}{
		{"/vehicle/engine/displacement_in3", "litres", func(v *catalog.Vehicle) { v.Engine.DisplacementIn3 = 5.7 }},
		{"/vehicle/engine/displacement_in3", "cm³", func(v *catalog.Vehicle) { v.Engine.DisplacementIn3 = 5700 }},
		{"/vehicle/engine/displacement_in3", "", func(v *catalog.Vehicle) { v.Engine.DisplacementIn3 = -350 }},
		{"/vehicle/engine/displacement_in3", "not a number", func(v *catalog.Vehicle) { v.Engine.DisplacementIn3 = math.NaN() }},
		{"/vehicle/intake/hood_clearance_in", "mm", func(v *catalog.Vehicle) { v.Intake.HoodClearanceIn = 200 }},
		{"/vehicle/electrical/choke_feed_length_ft", "inches", func(v *catalog.Vehicle) { v.Electrical.ChokeFeedLengthFt = 60 }},
		{"/vehicle/fuel/pressure_psi", "bar", func(v *catalog.Vehicle) { v.Fuel.PressurePSI = 0.4 }},
	} {
		_, err := kit.Resolve(context.Background(), demoSnapshot(t), &kit.Request{Vehicle: usual(c.change), CarburetorSKU: usualCarburetor})
		var invalid *catalog.InvalidError
		if !errors.As(err, &invalid) {
			t.Errorf("%s: %v", c.pointer, err)
			continue
		}
		if v := invalid.Violations[0]; v.Pointer != c.pointer || !strings.Contains(v.Detail, c.hint) {
			t.Errorf("%s: %s, wanted %q there", v.Pointer, v.Detail, c.hint)
		}
	}
}

func TestEveryWrongFieldIsTold(t *testing.T) {
	_, err := kit.Resolve(context.Background(), demoSnapshot(t), &kit.Request{
		Vehicle: usual(func(v *catalog.Vehicle) {
			v.Engine.DisplacementIn3, v.Throttle.End, v.Fuel.LineODIn = -1, "hook", units.Inches(30, 1)
		}),
		CarburetorSKU: usualCarburetor, OnHand: []kit.OnHand{{}},
		Preferences: kit.Preferences{Currency: "EUR"},
	})
	var invalid *catalog.InvalidError
	if !errors.As(err, &invalid) {
		t.Fatal(err)
	}
	for _, pointer := range []string{"/vehicle/engine/displacement_in3", "/vehicle/throttle/end", "/vehicle/fuel/line_od_in", "/on_hand/0", "/preferences/currency"} {
		if !slices.ContainsFunc(invalid.Violations, func(v catalog.Violation) bool { return v.Pointer == pointer }) {
			t.Errorf("nothing about %s in %v", pointer, err)
		}
	}
}

func TestInputsKeepTheirOrderInJSON(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var in kit.Inputs
		names := rapid.SliceOfNDistinct(rapid.StringMatching(`[a-zA-Z_]{1,12}`), 0, 8, rapid.ID[string]).Draw(t, "names")
		for _, name := range names {
			in = append(in, kit.Input{Name: name, Value: float64(rapid.IntRange(-1e8, 1e8).Draw(t, name)) / 1e4})
		}
		raw, err := json.Marshal(in)
		if err != nil {
			t.Fatal(err)
		}
		var back kit.Inputs
		if err := json.Unmarshal(raw, &back); err != nil {
			t.Fatalf("%s: %v", raw, err)
		}
		if !slices.Equal(in, back) {
			t.Fatalf("%v became %v through %s", in, back, raw)
		}
	})
	var in kit.Inputs
	for _, bad := range []string{`{"a":"x"}`, `{"a"}`, `[1]`, ``} {
		if err := in.UnmarshalJSON([]byte(bad)); err == nil {
			t.Errorf("%q is taken for inputs: %v", bad, in)
		}
	}
}

// A figure that rules may read and that nobody works out would keep its rules from firing.
func TestEveryFigureOfRulesIsComputed(t *testing.T) {
	s := demoSnapshot(t)
	seen := map[string]bool{}
	fields := reflect.VisibleFields(reflect.TypeFor[rules.Calc]())
	for _, v := range s.Catalog.Vehicles() {
		for _, c := range s.Catalog.Carburetors() {
			thirsty := *v // more than some pumps give
			thirsty.Engine.DisplacementIn3 *= 2
			figures, err := kit.Computed(s, &kit.Request{Vehicle: &thirsty, CarburetorSKU: c.SKU})
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range fields {
				seen[f.Name] = seen[f.Name] || !reflect.ValueOf(figures).FieldByIndex(f.Index).IsZero()
			}
		}
	}
	for _, f := range fields {
		if !seen[f.Name] {
			t.Errorf("%s is nothing for any vehicle and carburetor", f.Tag.Get("json"))
		}
	}
}
