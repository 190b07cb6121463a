//go:build !race

package kit_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
)

// Not under the race detector, where brute force takes minutes.

// A kit costs what it costs with every fuel path there is to choose from, where shelves
// are nearly empty, fittings come in packs, bundles and the owner have few of them, and
// other needs take the same parts.
func TestKitIsTheBestOfEveryPath(t *testing.T) {
	t.Parallel()
	const (
		catalogues = 20
		pairs      = 12  // of each
		most       = 600 // paths
	)
	tried, several := map[kit.Objective]int{}, 0
	for seed := range uint64(catalogues) {
		draw := rand.New(rand.NewPCG(seed, 0))
		s, fittings, gone := fewFuelParts(t, draw)
		for range pairs {
			r := &kit.Request{
				VehicleID:     s.Catalog.Vehicles()[draw.IntN(len(s.Catalog.Vehicles()))].ID,
				CarburetorSKU: s.Catalog.Carburetors()[draw.IntN(len(s.Catalog.Carburetors()))].SKU,
				Preferences: kit.Preferences{
					Objective: []kit.Objective{kit.ByPrice, kit.ByStock, kit.ByFewest}[draw.IntN(3)],
					Finish:    []catalog.Finish{"", catalog.FinishPlain}[draw.IntN(2)],
					Location:  s.Catalog.Locations[0].ID,
					Levels:    []kit.Level{kit.Required},
				},
			}
			for range draw.IntN(8) {
				r.OnHand = append(r.OnHand, kit.OnHand{SKU: fittings[draw.IntN(len(fittings))].SKU, Quantity: 1 + draw.IntN(2)})
			}
			for range draw.IntN(2) * draw.IntN(20) {
				r.OnHand = append(r.OnHand, kit.OnHand{SKU: gone[draw.IntN(len(gone))].SKU, Quantity: 1 + draw.IntN(3)})
			}
			found, full, offered, all, ok, err := kit.SelectionFromEveryPath(t.Context(), s, r, most)
			if err != nil {
				t.Fatal(err)
			}
			if !ok || !found.Optimal || !full.Optimal {
				continue
			}
			tried[r.Preferences.Objective]++
			if offered > 1 {
				several++
			}
			if found.Cost != full.Cost {
				t.Errorf("catalogue %d, %s with %s by %s: costs %d with %d paths to choose from, %d with all %d",
					seed, r.VehicleID, r.CarburetorSKU, r.Preferences.Objective, found.Cost, offered, full.Cost, all)
			}
		}
	}
	t.Logf("kits by objective %v, %d with several paths to choose from", tried, several)
	if tried[kit.ByPrice] == 0 || tried[kit.ByStock] == 0 || tried[kit.ByFewest] == 0 || several == 0 {
		t.Error("not all cases are met")
	}
}

// moreNeeds are rules that ask for parts of the fuel path's kinds beside the path.
var moreNeeds = []string{`
- {id: more-clamps, when: "true", need: fuel.more_clamps, level: required, quantity: 3, match: {kind: hose_clamp, hose_in: 3/8},
   because: Clamps., severity: minor, source: "common practice, no source"}
`, `
- {id: more-hose, when: "true", need: fuel.more_hose, level: required, quantity: 7, match: {kind: fuel_hose, bore_in: 3/8},
   because: Hose., severity: minor, source: "common practice, no source"}
`, `
- {id: more-fittings, when: "true", need: fuel.more_fittings, level: required, quantity: 1, match: {kind: fuel_fitting, shape: straight},
   because: A fitting., severity: minor, source: "common practice, no source"}
`, `
- {id: more-filters, when: "true", need: fuel.more_filters, level: required, quantity: 1, match: {kind: fuel_filter},
   because: A filter., severity: minor, source: "common practice, no source"}
`}

// fewFuelParts is the demo catalogue with part of what a fuel path is made of, in other
// packs and at other prices, little of it in stock at the first location, with bundles of
// that alone, and now and then wanted for other needs too, or required by other parts. The
// fittings are those that thread into filters and regulators; gone are the parts left out.
func fewFuelParts(t *testing.T, draw *rand.Rand) (s *kit.Snapshot, fittings, gone []*catalog.Part) {
	data := kittest.Data(t)
	percentKept := map[catalog.Kind]int{"fuel_fitting": 70, "fuel_filter": 40, "pressure_regulator": 40, "fuel_hose": 25, "hose_clamp": 25}
	var kept []*catalog.Part
	data.Stock, data.Bundles = nil, nil
	stock := func(sku string, on int) {
		data.Stock = append(data.Stock, catalog.Stock{SKU: sku, Location: data.Locations[0].ID, OnHand: on})
	}
	few := func() int { return []int{0, 0, 0, 1, 1, 2, 3, 20}[draw.IntN(8)] }
	for _, p := range data.Parts {
		percent, inPath := percentKept[p.Kind]
		if !inPath {
			stock(p.SKU, 20)
			continue
		}
		if p.Kind == "fuel_filter" && p.Ends[0].Family == catalog.HoseBarb && p.Ends[0] == p.Ends[1] {
			percent /= 4 // takes no fitting
		}
		if p.Discontinued = draw.IntN(100) >= percent; p.Discontinued {
			gone = append(gone, p)
			continue
		}
		kept = append(kept, p)
		stock(p.SKU, few())
		p.Price.AmountMinor = p.Price.AmountMinor * int64(50+draw.IntN(100)) / 100
		if p.Kind == "fuel_fitting" {
			p.PackQuantity = []int{1, 1, 2, 4}[draw.IntN(4)]
			for _, e := range p.Ends {
				if e.Family == catalog.NPT || e.Family == catalog.ANFlare {
					fittings = append(fittings, p)
					break
				}
			}
		}
	}
	for n := range 12 {
		b := &catalog.Bundle{Offer: catalog.Offer{SKU: fmt.Sprintf("ZZB-%04d", n), Name: "Set", Finish: catalog.FinishPlain, PackQuantity: 1}}
		b.Price.Currency = data.Currency
		hold := func(p *catalog.Part) {
			for _, c := range b.Contents {
				if c.SKU == p.SKU {
					return
				}
			}
			pieces := 1 + draw.IntN(2)
			b.Contents = append(b.Contents, catalog.Amount{SKU: p.SKU, Quantity: pieces})
			packs := int64((pieces + p.PackQuantity - 1) / p.PackQuantity)
			b.Price.AmountMinor += packs * p.Price.AmountMinor * int64(40+draw.IntN(60)) / 100
		}
		hold(fittings[draw.IntN(len(fittings))])
		hold(fittings[draw.IntN(len(fittings))])
		hold(kept[draw.IntN(len(kept))])
		data.Bundles = append(data.Bundles, b)
		stock(b.SKU, few())
	}
	for _, extra := range moreNeeds {
		if draw.IntN(4) == 0 {
			data.RuleFiles["more.yaml"] += extra
		}
	}
	for range draw.IntN(5) {
		if p, other := kept[draw.IntN(len(kept))], kept[draw.IntN(len(kept))]; p != other && p.Kind != other.Kind && len(other.Requires) == 0 {
			p.Requires = []string{other.SKU}
		}
	}
	return kittest.Open(t, data), fittings, gone
}
