package rules

import (
	"math"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

func mustParse(t testing.TB, text string) *Set {
	t.Helper()
	s, err := Parse(map[string]string{"t.yaml": text})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// plainFacts is a small vehicle and carburetor to write tests against.
func plainFacts() *Facts {
	size := func(text string) units.Size {
		s, err := units.ParseSize(text)
		if err != nil {
			panic(err)
		}
		return s
	}
	v := &catalog.Vehicle{Year: 1968}
	v.Intake = catalog.Intake{Flange: catalog.SpreadBore, HoodClearanceIn: 8.25}
	v.Fuel = catalog.Fuel{Pump: catalog.PumpElectric, PressurePSI: 14, LineODIn: size("3/8"), LineEnd: catalog.InvertedFlare, EthanolPercent: 10}
	v.Throttle.End = catalog.EndClevis
	c := &catalog.Carburetor{Series: "Alder", FlowCFM: 600, Flange: catalog.SquareBore, MaxFuelPSI: 6.5, NeckIn: 5.125}
	c.Throttle.Ends = []catalog.LinkEnd{catalog.EndBall, catalog.EndPin}
	return &Facts{Vehicle: v, Carburetor: c, Calc: &Calc{
		AirDemandCFM: 367.91234, HoodMarginIn: 1.25,
		Hoses: []HoseRun{{"pcv", 0.375, 18}, {"advance", 0.15625, 12.5}, {"pcv", 0.5, 6}},
		Caps:  []SizeCount{{0.1875, 2}, {0.25, 1}},
	}}
}

const evaluated = `
- id: b-adapter
  when: vehicle.intake.flange != carburetor.flange
  need: mount.adapter
  level: "=vehicle.year < 1970 ? 'required' : 'optional'"
  quantity: =1 + 1
  match:
    kind: adapter_plate
    height_in: {at_least: 0.25, at_most: =calc.hood_margin_in - 0.5}
    manifold_flange: =vehicle.intake.flange
    material: {one_of: [aluminium, steel]}
    carburetor_flange: =carburetor.flange
  because: "{{{vehicle.intake.flange}}} over {vehicle.fuel.line_od_in} in, {calc.air_demand_cfm} cfm, {carburetor.neck_in * 1}, {vehicle.year}, on road {vehicle.road.on_road}"
  severity: blocking
  source: s
- id: a-hose
  for_each: calc.hoses
  when: each.use == "pcv"
  need: vacuum.pcv_hose
  level: required
  quantity: =each.length_in
  match:
    kind: vacuum_hose
    service: pcv
    bore_in: =each.bore_in
  because: "{each.length_in} in of {each.bore_in}"
  severity: serious
  source: s
  caution: {id: a.b, text: "bore {each.bore_in}", source: cs}
- id: c-end
  when: "!(vehicle.throttle.end in carburetor.throttle.ends)"
  need: throttle.end
  level: required
  quantity: by_fit
  match:
    kind: throttle_end
    lever_end: {one_of: =carburetor.throttle.ends}
  because: x
  severity: minor
  source: s
- id: d-constant
  when: "true"
  need: shop.thread_sealant
  level: optional
  quantity: 1.5
  match: {kind: thread_sealant, fuel_safe: true}
  because: plain
  severity: minor
  source: s
- id: e-verdict
  when: vehicle.fuel.pressure_psi > carburetor.max_fuel_psi
  verdict: unsuitable
  because: no
  source: s
- id: f-silent
  when: vehicle.year > 2000
  verdict: unsuitable
  because: never
  source: s
- id: g-caution
  when: "true"
  caution: {id: a.c, text: "plain }} text", source: cs}
  source: s
`

func TestEvaluate(t *testing.T) {
	s := mustParse(t, evaluated)
	fired, err := s.Evaluate(plainFacts())
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, f := range fired {
		line := f.Rule.ID + "|" + f.Level + "|" + string(appendNumber(nil, f.Quantity)) + "|" + f.Because + "|"
		for i := range f.Match.Tests {
			line += f.Match.Tests[i].Attr + " " + f.Match.Tests[i].Wanted() + ";"
		}
		if f.Caution != nil {
			line += "|" + f.Caution.ID + " " + f.Caution.Text + " " + f.Caution.Source
		}
		got = append(got, line)
	}
	want := []string{
		"a-hose|required|18|18 in of 3/8|service pcv;bore_in 3/8;|a.b bore 3/8 cs",
		"a-hose|required|6|6 in of 1/2|service pcv;bore_in 1/2;|a.b bore 1/2 cs",
		"b-adapter|required|2|{spread bore} over 3/8 in, 367.9123 cfm, 5.125, 1968, on road no|manifold_flange spread_bore;carburetor_flange square_bore;height_in at least 0.25;height_in at most 0.75;material aluminium or steel;",
		"c-end|required|0|x|lever_end ball or pin;",
		"d-constant|optional|1.5|plain|fuel_safe true;",
		"e-verdict||0|no|",
		"g-caution||0|||a.c plain } text cs",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if fired[0].Each != 0 || fired[1].Each != 2 || fired[2].Each != -1 {
		t.Errorf("each %d %d %d", fired[0].Each, fired[1].Each, fired[2].Each)
	}
	if !fired[3].ByFit || fired[2].ByFit || !fired[5].Unsuitable || fired[4].Unsuitable {
		t.Error("by_fit or verdict is wrong")
	}
	rule := s.Rules()[1]
	if got := rule.EqualityAttrs(); !slices.Equal(got, []string{"manifold_flange", "carburetor_flange"}) {
		t.Errorf("equality attributes %v", got)
	}
	if a, b := fired[2].Match.Equal(0), fired[2].Match.Equal(1); a.Text != "spread_bore" || b.Text != "square_bore" {
		t.Errorf("equal to %v and %v", a, b)
	}
	if v := fired[0].Match.Equal(1); v.Num != 0.375 || v.Text != "" {
		t.Errorf("a size must be given as a number alone: %+v", v)
	}
}

// An answer must not change when its buffers are used again.
func TestEvaluateAnswersAreTheCallersOwn(t *testing.T) {
	s := mustParse(t, evaluated)
	first, err := s.Evaluate(plainFacts())
	if err != nil {
		t.Fatal(err)
	}
	other := plainFacts()
	other.Vehicle.Intake.Flange, other.Calc.HoodMarginIn = catalog.TwoBoreLarge, 9
	other.Calc.Hoses = other.Calc.Hoses[:1]
	other.Carburetor.Throttle.Ends = []catalog.LinkEnd{catalog.EndEyelet}
	var wait sync.WaitGroup
	for range 8 {
		wait.Go(func() {
			for range 50 {
				if _, err := s.Evaluate(other); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wait.Wait()
	again, err := s.Evaluate(plainFacts())
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(first, again) {
		t.Errorf("the first answer is now\n%+v\nwant\n%+v", first, again)
	}
}

func TestEvaluateErrorsNameTheRule(t *testing.T) {
	rule := func(old, new string) string {
		text := strings.Replace(evaluated, old, new, 1)
		if text == evaluated {
			t.Fatal("changes nothing: " + old)
		}
		return text
	}
	for text, want := range map[string]string{
		rule("vehicle.year > 2000", "1 / (vehicle.year - 1968) > 1"):                   "t.yaml:55: rule f-silent: when: division by zero",
		rule("quantity: =1 + 1", "quantity: =1 - 1"):                                   "t.yaml:2: rule b-adapter: quantity: gives 0, wanted more than 0; narrow when to the cases that need some",
		rule("quantity: =1 + 1", "quantity: =1e308 * 10 - 1e308 * 10"):                 "t.yaml:2: rule b-adapter: quantity: gives NaN, wanted more than 0; narrow when to the cases that need some",
		rule("quantity: =each.length_in", "quantity: =each.length_in - 6"):             "t.yaml:16: rule a-hose: quantity for calc.hoses[2]: gives 0, wanted more than 0; narrow when to the cases that need some",
		rule("=calc.hood_margin_in - 0.5", "=1 / (calc.hood_margin_in - 1.25)"):        "t.yaml:2: rule b-adapter: match height_in: division by zero",
		rule("=calc.hood_margin_in - 0.5", "=calc.hood_margin_in * 1e308 * 1e308"):     "t.yaml:2: rule b-adapter: match height_in: gives +Inf, wanted a number",
		rule("{carburetor.neck_in * 1}", "{carburetor.neck_in % 0}"):                   "t.yaml:2: rule b-adapter: because: division by zero",
		rule(`"=vehicle.year < 1970 ? 'required' : 'optional'"`, "=carburetor.series"): `t.yaml:2: rule b-adapter: level: gives "Alder", wanted required, recommended or optional`,
	} {
		s := mustParse(t, text)
		if _, err := s.Evaluate(plainFacts()); err == nil || err.Error() != want {
			t.Errorf("got %v\nwant %s", err, want)
		}
		// an error must leave nothing behind for the next evaluation
		facts := plainFacts()
		facts.Vehicle.Year, facts.Calc.HoodMarginIn = 1990, 2
		facts.Vehicle.Intake.Flange, facts.Calc.Hoses = catalog.SquareBore, nil
		if _, err := s.Evaluate(facts); err != nil {
			t.Errorf("after it: %v", err)
		}
	}
	if _, err := mustParse(t, evaluated).Evaluate(&Facts{Vehicle: &catalog.Vehicle{}}); err == nil {
		t.Error("facts without a carburetor are accepted")
	}
}

func form(t *testing.T, kind catalog.Kind, attrs ...string) *catalog.Form {
	spec, _ := kind.Spec()
	f := &catalog.Form{Kind: kind, LengthIn: 12, HeightIn: 0.5}
	for i := 0; i < len(attrs); i += 2 {
		a, ok := spec.Attr(attrs[i])
		if !ok {
			t.Fatalf("no attribute %s", attrs[i])
		}
		v, err := a.ParseValue(attrs[i+1])
		if err != nil {
			t.Fatal(err)
		}
		f.Attributes = append(f.Attributes, catalog.Attr{Name: a.Name, Type: a.Type, Value: v})
	}
	return f
}

func TestMatch(t *testing.T) {
	fired, err := mustParse(t, evaluated).Evaluate(plainFacts())
	if err != nil {
		t.Fatal(err)
	}
	adapter, hose := fired[2].Match, fired[0].Match
	good := form(t, "adapter_plate", "carburetor_flange", "square_bore", "manifold_flange", "spread_bore", "material", "steel")
	if !adapter.Accepts(good) || adapter.Fails(good) != nil {
		t.Errorf("refused: %v", adapter.Fails(good))
	}
	bad := form(t, "adapter_plate", "carburetor_flange", "spread_bore", "material", "phenolic")
	bad.HeightIn = 1
	want := []string{"manifold_flange: not stated, wanted spread_bore", "carburetor_flange: spread_bore, wanted square_bore",
		"height_in: 1, wanted at most 0.75", "material: phenolic, wanted aluminium or steel"}
	if got := adapter.Fails(bad); adapter.Accepts(bad) || !slices.Equal(got, want) {
		t.Errorf("got %q\nwant %q", got, want)
	}
	if got := hose.Fails(form(t, "vacuum_hose", "bore_in", "5/16", "service", "pcv")); !slices.Equal(got, []string{"bore_in: 5/16, wanted 3/8"}) {
		t.Errorf("got %q", got)
	}
	if !hose.Accepts(form(t, "vacuum_hose", "bore_in", "0.375", "service", "pcv")) || !hose.Accepts(form(t, "vacuum_hose", "service", "pcv", "bore_in", "6/16")) {
		t.Error("3/8, 0.375 and 6/16 are one size")
	}
	if got := hose.Fails(good); hose.Accepts(good) || !slices.Equal(got, []string{"kind: adapter_plate, wanted vacuum_hose"}) {
		t.Errorf("got %q", got)
	}
}

func TestPropertyAcceptsExactlyWhatFailsNothing(t *testing.T) {
	tests := []string{"bore_in: 3/8", "bore_in: {at_least: 5/16}", "bore_in: {at_most: 5/16, at_least: 1/4}", "service: pcv",
		"service: {one_of: [vacuum, booster]}", "length_in: {at_least: 12}"}
	rapid.Check(t, func(rt *rapid.T) {
		text := "- id: a\n  when: \"true\"\n  need: a.b\n  level: required\n  quantity: 1\n  because: x\n  severity: minor\n  source: s\n  match:\n    kind: vacuum_hose\n"
		for _, line := range rapid.SliceOfNDistinct(rapid.SampledFrom(tests), 0, 3, func(s string) string { return s[:strings.IndexByte(s, ':')] }).Draw(rt, "tests") {
			text += "    " + line + "\n"
		}
		fired, err := mustParse(t, text).Evaluate(plainFacts())
		if err != nil {
			rt.Fatal(err)
		}
		f := form(t, "vacuum_hose", "bore_in", rapid.SampledFrom([]string{"1/4", "5/16", "3/8"}).Draw(rt, "bore"),
			"service", rapid.SampledFrom([]string{"vacuum", "pcv", "booster"}).Draw(rt, "service"))
		f.LengthIn = rapid.SampledFrom([]float64{6, 12, 24}).Draw(rt, "length")
		if m := fired[0].Match; m.Accepts(f) != (len(m.Fails(f)) == 0) {
			rt.Fatalf("accepts %v, fails %v", m.Accepts(f), m.Fails(f))
		}
	})
}

func TestPrintedNumbers(t *testing.T) {
	for n, want := range map[float64]string{5.125: "5.125", 368: "368", 367.91234: "367.9123", 0.00004: "0", -0.00001: "0",
		1e15: "1000000000000000", 0.1 + 0.2: "0.3", -2.5: "-2.5"} {
		if got := string(appendNumber(nil, n)); got != want {
			t.Errorf("%v prints %q, want %q", n, got, want)
		}
	}
	if got := string(appendNumber(nil, math.Inf(1))); got != "+Inf" {
		t.Errorf("infinity prints %q", got)
	}
	rapid.Check(t, func(rt *rapid.T) { // a size prints as units.Size does
		s := units.Inches(rapid.IntRange(1, 9000).Draw(rt, "num"), rapid.SampledFrom([]int{1, 2, 8, 64, 3, 10, 1000}).Draw(rt, "den"))
		want, err := units.SizeFromFloat(s.Inches())
		if got := string(appendSize(nil, s.Inches())); err == nil && got != want.String() {
			rt.Fatalf("%v prints %q, want %q", s.Inches(), got, want)
		}
	})
}
