package kit_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/units"
)

// bare is a kit of two needs, two lines, a check and a caution.
func bare() *kit.Kit {
	usd := func(minor int64) units.Money { return units.Money{AmountMinor: minor, Currency: "USD"} }
	line := func(sku, need string, minor int64, onHand int) kit.Line {
		return kit.Line{SKU: sku, Name: "Part " + sku, Quantity: 1, UnitPrice: usd(minor), Amount: usd(minor), Fills: []string{need},
			Stock: kit.LineStock{OnHand: onHand, Enough: onHand > 0}}
	}
	return &kit.Kit{
		Verdict: kit.Complete, Carburetor: &catalog.Carburetor{Offer: catalog.Offer{SKU: "C1", Price: usd(30000)}, FlowCFM: 500},
		Needs: []kit.Need{
			{ID: "fuel.filter", Level: kit.Required, Status: kit.Filled, Quantity: 1, Unit: "each", Because: []kit.Because{{Rule: "fuel-filter", Text: "Dirt.", Source: "s"}}},
			{ID: "fuel.hose", Level: kit.Required, Status: kit.Filled, Quantity: 18, Unit: "inch", Because: []kit.Because{{Rule: "fuel-hose", Text: "Moves.", Source: "s"}}}},
		Lines:    []kit.Line{line("F1", "fuel.filter", 500, 3), line("H1", "fuel.hose", 700, 2)},
		Checks:   []kit.Check{{ID: "air.demand", Outcome: kit.Pass, Text: "Flows."}},
		Cautions: []kit.Caution{{ID: "fuel.fire", Text: "Burns."}},
		Totals:   kit.Totals{Required: usd(1200), Recommended: usd(0), Optional: usd(0), All: usd(1200)},
	}
}

