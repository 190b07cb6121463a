//go:build !race

package kit_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// only leaves of the kinds of some parts no others on sale.
func only(t *testing.T, d *catalog.Data, skus ...string) {
	t.Helper()
	for _, sku := range skus {
		for _, p := range d.Parts {
			p.Discontinued = p.Discontinued || p.Kind == partOf(t, d, sku).Kind && p.SKU != sku
		}
	}
}

// An impossible combination is an answer: where all that fits conflicts, the least important
// of the needs is missing, and the rest of the kit is there.
func TestNeedsInEachOthersWay(t *testing.T) {
	const bracket, sealant, cover = "BIX-2A03", "XYT-2A07", "XOF-2A03"
	every := func(d *catalog.Data, kind catalog.Kind) (parts []*catalog.Part, skus []string) {
		for _, p := range d.Parts {
			if p.Kind == kind {
				parts, skus = append(parts, p), append(skus, p.SKU)
			}
		}
		return parts, skus
	}
	for name, c := range map[string]struct {
		change  func(*catalog.Data)
		missing []string
		says    string
	}{
		"two needs": {func(d *catalog.Data) {
			only(t, d, bracket, sealant)
			partOf(t, d, bracket).Conflicts = []string{sealant}
		}, []string{"shop.thread_sealant"}, "the throttle bracket: " + bracket + " conflicts with " + sealant + "."},
		"said by the other": {func(d *catalog.Data) {
			only(t, d, bracket, sealant)
			partOf(t, d, sealant).Conflicts = []string{bracket}
		}, []string{"shop.thread_sealant"}, bracket},
		"with a required part": {func(d *catalog.Data) {
			only(t, d, bracket, sealant)
			partOf(t, d, bracket).Requires, partOf(t, d, sealant).Conflicts = []string{cover}, []string{cover}
		}, []string{"shop.thread_sealant"}, "the throttle bracket: " + sealant + " conflicts with " + cover + "; " + bracket + " requires " + cover + "."},
		"its own required part": {func(d *catalog.Data) {
			only(t, d, bracket)
			partOf(t, d, bracket).Requires, partOf(t, d, cover).Conflicts = []string{cover}, []string{bracket}
		}, []string{"throttle.bracket"}, "what it requires: " + cover + " conflicts with " + bracket + "; " + bracket + " requires " + cover + "."},
		"a need and the fuel path": {func(d *catalog.Data) {
			only(t, d, bracket)
			_, partOf(t, d, bracket).Conflicts = every(d, "fuel_filter")
		}, []string{"throttle.bracket"}, "the fuel path: " + bracket + " conflicts with "},
		"stack and fuel path": {func(d *catalog.Data) {
			only(t, d, onlyPlate)
			_, partOf(t, d, onlyPlate).Conflicts = every(d, "fuel_filter")
		}, []string{"mount.adapter"}, "the fuel path: " + onlyPlate + " conflicts with "},
		"the fuel path alone": {func(d *catalog.Data) {
			filters, _ := every(d, "fuel_filter")
			for i, p := range filters {
				p.Requires, p.Discontinued = []string{cover}, i > 3 // few, as all ways to combine them are tried
			}
			_, partOf(t, d, cover).Conflicts = every(d, "fuel_hose")
		}, []string{"fuel.clamps", "fuel.filter", "fuel.fittings", "fuel.hose", "fuel.inlet_fitting"}, "what it requires: " + cover + " conflicts with "},
	} {
		t.Run(name, func(t *testing.T) {
			s := changedSnapshot(t, func(d *catalog.Data) { d.Bundles, d.Stock = nil, nil; c.change(d) })
			for _, objective := range []kit.Objective{kit.ByPrice, kit.ByStock, kit.ByFewest} {
				request := takesOnlyPlate()
				request.Preferences.Objective = objective
				k := mustResolve(t, s, request)
				var missing []string
				for _, m := range k.Missing {
					if n, _ := need(k, m.Need); n.Status == kit.NotThere {
						missing = append(missing, m.Need)
						if !strings.HasPrefix(m.Reason, "What fits does not go with ") || !strings.Contains(m.Reason, c.says) {
							t.Errorf("%s: %s", m.Need, m.Reason)
						}
					}
				}
				slices.Sort(missing)
				if !slices.Equal(missing, c.missing) || len(k.Lines) < 5 || len(k.Alternatives) == 0 || !k.Proof.Optimal {
					t.Errorf("%s: missing %v, want %v; %d lines, %d alternatives, proof %+v", objective, missing, c.missing, len(k.Lines), len(k.Alternatives), k.Proof)
				}
				noConflicts(t, s, k)
			}
		})
	}
}

// noConflicts fails when two lines of a kit conflict.
func noConflicts(t *testing.T, s *kit.Snapshot, k *kit.Kit) {
	t.Helper()
	for _, l := range k.Lines {
		if p, err := s.Catalog.Part(l.SKU); err == nil && slices.ContainsFunc(p.Conflicts, func(sku string) bool { return hasLine(k, sku) }) {
			t.Errorf("%s conflicts with another line", l.SKU)
		}
	}
}

// Why nothing meets a need is said from all that its rules ask, however many they are, and
// from no more of it than it takes.
func TestReasonIsFoundAmongManyRules(t *testing.T) {
	s := changedSnapshot(t, func(d *catalog.Data) {
		for n := range 20 {
			most := 1000 // gph, more than any pump's
			if n == 7 {
				most = 1
			}
			d.RuleFiles["more.yaml"] += fmt.Sprintf(`
- {id: spare-%d, when: "true", need: fuel.spare_pump, level: required, quantity: 1, match: {kind: fuel_pump, free_flow_gph: {at_most: %d}},
   because: A pump., severity: minor, source: "common practice, no source"}
`, n, most+n)
		}
	})
	k := mustResolve(t, s, &kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke})
	at := slices.IndexFunc(k.Missing, func(m kit.Missing) bool { return m.Need == "fuel.spare_pump" })
	if at < 0 || !strings.HasPrefix(k.Missing[at].Reason, "No fuel pump in the catalogue ") || !strings.Contains(k.Missing[at].Reason, "8") || strings.Contains(k.Missing[at].Reason, "10") {
		t.Errorf("missing %+v", k.Missing)
	}
}

// Without time to find out which conflicts it takes, all of what fits are named.
func TestConflictsWithoutTime(t *testing.T) {
	const bracket, sealant, cover = "BIX-2A03", "XYT-2A07", "XOF-2A03"
	s := changedSnapshot(t, func(d *catalog.Data) {
		d.Bundles, d.Stock = nil, nil
		only(t, d, bracket, sealant)
		partOf(t, d, bracket).Conflicts = []string{cover, sealant}
	})
	late, cancel := context.WithDeadline(t.Context(), time.Now())
	defer cancel()
	for ctx, want := range map[context.Context]string{
		t.Context(): "What fits does not go with what fits for the throttle bracket: " + bracket + " conflicts with " + sealant + ".",
		late:        "What fits does not go with what else the kit takes: " + bracket + " conflicts with " + sealant + ".",
	} {
		k, err := kit.Resolve(ctx, s, takesOnlyPlate())
		if err != nil {
			t.Fatal(err)
		}
		at := slices.IndexFunc(k.Missing, func(m kit.Missing) bool { return m.Need == "shop.thread_sealant" })
		if at < 0 || k.Missing[at].Reason != want {
			t.Errorf("%+v, want %s", k.Missing, want)
		}
	}
}
