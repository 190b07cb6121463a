package kit_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/units"
)

// changedSnapshot is the demo catalogue after a change.
func changedSnapshot(t *testing.T, change func(*catalog.Data)) *kit.Snapshot {
	t.Helper()
	data := kittest.Data(t)
	change(data)
	return kittest.Open(t, data)
}

// manualChoke is usualCarburetor's sister of 600 cfm with a manual choke.
const manualChoke = "QYC-2A19"

// linePart is the part of a kind that fills a need.
func linePart(t *testing.T, k *kit.Kit, id string, kind catalog.Kind) *catalog.Part {
	t.Helper()
	n, _ := need(k, id)
	return partsOf(t, k, n.Lines, kind)[0]
}

func hasLine(k *kit.Kit, sku string) bool {
	return slices.ContainsFunc(k.Lines, func(l kit.Line) bool { return l.SKU == sku })
}

// partOf finds a part of catalogue data by SKU.
func partOf(t *testing.T, d *catalog.Data, sku string) *catalog.Part {
	t.Helper()
	i := slices.IndexFunc(d.Parts, func(p *catalog.Part) bool { return p.SKU == sku })
	if i < 0 {
		t.Fatalf("no part %s in the demo catalogue", sku)
	}
	return d.Parts[i]
}

func TestWrongRequestsNameTheFieldAndWhatComesNear(t *testing.T) {
	cases := []struct {
		name, pointer, near string
		request             kit.Request
	}{
		{"carburetor", "/carburetor_sku", "QYC-2A07", kit.Request{Vehicle: usual(), CarburetorSKU: "QYC-2A0"}},
		{"vehicle", "/vehicle_id", "ostrind-plumgrove-1962", kit.Request{VehicleID: "ostrind-plumgrove-1963", CarburetorSKU: manualChoke}},
		{"part on hand", "/on_hand/1/sku", "VAQ-2A19", kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke,
			OnHand: []kit.OnHand{{Need: "fuel.filter"}, {SKU: "VAQ-2A1", Quantity: 1}}}},
		{"need on hand", "/on_hand/0/need", "fuel.filter", kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke, OnHand: []kit.OnHand{{Need: "fuel.filtr"}}}},
		{"declined need", "/preferences/declined/0", "mount.spacer", kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke,
			Preferences: kit.Preferences{Declined: []string{"mount.spaser"}}}},
		{"location", "/preferences/location", "brindlecote", kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke,
			Preferences: kit.Preferences{Location: "brindlecot"}}},
		{"pieces of a SKU", "/on_hand/0/quantity", "of hose and wire whole lengths as they are sold, 1 or more", kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke, OnHand: []kit.OnHand{{SKU: "VAQ-2A19"}}}},
		{"both vehicles", "/vehicle_id", "one of the two", kit.Request{Vehicle: usual(), VehicleID: "ostrind-plumgrove-1962", CarburetorSKU: manualChoke}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			_, err := kit.Resolve(context.Background(), demoSnapshot(t), &c.request)
			if err == nil {
				t.Fatal("no error")
			}
			var invalid *catalog.InvalidError
			var missing *catalog.NotFoundError
			switch {
			case errors.As(err, &missing):
				if missing.Pointer != c.pointer {
					t.Errorf("points at %s, want %s", missing.Pointer, c.pointer)
				}
			case errors.As(err, &invalid):
				if len(invalid.Violations) != 1 || invalid.Violations[0].Pointer != c.pointer {
					t.Errorf("violations %+v, want one at %s", invalid.Violations, c.pointer)
				}
			default:
				t.Errorf("%T: %v", err, err)
			}
			if !strings.Contains(err.Error(), c.near) {
				t.Errorf("%v; want %q in it", err, c.near)
			}
		})
	}
}

// The set of bracket and springs is taken while it is cheaper than its pieces.
func TestAllThatARequestNamesInVainIsTold(t *testing.T) {
	_, err := kit.Resolve(context.Background(), demoSnapshot(t), &kit.Request{VehicleID: "ostrind-plumgrove-1926", CarburetorSKU: "QYC-2A0",
		OnHand:      []kit.OnHand{{SKU: "VAQ-2A1", Quantity: 1}, {Need: "fuel.hoze"}},
		Preferences: kit.Preferences{Location: "brindlecot", Declined: []string{"fuel.filtre"}}})
	var invalid *catalog.InvalidError
	if !errors.As(err, &invalid) {
		t.Fatalf("%T: %v", err, err)
	}
	var got []string
	for _, v := range invalid.Violations {
		got = append(got, v.Pointer)
		if !strings.Contains(v.Detail, "did you mean") {
			t.Errorf("%s: %s", v.Pointer, v.Detail)
		}
	}
	want := []string{"/on_hand/0/sku", "/on_hand/1/need", "/carburetor_sku", "/preferences/declined/0", "/preferences/location", "/vehicle_id"}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("told of %q, want %q", got, want)
	}
}

