package kit_test

import (
	"slices"
	"testing"

	"onetrip/internal/kit"
)

// What is explained is what the kit says: the same rules for the same needs, and each
// line is a part that meets the match.
func TestExplainAgreesWithTheKit(t *testing.T) {
	s := demoSnapshot(t)
	for i, v := range s.Catalog.Vehicles() {
		c := s.Catalog.Carburetors()[i%len(s.Catalog.Carburetors())]
		req := &kit.Request{VehicleID: v.ID, CarburetorSKU: c.SKU}
		k, err := kit.Resolve(t.Context(), s, req)
		if err != nil {
			t.Fatal(err)
		}
		traces, err := kit.Explain(t.Context(), s, req)
		if err != nil {
			t.Fatal(err)
		}
		if len(traces) != len(s.Rules.Rules()) {
			t.Fatalf("%d rules explained of %d", len(traces), len(s.Rules.Rules()))
		}
		for _, trace := range traces {
			r := trace.Rule
			if len(trace.Facts) != len(r.Reads()) || len(trace.Outcomes) != len(trace.Fired) {
				t.Errorf("%s: %+v", r.ID, trace)
			}
			for _, o := range trace.Outcomes {
				for _, sku := range o.Lines {
					if p, err := s.Catalog.Part(sku); err == nil && p.Kind == r.Kind && r.ForEach == "" && !slices.Contains(o.Meets, sku) {
						t.Errorf("%s with %s, rule %s: %s is chosen and does not meet the match", v.ID, c.SKU, r.ID, sku)
					}
				}
				if r.Need != "" && (o.Status == "" || len(o.Nearest) == 0 && len(o.Meets) == 0 && len(s.Catalog.Forms(r.Kind)) > 0) {
					t.Errorf("%s with %s, rule %s: %+v", v.ID, c.SKU, r.ID, o)
				}
			}
			for _, n := range k.Needs {
				because := slices.ContainsFunc(n.Because, func(b kit.Because) bool { return b.Rule == r.ID })
				if n.ID == r.Need && because != (len(trace.Fired) > 0) {
					t.Errorf("%s with %s: rule %s fired %d times, the kit names it: %v", v.ID, c.SKU, r.ID, len(trace.Fired), because)
				}
			}
		}
	}
}
