//go:build !race

package kit_test

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
)

// Not under the race detector: nothing here works beside itself, and it takes long there.

// TestMain has properties tried half as often as rapid would: most of them open a catalogue
// for each try. go test ./internal/kit -rapid.checks 1000 tries them longer.
func TestMain(m *testing.M) {
	if err := flag.Set("rapid.checks", "50"); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}

func resolve(t *rapid.T, s *kit.Snapshot, r *kit.Request) *kit.Kit {
	k, err := kit.Resolve(context.Background(), s, r)
	if err != nil {
		t.Fatalf("resolve: %v", err)
	}
	return k
}

func TestEveryVehicleResolvesSoundly(t *testing.T) {
	t.Parallel()
	s := demoSnapshot(t)
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t, s)
		k := resolve(t, s, r)

		needs := map[string]kit.Need{}
		for _, n := range k.Needs {
			if _, twice := needs[n.ID]; twice {
				t.Fatalf("need %s is listed twice", n.ID)
			}
			needs[n.ID] = n
		}
		total := int64(0)
		for _, l := range k.Lines {
			if len(l.Fills) == 0 {
				t.Fatalf("line %s fills no need", l.SKU)
			}
			for _, id := range l.Fills {
				if n, ok := needs[id]; !ok || !slices.Contains(n.Lines, l.SKU) {
					t.Fatalf("line %s fills %s, which does not list it", l.SKU, id)
				}
			}
			if l.Amount.AmountMinor != l.UnitPrice.AmountMinor*int64(l.Quantity) {
				t.Fatalf("line %s: %v times %d is not %v", l.SKU, l.UnitPrice, l.Quantity, l.Amount)
			}
			total += l.Amount.AmountMinor
		}
		if k.Totals.All.AmountMinor != total {
			t.Fatalf("total %v, lines add up to %d", k.Totals.All, total)
		}
		if sum := k.Totals.Required.Plus(k.Totals.Recommended).Plus(k.Totals.Optional); sum != k.Totals.All {
			t.Fatalf("the totals of the levels add up to %v, not to %v", sum, k.Totals.All)
		}
		for _, a := range k.Alternatives {
			sum := int64(0)
			for _, c := range a.Changes {
				sum += c.Delta.AmountMinor
			}
			if a.Delta.AmountMinor != sum || a.Total.AmountMinor != total+sum {
				t.Fatalf("alternative %s: total %v, delta %v, changes add up to %d", a.Objective, a.Total, a.Delta, sum)
			}
		}
		for id, n := range needs {
			if n.Status == kit.Filled && len(n.Lines) == 0 {
				t.Fatalf("need %s is filled by no line", id)
			}
			listed := slices.ContainsFunc(k.Missing, func(m kit.Missing) bool { return m.Need == id && m.Reason != "" })
			if (n.Status == kit.NotThere || n.Status == kit.OutOfStock) != listed {
				t.Fatalf("need %s is %s, missing lists it: %v", id, n.Status, listed)
			}
		}
		// Fewest SKUs couples every need with every bundle; a rare kit is left with a gap.
		if !k.Proof.Optimal && r.Preferences.Objective != kit.ByFewest {
			t.Fatalf("selection stopped early: %+v", k.Proof)
		}
		if p := k.Proof; p.LowerBound.AmountMinor > p.Cost.AmountMinor || p.Optimal != (p.LowerBound == p.Cost) {
			t.Fatalf("the proof contradicts itself: %+v", p)
		}
		checkPath(t, s, r, k)
		checkPorts(t, s, k)

		again, err := json.Marshal(resolve(t, s, r))
		if err != nil {
			t.Fatal(err)
		}
		first, err := json.Marshal(k)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(first, again) {
			t.Fatal("the same request gave other bytes")
		}
	})
}

