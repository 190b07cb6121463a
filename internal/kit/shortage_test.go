//go:build !race

package kit_test

import (
	"hash/fnv"
	"slices"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
)

// Not under the race detector: nothing here works beside itself, and it takes minutes there.

// verdictFromStock is the verdict of what a location can supply of what is required.
func verdictFromStock(t testing.TB, s *kit.Snapshot, v *catalog.Vehicle, carburetor, location string) kit.Verdict {
	t.Helper()
	k, err := kit.Resolve(t.Context(), s, &kit.Request{Vehicle: v, CarburetorSKU: carburetor,
		Preferences: kit.Preferences{Objective: kit.ByStock, Location: location, Levels: []kit.Level{kit.Required}}})
	if err != nil {
		t.Fatal(err)
	}
	return k.Verdict
}

// thinned is the demo catalogue with many shelves nearly empty: by hash, so that runs
// are alike.
func thinned(t testing.TB) *kit.Snapshot {
	s := demoSnapshot(t)
	var levels []catalog.Stock
	for _, sku := range kittest.Sold(s) {
		for _, at := range s.Catalog.Locations {
			h := fnv.New32a()
			_, _ = h.Write([]byte(sku + at.ID))
			levels = append(levels, catalog.Stock{SKU: sku, Location: at.ID, OnHand: []int{0, 0, 1, 3, 20, 20, 20, 20}[h.Sum32()>>8%8]})
		}
	}
	next, err := s.WithStock(s.Catalog.Revision, levels)
	if err != nil {
		t.Fatal(err)
	}
	return next
}

// What completes a kit alone is what brute force finds: restock every part and bundle
// of the catalogue in turn and resolve again. Where more than one is needed, restocking
// all that is not among those named, and any one that is, is not enough.
func TestShortageEqualsBruteForce(t *testing.T) {
	for name, run := range map[string]struct {
		snapshot *kit.Snapshot
		step     int // of how many vehicles one is looked at
		each     int // of how many pairs that are short one is tried
	}{
		"demo stock": {demoSnapshot(t), 1, 41},
		"thinned":    {thinned(t), 23, 13},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := run.snapshot
			skus := kittest.Sold(s)
			alone := map[string]map[string]*kit.Snapshot{}
			for _, at := range s.Catalog.Locations {
				alone[at.ID] = map[string]*kit.Snapshot{}
				for _, sku := range skus {
					alone[at.ID][sku] = kittest.Restocked(t, s, at.ID, sku)
				}
			}
			lines, tried := map[int]int{}, 0
			for vi, v := range s.Catalog.Vehicles() {
				if vi%run.step > 0 {
					continue
				}
				for ci, c := range s.Catalog.Carburetors() {
					at := s.Catalog.Locations[(vi+ci)%len(s.Catalog.Locations)].ID
					verdict := verdictFromStock(t, s, v, c.SKU, at)
					if verdict == kit.Unsuitable {
						continue
					}
					got, err := s.Shortage(t.Context(), v, c.SKU, at, nil)
					if err != nil {
						t.Fatal(err)
					}
					if complete := got.Lines == 0 && !got.Beyond; complete != (verdict != kit.Incomplete) || got.Unproven {
						t.Fatalf("%s with %s at %s: %+v, verdict %s", v.ID, c.SKU, at, got, verdict)
					}
					if got.Beyond {
						continue
					}
					if lines[got.Lines]++; got.Lines == 0 || lines[got.Lines]%run.each != 1 {
						continue
					}
					tried++
					if len(got.Alone) == 0 {
						checkAmong(t, s, v, c.SKU, at, &got)
						continue
					}
					var want []string
					for _, sku := range skus {
						if verdictFromStock(t, alone[at][sku], v, c.SKU, at) != kit.Incomplete {
							want = append(want, sku)
						}
					}
					slices.Sort(want)
					if !slices.Equal(got.Alone, want) {
						t.Errorf("%s with %s at %s:\n got %v\nwant %v", v.ID, c.SKU, at, got.Alone, want)
					}
				}
			}
			t.Logf("kits by number of short lines %v; brute force on %d", lines, tried)
			if lines[0] == 0 || lines[1] == 0 || tried < 2 || name == "demo stock" && lines[2] == 0 {
				t.Errorf("not all cases are met: %v, %d tried", lines, tried)
			}
		})
	}
}

func checkAmong(t *testing.T, s *kit.Snapshot, v *catalog.Vehicle, carburetor, at string, got *kit.Shortage) {
	if verdictFromStock(t, kittest.Restocked(t, s, at, got.Among...), v, carburetor, at) == kit.Incomplete {
		t.Errorf("%s with %s at %s: all of %v together do not complete it", v.ID, carburetor, at, got.Among)
	}
	var others []string
	for _, sku := range kittest.Sold(s) {
		if !slices.ContainsFunc(got.Among, func(among string) bool { return slices.Contains(s.Interchangeable(among), sku) }) {
			others = append(others, sku)
		}
	}
	for _, sku := range got.Among {
		if verdictFromStock(t, kittest.Restocked(t, s, at, append(slices.Clone(others), sku)...), v, carburetor, at) != kit.Incomplete {
			t.Errorf("%s with %s at %s: %d lines short, but %s completes it with things not named", v.ID, carburetor, at, got.Lines, sku)
		}
	}
}