func TestBundleIsTakenOnlyWhileItSaves(t *testing.T) {
	const set, bracket, springs = "OYB-2A75", "BIX-2A03", "SJO-2A35"
	price := func(minor func(d *catalog.Data) int64) *kit.Kit {
		s := changedSnapshot(t, func(d *catalog.Data) {
			i := slices.IndexFunc(d.Bundles, func(b *catalog.Bundle) bool { return b.SKU == set })
			d.Bundles[i].Price.AmountMinor = minor(d)
		})
		return mustResolve(t, s, &kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke})
	}
	pieces := func(d *catalog.Data) int64 {
		return partOf(t, d, bracket).Price.AmountMinor + partOf(t, d, springs).Price.AmountMinor
	}
	cheaper := price(func(d *catalog.Data) int64 { return pieces(d) - 1 })
	if !hasLine(cheaper, set) || hasLine(cheaper, bracket) || hasLine(cheaper, springs) {
		t.Errorf("one cent cheaper: lines %+v, want %s in place of its pieces", cheaper.Lines, set)
	}
	dearer := price(func(d *catalog.Data) int64 { return pieces(d) + 1 })
	if hasLine(dearer, set) || !hasLine(dearer, bracket) || !hasLine(dearer, springs) {
		t.Errorf("one cent dearer: lines %+v, want %s and %s", dearer.Lines, bracket, springs)
	}
	if d := dearer.Totals.All.AmountMinor - cheaper.Totals.All.AmountMinor; d != 1 {
		t.Errorf("the kits differ by %d cents, want 1", d)
	}
}

// What the owner has by SKU is used, and what is used up is bought on top.
func TestOnHandSKUIsUsed(t *testing.T) {
	plain := swap(t, usual(), manualChoke)
	filter := linePart(t, plain, "fuel.filter", "fuel_filter")
	k := mustResolve(t, demoSnapshot(t), &kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke, OnHand: []kit.OnHand{{SKU: filter.SKU, Quantity: 1}}})
	wantStatus(t, k, "fuel.filter", kit.OnTheShelf)
	if hasLine(k, filter.SKU) {
		t.Errorf("%s is on hand and bought too", filter.SKU)
	}
	if saved := plain.Totals.All.AmountMinor - k.Totals.All.AmountMinor; saved < filter.Price.AmountMinor {
		t.Errorf("saves %d, want at least the filter's %d", saved, filter.Price.AmountMinor)
	}
	if !slices.ContainsFunc(k.FuelPath, func(p kit.PathStep) bool { return p.SKU == filter.SKU }) {
		t.Errorf("the filter on hand is not in the path %+v", k.FuelPath)
	}
}

// What the owner has, or the box holds, serves also when it is not sold any more.
func TestHadPartsServeWhenDiscontinued(t *testing.T) {
	request := &kit.Request{Vehicle: usual(), CarburetorSKU: usualCarburetor}
	plain := mustResolve(t, demoSnapshot(t), request)
	filter := linePart(t, plain, "fuel.filter", "fuel_filter")
	withFilter := *request
	withFilter.OnHand = []kit.OnHand{{SKU: filter.SKU, Quantity: 1}}
	gone := map[string]bool{filter.SKU: true}
	for _, in := range plain.Carburetor.InBox {
		gone[in.SKU] = true
	}
	s := changedSnapshot(t, func(d *catalog.Data) {
		for _, p := range d.Parts {
			p.Discontinued = p.Discontinued || gone[p.SKU]
		}
	})
	boxed := 0
	k := mustResolve(t, s, &withFilter)
	wantStatus(t, k, "fuel.filter", kit.OnTheShelf)
	for _, before := range plain.Needs {
		if before.Status == kit.InTheBox {
			boxed++
			wantStatus(t, k, before.ID, kit.InTheBox)
		}
	}
	for _, l := range k.Lines {
		if gone[l.SKU] {
			t.Errorf("%s is on the pick list", l.SKU)
		}
	}
	if boxed < 3 {
		t.Errorf("%d needs from the box, want some", boxed)
	}
	// Without the one on the shelf another is bought.
	if again := mustResolve(t, s, request); hasLine(again, filter.SKU) {
		t.Errorf("%s is on the pick list", filter.SKU)
	}
}

