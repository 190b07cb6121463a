package kit_test

import (
	"slices"
	"strings"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
)

// A pack of two is found that costs less than two single ones, although other single ones
// cost less than the pack and more than the cheapest.
func TestLargerPacksAreFoundBehindDearerSingleOnes(t *testing.T) {
	demo := demoSnapshot(t)
	tried := 0
	for _, v := range demo.Catalog.Vehicles() {
		r := &kit.Request{VehicleID: v.ID, CarburetorSKU: usualCarburetor}
		for _, l := range mustResolve(t, demo, r).Lines {
			p, err := demo.Catalog.Part(l.SKU)
			alone := len(l.Fills) == 1 && !strings.HasPrefix(l.Fills[0], "fuel.") && !strings.HasPrefix(l.Fills[0], "mount.") && !strings.HasPrefix(l.Fills[0], "air.")
			if err != nil || !alone || l.Quantity != 2 || p.PackQuantity != 1 || p.ByLength() || p.Tied() || p.Price.AmountMinor < 50 {
				continue
			}
			data := kittest.Data(t)
			offer := func(sku string, finish catalog.Finish, pack int, priceMinor int64) {
				o := &catalog.Part{Offer: p.Offer, Form: p.Form}
				o.SKU, o.GTIN, o.Finish, o.PackQuantity, o.Price.AmountMinor = sku, "", finish, pack, priceMinor
				data.Parts = append(data.Parts, o)
			}
			each := p.Price.AmountMinor - 20
			offer("ZZP-0001", catalog.FinishPlain, 1, each)
			offer("ZZP-0002", catalog.FinishBright, 1, each+1)
			offer("ZZP-0003", catalog.FinishPlain, 2, 2*each-9)
			s := kittest.Open(t, data)
			k := mustResolve(t, s, r)
			if !slices.ContainsFunc(k.Lines, func(l kit.Line) bool { return l.SKU == "ZZP-0003" && l.Quantity == 1 }) {
				t.Errorf("%s: %s is not bought as the pack of two: %+v", v.ID, l.Fills[0], k.Lines)
			}
			if tried++; tried == 3 {
				return
			}
		}
	}
	if tried == 0 {
		t.Error("no kit takes two of a part: the test shows nothing")
	}
}
