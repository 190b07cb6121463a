package kit_test

import (
	"fmt"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
)

// Where every one of a hundred bundles saves lines, the kit of fewest lines is looked for
// among some of them: it has no more lines than without them, and says that it is not
// proven. The cheapest kit is.
func TestWithBundlesByTheHundredFewestIsNotProven(t *testing.T) {
	demo := demoSnapshot(t)
	r := &kit.Request{VehicleID: demo.Catalog.Vehicles()[0].ID, CarburetorSKU: usualCarburetor}
	cheapest := mustResolve(t, demo, r)
	data := kittest.Data(t)
	for n := range 100 {
		b := &catalog.Bundle{Offer: catalog.Offer{SKU: fmt.Sprintf("ZZB-%04d", n), Name: "Set", Finish: catalog.FinishPlain, PackQuantity: 1}}
		b.Price.Currency, b.Price.AmountMinor = data.Currency, 100_000+int64(n)
		for _, l := range cheapest.Lines {
			if _, err := demo.Catalog.Part(l.SKU); err == nil && (len(b.Contents)+n)%3 < 2 {
				b.Contents = append(b.Contents, catalog.Amount{SKU: l.SKU, Quantity: l.Quantity})
			}
		}
		if len(b.Contents) > 1 {
			data.Bundles = append(data.Bundles, b)
		}
	}
	s := kittest.Open(t, data)
	few := *r
	few.Preferences.Objective = kit.ByFewest
	fewest := mustResolve(t, s, &few)
	if fewest.Proof.Optimal || fewest.Proof.LowerBound.AmountMinor != 0 {
		t.Errorf("proof %+v: the choice was made among %d bundles", fewest.Proof, len(data.Bundles))
	}
	if len(fewest.Lines) >= len(cheapest.Lines) {
		t.Errorf("%d lines with bundles, %d without", len(fewest.Lines), len(cheapest.Lines))
	}
	if again := mustResolve(t, s, r); !again.Proof.Optimal || again.Totals.All != cheapest.Totals.All {
		t.Errorf("cheapest %v, proof %+v, with dear bundles; %v without", again.Totals.All, again.Proof, cheapest.Totals.All)
	}
}
