package kit_test

import (
	"slices"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
)

func pipeThread(k *kit.Kit) bool {
	return slices.ContainsFunc(k.FuelPath, func(s kit.PathStep) bool {
		return s.FromEnd.Family == catalog.NPT || s.ToEnd.Family == catalog.NPT
	})
}

// There is sealant, and a caution about it, in the kits that join pipe threads and in no others,
// be it bought, not on sale, declined or the owner's.
func TestSealantGoesWithPipeThreads(t *testing.T) {
	unsold := kittest.Data(t)
	for _, p := range unsold.Parts {
		p.Discontinued = p.Discontinued || p.Kind == "thread_sealant"
	}
	demo, without := demoSnapshot(t), kittest.Open(t, unsold)
	cases := []struct {
		s      *kit.Snapshot
		change func(r *kit.Request)
		status kit.Status
	}{
		{demo, func(*kit.Request) {}, kit.Filled},
		{without, func(*kit.Request) {}, kit.NotThere},
		{demo, func(r *kit.Request) { r.Preferences.Declined = []string{"shop.thread_sealant"} }, kit.Declined},
		{demo, func(r *kit.Request) { r.OnHand = []kit.OnHand{{Need: "shop.thread_sealant"}} }, kit.OnTheShelf},
	}
	vehicles, carburetors := demo.Catalog.Vehicles(), demo.Catalog.Carburetors()
	for n, c := range cases {
		kits := map[bool]int{}
		for i, v := range vehicles {
			for n := (i + n) % 8; n < len(carburetors); n += 8 {
				r := &kit.Request{Vehicle: v, CarburetorSKU: carburetors[n].SKU}
				c.change(r)
				k := mustResolve(t, c.s, r)
				joined := pipeThread(k)
				for _, id := range []string{"vacuum.nipples", "vacuum.pipe_plug", "fuel.pump"} { // of pumps only some have any
					_, there := need(k, id)
					joined = joined || there
				}
				kits[joined]++
				sealant, asked := need(k, "shop.thread_sealant")
				missing := slices.ContainsFunc(k.Missing, func(m kit.Missing) bool { return m.Need == "shop.thread_sealant" })
				told := slices.ContainsFunc(k.Cautions, func(c kit.Caution) bool { return c.ID == "fuel.sealant" })
				if asked != joined || told != joined || asked && sealant.Status != c.status || missing != (joined && c.status == kit.NotThere) {
					t.Errorf("%s on %s, %s: joins pipe threads: %v; sealant: %v %s, missing: %v, caution: %v", carburetors[n].SKU, v.ID, c.status, joined, asked, sealant.Status, missing, told)
				}
			}
		}
		if kits[true] < 50 || kits[false] < 25 {
			t.Errorf("%s: kits with pipe threads and without: %v", c.status, kits)
		}
	}
}

// Kits of a sweep that share a choice of parts do without declined sealant alike, also where rules
// require it.
func TestSweptKitsShareThatNoSealantIsNeeded(t *testing.T) {
	s := demoSnapshot(t)
	s = kit.NewSnapshot(s.Catalog, edited(t, s, map[string]func(string) string{"shop-thread-sealant": with("level: recommended", "level: required")}))
	var vehicles []*catalog.Vehicle
	for _, v := range s.Catalog.Vehicles() {
		larger := *v
		larger.ID += "-larger"
		larger.Engine.DisplacementIn3 += 0.5
		vehicles = append(vehicles, v, &larger)
	}
	if stats := compareSweep(t, s, kit.SweepQuery{Vehicles: vehicles, Carburetors: every(s.Catalog.Carburetors(), 4, 1), Preferences: kit.Preferences{Declined: []string{"shop.thread_sealant"}}}); stats.Solved == stats.Resolved {
		t.Errorf("no two kits share a choice: %+v", stats)
	}
}

// The path chosen is the best with what its sealant costs: the cheapest of all and sealant, or
// the cheapest of those without pipe threads.
func TestSealantCountsInThePath(t *testing.T) {
	fuel := []catalog.Kind{"fuel_fitting", "fuel_filter", "pressure_regulator"}
	open := func(change func(*catalog.Data)) *kit.Snapshot {
		data := kittest.Data(t)
		for _, b := range data.Bundles {
			b.Discontinued = true
		}
		change(data)
		return kittest.Open(t, data)
	}
	dry := open(func(d *catalog.Data) {
		for _, p := range d.Parts {
			pipe := slices.ContainsFunc(p.Ends, func(e catalog.End) bool { return e.Family == catalog.NPT })
			p.Discontinued = p.Discontinued || pipe && slices.Contains(fuel, p.Kind)
		}
	})
	declined := kit.Preferences{Declined: []string{"shop.thread_sealant"}}
	sealed, avoided := 0, 0
	for _, price := range []int64{1, 359, 900, 100_000} {
		s := open(func(d *catalog.Data) {
			for _, p := range d.Parts {
				if p.Kind == "thread_sealant" {
					p.Price.AmountMinor = price
				}
			}
		})
		vehicles, carburetors := s.Catalog.Vehicles(), s.Catalog.Carburetors()
		for i, v := range vehicles {
			for n := i % 6; n < len(carburetors); n += 6 {
				r := &kit.Request{Vehicle: v, CarburetorSKU: carburetors[n].SKU}
				k := mustResolve(t, s, r)
				if slices.ContainsFunc(k.Needs, func(n kit.Need) bool {
					return n.ID == "vacuum.nipples" || n.ID == "vacuum.pipe_plug" || n.ID == "fuel.pump"
				}) {
					continue
				}
				r.Preferences = declined
				free := mustResolve(t, s, r)
				want := free.Totals.All.AmountMinor
				if pipeThread(free) {
					want += price
					without := mustResolve(t, dry, r)
					broken := slices.ContainsFunc(without.Missing, func(m kit.Missing) bool {
						return !slices.ContainsFunc(free.Missing, func(o kit.Missing) bool { return o.Need == m.Need })
					})
					if !broken && len(without.FuelPath) > 0 && without.Totals.All.AmountMinor < want {
						want = without.Totals.All.AmountMinor
						avoided++
					} else {
						sealed++
					}
				}
				if got := k.Totals.All.AmountMinor; got != want || !k.Proof.Optimal {
					t.Errorf("%s on %s, sealant at %d: %d, wanted %d", carburetors[n].SKU, v.ID, price, got, want)
				}
			}
		}
	}
	if sealed < 20 || avoided < 5 {
		t.Errorf("%d paths sealed, %d without pipe threads for it", sealed, avoided)
	}
}