// checkPath follows the fuel path joint by joint.
func checkPath(t *rapid.T, s *kit.Snapshot, r *kit.Request, k *kit.Kit) {
	if len(k.FuelPath) == 0 {
		if !slices.ContainsFunc(k.Missing, func(m kit.Missing) bool { return strings.HasPrefix(m.Need, "fuel.") }) {
			t.Fatal("no fuel path, and nothing says so")
		}
		return
	}
	open, err := r.Vehicle.Fuel.SupplyEnd()
	if err != nil {
		t.Fatal(err)
	}
	filters, regulators := 0, 0
	for i, step := range k.FuelPath {
		if !open.Mates(step.FromEnd) {
			t.Fatalf("step %d: %v does not mate %v", i, open, step.FromEnd)
		}
		open = step.ToEnd
		if p, err := s.Catalog.Part(step.SKU); err == nil {
			switch p.Kind {
			case "fuel_filter":
				filters++
			case "pressure_regulator":
				regulators++
			case "fuel_hose":
				if p.Num("max_ethanol_percent") < r.Vehicle.Fuel.EthanolPercent {
					t.Fatalf("hose %s takes %v %% ethanol, the fuel has %v", p.SKU, p.Num("max_ethanol_percent"), r.Vehicle.Fuel.EthanolPercent)
				}
			}
		}
	}
	if !open.Mates(k.Carburetor.Inlet.End) {
		t.Fatalf("the path ends in %v, the inlet is %v", open, k.Carburetor.Inlet.End)
	}
	if filters > 1 || regulators > 1 {
		t.Fatalf("%d filters and %d regulators in the path", filters, regulators)
	}
	standIns := slices.ContainsFunc(k.FuelPath, func(p kit.PathStep) bool { return p.SKU == "" })
	if filters != 1 && !standIns {
		t.Fatalf("no filter in a whole path: %+v", k.FuelPath)
	}
	if r.Vehicle.Fuel.PressurePSI > k.Carburetor.MaxFuelPSI && regulators != 1 && !standIns {
		t.Fatalf("%v psi on a carburetor for %v and no regulator", r.Vehicle.Fuel.PressurePSI, k.Carburetor.MaxFuelPSI)
	}
}

// checkPorts: each port is told once, with a signal that its users take.
func checkPorts(t *rapid.T, _ *kit.Snapshot, k *kit.Kit) {
	if len(k.VacuumPorts) != len(k.Carburetor.Ports) {
		t.Fatalf("%d of %d ports are told", len(k.VacuumPorts), len(k.Carburetor.Ports))
	}
	ports, users := map[string]bool{}, map[string]bool{}
	for _, p := range k.VacuumPorts {
		if ports[p.Port] {
			t.Fatalf("port %s is used twice", p.Port)
		}
		ports[p.Port] = true
		if p.Use == "cap" || p.Use == "plug" {
			continue
		}
		for _, use := range append([]string{p.Use}, p.Shared...) {
			if users[use] {
				t.Fatalf("%s has two ports", use)
			}
			users[use] = true
			if (use == "pcv" || use == "booster" || use == "modulator") && p.Signal != catalog.SignalManifold {
				t.Fatalf("%s on a %s port", use, p.Signal)
			}
		}
		if (p.Use == "pcv" || p.Use == "booster") && len(p.Shared) > 0 {
			t.Fatalf("%s shares its port with %v", p.Use, p.Shared)
		}
	}
}

// More parts on the shelf never make the kit dearer, as long as the same needs are met.
func TestMorePartsNeverCostMore(t *testing.T) {
	t.Parallel()
	full := demoSnapshot(t)
	rapid.Check(t, func(t *rapid.T) {
		data := kittest.Data(t)
		// Withdrawn parts stay known but cannot be sold.
		share := rapid.IntRange(2, 12).Draw(t, "one in")
		offset := rapid.IntRange(0, share-1).Draw(t, "offset")
		for i, p := range data.Parts {
			if i%share == offset {
				p.Discontinued = true
			}
		}
		fewer := kittest.Open(t, data)
		r := anyRequest(t, full)
		r.Preferences.Objective, r.Preferences.Finish = kit.ByPrice, ""
		more, less := resolve(t, full, r), resolve(t, fewer, r)
		if gaps(more) != gaps(less) {
			return
		}
		if more.Totals.All.AmountMinor > less.Totals.All.AmountMinor {
			t.Fatalf("with all parts %v, with fewer %v", more.Totals.All, less.Totals.All)
		}
	})
}

