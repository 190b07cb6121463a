//go:build !race

package httpapi

import (
	"net/http"
	"slices"
	"strings"
	"testing"

	"onetrip/internal/kit"
)

// A substitute is taken when it fits, and refused with what fails.
func TestSubstitutes(t *testing.T) {
	onBoth(t, func(t *testing.T, c client) {
		path, r := c.saveKit(ferrymaster)
		k := kitIn(t, r)
		line := k.Lines[slices.IndexFunc(k.Lines, func(l kit.Line) bool { return slices.Contains(l.Fills, "fuel.hose") })]
		fits, other := "", ""
		for _, item := range read[page](t, c.get("/v1/parts?kind=fuel_hose&limit=60")).Items {
			sku := item["sku"].(string)
			if sku == line.SKU {
				continue
			}
			r := c.mark(path, "*", `{"`+line.SKU+`": {"mark": "substituted", "substitute": "`+sku+`"}}`)
			if r.status == http.StatusOK {
				fits = sku
				continue
			}
			p := problem(t, r)
			if other = faultLines(p)[0]; p.Status != 422 || !strings.HasPrefix(other, "/marks/"+line.SKU+"/substitute: "+sku+" does not fit in place of "+line.SKU+": fuel.") {
				t.Errorf("%+v", p)
			}
		}
		if fits == "" || other == "" {
			t.Fatalf("of all hoses %q fits, %q is refused", fits, other)
		}
		if p := problem(t, c.mark(path, "*", `{"`+line.SKU+`": {"mark": "substituted", "substitute": "`+partOfKind(t, c, "fuel_filter")+`"}}`)); !strings.Contains(faultLines(p)[0], "fuel.hose: kind: fuel_filter, wanted fuel_hose") {
			t.Errorf("%+v", p)
		}
		sv := read[kit.Saved](t, c.get(path))
		if sv.Marks[line.SKU] != (kit.Mark{Mark: kit.LineSubstituted, Substitute: fits}) {
			t.Errorf("marks %+v, want the last that fits, %s", sv.Marks, fits)
		}
		if last := sv.History[len(sv.History)-1]; last.Substitute != fits || last.What != kit.EventSubstituted {
			t.Errorf("%+v", last)
		}
	})
}
