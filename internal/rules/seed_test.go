package rules

import (
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"cel.dev/cel-go/cel"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

func seedFiles(t testing.TB) map[string]string {
	t.Helper()
	names, err := filepath.Glob("../../db/seed/rules/*.yaml")
	if err != nil || len(names) == 0 {
		t.Fatalf("no rule files: %v", err)
	}
	files := map[string]string{}
	for _, name := range names {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		files[filepath.Base(name)] = string(text)
	}
	return files
}

func seedSet(t testing.TB) *Set {
	t.Helper()
	s, err := Parse(seedFiles(t))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// needIDs are the needs that the contract promises.
const needIDs = `mount.adapter mount.base_gasket mount.studs mount.spacer
fuel.inlet_fitting fuel.hose fuel.filter fuel.fittings fuel.clamps fuel.pressure_regulator fuel.pump fuel.return_tee
throttle.bracket throttle.end throttle.return_springs
transmission.kickdown_lever transmission.cable_bracket transmission.tv_geometry transmission.modulator_hose
vacuum.pcv_hose vacuum.booster_hose vacuum.advance_hose vacuum.purge_hose vacuum.egr_hose vacuum.tees vacuum.caps vacuum.pipe_plug
choke.feed_wire choke.ground_wire choke.relay choke.conversion
idle.stop_solenoid
air.neck_adapter air.gasket air.stud air.low_profile
tuning.metering_set
shop.fender_cover shop.gasket_scraper shop.thread_sealant`

func TestSeedHasARuleForEveryNeed(t *testing.T) {
	s := seedSet(t)
	for _, need := range strings.Fields(needIDs) {
		if _, ok := s.NeedKind(need); !ok {
			t.Errorf("no rule raises %s", need)
		}
	}
	for _, r := range s.Rules() {
		if r.Need != "" && !strings.HasPrefix(r.Need, strings.TrimSuffix(r.File, ".yaml")+".") {
			t.Errorf("rule %s for %s stands in %s", r.ID, r.Need, r.File)
		}
	}
}

// No facts, however odd, may make the demo rules fail while they are within the limits
// of a validated request.
func TestSeedEvaluatesForEveryKindOfVehicle(t *testing.T) {
	s := seedSet(t)
	seen := map[string]bool{}
	for _, facts := range seedFacts() {
		fired, err := s.Evaluate(facts)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range fired {
			seen[f.Rule.ID] = true
			if strings.Contains(f.Because, "{") || f.Rule.Need != "" && f.Because == "" {
				t.Errorf("rule %s says %q", f.Rule.ID, f.Because)
			}
		}
	}
	for _, r := range s.Rules() {
		if !seen[r.ID] {
			t.Errorf("rule %s never fires", r.ID)
		}
	}
}

// seedFacts vary one thing at a time from a common vehicle.
func seedFacts() []*Facts {
	travel, vacuum, long := 1.38, 12.0, 2.0
	thread := units.Thread{Major: units.Inches(5, 16), PerInch: 18}
	var list []*Facts
	add := func(change func(v *catalog.Vehicle, c *catalog.Carburetor, calc *Calc)) {
		f := plainFacts()
		v, c := f.Vehicle, f.Carburetor
		v.Electrical = catalog.Electrical{NominalVolts: 12, NegativeGround: true, ChokeFeedLengthFt: 5}
		v.Throttle = catalog.Throttle{Kind: catalog.ThrottleCable, End: catalog.EndBall, BracketOn: catalog.BracketOnCarburetor, PedalTravelIn: 1.6}
		v.Fuel.PressurePSI, v.AirCleaner.NeckIn = 6, 5.125
		v.Transmission.Downshift = catalog.DownshiftNone
		c.Barrels, c.Choke.Kind = 4, catalog.ChokeManual
		c.Inlet.End, _ = catalog.ParseEnd("inverted_flare 5/8-18 female")
		*f.Calc = Calc{AirDemandCFM: 368, SizeVerdict: "suits", FuelDemandGPH: 20, FloatValveGPH: 30, LeastPressurePSI: 3, DeliveredPressurePSI: 5.5,
			HoodMarginIn: 1, BareHoodMarginIn: 3, StudsSuffice: true, ThrottleTravelIn: 1.6, CableTravelOK: true}
		change(v, c, f.Calc)
		list = append(list, f)
	}
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {})
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) { v.Intake.Flange = catalog.TwoBoreSmall })
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) { v.Intake.Flange = catalog.TwoBoreLarge })
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) { k.BareHoodMarginIn = -0.25 })
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) { k.HoodMarginIn = 0.25 })
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {
		k.HoodMarginIn, v.AirCleaner.NeckIn = 2, 4.25
	})
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) { k.StudsSuffice = false })
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {
		k.StudsSuffice, v.Intake.StudLengthIn = false, &long
	})
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {
		v.Fuel.PressurePSI, v.Fuel.EthanolPercent, k.FloatValveGPH, v.Fuel.RunLengthIn = 60, 85, 10, 30
	})
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {
		k.PumpFlowShort, k.DeliveredPressurePSI = true, 2
	})
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) { v.Fuel.ReturnLine = true })
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) { v.Fuel.EthanolPercent = 20 })
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {
		v.Throttle.BracketOn, v.Throttle.PedalTravelIn, k.PedalTravel = catalog.BracketOnManifold, 1, "short"
	})
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {
		v.Throttle.BracketOn, v.Throttle.PedalTravelIn, k.PedalTravel = catalog.BracketOnFirewall, 2, "over"
		v.Throttle.End = catalog.EndClevis
	})
	for _, d := range []catalog.Downshift{catalog.KickdownRod, catalog.DetentCable, catalog.ElectricSwitch, catalog.ThrottleValveCable, catalog.VacuumModulator} {
		add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {
			v.Transmission.Downshift, k.CableTravelOK = d, false
		})
	}
	for _, known := range []bool{false, true} {
		add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {
			v.Transmission.Downshift, v.Transmission.CableTravelIn = catalog.ThrottleValveCable, &travel
			k.CableTravelOK, k.CableTravelKnown = false, known
		})
	}
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {
		v.Accessories.PowerBrakes, v.Engine.Tune = true, catalog.TuneRace
	})
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {
		for _, use := range []string{"pcv", "booster", "advance", "modulator", "purge", "egr", "cruise"} {
			k.Hoses = append(k.Hoses, HoseRun{use, 0.375, 18})
		}
		one, pair := []SizeCount{{0.25, 1}, {0.375, 2}}, []SizePair{{0.375, 0.25, 1}}
		k.Caps, k.Plugs, k.Tees, k.Reducers, k.Nipples = one, one, pair, pair, pair
		k.Unassigned = []string{"booster"}
		v.Accessories.PowerBrakes, v.Engine.IdleVacuumInHg = true, &vacuum
	})
	for _, kind := range []catalog.ChokeKind{catalog.ChokeElectric, catalog.ChokeDivorced, catalog.ChokeNone} {
		for _, volts := range []float64{6, 12} {
			add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {
				c.Choke.Kind, v.Electrical.NominalVolts, v.Road.OnRoad = kind, volts, true
				if kind == catalog.ChokeElectric {
					k.ChokeAmps, k.ChokeWireAWG, k.ChokeFuseA, k.ChokeWireIn = 5.2, 16, 7.5, 60
				}
			})
		}
	}
	for _, air := range []bool{false, true} {
		add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {
			v.Accessories.AirConditioning, v.Accessories.IdleStopSolenoid = air, true
		})
	}
	add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {
		v.AirCleaner.StudThread = &thread
		c.AirCleanerStud = units.Thread{Major: units.Inches(1, 4), PerInch: 20}
	})
	for _, verdict := range []string{"over_carbureted", "restrictive"} {
		add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {
			k.SizeVerdict, k.MixtureRichPercent, k.DensityRatio = verdict, 9, 0.8
		})
	}
	for _, certified := range []bool{false, true} {
		for _, onRoad := range []bool{false, true} {
			add(func(v *catalog.Vehicle, c *catalog.Carburetor, k *Calc) {
				v.Road.OnRoad, v.Road.EmissionsControlled, c.EmissionsCertified = onRoad, true, certified
			})
		}
	}
	return list
}

