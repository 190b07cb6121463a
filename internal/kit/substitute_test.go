//go:build !race

package kit_test

import (
	"slices"
	"strings"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// Not under the race detector: nothing here works beside itself, and it takes long there.

// whyNot is why a part cannot stand in for a line, "" when it can.
func whyNot(t testing.TB, s *kit.Snapshot, r *kit.Request, k *kit.Kit, instead map[string]string) string {
	t.Helper()
	reasons, err := kit.Substitutes(t.Context(), s, r, k, instead)
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for line, list := range reasons {
		for _, reason := range list {
			all = append(all, line+" "+reason)
		}
	}
	slices.Sort(all)
	return strings.Join(all, "\n")
}

// In every golden kit a part of the same form can stand in for each line, and a part that
// the rules refuse cannot, with the attribute that they refuse it for.
func TestSubstitutesOfTheSameFormFitAndOthersAreRefused(t *testing.T) {
	t.Parallel()
	s := demoSnapshot(t)
	same, other := 0, 0
	for _, file := range goldenFiles(t) {
		r := readGolden(t, file).Request
		k := throughJSON(t, mustResolve(t, s, r))
		for _, l := range k.Lines {
			p, err := s.Catalog.Part(l.SKU)
			if err != nil {
				continue // a bundle
			}
			for _, twin := range p.Form.Parts() {
				if twin == p || twin.Tied() || inKit(k, twin.SKU) {
					continue
				}
				same++
				why := whyNot(t, s, r, k, map[string]string{l.SKU: twin.SKU})
				fewer := twin.PackQuantity < p.PackQuantity && strings.HasPrefix(why, l.SKU+" quantity: ")
				if why != "" && !fewer {
					t.Errorf("%s: %s for %s, of the same form, is refused: %s", file, twin.SKU, l.SKU, why)
				}
			}
			for _, form := range s.Catalog.Forms("gasket_scraper") {
				if p.Kind != "gasket_scraper" {
					other++
					if why := whyNot(t, s, r, k, map[string]string{l.SKU: form.Parts()[0].SKU}); !strings.Contains(why, ": kind: gasket_scraper, wanted "+string(p.Kind)) {
						t.Errorf("%s: a scraper for %s: %s", file, l.SKU, why)
					}
				}
			}
		}
	}
	if same < 50 || other < 50 {
		t.Errorf("only %d twins and %d others were tried", same, other)
	}
}

func TestSubstitutesMustJoin(t *testing.T) {
	s := demoSnapshot(t)
	r := &kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke}
	k := mustResolve(t, s, r)
	lineOf := func(id string) string {
		n, _ := need(k, id)
		return n.Lines[0]
	}
	// part finds one of a kind by its name.
	part := func(kind catalog.Kind, name string) string {
		t.Helper()
		for _, f := range s.Catalog.Forms(kind) {
			for _, p := range f.Parts() {
				if strings.Contains(p.Name, name) && !p.Discontinued && !hasLine(k, p.SKU) {
					return p.SKU
				}
			}
		}
		t.Fatalf("the demo catalogue has no %s named %q", kind, name)
		return ""
	}
	filter, hose, clamps := lineOf("fuel.filter"), lineOf("fuel.hose"), lineOf("fuel.clamps")
	narrow := func(kind catalog.Kind, attr string) string {
		for _, f := range s.Catalog.Forms(kind) {
			if a, _ := f.Attr(attr); a.String() == "5/16" && (kind != "fuel_hose" || f.LengthIn >= 24) && (kind != "hose_clamp" || f.Text("style") == "worm_drive") {
				return f.Parts()[0].SKU
			}
		}
		t.Fatalf("no %s of %s 5/16", kind, attr)
		return ""
	}
	for _, tc := range []struct {
		name    string
		instead map[string]string
		want    string // in the reason, "" for none
	}{
		{"a filter for another hose", map[string]string{filter: part("fuel_filter", "5/16 barbs")}, "fuel.filter would be missing: No filter in this kit fits 3/8 hose barb at one end and"},
		{"a narrower hose", map[string]string{hose: narrow("fuel_hose", "bore_in")}, "fuel."},
		{"a smaller clamp", map[string]string{clamps: narrow("hose_clamp", "hose_in")}, "fuel.clamps would be missing: No clamp in this kit closes on 0.375 in fuel hose."},
		{"a part nobody has", map[string]string{filter: "NONE-1"}, `no part "NONE-1" in the catalogue`},
		{"a bundle", map[string]string{filter: "OYB-2A75"}, `no part "OYB-2A75" in the catalogue`},
		{"a line that is not there", map[string]string{"NONE-1": filter}, ""},
	} {
		why := whyNot(t, s, r, k, tc.instead)
		if tc.want == "" && why != "" || !strings.Contains(why, tc.want) {
			t.Errorf("%s %v: %q, want %q", tc.name, tc.instead, why, tc.want)
		}
	}
}

