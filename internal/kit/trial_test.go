package kit_test

import (
	"context"
	"errors"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/rules"
)

// edited is the demo's rules after edits: what stands for what, in one rule each; "" for
// the new text of a rule deletes it, and an id that is not there adds one.
func edited(t testing.TB, s *kit.Snapshot, edits map[string]func(string) string) *rules.Set {
	t.Helper()
	d := &rules.Draft{Published: s.Rules.Texts()}
	for id, edit := range edits {
		before := d.PublishedText(id)
		d.Changes = append(d.Changes, rules.Change{ID: id, Before: before, After: edit(before)})
	}
	set, err := rules.ParseTexts(d.Texts())
	if err != nil {
		t.Fatal(err)
	}
	return set
}

func with(old, new string) func(string) string {
	return func(text string) string {
		if !strings.Contains(text, old) {
			panic(old + " is not in " + text)
		}
		return strings.Replace(text, old, new, 1)
	}
}

func text(text string) func(string) string { return func(string) string { return text } }

var gone = text("")

// pair names a vehicle and a carburetor.
type pair struct{ vehicle, carburetor string }

// bruteForce resolves every pair after, compares with before, and counts the kinds of change.
func bruteForce(t testing.TB, before map[pair]*kit.Kit, after *kit.Snapshot, vehicles []*catalog.Vehicle, carburetors []*catalog.Carburetor) (changed int, kinds map[kit.TrialKind]int) {
	t.Helper()
	kinds = map[kit.TrialKind]int{}
	for _, v := range vehicles {
		for _, c := range carburetors {
			req := &kit.Request{VehicleID: v.ID, CarburetorSKU: c.SKU}
			is, errIs := kit.Resolve(context.Background(), after, req)
			found := map[kit.TrialKind]bool{}
			if errIs != nil {
				found[kit.TrialFailure] = true
			} else {
				for _, change := range kit.Compare(before[pair{v.ID, c.SKU}], is) {
					kind := map[kit.ChangeKind]kit.TrialKind{
						kit.VerdictChange: kit.TrialVerdict, kit.LevelChange: kit.TrialLevel, kit.StatusChange: kit.TrialStatus, kit.PartChange: kit.TrialLine,
						kit.QuantityChange: kit.TrialQuantity, kit.TotalChange: kit.TrialPrice, kit.StockChange: kit.TrialStock, kit.CheckChange: kit.TrialCheck,
						kit.CautionChange: kit.TrialCaution, kit.RuleChange: kit.TrialReason, kit.NeedChange: kit.TrialNeedDropped,
					}[change.Kind]
					if change.Kind == kit.NeedChange && change.Before == "" {
						kind = kit.TrialNeedAdded
					}
					found[kind] = true
				}
			}
			if len(found) > 0 {
				changed++
			}
			for kind := range found {
				kinds[kind]++
			}
		}
	}
	return changed, kinds
}

// A trial of kits cannot tell a rule that no vehicle of the catalogue needs from one that none
// ever will; what is odd in rules that are not changed is another's.
func TestTrialTellsWhatIsOddInChangedRules(t *testing.T) {
	t.Parallel()
	s := demoSnapshot(t)
	never := with(`when: "true"`, `when: vehicle.fuel.pump == "electric" && vehicle.fuel.pump == "mechanical"`)
	s = kit.NewSnapshot(s.Catalog, edited(t, s, map[string]func(string) string{"shop-fender-cover": never}))
	after := edited(t, s, map[string]func(string) string{
		"fuel-filter": never,
		"air-second-gasket": func(string) string {
			return strings.Replace(ruleNamed(s, "air-gasket").Text, "air-gasket", "air-second-gasket", 1)
		},
		"fuel-clamps": with("two clamps", "always two clamps"),
	})
	trial, err := kit.Try(t.Context(), s, after, kit.TrialQuery{Vehicles: s.Catalog.Vehicles()[:1], Carburetors: s.Catalog.Carburetors()[:1]})
	if err != nil {
		t.Fatal(err)
	}
	var found []string
	for _, f := range trial.Findings {
		if !f.Sure {
			t.Errorf("not decided: %+v", f)
		}
		found = append(found, f.Rule+": "+f.Text)
	}
	want := []string{"fuel-filter: rule fuel-filter can never fire: ", "air-second-gasket: rule air-second-gasket says the same as rule air-gasket at "}
	if !slices.EqualFunc(found, want, strings.HasPrefix) {
		t.Errorf("got %q, want %q", found, want)
	}
}