// Every expression of the demo rules, through cel-go's evaluator and as closures.
func TestSeedAgreesWithCELsEvaluator(t *testing.T) {
	for _, x := range seedExpressions(t, seedSet(t)) {
		fr := x.layout.newFrame()
		for _, facts := range seedFacts() {
			if err := x.layout.load(fr, facts); err != nil {
				t.Fatal(err)
			}
			elements := 1
			if x.each != nil {
				elements = walk(reflect.ValueOf(facts).Elem(), x.each.index).Len()
			}
			for i := range elements {
				fr.at[0] = i
				if x.guard != nil {
					if yes, err := x.guard.run(fr); err != nil || yes == false {
						continue // when does not hold, and the expression may count on it
					}
				}
				got, gotErr := x.expr.run(fr)
				want, _, wantErr := x.program.Eval(celFacts(facts, x.each, i))
				if (gotErr != nil) != (wantErr != nil) || wantErr == nil && !same(got, want.Value()) {
					t.Fatalf("rule %s: %s: closure %v (%v), cel-go %v (%v)", x.rule.ID, x.text, got, gotErr, want, wantErr)
				}
			}
		}
	}
}

type seedExpression struct {
	rule    *Rule
	text    string
	each    *field
	expr    *expr
	guard   *expr // when
	layout  *layout
	program cel.Program
}

