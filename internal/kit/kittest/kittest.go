// Package kittest has what tests of several packages need: the demo catalogue, and the
// same shop with other shelves.
package kittest

import (
	"maps"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"onetrip/db"
	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/rules"
	"onetrip/internal/store"
)

// Data is the demo catalogue, read anew: the caller may change it.
func Data(t rapid.TB) *catalog.Data {
	t.Helper()
	data, err := store.ReadCatalogue(db.Seed())
	if err != nil {
		t.Fatal(err)
	}
	return data
}

type demo struct {
	ruleFiles map[string]string
	snapshot  *kit.Snapshot
}

var readDemo = sync.OnceValues(func() (*demo, error) {
	data, err := store.ReadCatalogue(db.Seed())
	if err != nil {
		return nil, err
	}
	s, err := kit.Open(data)
	return &demo{data.RuleFiles, s}, err
})

// Demo is the demo catalogue, read once.
func Demo(t rapid.TB) *kit.Snapshot {
	t.Helper()
	d, err := readDemo()
	if err != nil {
		t.Fatal(err)
	}
	return d.snapshot
}

// Open is the snapshot of a catalogue. It compiles its rules only when they are not the
// demo's, since that takes longer than all else.
func Open(t rapid.TB, data *catalog.Data) *kit.Snapshot {
	t.Helper()
	set := Demo(t).Rules
	if d, _ := readDemo(); !maps.Equal(data.RuleFiles, d.ruleFiles) {
		var err error
		if set, err = rules.Parse(data.RuleFiles); err != nil {
			t.Fatal(err)
		}
	}
	cat, err := catalog.NewSnapshot(data)
	if err != nil {
		t.Fatal(err)
	}
	return kit.NewSnapshot(cat, set)
}

// Sold lists every SKU that a kit can take.
func Sold(s *kit.Snapshot) []string {
	var skus []string
	for _, p := range s.Catalog.Parts() {
		skus = append(skus, p.SKU)
	}
	for _, b := range s.Catalog.Bundles() {
		skus = append(skus, b.SKU)
	}
	return skus
}

// Restocked is the snapshot with plenty of some SKUs at a location.
func Restocked(t testing.TB, s *kit.Snapshot, location string, skus ...string) *kit.Snapshot {
	t.Helper()
	var levels []catalog.Stock
	for _, sku := range skus {
		levels = append(levels, catalog.Stock{SKU: sku, Location: location, OnHand: 1000})
	}
	next, err := s.WithStock(s.Catalog.Revision, levels)
	if err != nil {
		t.Fatal(err)
	}
	return next
}