// Each difference is told as what it is, and nothing else is.
func TestCompareTellsEachDifference(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(*kit.Kit)
		want   []string // kind subject: before -> after
	}{
		{"nothing", func(*kit.Kit) {}, nil},
		{"revision, settings, tools and proof", func(k *kit.Kit) {
			k.CatalogueRevision, k.Proof.Nodes = 9, 77
			k.Tools, k.Settings = []kit.Tool{{Name: "x"}}, []kit.Setting{{What: "y"}}
		}, nil},
		{"verdict", func(k *kit.Kit) { k.Verdict = kit.Incomplete }, []string{"verdict verdict: complete -> incomplete"}},
		{"price", func(k *kit.Kit) {
			k.Lines[0].UnitPrice.AmountMinor, k.Totals.All.AmountMinor = 550, 1250
		}, []string{"price F1: 5.00 USD -> 5.50 USD (+50)", "total all: 12.00 USD -> 12.50 USD (+50)"}},
		{"stock", func(k *kit.Kit) { k.Lines[1].Stock.OnHand = 7 }, []string{"stock H1: 2 -> 7"}},
		{"stock runs out", func(k *kit.Kit) { k.Lines[1].Stock = kit.LineStock{} }, []string{"stock H1: 2 -> 0, too few"}},
		{"quantity of a line", func(k *kit.Kit) { k.Lines[1].Quantity = 2 }, []string{"quantity H1: 1 -> 2"}},
		{"quantity of a need", func(k *kit.Kit) { k.Needs[1].Quantity = 20.5 }, []string{"quantity fuel.hose: 18 inch -> 20.5 inch"}},
		{"part in place of another", func(k *kit.Kit) { k.Lines[0].SKU = "F2" }, []string{"part F1: F1 -> F2"}},
		{"two parts in place of one", func(k *kit.Kit) {
			one, two := k.Lines[0], k.Lines[0]
			one.SKU, two.SKU = "F2", "F3"
			k.Lines = []kit.Line{one, two, k.Lines[1]}
		}, []string{"part F1: F1 -> F2, F3"}},
		{"part gone", func(k *kit.Kit) { k.Lines = k.Lines[1:] }, []string{"part F1: F1 -> "}},
		{"part new", func(k *kit.Kit) {
			k.Lines = append(k.Lines, kit.Line{SKU: "X1", Name: "Part X1", Fills: []string{"shop.rags"}})
		}, []string{"part X1:  -> X1"}},
		{"rule says other", func(k *kit.Kit) { k.Needs[0].Because[0].Text = "Rust." },
			[]string{"rule fuel-filter: fuel.filter: Dirt. (s) -> fuel.filter: Rust. (s)"}},
		{"rule has another source", func(k *kit.Kit) { k.Needs[0].Because[0].Source = "z" },
			[]string{"rule fuel-filter: fuel.filter: Dirt. (s) -> fuel.filter: Dirt. (z)"}},
		{"rule more", func(k *kit.Kit) {
			k.Needs[0].Because = append(k.Needs[0].Because, kit.Because{Rule: "fuel-race", Text: "Flow.", Source: "s"})
		}, []string{"rule fuel-race:  -> fuel.filter: Flow. (s)"}},
		{"need gone", func(k *kit.Kit) { k.Needs = k.Needs[1:] },
			[]string{"need fuel.filter: required -> ", "rule fuel-filter: fuel.filter: Dirt. (s) -> "}},
		{"need new", func(k *kit.Kit) {
			k.Needs = append(k.Needs, kit.Need{ID: "shop.rags", Level: kit.Optional, Because: []kit.Because{{Rule: "rags", Text: "Spills.", Source: "s"}}})
		}, []string{"need shop.rags:  -> optional", "rule rags:  -> shop.rags: Spills. (s)"}},
		{"level", func(k *kit.Kit) { k.Needs[0].Level = kit.Recommended }, []string{"level fuel.filter: required -> recommended"}},
		{"status", func(k *kit.Kit) { k.Needs[0].Status = kit.NotThere }, []string{"status fuel.filter: filled -> missing"}},
		{"check", func(k *kit.Kit) { k.Checks[0].Outcome = kit.Warn }, []string{"check air.demand: pass -> warn"}},
		{"check gone", func(k *kit.Kit) { k.Checks = nil }, []string{"check air.demand: pass -> "}},
		{"check new", func(k *kit.Kit) { k.Checks = append(k.Checks, kit.Check{ID: "choke.fuse", Outcome: kit.Info}) }, []string{"check choke.fuse:  -> info"}},
		{"caution new", func(k *kit.Kit) { k.Cautions = append(k.Cautions, kit.Caution{ID: "a", Text: "Hot."}) }, []string{"caution a:  -> Hot."}},
		{"caution gone", func(k *kit.Kit) { k.Cautions = nil }, []string{"caution fuel.fire: Burns. -> "}},
		{"caution says other", func(k *kit.Kit) { k.Cautions[0].Text = "Explodes." }, []string{"caution fuel.fire: Burns. -> Explodes."}},
		{"carburetor", func(k *kit.Kit) {
			k.Carburetor.Price.AmountMinor, k.Carburetor.FlowCFM, k.Carburetor.Discontinued = 29000, 510, true
		}, []string{"carburetor /discontinued: false -> true", "carburetor /flow_cfm: 500 -> 510", "price C1: 300.00 USD -> 290.00 USD (-1000)"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			after := bare()
			tc.change(after)
			changes := kit.Compare(bare(), after)
			if got := changeLines(changes); !slices.Equal(got, tc.want) {
				t.Errorf("changes are\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(tc.want, "\n"))
			}
			for _, c := range changes {
				if c.Text == "" {
					t.Errorf("%+v has no text", c)
				}
			}
			if back := kit.Compare(after, bare()); len(back) < len(changes) { // two parts for one are one change, one for two are two
				t.Errorf("there are %d changes one way and %d the other", len(changes), len(back))
			}
		})
	}
}

func changeLines(changes []kit.Change) (lines []string) {
	for _, c := range changes {
		line := fmt.Sprintf("%s %s: %s -> %s", c.Kind, c.Subject, c.Before, c.After)
		if c.Delta != nil {
			line += fmt.Sprintf(" (%+d)", c.Delta.AmountMinor)
		}
		lines = append(lines, line)
	}
	return lines
}

// throughJSON is a kit as it comes back from where it was kept.
func throughJSON(t *testing.T, k *kit.Kit) *kit.Kit {
	t.Helper()
	text, err := json.Marshal(k)
	if err != nil {
		t.Fatal(err)
	}
	back := new(kit.Kit)
	if err := json.Unmarshal(text, back); err != nil {
		t.Fatal(err)
	}
	return back
}

// No golden kit differs from itself, kept and read back, under the same catalogue.
func TestNothingHasChangedSinceTheSameCatalogue(t *testing.T) {
	for _, file := range goldenFiles(t) {
		g := readGolden(t, file)
		k := throughJSON(t, mustResolve(t, demoSnapshot(t), g.Request))
		changes, err := kit.Since(t.Context(), demoSnapshot(t), g.Request, k)
		if err != nil || len(changes) > 0 {
			t.Errorf("%s: %v %v", file, changeLines(changes), err)
		}
	}
}

