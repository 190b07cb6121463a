//go:build !race

package kit_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"onetrip/internal/deadline"
	"onetrip/internal/kit"
)

// Not under the race detector, which makes long searches ten times as long and has nothing to
// find in them.

// After the deadline the answer is a whole kit, the best found by then: it lacks what the
// kit found with all time lacks, is no better, and says that it is not proven.
func TestAfterTheDeadlineTheBestKitFoundIsTheAnswer(t *testing.T) {
	t.Parallel()
	s := demoSnapshot(t)
	vehicles, carburetors := s.Catalog.Vehicles(), s.Catalog.Carburetors()
	gaps := func(k *kit.Kit) (list []string) {
		for _, n := range k.Needs {
			if n.Status == kit.NotThere {
				list = append(list, strings.Split(n.ID, ".")[0]) // which piece of a fuel path that is broken may differ
			}
		}
		return list
	}
	unproven, proven, worse, fewer := 0, 0, 0, 0
	for i := range 24 {
		r := &kit.Request{VehicleID: vehicles[i*7%len(vehicles)].ID, CarburetorSKU: carburetors[i*11%len(carburetors)].SKU}
		r.Preferences.Objective = []kit.Objective{kit.ByPrice, kit.ByStock, kit.ByFewest}[i%3]
		best := mustResolve(t, s, r)
		for _, looks := range []int{0, 1, 40, 100, 1000} {
			k, err := kit.Resolve(deadline.After(t.Context(), looks), s, r)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(gaps(k), gaps(best)) {
				t.Errorf("%s after %d looks: gaps %v; with all time %v", r.VehicleID, looks, gaps(k), gaps(best))
			}
			if k.Proof.Optimal {
				proven++
				if k.Proof.Cost != best.Proof.Cost {
					t.Errorf("%s after %d looks: proven at %v, with all time %v", r.VehicleID, looks, k.Proof.Cost, best.Proof.Cost)
				}
				continue
			}
			unproven++
			if best.Proof.Optimal && r.Preferences.Objective == kit.ByPrice {
				if k.Proof.Cost.AmountMinor < best.Proof.Cost.AmountMinor {
					t.Errorf("%s after %d looks: %v, with all time %v", r.VehicleID, looks, k.Proof.Cost, best.Proof.Cost)
				}
				if k.Proof.Cost != best.Proof.Cost {
					worse++
				}
			}
			if best.Proof.Optimal && r.Preferences.Objective == kit.ByFewest {
				if len(k.Lines) < len(best.Lines) {
					t.Errorf("%s after %d looks: %d lines, with all time %d", r.VehicleID, looks, len(k.Lines), len(best.Lines))
				}
				if len(k.Lines) > len(best.Lines) {
					worse++
				}
			}
			if len(k.Alternatives) < len(best.Alternatives) {
				fewer++
			}
		}
	}
	t.Logf("%d kits proven, %d not, of which %d are worse and %d have fewer alternatives", proven, unproven, worse, fewer)
	if proven == 0 || worse == 0 || fewer == 0 {
		t.Error("the test shows nothing")
	}
}

func TestACancelledRequestGetsNoKit(t *testing.T) {
	s := demoSnapshot(t)
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if k, err := kit.Resolve(gone, s, readmeRequest(t)); !errors.Is(err, context.Canceled) {
		t.Errorf("%v, %v", k, err)
	}
}

// Kits of fewest lines are proven also where many bundles save lines, and paths come by the hundred.
func TestFewestLinesIsProven(t *testing.T) {
	t.Parallel()
	s := demoSnapshot(t)
	for _, c := range []struct {
		vehicle, carburetor string
		lines               int
		minor               int64
	}{
		{"halvorne-ferrymaster-1981", "QYC-2B27", 16, 26091},
		{"halvorne-almsgate-1985", "QYC-2B19", 16, 31413},
		{"halvorne-ferrymaster-1981", "QYC-2B07", 18, 32281},
	} {
		r := &kit.Request{VehicleID: c.vehicle, CarburetorSKU: c.carburetor}
		r.Preferences.Objective = kit.ByFewest
		k := mustResolve(t, s, r)
		t.Logf("%s: %d lines, %v, proof %+v", c.vehicle, len(k.Lines), k.Totals.All, k.Proof)
		if lines, minor := len(k.Lines), k.Totals.All.AmountMinor; lines > c.lines || lines == c.lines && minor > c.minor {
			t.Errorf("%s with %s: %d lines for %v, where %d for %d are known", c.vehicle, c.carburetor, lines, k.Totals.All, c.lines, c.minor)
		}
		if !k.Proof.Optimal {
			t.Errorf("%s with %s: %+v", c.vehicle, c.carburetor, k.Proof)
		}
	}
}
