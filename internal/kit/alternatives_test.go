//go:build !race

package kit_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/units"
)

// Not under the race detector: nothing here works beside itself, and it takes long there.

// An alternative takes over what was found for the kit that it is beside; asked for by
// itself it is the same.
func TestAlternativesAreTheKitsOfTheirObjectives(t *testing.T) {
	t.Parallel()
	t.Run("demo", func(t *testing.T) { wantAlternatives(t, demoSnapshot(t), 3) })
	// Bundles of something bright with something that is not sold bright: they are of no
	// use but to those who want things bright.
	data, r := kittest.Data(t), rand.New(rand.NewPCG(1, 1))
	draw := func(kinds ...catalog.Kind) *catalog.Part {
		for {
			p := data.Parts[r.IntN(len(data.Parts))]
			if (p.Finish == catalog.FinishBright) == (len(kinds) == 0) && (len(kinds) == 0 || slices.Contains(kinds, p.Kind)) {
				return p
			}
		}
	}
	for n := range 60 {
		b := &catalog.Bundle{Offer: catalog.Offer{SKU: fmt.Sprintf("B-%03d", n), Name: "Bundle", Finish: catalog.FinishBright, PackQuantity: 1, Price: units.Money{Currency: data.Currency}}}
		for _, p := range [...]*catalog.Part{draw(), draw("vacuum_hose", "choke_wire", "metering_set", "thread_sealant")} {
			b.Contents = append(b.Contents, catalog.Amount{SKU: p.SKU, Quantity: p.PackQuantity})
			b.Price.AmountMinor += p.Price.AmountMinor * (70 + r.Int64N(30)) / 100
		}
		data.Bundles = append(data.Bundles, b)
	}
	t.Run("bright bundles", func(t *testing.T) { wantAlternatives(t, kittest.Open(t, data), 7) })
}

// wantAlternatives tries one pair in so many.
func wantAlternatives(t *testing.T, s *kit.Snapshot, of int) {
	bright := kit.Preferences{Finish: catalog.FinishBright}
	differ, want := 0, 100
	for i, v := range s.Catalog.Vehicles() {
		for k, c := range s.Catalog.Carburetors() {
			if (i+k)%of != 0 {
				continue
			}
			request := kit.Request{VehicleID: v.ID, CarburetorSKU: c.SKU}
			preferences := map[string]kit.Preferences{"price": {}, "stock": {Objective: kit.ByStock}, "bright": bright}
			if k%2 == 0 {
				request.Preferences = bright
				preferences["stock"] = kit.Preferences{Objective: kit.ByStock, Finish: catalog.FinishBright}
			}
			base := mustResolve(t, s, &request)
			for _, a := range base.Alternatives {
				packs := map[string]int{}
				for _, l := range base.Lines {
					packs[l.SKU] = l.Quantity
				}
				for _, change := range a.Changes {
					if packs[change.SKU] = change.To; change.To == 0 {
						delete(packs, change.SKU)
					}
				}
				alone := request
				alone.Preferences = preferences[a.Objective]
				other := mustResolve(t, s, &alone)
				if a.Optimal != other.Proof.Optimal {
					t.Fatalf("%s with %s, %s: proven beside another kit %v, by itself %v", v.ID, c.SKU, a.Objective, a.Optimal, other.Proof.Optimal)
				}
				lines := other.Lines
				same := len(lines) == len(packs)
				for _, l := range lines {
					same = same && packs[l.SKU] == l.Quantity
				}
				if !same {
					t.Fatalf("%s with %s, %s: beside another kit %v, by itself %v", v.ID, c.SKU, a.Objective, packs, lines)
				}
				if len(a.Changes) > 0 {
					differ++
				}
			}
		}
	}
	if differ < want {
		t.Errorf("only %d alternatives differ from the kit", differ)
	}
}

// An alternative says whether it is proven, whatever the kit beside it is: here dozens of dear
// bundles save lines that stock does not cover.
func TestAlternativesSayWhetherTheyAreProven(t *testing.T) {
	request := &kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke}
	data := kittest.Data(t)
	plain := mustResolve(t, demoSnapshot(t), request)
	if !plain.Alternatives[0].Optimal {
		t.Errorf("%+v", plain.Alternatives[0])
	}
	var parts []*catalog.Part
	for _, l := range plain.Lines {
		if p, err := demoSnapshot(t).Catalog.Part(l.SKU); err == nil {
			parts = append(parts, p)
		}
	}
	data.Bundles, data.Stock = nil, nil
	for i, p := range parts {
		for _, other := range parts[:i] {
			b := &catalog.Bundle{Contents: []catalog.Amount{{SKU: p.SKU, Quantity: 1}, {SKU: other.SKU, Quantity: 1}}, Offer: catalog.Offer{
				SKU: fmt.Sprintf("ZZB-%04d", len(data.Bundles)), Name: "Set", Finish: catalog.FinishPlain, PackQuantity: 1, Price: p.Price.Plus(other.Price).Times(2)}}
			data.Bundles = append(data.Bundles, b)
			data.Stock = append(data.Stock, catalog.Stock{SKU: b.SKU, Location: data.Locations[0].ID, OnHand: 1})
		}
	}
	k := mustResolve(t, kittest.Open(t, data), request)
	if !k.Proof.Optimal {
		t.Errorf("proof %+v", k.Proof)
	}
	for _, a := range k.Alternatives {
		if a.Optimal != (a.Objective != "stock") {
			t.Errorf("%s with %d bundles: proven %v", a.Objective, len(data.Bundles), a.Optimal)
		}
	}
}