func TestSinceTellsWhatBecameOfTheCatalogue(t *testing.T) {
	const vehicle = "ostrind-plumgrove-1962"
	request := &kit.Request{VehicleID: vehicle, CarburetorSKU: manualChoke, OnHand: []kit.OnHand{{SKU: "VAQ-2A19", Quantity: 1}}}
	before := mustResolve(t, demoSnapshot(t), request)
	filter := before.Lines[slices.IndexFunc(before.Lines, func(l kit.Line) bool { return slices.Contains(l.Fills, "fuel.filter") })].SKU
	since := func(change func(*catalog.Data)) []kit.Change {
		t.Helper()
		changes, err := kit.Since(t.Context(), changedSnapshot(t, change), request, before)
		if err != nil {
			t.Fatal(err)
		}
		return changes
	}
	of := func(changes []kit.Change, kind kit.ChangeKind) (found []kit.Change) {
		for _, c := range changes {
			if c.Kind == kind {
				found = append(found, c)
			}
		}
		return found
	}
	gone := of(since(func(d *catalog.Data) {
		partOf(t, d, filter).Discontinued = true
		partOf(t, d, filter).ReplacedBy = "FOZ-2A47"
	}), kit.PartChange)
	if i := slices.IndexFunc(gone, func(c kit.Change) bool { return c.Before == filter }); i < 0 || !strings.HasSuffix(gone[i].Text, "It is discontinued, replaced by FOZ-2A47.") || gone[i].After == "" {
		t.Errorf("%s is discontinued: %+v", filter, gone)
	}
	gone = of(since(func(d *catalog.Data) {
		d.Parts = slices.DeleteFunc(d.Parts, func(p *catalog.Part) bool { return p.SKU == filter })
		d.Bundles = nil
		d.Stock = nil
	}), kit.PartChange)
	if i := slices.IndexFunc(gone, func(c kit.Change) bool { return c.Before == filter }); i < 0 || !strings.HasSuffix(gone[i].Text, "It has left the catalogue.") {
		t.Errorf("%s has left the catalogue: %+v", filter, gone)
	}

	gone = of(since(func(d *catalog.Data) {
		partOf(t, d, filter).Price.AmountMinor = 123456
		d.Bundles = nil
		d.Stock = nil
	}), kit.PartChange)
	if i := slices.IndexFunc(gone, func(c kit.Change) bool { return c.Before == filter }); i < 0 || !strings.HasSuffix(gone[i].Text, ", is 1234.56 USD.") {
		t.Errorf("%s is dear: %+v", filter, gone)
	}

	// The vehicle as it was decides; what has become of its record is told.
	lower := since(func(d *catalog.Data) {
		for _, v := range d.Vehicles {
			if v.ID == vehicle {
				v.Intake.HoodClearanceIn = 2
			}
		}
	})
	if len(lower) != 1 || lower[0].Kind != kit.VehicleChange || lower[0].Subject != "/intake/hood_clearance_in" || lower[0].After != "2" {
		t.Errorf("the vehicle's hood is lower: %v", changeLines(lower))
	}
	if left := since(func(d *catalog.Data) {
		d.Vehicles = slices.DeleteFunc(d.Vehicles, func(v *catalog.Vehicle) bool { return v.ID == vehicle })
	}); len(left) != 1 || left[0].Kind != kit.VehicleChange || left[0].After != "" {
		t.Errorf("the vehicle has left the catalogue: %v", changeLines(left))
	}

	// A question that names what is gone cannot be asked, which is an answer.
	if asked := since(func(d *catalog.Data) {
		d.Carburetors = slices.DeleteFunc(d.Carburetors, func(c *catalog.Carburetor) bool { return c.SKU == manualChoke })
		d.Stock = nil
	}); len(asked) != 1 || asked[0].Kind != kit.QuestionChange || asked[0].Subject != "/carburetor_sku" || !strings.Contains(asked[0].Text, manualChoke) {
		t.Errorf("the carburetor has left the catalogue: %v", changeLines(asked))
	}

	// Another because-text of a rule.
	said := of(since(func(d *catalog.Data) {
		for name, text := range d.RuleFiles {
			if strings.Contains(text, "need: fuel.filter\n") {
				at := strings.Index(text, "need: fuel.filter\n")
				because := at + strings.Index(text[at:], "because: \"")
				d.RuleFiles[name] = text[:because] + `because: "Now. ` + text[because+len(`because: "`):]
			}
		}
	}), kit.RuleChange)
	if len(said) != 1 || !strings.Contains(said[0].After, "Now. ") || strings.Contains(said[0].Before, "Now. ") {
		t.Errorf("the rule says other: %v", changeLines(said))
	}
}
