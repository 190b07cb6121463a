//go:build !race

package coverage_test

import (
	"cmp"
	"maps"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/coverage"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/units"
)

// Not under the race detector: nothing here works beside itself, and it takes minutes there.

// What to stock next is what brute force finds: give the shop plenty of every SKU in
// turn, resolve every kit that is incomplete again and count. So for each step of the
// best set, with what was chosen before it there. Kits that are complete stay so.
func TestWhatToStockNextEqualsBruteForce(t *testing.T) {
	s := kittest.Demo(t)
	const location = "tarnsley"
	p := some(s, bruteForceStep, 3)
	q := p.question(kit.InStock)
	q.Location, q.BestSet = location, number(2)
	weights := map[string]int64{}
	for i, v := range p.vehicles {
		weights[v.ID] = int64(1 + i%4)
		q.Weights = append(q.Weights, coverage.Weight{VehicleID: v.ID, Weight: weights[v.ID]})
	}
	got := report(t, s, q, 2).StockNext
	prefer := kit.Preferences{Objective: kit.ByStock, Location: location}
	_, open := p.complete(t, s, prefer, nil)

	var chosen []string
	for step := 0; ; step++ {
		want := map[string]coverage.Count{}
		best := coverage.Count{}
		for _, sku := range kittest.Sold(s) {
			var n coverage.Count
			now, _ := p.complete(t, kittest.Restocked(t, s, location, append(chosen[:len(chosen):len(chosen)], sku)...), prefer, open)
			for _, at := range now {
				n.Kits++
				n.Weight += weights[p.vehicles[at[0]].ID]
			}
			if n.Kits > 0 {
				want[sku] = n
			}
			if n.Weight > best.Weight {
				best = n
			}
		}
		if step == 0 {
			if len(want) < 2 {
				t.Fatalf("only %v complete a kit; the test shows nothing", want)
			}
			alone := map[string]coverage.Count{}
			for _, part := range got.Alone {
				for _, sku := range append([]string{part.SKU}, part.Interchangeable...) {
					alone[sku] = part.Completes
				}
			}
			if !maps.Equal(alone, want) {
				t.Errorf("alone\n got %v\nwant %v", alone, want)
			}
		}
		if step == len(got.BestSet) {
			if step < got.Asked && (best.Weight > 0 || got.Stopped == "") {
				t.Errorf("the best set ends at %d, %q; a further part completes %+v", step, got.Stopped, best)
			}
			break
		}
		part := got.BestSet[step]
		if part.Completes.Weight != best.Weight || want[part.SKU] != part.Completes {
			t.Errorf("step %d: %s completes %+v; brute force finds %+v for it and %+v for the best", step+1, part.SKU, part.Completes, want[part.SKU], best)
		}
		chosen = append(chosen, part.SKU)
		_, open = p.complete(t, kittest.Restocked(t, s, location, chosen...), prefer, open)
		if len(chosen) == got.Asked {
			break
		}
	}
	if got.AtMost < got.Completes.Weight || got.AtMost > got.Completed.Weight {
		t.Errorf("at most %d, found %d, open %d", got.AtMost, got.Completes.Weight, got.Completed.Weight)
	}
	t.Logf("%d kits, %d parts complete some, best set %+v", len(p.vehicles)*len(p.carburetors), len(got.Alone), got.Completes)
}

// bruteForceStep is of how many vehicles one is looked at.
const bruteForceStep = 13

// with is the demo catalogue with one more part, read anew.
func with(t testing.TB, part *catalog.Part) *kit.Snapshot {
	t.Helper()
	data := kittest.Data(t)
	own, form := *part, *part.Form
	own.Form = &form
	data.Parts = append(data.Parts, &own)
	return kittest.Open(t, data).WithPlenty()
}

// On the basis of the catalogue a part that is not sold completes as many kits as when it
// is sold: parts made to measure and a part that the caller gives.
func TestPartsNotSoldYetEqualBruteForce(t *testing.T) {
	s := kittest.Demo(t)
	p := some(s, 1, 2)
	q := p.question(kit.OnSale)
	q.TryParts = []*catalog.Part{{
		Offer: catalog.Offer{SKU: "NEW-1", Name: "Adapter plate", Finish: catalog.FinishPlain, PackQuantity: 1, Price: units.Money{AmountMinor: 2900, Currency: "USD"}},
		Form: &catalog.Form{Kind: "adapter_plate", HeightIn: 0.75, Attributes: []catalog.Attr{
			{Name: "carburetor_flange", Type: catalog.AttrEnum, Value: catalog.Value{Text: string(catalog.TwoBoreSmall)}},
			{Name: "manifold_flange", Type: catalog.AttrEnum, Value: catalog.Value{Text: string(catalog.SpreadBore)}},
			{Name: "material", Type: catalog.AttrEnum, Value: catalog.Value{Text: "aluminium"}}}},
	}}
	got := report(t, s, q, 2).StockNext
	parts := map[string]*catalog.Part{"NEW-1": q.TryParts[0]} // by SKU, or by what is wanted
	_, err := kit.Sweep(t.Context(), s, kit.SweepQuery{Preferences: kit.Preferences{Levels: []kit.Level{kit.Required}}}, func(_ *kit.Class, _ *catalog.Carburetor, k *kit.Summary) error {
		for i := range k.Gaps {
			if part := s.MadeToMeasure(&k.Gaps[i]); part != nil {
				parts[k.Gaps[i].Wanted()] = part
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	_, open := p.complete(t, s.WithPlenty(), kit.Preferences{}, nil)
	tried, given := 0, 0
	for i, part := range got.Alone {
		if part.SKU == "" && i%4 > 0 {
			continue
		}
		tried++
		given += len(part.SKU)
		made := parts[cmp.Or(part.SKU, part.Wanted)]
		if made == nil {
			t.Fatalf("no gap wants %s", part.Wanted)
		}
		if now, _ := p.complete(t, with(t, made), kit.Preferences{}, open); len(now) != part.Completes.Kits {
			t.Errorf("%s %s completes %+v, brute force finds %d", part.SKU, part.Wanted, part.Completes, len(now))
		}
	}
	if tried < 3 || given == 0 || len(got.BestSet) == 0 {
		t.Errorf("%d tried, of %d; the best set is %+v", tried, len(got.Alone), got.BestSet)
	}
	// The parts of the best set in one catalogue complete what they are said to together.
	var set []*catalog.Part
	for _, part := range got.BestSet {
		set = append(set, parts[cmp.Or(part.SKU, part.Wanted)])
	}
	if now, _ := p.complete(t, s.WithPlenty().WithParts(set), kit.Preferences{}, open); len(now) != got.Completes.Kits {
		t.Errorf("the best set completes %+v, brute force finds %d", got.Completes, len(now))
	}
}

func number(n int) *int { return &n }
