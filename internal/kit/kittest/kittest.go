// Package kittest has what tests of several packages need: the demo catalogue, and the
// same shop with other shelves.
package kittest

import (
	"sync"
	"testing"

	"onetrip/db"
	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/store"
)

// Data is the demo catalogue, read anew: the caller may change it.
func Data(t testing.TB) *catalog.Data {
	t.Helper()
	data, err := store.ReadCatalogue(db.Seed())
	if err != nil {
		t.Fatal(err)
	}
	return data
}

var demo = sync.OnceValues(func() (*kit.Snapshot, error) {
	data, err := store.ReadCatalogue(db.Seed())
	if err != nil {
		return nil, err
	}
	return kit.Open(data)
})

// Demo is the demo catalogue, read once.
func Demo(t testing.TB) *kit.Snapshot {
	t.Helper()
	s, err := demo()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Open is the snapshot of a catalogue.
func Open(t testing.TB, data *catalog.Data) *kit.Snapshot {
	t.Helper()
	s, err := kit.Open(data)
	if err != nil {
		t.Fatal(err)
	}
	return s
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