// A part that requires another brings it along.
func TestRequiredPartComesAlong(t *testing.T) {
	const plate, studs = "DUV-2A35", "ZUD-2A75" // a 2 in plate and the studs made for it
	s := changedSnapshot(t, func(d *catalog.Data) {
		for _, p := range d.Parts {
			if p.Kind == "adapter_plate" && p.SKU != plate {
				p.Discontinued = true
			}
		}
	})
	k := mustResolve(t, s, &kit.Request{CarburetorSKU: manualChoke, Vehicle: usual(func(v *catalog.Vehicle) {
		stud := 5.0 // the studs there are long enough, so only the plate asks for new ones
		v.Intake.Flange, v.Intake.HoodClearanceIn, v.Intake.StudLengthIn = catalog.SpreadBore, 9, &stud
	})})
	if !hasLine(k, plate) || !hasLine(k, studs) {
		t.Errorf("lines %+v, want %s and the %s it requires", k.Lines, plate, studs)
	}
}

// A required part serves where it can: the fuel path goes through the regulator that a pump
// brings along, though another would be cheaper by itself.
func TestRequiredPartIsBoughtOnce(t *testing.T) {
	const pump, regulator = "PUW-2A71", "REZ-2A75"
	s := changedSnapshot(t, func(d *catalog.Data) {
		for _, p := range d.Parts {
			p.Discontinued = p.Discontinued || p.Kind == "fuel_pump" && p.SKU != pump
		}
	})
	k := mustResolve(t, s, &kit.Request{CarburetorSKU: "QYC-2B31", Vehicle: usual(func(v *catalog.Vehicle) { // which holds 7.5 psi
		flow := 20.0
		v.Fuel.Pump, v.Fuel.PressurePSI, v.Fuel.FreeFlowGPH, v.Fuel.ReturnLine = catalog.PumpElectric, 14, &flow, true
		v.Fuel.LineODIn = units.Inches(5, 16)
	})})
	if !hasLine(k, pump) {
		t.Fatalf("lines %+v, want %s", k.Lines, pump)
	}
	for _, l := range k.Lines {
		p, err := s.Catalog.Part(l.SKU)
		if err == nil && p.Kind == "pressure_regulator" && (l.SKU != regulator || l.Quantity != 1 || !slices.Equal(l.Fills, []string{"fuel.pressure_regulator", "fuel.pump"})) {
			t.Errorf("%d of %s for %v, want one %s for both needs", l.Quantity, l.SKU, l.Fills, regulator)
		}
	}
	if !slices.ContainsFunc(k.FuelPath, func(s kit.PathStep) bool { return s.SKU == regulator }) {
		t.Errorf("the fuel path %+v does without %s", k.FuelPath, regulator)
	}
}

// Two parts that conflict are not in one kit, and avoiding that costs as little as it can.
func TestConflictingPartsAreKeptApart(t *testing.T) {
	request := &kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke}
	before := mustResolve(t, demoSnapshot(t), request)
	filter, hose := linePart(t, before, "fuel.filter", "fuel_filter").SKU, linePart(t, before, "fuel.hose", "fuel_hose").SKU
	s := changedSnapshot(t, func(d *catalog.Data) {
		p := partOf(t, d, filter)
		p.Conflicts = append(p.Conflicts, hose)
	})
	k := mustResolve(t, s, request)
	if hasLine(k, filter) && hasLine(k, hose) {
		t.Errorf("%s conflicts with %s and both are bought", filter, hose)
	}
	wantStatus(t, k, "fuel.filter", kit.Filled)
	wantStatus(t, k, "fuel.hose", kit.Filled)
	if k.Totals.All.AmountMinor < before.Totals.All.AmountMinor {
		t.Errorf("a conflict makes the kit cheaper: %v, before %v", k.Totals.All, before.Totals.All)
	}
}

// A spacer nobody asked for is not in the stack and lengthens no studs; one that is
// wanted, or lies on the owner's shelf, does both.
func TestSpacerNotWantedIsNotInTheStack(t *testing.T) {
	request := func(change func(*kit.Request)) *kit.Kit {
		r := &kit.Request{CarburetorSKU: manualChoke, Vehicle: usual(func(v *catalog.Vehicle) {
			v.Intake.HoodClearanceIn, v.Fuel.EthanolPercent = 9, 10
		})}
		change(r)
		return mustResolve(t, demoSnapshot(t), r)
	}
	stacked := func(k *kit.Kit) bool {
		return slices.ContainsFunc(k.Stack, func(s kit.StackItem) bool { return s.Item == "heat spacer" })
	}
	declined := request(func(r *kit.Request) { r.Preferences.Declined = []string{"mount.spacer"} })
	wantStatus(t, declined, "mount.spacer", kit.Declined)
	wantNoNeed(t, declined, "mount.studs")
	if stacked(declined) {
		t.Errorf("declined and in the stack: %+v", declined.Stack)
	}
	for name, k := range map[string]*kit.Kit{
		"wanted": request(func(*kit.Request) {}),
		"owned":  request(func(r *kit.Request) { r.OnHand = []kit.OnHand{{Need: "mount.spacer"}} }),
	} {
		if !stacked(k) {
			t.Errorf("%s: stack %+v, want a spacer in it", name, k.Stack)
		}
		wantStatus(t, k, "mount.studs", kit.Filled)
	}
}