func TestSubstituteIsRefusedForWhatPartsSayOfOneAnother(t *testing.T) {
	t.Parallel()
	r := &kit.Request{Vehicle: usual(), CarburetorSKU: manualChoke}
	k := mustResolve(t, demoSnapshot(t), r)
	filter := linePart(t, k, "fuel.filter", "fuel_filter")
	hose := linePart(t, k, "fuel.hose", "fuel_hose").SKU
	const twin = "TWIN-1" // of the filter
	instead := map[string]string{filter.SKU: twin}
	for name, tc := range map[string]struct {
		change func(*catalog.Data)
		want   string
	}{
		"requires":         {func(d *catalog.Data) { partOf(t, d, twin).Requires = []string{"ZUD-2A75"} }, "requires: ZUD-2A75, which is not in this kit"},
		"requires what is": {func(d *catalog.Data) { partOf(t, d, twin).Requires = []string{hose} }, ""},
		"requires what it replaces": {func(d *catalog.Data) {
			p := partOf(t, d, "HUV-2A19") // hose too
			p.Discontinued, p.ReplacedBy, partOf(t, d, twin).Requires = true, hose, []string{p.SKU}
		}, ""},
		"conflicts":          {func(d *catalog.Data) { partOf(t, d, twin).Conflicts = []string{hose} }, "conflicts: " + hose + ", which is in this kit"},
		"is in conflict":     {func(d *catalog.Data) { partOf(t, d, hose).Conflicts = []string{twin} }, hose + ", which is in this kit, must not be together with it"},
		"is required itself": {func(d *catalog.Data) { partOf(t, d, hose).Requires = []string{filter.SKU} }, hose + ", which is in this kit, requires " + filter.SKU + " itself"},
		// What is sold no longer still fits.
		"discontinued": {func(d *catalog.Data) {
			partOf(t, d, twin).Discontinued, partOf(t, d, hose).Discontinued = true, true
		}, ""},
	} {
		s := changedSnapshot(t, func(d *catalog.Data) {
			p := *partOf(t, d, filter.SKU)
			p.SKU = twin
			d.Parts = append(d.Parts, &p)
			tc.change(d)
		})
		if why := whyNot(t, s, r, k, instead); tc.want == "" && why != "" || !strings.Contains(why, tc.want) {
			t.Errorf("%s: %q, want %q", name, why, tc.want)
		}
	}
}

// inKit reports whether a part is a line, in a bundle that is, or in the box.
func inKit(k *kit.Kit, sku string) bool {
	return slices.ContainsFunc(k.Carburetor.InBox, func(in catalog.InBox) bool { return in.SKU == sku }) || slices.ContainsFunc(k.Lines, func(l kit.Line) bool {
		return l.SKU == sku || slices.ContainsFunc(l.Contents, func(a catalog.Amount) bool { return a.SKU == sku })
	})
}

// Of each golden kit every line is exchanged for every other part of its kind. What is
// accepted must also be what the whole catalogue would choose if the part's rivals were
// off sale: the same question then has no more gaps than before.
func TestAcceptedSubstitutesMakeWholeKits(t *testing.T) {
	t.Parallel()
	s := demoSnapshot(t)
	accepted, refused := 0, 0
	for _, file := range goldenFiles(t)[:6] {
		r := readGolden(t, file).Request
		k := mustResolve(t, s, r)
		for _, l := range k.Lines {
			p, err := s.Catalog.Part(l.SKU)
			if err != nil {
				continue
			}
			for _, f := range s.Catalog.Forms(p.Kind) {
				with := f.Parts()[0].SKU
				if inKit(k, with) {
					continue
				}
				if whyNot(t, s, r, k, map[string]string{l.SKU: with}) != "" {
					refused++
					continue
				}
				if accepted++; accepted%10 != 0 { // a catalogue each; some will do
					continue
				}
				whole := mustResolve(t, changedSnapshot(t, func(d *catalog.Data) {
					d.Bundles = nil
					d.Stock = nil
					for _, o := range d.Parts {
						if o.Kind == p.Kind && o.SKU != with && (!inKit(k, o.SKU) || o.SKU == l.SKU) {
							o.Discontinued = true
						}
					}
				}), r)
				for _, n := range whole.Needs {
					if was, _ := need(k, n.ID); n.Status == kit.NotThere && was.Status != kit.NotThere {
						t.Errorf("%s: %s for %s is accepted, but leaves %s missing", file, with, l.SKU, n.ID)
					}
				}
			}
		}
	}
	if accepted < 50 || refused < 200 {
		t.Errorf("only %d were accepted and %d refused", accepted, refused)
	}
}

// A substitute must do with as many packs as the line has.
func TestSubstitutesAreEnough(t *testing.T) {
	s := demoSnapshot(t)
	r := &kit.Request{VehicleID: "halvorne-ferrymaster-1981", CarburetorSKU: "QYC-2B51"}
	k := mustResolve(t, s, r)
	const line, tooShort = "VUH-2A31", "VUH-2A23" // 120 and 36 in of one hose; the kit cuts 78 in
	if !hasLine(k, line) {
		t.Fatalf("no %s in %+v", line, k.Lines)
	}
	if why := whyNot(t, s, r, k, map[string]string{line: tooShort}); why != line+" quantity: 3 of it would be needed, the line has 1" {
		t.Errorf("%s for %s: %q", tooShort, line, why)
	}
}