// Further offers like what bundles hold never make the kit worse, and no bundle and none of
// them is left out that would make it better: whoever is given it, and pays its price, has
// no better kit.
func TestMoreOffersNeverCostMore(t *testing.T) {
	t.Parallel()
	full := demoSnapshot(t)
	percent := func(t *rapid.T, name string, of int64, least, most int) int64 {
		return max(1, of*int64(rapid.IntRange(least, most).Draw(t, name))/100)
	}
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t, full)
		if r.Preferences.Objective == kit.ByFewest { // its searches are stopped before the end, now and then
			r.Preferences.Objective = kit.ByStock
		}
		var useful []string
		for _, l := range resolve(t, full, r).Lines {
			if _, err := full.Catalog.Part(l.SKU); err == nil {
				useful = append(useful, l.SKU)
			}
		}
		if len(useful) < 2 {
			return
		}
		data := kittest.Data(t)
		offered := map[string]*catalog.Part{}
		for _, p := range data.Parts {
			offered[p.SKU] = p
		}
		stock := func(sku string) {
			for _, l := range data.Locations {
				if n := rapid.IntRange(0, 12).Draw(t, "on hand"); n > 4 {
					data.Stock = append(data.Stock, catalog.Stock{SKU: sku, Location: l.ID, OnHand: n})
				}
			}
		}
		var others []*catalog.Part
		for n := range rapid.IntRange(1, 3).Draw(t, "bundles") {
			b := &catalog.Bundle{Offer: catalog.Offer{SKU: fmt.Sprintf("ZZB-%04d", n), Name: "Set", Finish: catalog.FinishPlain, PackQuantity: 1}}
			for _, sku := range rapid.SliceOfNDistinct(rapid.SampledFrom(useful), 2, 4, rapid.ID).Draw(t, "holds") {
				p := offered[sku]
				pieces := rapid.IntRange(1, 3).Draw(t, "pieces")
				b.Contents = append(b.Contents, catalog.Amount{SKU: sku, Quantity: pieces})
				packs := int64((pieces + p.PackQuantity - 1) / p.PackQuantity)
				b.Price.AmountMinor += percent(t, "bundle's share", packs*p.Price.AmountMinor, 50, 105)
				other := *p
				other.SKU, other.GTIN, other.Requires, other.Conflicts = fmt.Sprintf("ZZP-%04d", len(others)), "", nil, nil
				other.PackQuantity = rapid.SampledFrom([]int{p.PackQuantity, 1, 10}).Draw(t, "pack")
				other.Price.AmountMinor = percent(t, "price", p.Price.AmountMinor, 40, 110)
				other.Finish = rapid.SampledFrom([]catalog.Finish{p.Finish, catalog.FinishBright}).Draw(t, "finish")
				if p.HeightIn > 0 {
					form := *p.Form
					form.HeightIn *= rapid.SampledFrom([]float64{1, 0.8, 1.25}).Draw(t, "higher by")
					other.Form = &form
				}
				others = append(others, &other)
				stock(other.SKU)
			}
			b.Price.Currency = data.Currency
			data.Bundles = append(data.Bundles, b)
			stock(b.SKU)
		}
		for _, p := range others {
			other := []string{rapid.SampledFrom(useful).Draw(t, "other")}
			switch rapid.IntRange(0, 7).Draw(t, "tied") {
			case 0, 1:
				p.Conflicts = other
			case 2:
				p.Requires = other
			}
		}
		data.Parts = append(data.Parts, others...)
		more := kittest.Open(t, data)
		best := resolve(t, more, r)
		given := func(o *catalog.Offer, contents []catalog.Amount) {
			with, lines := *r, 0
			with.OnHand = slices.Clone(r.OnHand)
			for _, c := range contents {
				with.OnHand = append(with.OnHand, kit.OnHand{SKU: c.SKU, Quantity: c.Quantity})
			}
			if r.Preferences.Objective == kit.ByStock && onHand(more, o.SKU, r.Preferences.Location) < enough {
				lines = 1
			}
			other := resolve(t, more, &with)
			if len(contents) > 1 && slices.ContainsFunc(other.Lines, func(l kit.Line) bool { return l.SKU == o.SKU }) {
				return // a kit buys a bundle once; this one has it twice
			}
			noWorse(t, r, best, "with "+o.SKU+" in sight", other, lines, o.Price.AmountMinor)
		}
		for _, b := range data.Bundles {
			if strings.HasPrefix(b.SKU, "ZZB") {
				given(&b.Offer, b.Contents)
			}
		}
		for _, p := range others {
			given(&p.Offer, []catalog.Amount{{SKU: p.SKU, Quantity: p.PackQuantity}})
		}
		for _, p := range others {
			p.Discontinued = true
		}
		fewer := kittest.Open(t, data)
		worse := resolve(t, fewer, r)
		noWorse(t, r, best, "with further offers", worse, 0, 0)
	})
}