// The fuse of a feed wire carries 125 % of the cold draw, common practice, no source, at
// the next rating of ISO 8820-3: 5.2 A takes 7.5 A.
func TestFeedWireIsFusedForTheDraw(t *testing.T) {
	k := mustResolve(t, demoSnapshot(t), &kit.Request{VehicleID: "ostrind-larderman-1983", CarburetorSKU: "QYC-2A79"})
	if p := linePart(t, k, "choke.feed_wire", "choke_wire"); p.Num("fuse_a") < 7.5 {
		t.Errorf("%s for 5.2 A", p.Name)
	}
}

// Where no stack can be had, studs are still none that their check calls too short.
func TestStudsReachWithoutAStack(t *testing.T) {
	s := demoSnapshot(t)
	none, had := 0.5, 0
	for _, c := range s.Catalog.Carburetors() {
		k := mustResolve(t, s, &kit.Request{CarburetorSKU: c.SKU, Vehicle: usual(func(v *catalog.Vehicle) {
			v.AirCleaner.NeckIn, v.Intake.StudLengthIn = 3.75, &none // no adapter leads to such a neck
		})})
		n, _ := need(k, "mount.studs")
		if len(k.Stack) > 0 || n.Status == kit.NotThere { // a low-profile cleaner needs no adapter
			continue
		}
		had++
		if studs := check(t, k, "stack.stud_length"); studs.Outcome == kit.Fail {
			t.Errorf("%s: studs are %s, and %s", c.SKU, n.Status, studs.Text)
		}
	}
	if had < 20 {
		t.Errorf("only %d kits have studs", had)
	}
}

// The stud of an air cleaner reaches through the cleaner that is under the hood, however close
// that is.
func TestCleanerStudReachesThroughTheCleaner(t *testing.T) {
	s := demoSnapshot(t)
	thread, bought := units.Thread{Major: units.Inches(5, 16), PerInch: 18}, 0
	for hoodIn := 6.0; hoodIn < 9; hoodIn += 0.125 {
		k := mustResolve(t, s, &kit.Request{CarburetorSKU: manualChoke, Vehicle: usual(func(v *catalog.Vehicle) {
			v.Intake.HoodClearanceIn, v.AirCleaner.StudThread = hoodIn, &thread
		})})
		if n, _ := need(k, "air.stud"); n.Status != kit.Filled || len(k.Stack) == 0 {
			continue
		}
		bought++
		horn := slices.IndexFunc(k.Stack, func(i kit.StackItem) bool { return i.Item == "carburetor" })
		cleanerIn := 0.0
		for _, i := range k.Stack[horn+1:] {
			cleanerIn += i.HeightIn
		}
		if p := linePart(t, k, "air.stud", "cleaner_stud"); p.LengthIn < cleanerIn+0.25 {
			t.Errorf("%g in under the hood: %s through %g in", hoodIn, p.Name, cleanerIn)
		}
	}
	if bought < 10 {
		t.Errorf("only %d studs bought", bought)
	}
}

// A carburetor whose box holds no plug gets one for its unused rear port.
func TestPlugIsBoughtWhenTheBoxHoldsNone(t *testing.T) {
	k := swap(t, usual(func(v *catalog.Vehicle) {
		v.Accessories.PowerBrakes = false
		v.Transmission = catalog.Transmission{Kind: catalog.Manual, Downshift: catalog.DownshiftNone}
	}), "QYC-2B31")
	wantStatus(t, k, "vacuum.pipe_plug", kit.Filled)
	if p := linePart(t, k, "vacuum.pipe_plug", "pipe_plug"); p.Text("npt_in") != "1/4" {
		t.Errorf("the plug is %s, wanted 1/4 in", p.Name)
	}
}

// Verdicts on forms that are kept for a while are of the job's own demands, however many
// forms share a place. The same follow from the numbers of parts that bundles are weighed by.
func TestKeptVerdictsAreThoseOfTheMatches(t *testing.T) {
	s := demoSnapshot(t)
	carburetors := s.Catalog.Carburetors()
	for i, v := range s.Catalog.Vehicles() {
		c := carburetors[i%len(carburetors)]
		if err := kit.CheckVerdicts(s, &kit.Request{VehicleID: v.ID, CarburetorSKU: c.SKU}); err != nil {
			t.Fatalf("%s with %s: %v", v.ID, c.SKU, err)
		}
	}
}
