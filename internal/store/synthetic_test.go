//go:build !race

package store_test

import (
	"encoding/json"
	"hash/fnv"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/store"
	"onetrip/internal/units"
)

func synthetic(t *testing.T, size store.Synthetic) *catalog.Data {
	t.Helper()
	base := kittest.Data(t)
	d, err := store.MakeSynthetic(base, size)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

var small = store.Synthetic{Parts: 20_000, Vehicles: 500, Carburetors: 120, Seed: 7}

func TestSyntheticIsTheSameForOneSeed(t *testing.T) {
	sum := func(size store.Synthetic) uint64 {
		h := fnv.New64a()
		if err := json.NewEncoder(h).Encode(synthetic(t, size)); err != nil {
			t.Fatal(err)
		}
		return h.Sum64()
	}
	other := small
	other.Seed++
	if a, b, c := sum(small), sum(small), sum(other); a != b || a == c {
		t.Errorf("hashes %x and %x of one seed, %x of another", a, b, c)
	}
}

func TestSyntheticIsValid(t *testing.T) {
	d := synthetic(t, small)
	if len(d.Parts) != small.Parts || len(d.Vehicles) != small.Vehicles || len(d.Carburetors) != small.Carburetors {
		t.Errorf("%d parts, %d vehicles, %d carburetors; wanted %+v", len(d.Parts), len(d.Vehicles), len(d.Carburetors), small)
	}
	check := func(id string, found []catalog.Violation) {
		for _, v := range found {
			t.Errorf("%s%s: %s", id, v.Pointer, v.Detail)
		}
	}
	for _, v := range d.Vehicles {
		check(v.ID, v.Validate())
	}
	for _, c := range d.Carburetors {
		check(c.SKU, c.Validate())
	}
	gtins := map[string]string{}
	once := func(o *catalog.Offer) {
		key := units.GTIN14(o.GTIN)
		if other, taken := gtins[key]; taken && o.GTIN != "" {
			t.Errorf("%s and %s have the GTIN %s", other, o.SKU, o.GTIN)
		}
		gtins[key] = o.SKU
	}
	for _, c := range d.Carburetors {
		once(&c.Offer)
	}
	for _, b := range d.Bundles {
		once(&b.Offer)
	}
	kinds := map[catalog.Kind]int{}
	for _, p := range d.Parts {
		once(&p.Offer)
		check(p.SKU, p.Validate())
		kinds[p.Kind]++
	}
	for _, b := range d.Bundles {
		check(b.SKU, b.Validate())
	}
	for _, spec := range catalog.Kinds {
		if kinds[spec.Kind] < 50 {
			t.Errorf("%d parts of kind %s", kinds[spec.Kind], spec.Kind)
		}
	}
	s, err := kit.Open(d)
	if err != nil {
		t.Fatal(err)
	}
	var q kit.SweepQuery
	for i, v := range s.Catalog.Vehicles() {
		if i%9 == 0 {
			q.Vehicles = append(q.Vehicles, v)
		}
	}
	for i, c := range s.Catalog.Carburetors() {
		if i%8 == 0 {
			q.Carburetors = append(q.Carburetors, c)
		}
	}
	sum := map[kit.Verdict]int{}
	stats, err := kit.Sweep(t.Context(), s, q,
		func(_ *kit.Class, _ *catalog.Carburetor, k *kit.Summary) error {
			sum[k.Verdict]++
			return nil
		})
	if err != nil {
		t.Fatal(err)
	}
	if stats.Pairs == stats.Resolved || sum[kit.CompleteWithWarnings]+sum[kit.Complete] < stats.Resolved/4 {
		t.Errorf("verdicts %v of %+v", sum, stats)
	}
}

func TestSyntheticRefusesToBeSmallerThanItsBase(t *testing.T) {
	base := kittest.Data(t)
	if _, err := store.MakeSynthetic(base, store.Synthetic{Parts: 10}); err == nil {
		t.Error("10 parts are accepted")
	}
}