func TestTrialEqualsResolvingEveryPair(t *testing.T) {
	t.Parallel()
	s := demoSnapshot(t)
	vehicles, carburetors := s.Catalog.Vehicles(), s.Catalog.Carburetors()
	if testing.Short() {
		vehicles, carburetors = every(vehicles, 2, 0), every(carburetors, 3, 0)
	}
	before := map[pair]*kit.Kit{}
	for _, v := range vehicles {
		for _, c := range carburetors {
			k, err := kit.Resolve(t.Context(), s, &kit.Request{VehicleID: v.ID, CarburetorSKU: c.SKU})
			if err != nil {
				t.Fatal(err)
			}
			before[pair{v.ID, c.SKU}] = k
		}
	}
	all := map[kit.TrialKind]bool{}
	some := 0 // each of the twelve edits is tried on a twelfth of the pairs, each on others
	tries := map[string]map[string]func(string) string{
		"a comment":            {"fuel-hose": func(text string) string { return "# new\n" + text }},
		"a stricter match":     {"fuel-hose-ethanol": with("> 10", "> 5")},
		"a word":               {"fuel-clamps": with("two clamps", "always two clamps")},
		"a level":              {"fuel-filter": with("level: required", "level: recommended"), "shop-thread-sealant": with("level: recommended", "level: required")},
		"rules gone":           {"fuel-filter": gone, "mount-unsuitable-four-barrel-on-small-two-bore": gone, "fuel-caution-electric-pump": gone},
		"a need without ports": {"vacuum-pcv-hose": gone},
		"a new verdict":        {"road-unsuitable-large": text("- id: road-unsuitable-large\n  when: carburetor.flow_cfm > 700 && vehicle.engine.displacement_in3 < 300\n  verdict: unsuitable\n  because: Too large.\n  source: a test\n")},
		"a new need": {"shop-second-cover": func(string) string {
			return strings.NewReplacer("shop-fender-cover", "shop-second-cover", "shop.fender_cover", "shop.second_cover").Replace(ruleNamed(s, "shop-fender-cover").Text)
		}},
		"more pieces":        {"shop-fender-cover": with("quantity: 1", "quantity: 2")},
		"nothing matches":    {"air-gasket": with("neck_in: =carburetor.neck_in", "neck_in: =carburetor.neck_in + 1")},
		"a failure of some":  {"fuel-filter": with("when: \"true\"", "when: 1 / (vehicle.fuel.ethanol_percent - 10) < 1000")},
		"severity and price": {"fuel-clamps": with("[fuel_injection, worm_drive]", "[fuel_injection]")},
	}
	names := slices.Sorted(maps.Keys(tries))
	if testing.Short() {
		names = every(names, 4, 0)
	}
	for _, name := range names {
		edits := tries[name]
		t.Run(name, func(t *testing.T) {
			some++
			after, vehicles, carburetors := edited(t, s, edits), every(vehicles, 3, some), every(carburetors, 4, some)
			done := 0
			got, err := kit.Try(t.Context(), s, after, kit.TrialQuery{Vehicles: vehicles, Carburetors: carburetors, Progress: func(n, total int) {
				if n <= done || total != len(vehicles)*len(carburetors) {
					t.Errorf("progress %d after %d of %d", n, done, total)
				}
				done = n
			}})
			if err != nil {
				t.Fatal(err)
			}
			changed, kinds := bruteForce(t, before, kit.NewSnapshot(s.Catalog, after), vehicles, carburetors)
			if got.Changed != changed || got.Pairs != len(vehicles)*len(carburetors) || done != got.Pairs || got.Classes > len(vehicles) || got.Resolved > 2*got.Pairs {
				t.Errorf("%d of %d pairs change, brute force finds %d; %d classes, %d resolved", got.Changed, got.Pairs, changed, got.Classes, got.Resolved)
			}
			for _, g := range got.Groups {
				all[g.Kind] = true
				if g.Pairs != kinds[g.Kind] {
					t.Errorf("%s: %d pairs, brute force finds %d", g.Kind, g.Pairs, kinds[g.Kind])
				}
				delete(kinds, g.Kind)
				if len(g.Examples) != min(g.Pairs, 3) && len(g.Examples) == 0 {
					t.Errorf("%s: %d examples of %d pairs", g.Kind, len(g.Examples), g.Pairs)
				}
				for _, e := range g.Examples {
					checkExample(t, s, after, g.Kind, e)
				}
			}
			if len(kinds) > 0 {
				t.Errorf("brute force also finds %v", kinds)
			}
			if name == "a comment" && got.Resolved != 0 {
				t.Errorf("%d kits resolved for a comment", got.Resolved)
			}
			if slices.ContainsFunc(got.Groups, func(g kit.TrialGroup) bool { return g.Kind != kit.TrialReason }) != (name != "a comment" && name != "a word") {
				t.Errorf("%s changes %+v", name, got.Groups)
			}
			alone, err := kit.Try(t.Context(), s, after, kit.TrialQuery{Vehicles: vehicles, Carburetors: carburetors, Workers: 1})
			if err != nil || !reflect.DeepEqual(alone, got) {
				t.Errorf("one worker finds something else: %v", err)
			}
		})
	}
	for _, kind := range []kit.TrialKind{kit.TrialVerdict, kit.TrialNeedAdded, kit.TrialNeedDropped, kit.TrialLevel, kit.TrialStatus, kit.TrialLine,
		kit.TrialQuantity, kit.TrialPrice, kit.TrialCaution, kit.TrialReason, kit.TrialFailure} {
		if !all[kind] && !testing.Short() {
			t.Errorf("no edit of this test changes a %s", kind)
		}
	}
}