// When a part of a kit comes to require another one of it, the kit stays as it is. When it
// requires any other part, whoever is given one, and pays its price, has no better kit.
func TestRequiredPartsServeWhereTheyCan(t *testing.T) {
	t.Parallel()
	demo := demoSnapshot(t)
	same, others := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t, demo)
		r.Preferences.Objective = kit.ByPrice
		before := resolve(t, demo, r)
		var bought []*catalog.Part
		for _, l := range before.Lines {
			if p, err := demo.Catalog.Part(l.SKU); err == nil {
				bought = append(bought, p)
			}
		}
		if len(bought) < 2 {
			return
		}
		pair := rapid.SliceOfNDistinct(rapid.SampledFrom(bought), 2, 2, rapid.ID).Draw(t, "parts")
		required := pair[1]
		if rapid.Bool().Draw(t, "another") {
			required = rapid.SampledFrom(rapid.SampledFrom(demo.Catalog.Forms(required.Kind)).Draw(t, "form").Parts()).Draw(t, "required")
		}
		if required.Discontinued {
			return
		}
		data := kittest.Data(t)
		for _, p := range data.Parts {
			if p.SKU == pair[0].SKU {
				p.Requires, p.Conflicts = []string{required.SKU}, nil
			}
		}
		s := kittest.Open(t, data)
		k := resolve(t, s, r)
		if required == pair[1] {
			same++
			if len(pair[0].Requires)+len(pair[0].Conflicts) == 0 && k.Proof.Cost != before.Proof.Cost {
				t.Fatalf("%v, before %s required %s %v", k.Proof.Cost, pair[0].SKU, required.SKU, before.Proof.Cost)
			}
			return
		}
		others++
		given := *r
		given.OnHand = append(slices.Clone(r.OnHand), kit.OnHand{SKU: required.SKU, Quantity: required.PackQuantity})
		noWorse(t, r, k, "with "+required.SKU+" required", resolve(t, s, &given), 0, required.Price.AmountMinor)
	})
	t.Logf("%d of the kit required, %d others", same, others)
	if same == 0 || others == 0 {
		t.Error("not all cases are met")
	}
}

