package rules

import (
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
)

func lintOf(t *testing.T, text string, forms ...*catalog.Form) Lint {
	t.Helper()
	c := plainFacts().Carburetor
	other := *c
	other.FlowCFM, other.MaxFuelPSI, other.Flange = 850, 5, catalog.SpreadBore
	return mustParse(t, text).Lint([]*catalog.Carburetor{c, &other}, func(k catalog.Kind) (of []*catalog.Form) {
		for _, f := range forms {
			if f.Kind == k {
				of = append(of, f)
			}
		}
		return of
	})
}

func TestLintFindsRulesThatNeverFire(t *testing.T) {
	for when, want := range map[string]string{
		`vehicle.throttle.kind == "cable"`:                                                        "fires",
		`vehicle.throttle.kind == "cable" && vehicle.throttle.kind == "rod"`:                      "never",
		`vehicle.fuel.pressure_psi > 5 && vehicle.fuel.pressure_psi < 3`:                          "never",
		`vehicle.fuel.pressure_psi > 3 && vehicle.fuel.pressure_psi < 5`:                          "fires",
		`vehicle.fuel.pressure_psi == 5 || false`:                                                 "fires",
		`calc.hood_margin_in < -2 && calc.hood_margin_in > -3`:                                    "fires",
		`calc.hood_margin_in < -3 && calc.hood_margin_in > -2`:                                    "never",
		`carburetor.flow_cfm > 700`:                                                               "fires",
		`carburetor.flow_cfm > 900`:                                                               "never", // of these carburetors
		`carburetor.flow_cfm > 700 && carburetor.flange == "square_bore"`:                         "never", // none has both
		`vehicle.fuel.pressure_psi > carburetor.max_fuel_psi`:                                     "fires",
		`has(vehicle.intake.stud_length_in) && !has(vehicle.intake.stud_length_in)`:               "never",
		`has(vehicle.intake.stud_length_in) && vehicle.intake.stud_length_in > 1`:                 "fires",
		`vehicle.intake.flange == carburetor.flange`:                                              "fires",
		`vehicle.intake.flange == "two_bore_small" && vehicle.intake.flange == carburetor.flange`: "never",
		`vehicle.make == "Alder" && vehicle.model != "Alder"`:                                     "fires",
		`vehicle.make != vehicle.model && vehicle.make != "Alder" && vehicle.model != "Alder"`:    "fires",
		`vehicle.make == vehicle.model && vehicle.make != "Alder"`:                                "fires",
		`vehicle.make == "Alder" && vehicle.make == "Birch"`:                                      "never",
		`vehicle.throttle.end in carburetor.throttle.ends`:                                        "fires",
		`"eyelet" in carburetor.throttle.ends`:                                                    "never",
		`"booster" in calc.unassigned`:                                                            "fires",
		`calc.hoses.exists(h, h.use == "pcv" && h.bore_in > 0.5)`:                                 "fires",
		`calc.hoses.exists(h, h.use == "pcv" && h.use == "egr")`:                                  "undecided", // of more than one element nothing is known
		`size(calc.hoses) > 3`:                                                                    "undecided",
		`abs(vehicle.electrical.nominal_volts - 12) <= 2`:                                         "fires",
		`calc.hood_margin_in * calc.hood_margin_in < 0`:                                           "undecided",
		`1 / vehicle.fuel.ethanol_percent > 2 && vehicle.fuel.ethanol_percent == 0`:               "undecided", // it always fails
	} {
		found := lintOf(t, "- id: a\n  when: '"+when+"'\n  verdict: unsuitable\n  because: x\n  source: s\n")
		got := "fires"
		switch {
		case len(found.Never) > 0:
			got = "never"
		case len(found.UndecidedRules) > 0:
			got = "undecided"
		}
		if got != want {
			t.Errorf("%s: %s, want %s", when, got, want)
		}
	}
}