// every takes one of n from a list, from the i-th on.
func every[T any](list []T, n, i int) (out []T) {
	for i %= n; i < len(list); i += n {
		out = append(out, list[i])
	}
	return out
}

func ruleNamed(s *kit.Snapshot, id string) *rules.Rule {
	all := s.Rules.Rules()
	return all[slices.IndexFunc(all, func(r *rules.Rule) bool { return r.ID == id })]
}

// checkExample holds an example against the kits.
func checkExample(t *testing.T, s *kit.Snapshot, after *rules.Set, kind kit.TrialKind, e kit.TrialExample) {
	t.Helper()
	req := &kit.Request{VehicleID: e.VehicleID, CarburetorSKU: e.CarburetorSKU}
	for _, side := range []struct {
		snapshot *kit.Snapshot
		told     kit.TrialKit
	}{{s, e.Before}, {kit.NewSnapshot(s.Catalog, after), e.After}} {
		k, err := kit.Resolve(t.Context(), side.snapshot, req)
		if (err != nil) != (side.told.Error != "") {
			t.Errorf("%s with %s: %v, told is %q", e.VehicleID, e.CarburetorSKU, err, side.told.Error)
		}
		if err == nil && (k.Verdict != side.told.Verdict || k.Totals.All != *side.told.Total || len(k.Needs) != len(side.told.Needs) || len(k.Lines) != len(side.told.Lines)) {
			t.Errorf("%s with %s: told is %+v", e.VehicleID, e.CarburetorSKU, side.told)
		}
	}
	if (kind == kit.TrialFailure) != (len(e.Changes) == 0) {
		t.Errorf("%s: an example with %d changes", kind, len(e.Changes))
	}
}

func TestTrialEndsWhenItsCallerDoes(t *testing.T) {
	s := demoSnapshot(t)
	after := edited(t, s, map[string]func(string) string{"fuel-clamps": with("two clamps", "always two clamps")})
	ctx, cancel := context.WithCancel(t.Context())
	calls := 0
	start := time.Now()
	_, err := kit.Try(ctx, s, after, kit.TrialQuery{Progress: func(int, int) {
		calls++
		cancel()
	}})
	if !errors.Is(err, context.Canceled) || calls != 1 {
		t.Errorf("%d calls, %v", calls, err)
	}
	if took := time.Since(start); took > 5*time.Second {
		t.Errorf("took %s to end", took)
	}
}