// What the owner has serves wherever it fits, discontinued or not: a kit that has no need to
// buy more of it stays as it is when it is, and no other is better than one that has none.
func TestDiscontinuedPartsAtHandServe(t *testing.T) {
	t.Parallel()
	demo := demoSnapshot(t)
	same, less := map[catalog.Kind]int{}, 0
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t, demo)
		if r.Preferences.Objective == kit.ByFewest { // its searches are stopped before the end, now and then
			r.Preferences.Objective = kit.ByPrice
		}
		var bought []*catalog.Part
		for _, l := range resolve(t, demo, r).Lines {
			if p, err := demo.Catalog.Part(l.SKU); err == nil {
				bought = append(bought, p)
			}
		}
		if len(bought) == 0 {
			return
		}
		p := rapid.SampledFrom(bought).Draw(t, "part")
		had := *r
		had.OnHand = append(slices.Clone(r.OnHand), kit.OnHand{SKU: p.SKU, Quantity: rapid.SampledFrom([]int{1, 1, 2, 3, 4, 8}).Draw(t, "pieces")})
		data := kittest.Data(t)
		for _, o := range data.Parts {
			o.Discontinued = o.Discontinued || o.SKU == p.SKU
		}
		gone := kittest.Open(t, data)
		sold, k, without := resolve(t, demo, &had), resolve(t, gone, &had), resolve(t, gone, r)
		neverBuys(t, gone, k)
		// What is at hand may be too little, and its finish counts all the same.
		if !slices.ContainsFunc(k.Missing, func(m kit.Missing) bool { return strings.HasPrefix(m.Reason, p.SKU+" is discontinued") }) {
			noWorse(t, r, k, "with "+p.SKU+" at hand", without, 0, 0)
		}
		if k.Proof.Cost.AmountMinor < without.Proof.Cost.AmountMinor {
			less++
		}
		buysMore := slices.ContainsFunc(sold.Lines, func(l kit.Line) bool {
			return l.SKU == p.SKU || slices.ContainsFunc(l.Contents, func(c catalog.Amount) bool { return c.SKU == p.SKU })
		})
		if !buysMore {
			same[p.Kind]++
			if k.Proof.Cost != sold.Proof.Cost || short(k) != short(sold) || gaps(k) != gaps(sold) {
				t.Fatalf("%s at hand and discontinued: %v, %d lines short, missing %s; on sale %v, %d, %s", p.SKU, k.Proof.Cost, short(k), gaps(k), sold.Proof.Cost, short(sold), gaps(sold))
			}
		}
	})
	t.Logf("nothing more bought of %v; %d kits cost less", same, less)
	if len(same) < 10 || less == 0 {
		t.Error("not all cases are met")
	}
}

// However parts are tied to one another, the answer is a kit in which none conflict, and
// everything that a part requires is bought, at hand or said to be missing.
func TestTiedPartsAlwaysMakeAKit(t *testing.T) {
	t.Parallel()
	demo := demoSnapshot(t)
	conflicting, missing := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t, demo)
		r.OnHand = nil
		only := map[catalog.Kind]string{} // the only part on sale of a kind
		for _, l := range resolve(t, demo, r).Lines {
			if p, err := demo.Catalog.Part(l.SKU); err == nil && rapid.IntRange(0, 2).Draw(t, "only") > 0 {
				only[p.Kind] = p.SKU
			}
		}
		if len(only) < 2 {
			return
		}
		skus := slices.Sorted(maps.Values(only))
		data := kittest.Data(t)
		data.Bundles, data.Stock = nil, nil
		for _, p := range data.Parts {
			sku := only[p.Kind]
			if p.Discontinued = sku != "" && p.SKU != sku; p.SKU != sku || rapid.Bool().Draw(t, "alone") {
				continue
			}
			other := rapid.SampledFrom(skus).Draw(t, "tied to")
			switch {
			case other == sku:
			case rapid.Bool().Draw(t, "conflicts"):
				p.Conflicts = []string{other}
			default:
				p.Requires, p.Discontinued = []string{other}, rapid.IntRange(0, 4).Draw(t, "gone") == 0
			}
		}
		s := kittest.Open(t, data)
		k := resolve(t, s, r)
		neverBuys(t, s, k)
		for _, m := range k.Missing {
			if strings.HasPrefix(m.Reason, "What fits does not go with ") {
				conflicting++
			}
		}
		for _, l := range k.Lines {
			p, err := s.Catalog.Part(l.SKU)
			if err != nil {
				t.Fatal(err)
			}
			for _, sku := range p.Conflicts {
				if hasLine(k, sku) {
					t.Fatalf("%s is bought with %s, which it conflicts with", sku, p.SKU)
				}
			}
			for _, sku := range p.Requires {
				said := slices.ContainsFunc(k.Missing, func(m kit.Missing) bool { return strings.HasPrefix(m.Reason, sku+", which ") })
				if said {
					missing++
				}
				if hasLine(k, sku) == said {
					t.Fatalf("%s, which %s requires: bought %v, missing %v", sku, p.SKU, hasLine(k, sku), said)
				}
			}
		}
	})
	t.Logf("%d needs conflict, %d required parts are missing", conflicting, missing)
	if conflicting == 0 || missing == 0 {
		t.Error("not all cases are met")
	}
}