// A rule that is said never to fire does not, whatever the facts.
func TestPropertyWhatNeverFiresDoesNot(t *testing.T) {
	never := 0
	rapid.Check(t, func(rt *rapid.T) {
		c := rapidChooser{rt}
		each := pick(c, forEachLists()...)
		when := newWriter(c, each).yes(1 + c.below(4))
		if c.below(2) == 0 { // else few of them never fire
			when = "(" + when + ") && vehicle.engine.cylinders < 0 && vehicle.engine.cylinders > 0"
		}
		text := "- id: a\n  when: " + strconv.Quote(when) + "\n  verdict: unsuitable\n  because: x\n  source: s\n"
		if each != nil {
			text += "  for_each: " + each.path + "\n"
		}
		s, err := Parse(map[string]string{"t.yaml": text})
		if err != nil {
			return // it costs too much
		}
		var all []*Facts
		var carburetors []*catalog.Carburetor
		for range 8 {
			facts := someFacts(c)
			all, carburetors = append(all, facts), append(carburetors, facts.Carburetor)
		}
		if len(s.Lint(carburetors, func(catalog.Kind) []*catalog.Form { return nil }).Never) == 0 {
			return
		}
		never++
		for _, facts := range all {
			if fired, err := s.Evaluate(facts); err == nil && len(fired) > 0 {
				rt.Fatalf("%s fires", when)
			}
		}
	})
	if never == 0 {
		t.Error("no rule drawn never fires")
	}
}

func TestLintFindsDuplicates(t *testing.T) {
	same := good + strings.NewReplacer("a-rule", "b-rule", "level: required", "level: optional").Replace(good)
	if found := lintOf(t, same); len(found.Duplicates) != 1 || found.Duplicates[0][1].ID != "b-rule" {
		t.Errorf("%+v", found.Duplicates)
	}
	for _, edit := range [][2]string{{"vehicle.intake.flange !=", "vehicle.intake.flange =="}, {"2.0", "2.5"}, {"at_most", "at_least"}, {"=carburetor.flange", "=vehicle.intake.flange"}} {
		if found := lintOf(t, good+strings.NewReplacer("a-rule", "b-rule", edit[0], edit[1]).Replace(good)); len(found.Duplicates) != 0 {
			t.Errorf("%s: %+v", edit[1], found.Duplicates)
		}
	}
}

func TestLintFindsFormsThatNoRuleChooses(t *testing.T) {
	plate := func(carburetor, manifold string, height float64) *catalog.Form {
		spec, _ := catalog.Kind("adapter_plate").Spec()
		f := &catalog.Form{Kind: "adapter_plate", HeightIn: height}
		for _, a := range spec.Attrs {
			if text := map[string]string{"carburetor_flange": carburetor, "manifold_flange": manifold, "material": "aluminium"}[a.Name]; text != "" {
				v, err := a.ParseValue(text)
				if err != nil {
					t.Fatal(err)
				}
				f.Attributes = append(f.Attributes, catalog.Attr{Name: a.Name, Type: a.Type, Value: v})
			}
		}
		return f
	}
	fits, other, tall, none := plate("square_bore", "spread_bore", 1), plate("spread_bore", "square_bore", 1), plate("square_bore", "spread_bore", 3), plate("two_bore_large", "spread_bore", 1)
	found := lintOf(t, good, fits, other, tall, none)
	if !slices.Equal(found.Unchosen, []*catalog.Form{tall, none}) || len(found.UndecidedForms) != 0 {
		t.Errorf("unchosen %d, undecided %d", len(found.Unchosen), len(found.UndecidedForms))
	}
	// A second rule that always fires holds together with the first.
	always := strings.NewReplacer("a-rule", "b-rule", "vehicle.intake.flange != carburetor.flange", `"true"`, "carburetor_flange: =carburetor.flange", "carburetor_flange: square_bore", "{at_most: 2.0}", "{at_most: 5.0}").Replace(good)
	found = lintOf(t, good+always, fits, other, tall, none)
	if !slices.Equal(found.Unchosen, []*catalog.Form{other, none}) { // tall where the flanges are equal
		t.Errorf("with a second rule unchosen %d, undecided %d", len(found.Unchosen), len(found.UndecidedForms))
	}
	// What is computed is not decided, but for what fixed values refuse.
	computed := strings.Replace(good, "{at_most: 2.0}", "{at_most: =calc.hood_margin_in * 0}", 1)
	found = lintOf(t, computed, fits, none)
	if len(found.Unchosen) != 0 || len(found.UndecidedForms) != 2 {
		t.Errorf("computed: unchosen %d, undecided %d", len(found.Unchosen), len(found.UndecidedForms))
	}
}
