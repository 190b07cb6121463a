package kit_test

import (
	"slices"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// A substitute comes in as many packs as the kit takes beside its other lines, whatever its
// pack holds.
func TestSubstitutesComeInAsManyPacksAsItTakes(t *testing.T) {
	s := demoSnapshot(t)
	tried, split := 0, 0
	for _, v := range s.Catalog.Vehicles()[:40] {
		req := &kit.Request{VehicleID: v.ID, CarburetorSKU: s.Catalog.Carburetors()[len(v.ID)%30].SKU}
		k := mustResolve(t, s, req)
		i := slices.IndexFunc(k.Lines, func(l kit.Line) bool { return slices.Equal(l.Fills, []string{"fuel.clamps"}) })
		if i < 0 {
			continue
		}
		line := &k.Lines[i]
		n, _ := need(k, "fuel.clamps")
		for _, f := range s.Catalog.Forms("hose_clamp") {
			for _, p := range f.Parts() {
				instead := map[string]string{line.SKU: p.SKU}
				if why, err := kit.Substitutes(t.Context(), s, req, k, instead); err != nil {
					t.Fatal(err)
				} else if p.SKU == line.SKU || len(why) > 0 {
					continue
				}
				sv := &kit.Saved{Marks: map[string]kit.Mark{line.SKU: {Mark: kit.LineSubstituted, Substitute: p.SKU}}}
				lines, err := sv.AtTheCounter(t.Context(), s, req, k)
				if err != nil {
					t.Fatal(err)
				}
				got, want := lines[i], (int(n.Quantity)+p.PackQuantity-1)/p.PackQuantity
				if got.SKU != p.SKU || got.InPlaceOf != line.SKU || got.Quantity != want || got.Amount != p.Price.Times(want) || got.Stock.OnHand != s.Catalog.OnHand(&p.Offer, catalog.AllLocations) {
					t.Errorf("%s: %d pieces in packs of %d: %+v, want %d packs", v.ID, int(n.Quantity), p.PackQuantity, got, want)
				}
				total := k.TotalsAfter(lines).All
				if total.AmountMinor != k.Totals.All.AmountMinor-line.Amount.AmountMinor+got.Amount.AmountMinor {
					t.Errorf("%s: the total is %v", v.ID, total)
				}
				tried++
				if want != line.Quantity {
					split++
				}
			}
		}
	}
	if tried < 50 || split < 10 {
		t.Errorf("%d substitutes, %d in another number of packs", tried, split)
	}
}
