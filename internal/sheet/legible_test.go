//go:build !race

package sheet_test

import (
	"strings"
	"testing"

	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/sheet"
)

// Every vehicle of the demo, each with some of the carburetors, has a sheet on which
// no text runs out of its drawing or into another.
func TestEveryDemoVehicleHasALegibleSheet(t *testing.T) {
	s := kittest.Demo(t)
	carburetors := s.Catalog.Carburetors()
	n, verdicts := 0, map[kit.Verdict]int{}
	for i, v := range s.Catalog.Vehicles() {
		for j := i % 9; j < len(carburetors); j += 9 {
			k, err := kit.Resolve(t.Context(), s, &kit.Request{VehicleID: v.ID, CarburetorSKU: carburetors[j].SKU})
			if err != nil {
				t.Fatal(err)
			}
			verdicts[k.Verdict]++
			n++
			root := wellFormed(t, render(t, k, sheet.Options{}))
			for _, name := range drawings {
				svg := drawing(root, name)
				if svg == nil {
					t.Errorf("%s with %s: no drawing %s", v.ID, carburetors[j].SKU, name)
					continue
				}
				for _, fault := range legibility(t, svg) {
					t.Errorf("%s with %s: %s: %s", v.ID, carburetors[j].SKU, name, fault)
				}
			}
			if body := text(elements(root, "body")[0]); strings.Contains(body, "Whatever is left") {
				t.Errorf("%s with %s: a need is in no step of the work", v.ID, carburetors[j].SKU)
			}
		}
	}
	if n < 200 || len(verdicts) < 3 {
		t.Errorf("only %d kits with verdicts %v", n, verdicts)
	}
}