// seedExpressions are the rules' expressions, compiled both ways: when, the
// expressions after =, and placeholders.
func seedExpressions(t testing.TB, s *Set) []seedExpression {
	var list []seedExpression
	for _, r := range s.Rules() {
		var each *field
		if r.list >= 0 {
			each = s.layout.lists[r.list].field
		}
		add := func(e *expr, guard *expr) {
			if e == nil || e.class == aList {
				return
			}
			list = append(list, seedExpression{r, e.source, each, e, guard, s.layout, celProgram(t, e.source, each)})
		}
		add(r.when, nil)
		add(r.level.expr, r.when)
		add(r.quantity.expr, r.when)
		for i := range r.tests {
			add(r.tests[i].expr, r.when)
		}
		for _, p := range slices.Concat(r.because, r.cautionBy) {
			add(p.expr, r.when)
		}
	}
	return list
}

func BenchmarkEvaluate(b *testing.B) {
	s, facts := seedSet(b), seedFacts()
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		if _, err := s.Evaluate(facts[i%len(facts)]); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(s.Rules())), "rules")
}

// BenchmarkCELWhen evaluates only the when of every rule with cel-go's evaluator,
// which has the rest still to do.
func BenchmarkCELWhen(b *testing.B) {
	s, facts := seedSet(b), seedFacts()
	var whens []seedExpression
	for _, x := range seedExpressions(b, s) {
		if x.guard == nil {
			whens = append(whens, x)
		}
	}
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		f := facts[i%len(facts)]
		plain := celFacts(f, nil, 0)
		for _, x := range whens {
			if x.each == nil {
				if _, _, err := x.program.Eval(plain); err != nil {
					b.Fatal(err)
				}
				continue
			}
			for j := range walk(reflect.ValueOf(f).Elem(), x.each.index).Len() {
				if _, _, err := x.program.Eval(celFacts(f, x.each, j)); err != nil {
					b.Fatal(err)
				}
			}
		}
	}
}

// BenchmarkWhen is what BenchmarkCELWhen does, as closures.
func BenchmarkWhen(b *testing.B) {
	s, facts := seedSet(b), seedFacts()
	fr := s.layout.newFrame()
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		if err := s.layout.load(fr, facts[i%len(facts)]); err != nil {
			b.Fatal(err)
		}
		for _, r := range s.rules {
			if r.list < 0 {
				r.when.yes(fr)
				continue
			}
			for j := range fr.length[r.list] {
				fr.at[0] = j
				r.when.yes(fr)
			}
		}
	}
}

func BenchmarkLoadFacts(b *testing.B) {
	s, facts := seedSet(b), seedFacts()
	fr := s.layout.newFrame()
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		if err := s.layout.load(fr, facts[i%len(facts)]); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkParse(b *testing.B) {
	files := seedFiles(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Parse(files); err != nil {
			b.Fatal(err)
		}
	}
}
