package kit_test

import (
	"slices"
	"strings"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// Titles are words, and no two needs have the same.
func TestEveryNeedHasATitle(t *testing.T) {
	ids := slices.Clone(demoSnapshot(t).Rules.Needs())
	if len(ids) < 40 {
		t.Fatalf("%d needs", len(ids))
	}
	of := map[string]string{}
	for _, id := range ids {
		title := kit.NeedTitle(id)
		if of[title] != "" || strings.ContainsAny(title, "._") || title == "" {
			t.Errorf("%s and %q are both called %q", id, of[title], title)
		}
		of[title] = id
		if group, _, _ := strings.Cut(id, "."); group == "mount" && strings.HasPrefix(title, "mount ") || group == "shop" && strings.HasPrefix(title, "shop ") {
			t.Errorf("%s is called %q, by its id", id, title)
		}
	}
	if got := kit.NeedTitle("brakes.check_valve"); got != "brakes check valve" {
		t.Errorf("a need of other rules is called %q", got)
	}
}

// Where the kit is short of stock, what it says is in stock instead is, serves the need, and
// costs what changes.
func TestInStockInstead(t *testing.T) {
	s := demoSnapshot(t)
	told, alone := 0, 0
	carburetors := s.Catalog.Carburetors()
	for i, v := range s.Catalog.Vehicles() {
		at := i % len(s.Catalog.Locations)
		k := mustResolve(t, s, &kit.Request{VehicleID: v.ID, CarburetorSKU: carburetors[i%len(carburetors)].SKU, Preferences: kit.Preferences{Location: s.Catalog.Locations[at].ID}})
		stock := k.Alternatives[slices.IndexFunc(k.Alternatives, func(a kit.Alternative) bool { return a.Objective == "stock" })]
		for _, n := range k.Needs {
			e := k.InStockInstead(n.ID)
			if e == nil {
				continue
			}
			told++
			cost := stock.Delta
			for _, c := range e.With {
				if !slices.Contains(c.Fills, n.ID) || s.Catalog.OnHand(s.Catalog.Offer(c.SKU), at) < c.To {
					t.Errorf("%s: %s is to serve %s, and there are %d of %d", v.ID, c.SKU, n.ID, s.Catalog.OnHand(s.Catalog.Offer(c.SKU), at), c.To)
				}
				cost.AmountMinor -= c.Delta.AmountMinor
			}
			if e.Others == 0 {
				alone++
				for _, l := range k.Lines { // what goes served this need
					if slices.Contains(l.Fills, n.ID) && slices.ContainsFunc(stock.Changes, func(c kit.LineChange) bool { return c.SKU == l.SKU && c.To == 0 }) {
						cost.AmountMinor += l.Amount.AmountMinor
					}
				}
				if cost.AmountMinor != 0 {
					t.Errorf("%s: %v for %s leaves %v of the alternative's cost", v.ID, e, n.ID, cost)
				}
			}
			if e.Delta != stock.Delta {
				t.Errorf("%s: %v, in all %v", v.ID, e, stock.Delta)
			}
		}
	}
	if told < 20 || alone < 5 {
		t.Errorf("%d needs, %d of them alone", told, alone)
	}
}

// What is had and what is bought for a need come to all of it, piece by piece.
func TestAtHandIsToldByPiece(t *testing.T) {
	s := demoSnapshot(t)
	both := 0
	for i, v := range s.Catalog.Vehicles() {
		c := s.Catalog.Carburetors()[i%len(s.Catalog.Carburetors())]
		k := mustResolve(t, s, &kit.Request{VehicleID: v.ID, CarburetorSKU: c.SKU})
		for _, n := range k.Needs {
			there := 0.0
			for _, a := range n.AtHand {
				if there += a.Quantity; a.From != kit.Box {
					t.Errorf("%s: %s from the shelf of an owner who has nothing", v.ID, n.ID)
				}
			}
			packs := 0
			for _, l := range k.Lines {
				if slices.Equal(l.Fills, []string{n.ID}) && l.Contents == nil {
					packs += l.Quantity
				}
			}
			switch {
			case there > n.Quantity, n.Status == kit.InTheBox && there != n.Quantity:
				t.Errorf("%s with %s: %s: %v %s of %v are there", v.ID, c.SKU, n.ID, there, n.Unit, n.Quantity)
			case n.ID == "mount.base_gasket" && n.Status == kit.Filled && packs > 0: // gaskets come by the piece
				if there+float64(packs) != n.Quantity {
					t.Errorf("%s with %s: %v gaskets are wanted, %v there, %d bought", v.ID, c.SKU, n.Quantity, there, packs)
				}
				if there > 0 {
					both++
				}
			}
		}
	}
	if both < 20 {
		t.Errorf("only %d kits take gaskets from the box and from the shop", both)
	}
}

func TestNotAskedIsNotDeclined(t *testing.T) {
	k := mustResolve(t, demoSnapshot(t), &kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke, Preferences: kit.Preferences{Declined: []string{"shop.thread_sealant"}}})
	texts := map[string]string{}
	for _, n := range k.Needs {
		if text := n.LeftOut(); text != "" {
			texts[n.ID] = text
		}
	}
	for id, want := range map[string]string{"shop.thread_sealant": "left out as asked", "shop.fender_cover": "optional, not asked for"} {
		if texts[id] != want {
			t.Errorf("%s is %q, want %q, of %v", id, texts[id], want, texts)
		}
	}
}

// What a proof's cost has beside the total is what other finishes count.
func TestCostIsTotalAndFinish(t *testing.T) {
	s := demoSnapshot(t)
	counted := 0
	for i, v := range s.Catalog.Vehicles() {
		req := &kit.Request{VehicleID: v.ID, CarburetorSKU: s.Catalog.Carburetors()[i%len(s.Catalog.Carburetors())].SKU}
		for _, finish := range []catalog.Finish{"", catalog.FinishBright} {
			req.Preferences.Finish = finish
			k := mustResolve(t, s, req)
			beside := k.Proof.Cost.AmountMinor - k.Totals.All.AmountMinor
			if beside < 0 || beside%kit.FinishMismatchMinor != 0 || finish == "" && beside != 0 || k.Proof.Optimal && k.Proof.LowerBound != k.Proof.Cost {
				t.Errorf("%s, finish %q: total %v, proof %+v", v.ID, finish, k.Totals.All, k.Proof)
			}
			if beside > 0 {
				counted++
			}
		}
	}
	if counted < 20 {
		t.Errorf("finishes count in %d kits", counted)
	}
}
