//go:build !race

package kit_test

import (
	"context"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// Not under the race detector, which has the same sweeps to watch elsewhere.

// What is said never to be is not seen in any kit of any vehicle.
func TestLintIsRight(t *testing.T) {
	t.Parallel()
	s := demoSnapshot(t)
	unchosen := map[string]bool{}
	for _, f := range kit.Lint(s) {
		if !f.Part {
			t.Errorf("the demo's rules: %s: %s", f.Where, f.Text)
		} else if f.Sure {
			unchosen[strings.TrimPrefix(f.Where, "part ")] = true
		}
	}
	if len(unchosen) < 20 {
		t.Fatalf("only %d parts are said to be never chosen", len(unchosen))
	}
	chosen := func(t rapid.TB, vehicles []*catalog.Vehicle, p kit.Preferences) {
		_, err := kit.Sweep(context.Background(), s, kit.SweepQuery{Vehicles: vehicles, Preferences: p}, func(class *kit.Class, c *catalog.Carburetor, k *kit.Summary) error {
			for _, l := range k.Lines {
				if unchosen[l.SKU] {
					t.Errorf("%s is in the kit of %s with %s", l.SKU, class.Vehicles[0].ID, c.SKU)
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	every := []kit.Level{kit.Required, kit.Recommended, kit.Optional}
	chosen(t, nil, kit.Preferences{Levels: every})
	chosen(t, nil, kit.Preferences{Levels: every, Finish: catalog.FinishBright})
	rapid.Check(t, func(t *rapid.T) { chosen(t, []*catalog.Vehicle{anyVehicle(t)}, kit.Preferences{Levels: every}) })
}

func TestLintFindsWhatIsOdd(t *testing.T) {
	s := demoSnapshot(t)
	odd := kit.NewSnapshot(s.Catalog, edited(t, s, map[string]func(string) string{
		"fuel-filter": with(`when: "true"`, `when: vehicle.fuel.pump == "electric" && vehicle.fuel.pump == "mechanical"`),
		"shop-second-cover": func(string) string {
			return strings.Replace(ruleNamed(s, "shop-fender-cover").Text, "shop-fender-cover", "shop-second-cover", 1)
		},
		"air-gasket": gone,
	}))
	var found []string
	for _, f := range kit.Lint(odd) {
		if f.Sure {
			found = append(found, f.Text)
		}
	}
	for _, want := range []string{"rule fuel-filter can never fire", "rule shop-second-cover says the same as rule shop-fender-cover", "no rule raises the need air.gasket, which is in its box"} {
		if !slices.ContainsFunc(found, func(text string) bool { return strings.HasPrefix(text, want) }) {
			t.Errorf("not found: %s", want)
		}
	}
	filters := 0
	for _, text := range found {
		if strings.Contains(text, "ilter") && strings.HasSuffix(text, ": no rule can choose it") {
			filters++
		}
	}
	if filters == 0 {
		t.Error("filters of a rule that never fires are not found")
	}
}