// enough is more packs of one part than these kits take.
const enough = 13

// noWorse fails when a kit is worse than another with so many more lines short and so much
// more to pay. Kits that lack different things are not compared.
func noWorse(t *rapid.T, r *kit.Request, k *kit.Kit, what string, other *kit.Kit, lines int, priceMinor int64) {
	if gaps(k) != gaps(other) || !k.Proof.Optimal || !other.Proof.Optimal {
		return
	}
	if r.Preferences.Objective == kit.ByStock && short(k) != short(other)+lines {
		if short(k) > short(other)+lines {
			t.Fatalf("%s %d lines short, else %d and %d", what, short(k), short(other), lines)
		}
		return
	}
	if k.Proof.Cost.AmountMinor > other.Proof.Cost.AmountMinor+priceMinor {
		t.Fatalf("%s %v, else %v and %d", what, k.Proof.Cost, other.Proof.Cost, priceMinor)
	}
}

// onHand is how many packs of an offer a location has; "" for all together.
func onHand(s *kit.Snapshot, sku, location string) int {
	o := s.Catalog.Offer(sku)
	if location == "" {
		return s.Catalog.OnHand(o, catalog.AllLocations)
	}
	at, err := s.Catalog.Location(location)
	if err != nil {
		panic(err)
	}
	return s.Catalog.OnHand(o, at)
}

// More stock never leaves more lines short under the stock objective.
func TestMoreStockNeverLeavesMoreLinesShort(t *testing.T) {
	s := demoSnapshot(t)
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t, s)
		r.Preferences.Objective = kit.ByStock
		before := resolve(t, s, r)
		var levels []catalog.Stock
		for range rapid.IntRange(1, 40).Draw(t, "deliveries") {
			p := rapid.SampledFrom(s.Catalog.Parts()).Draw(t, "part")
			at := rapid.IntRange(0, len(s.Catalog.Locations)-1).Draw(t, "location")
			levels = append(levels, catalog.Stock{SKU: p.SKU, Location: s.Catalog.Locations[at].ID, OnHand: s.Catalog.OnHand(&p.Offer, at) + 5})
		}
		stocked, err := s.WithStock(s.Catalog.Revision+1, levels)
		if err != nil {
			t.Fatal(err)
		}
		if after := resolve(t, stocked, r); short(after) > short(before) {
			t.Fatalf("%d lines short before the delivery, %d after", short(before), short(after))
		}
	})
}

func short(k *kit.Kit) int {
	n := 0
	for _, l := range k.Lines {
		if !l.Stock.Enough {
			n++
		}
	}
	return n
}

func gaps(k *kit.Kit) string {
	var ids []string
	for _, n := range k.Needs {
		if n.Status == kit.NotThere {
			ids = append(ids, n.ID)
		}
	}
	return fmt.Sprint(ids)
}
