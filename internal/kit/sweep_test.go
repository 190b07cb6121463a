package kit_test

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/rules"
	"onetrip/internal/units"
)

// summary is what a sweep should say of a kit that Resolve answered. Gaps are told only
// as far as a kit tells them.
func summary(k *kit.Kit) *kit.Summary {
	out := &kit.Summary{Verdict: k.Verdict, Total: k.Totals.All}
	for _, n := range k.Needs {
		var ids []string
		for _, b := range n.Because {
			ids = append(ids, b.Rule)
		}
		out.Needs = append(out.Needs, kit.NeedSummary{ID: n.ID, Level: n.Level, Status: n.Status, Quantity: n.Quantity, Rules: ids})
	}
	for _, l := range k.Lines {
		out.Lines = append(out.Lines, kit.LineSummary{SKU: l.SKU, Packs: l.Quantity, AmountMinor: l.Amount.AmountMinor})
	}
	for _, m := range k.Missing {
		out.Gaps = append(out.Gaps, kit.Gap{Need: m.Need, Severity: m.Severity})
	}
	for _, c := range k.Checks {
		if c.Outcome == kit.Warn || c.Outcome == kit.Fail {
			out.Warnings = append(out.Warnings, c.ID)
		}
	}
	return out
}

// told is a summary with gaps as far as a kit tells them.
func told(s *kit.Summary) *kit.Summary {
	out := *s
	out.Gaps = nil
	for _, g := range s.Gaps {
		out.Gaps = append(out.Gaps, kit.Gap{Need: g.Need, Severity: g.Severity})
	}
	return &out
}

// checkGaps holds the causes of gaps against the whole catalogue, form by form.
func checkGaps(s *kit.Snapshot, sum *kit.Summary) error {
	passing := func(g *kit.Gap) (forms []*catalog.Form) {
		for _, f := range s.Catalog.Forms(g.Kind) {
			fits := !slices.ContainsFunc(g.Tests, func(t rules.Test) bool { return !t.Accepts(f) })
			if onSale := slices.ContainsFunc(f.Parts(), func(p *catalog.Part) bool { return !p.Discontinued }); fits && onSale {
				forms = append(forms, f)
			}
		}
		return forms
	}
	for _, g := range sum.Gaps {
		switch g.Cause {
		case kit.NothingMatches:
			if forms := passing(&g); len(forms) > 0 {
				return fmt.Errorf("gap %s: %s passes", g.Wanted(), forms[0].Key())
			}
		case kit.NoJoint:
			for _, f := range passing(&g) {
				if len(f.Ends) == 2 && (f.Ends[0] == g.From && f.Ends[1] == g.To || f.Ends[1] == g.From && f.Ends[0] == g.To) {
					return fmt.Errorf("gap %s: %s has the ends", g.Wanted(), f.Key())
				}
			}
		case kit.ShortOfStock:
			if len(g.SKUs) == 0 {
				return fmt.Errorf("gap %s is short of no SKU", g.Wanted())
			}
		case kit.NoPath, kit.NoStack, kit.NoPort, kit.NotMeasured:
		default:
			return fmt.Errorf("gap %s has cause %q", g.Wanted(), g.Cause)
		}
	}
	return nil
}

// compareSweep holds every summary of a sweep against Resolve.
func compareSweep(t rapid.TB, s *kit.Snapshot, q kit.SweepQuery) kit.SweepStats {
	t.Helper()
	basis, preferences := s, q.Preferences
	if q.Basis == kit.InStock {
		preferences.Objective = kit.ByStock
	} else {
		basis = kit.NewSnapshot(s.Catalog.WithPlenty(), s.Rules)
	}
	stats, err := kit.Sweep(context.Background(), s, q, func(class *kit.Class, c *catalog.Carburetor, got *kit.Summary) error {
		for _, v := range class.Vehicles {
			k, err := kit.Resolve(context.Background(), basis, &kit.Request{Vehicle: v, CarburetorSKU: c.SKU, Preferences: preferences})
			if err != nil {
				return err
			}
			if want := summary(k); !reflect.DeepEqual(told(got), want) {
				return fmt.Errorf("vehicle %s with %s:\n got %+v\nwant %+v", v.ID, c.SKU, told(got), want)
			}
		}
		return checkGaps(s, got)
	})
	if err != nil {
		t.Fatal(err)
	}
	return stats
}

func TestSweepEqualsResolve(t *testing.T) {
	s := demoSnapshot(t)
	some := s.Catalog.Carburetors()
	if testing.Short() {
		some = some[:len(some)/8]
	}
	vehicles, carburetors := len(s.Catalog.Vehicles()), len(some)
	for name, q := range map[string]kit.SweepQuery{
		"catalogue":         {},
		"stock anywhere":    {Basis: kit.InStock},
		"stock at one shop": {Basis: kit.InStock, Preferences: kit.Preferences{Location: s.Catalog.Locations[0].ID, Levels: []kit.Level{kit.Required}}},
		"bright":            {Preferences: kit.Preferences{Finish: catalog.FinishBright, Declined: []string{"fuel.filter"}}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			q.Carburetors = some
			stats := compareSweep(t, s, q)
			if stats.Pairs != vehicles*carburetors || stats.Resolved != stats.Classes*carburetors {
				t.Errorf("statistics %+v of %d vehicles and %d carburetors", stats, vehicles, carburetors)
			}
		})
	}
}

func TestSweepOfAnyVehiclesEqualsResolve(t *testing.T) {
	t.Parallel()
	s := demoSnapshot(t)
	rapid.Check(t, func(t *rapid.T) {
		var vehicles []*catalog.Vehicle
		for i := range rapid.IntRange(1, 4).Draw(t, "vehicles") {
			v := anyVehicle(t)
			twin := *v
			v.ID, twin.ID = fmt.Sprintf("a%d", i), fmt.Sprintf("b%d", i)
			vehicles = append(vehicles, v, &twin)
		}
		carburetors := rapid.SliceOfNDistinct(rapid.SampledFrom(s.Catalog.Carburetors()), 1, 3, rapid.ID[*catalog.Carburetor]).Draw(t, "carburetors")
		basis := rapid.SampledFrom([]kit.Basis{kit.OnSale, kit.InStock}).Draw(t, "basis")
		if stats := compareSweep(t, s, kit.SweepQuery{Vehicles: vehicles, Carburetors: carburetors, Basis: basis}); stats.Classes*2 > stats.Vehicles {
			t.Fatalf("%d classes of %d vehicles in pairs of twins", stats.Classes, stats.Vehicles)
		}
	})
}

type sweptKit struct {
	class, sku string
	kit        *kit.Summary
}

func sweptKits(t *testing.T, q kit.SweepQuery) []sweptKit {
	t.Helper()
	var out []sweptKit
	_, err := kit.Sweep(t.Context(), demoSnapshot(t), q, func(class *kit.Class, c *catalog.Carburetor, k *kit.Summary) error {
		out = append(out, sweptKit{class.Vehicles[0].ID, c.SKU, k})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestSweepIsTheSameForAnyNumberOfWorkers(t *testing.T) {
	q := kit.SweepQuery{Carburetors: demoSnapshot(t).Catalog.Carburetors()[:7], Workers: 1}
	one := sweptKits(t, q)
	q.Workers = 5
	if five := sweptKits(t, q); !reflect.DeepEqual(one, five) {
		t.Error("five workers give another result than one")
	}
}

func TestSweepIsTheSameWhenSharedSelectionsAreForgotten(t *testing.T) {
	q := kit.SweepQuery{Carburetors: demoSnapshot(t).Catalog.Carburetors()[:7]}
	remembered := sweptKits(t, q)
	defer kit.SetMostSettled(3)()
	if forgetful := sweptKits(t, q); !reflect.DeepEqual(remembered, forgetful) {
		t.Error("with memory for three selections the result is another")
	}
}

func TestSweepTellsProgress(t *testing.T) {
	s := demoSnapshot(t)
	carburetors := s.Catalog.Carburetors()[:3]
	vehicles := slices.Concat(s.Catalog.Vehicles(), s.Catalog.Vehicles()) // every class twice as large
	yielded, last := 0, 0
	q := kit.SweepQuery{Vehicles: vehicles, Carburetors: carburetors, Progress: func(done, total int) {
		if total != len(vehicles)*len(carburetors) || done != yielded || done <= last {
			t.Errorf("%d of %d done after %d of %d and %d yielded", done, total, last, len(vehicles)*len(carburetors), yielded)
		}
		last = done
	}}
	stats, err := kit.Sweep(t.Context(), s, q, func(class *kit.Class, _ *catalog.Carburetor, _ *kit.Summary) error {
		yielded += len(class.Vehicles)
		return nil
	})
	if err != nil || last != len(vehicles)*len(carburetors) || stats.Pairs != last {
		t.Errorf("ended at %d of %d pairs, statistics %+v, error %v", last, len(vehicles)*len(carburetors), stats, err)
	}
}

func TestSweepEndsEarly(t *testing.T) {
	s := demoSnapshot(t)
	ctx, cancel := context.WithCancel(t.Context())
	calls := 0
	stats, err := kit.Sweep(ctx, s, kit.SweepQuery{}, func(*kit.Class, *catalog.Carburetor, *kit.Summary) error {
		if calls++; calls == 100 {
			cancel()
		}
		return nil
	})
	if all := len(s.Catalog.Vehicles()) * len(s.Catalog.Carburetors()); !errors.Is(err, context.Canceled) || stats.Resolved != calls || calls >= all {
		t.Errorf("cancelled: %d of %d calls, statistics %+v, error %v", calls, all, stats, err)
	}
	enough := errors.New("enough")
	if stats, err = kit.Sweep(t.Context(), s, kit.SweepQuery{}, func(*kit.Class, *catalog.Carburetor, *kit.Summary) error { return enough }); !errors.Is(err, enough) || stats.Resolved != 0 {
		t.Errorf("stopped: statistics %+v, error %v", stats, err)
	}
	if _, err = kit.Sweep(t.Context(), s, kit.SweepQuery{Preferences: kit.Preferences{Location: "nowhere"}}, nil); err == nil {
		t.Error("an unknown location is accepted")
	}
}

// Vehicles and carburetors that differ a little share selections, and each pair still gets
// the kit that is its own.
func TestSweepOfNeighboursEqualsResolve(t *testing.T) {
	t.Parallel()
	data := kittest.Data(t)
	var carburetors []*catalog.Carburetor
	for i, base := range []*catalog.Carburetor{data.Carburetors[3], data.Carburetors[24], data.Carburetors[47]} {
		for n, change := range []func(*catalog.Carburetor){
			func(*catalog.Carburetor) {},
			func(c *catalog.Carburetor) { c.FlowCFM *= 1.02 },
			func(c *catalog.Carburetor) { c.HeightIn++ },
			func(c *catalog.Carburetor) { c.MaxFuelPSI -= 0.01 },
			func(c *catalog.Carburetor) { c.InBox = nil },
			func(c *catalog.Carburetor) {
				c.Inlet.End = catalog.End{Family: catalog.HoseBarb, Size: units.Inches(3, 8)}
			},
			func(c *catalog.Carburetor) { c.Jets.MainIn += 0.004 },
		} {
			next := *base
			next.SKU = fmt.Sprintf("NEXT-%d-%d", i, n)
			change(&next)
			carburetors = append(carburetors, &next)
		}
	}
	data.Carburetors = append(data.Carburetors, carburetors...)
	s := kittest.Open(t, data)
	var vehicles []*catalog.Vehicle
	one := 5 // of so many
	if testing.Short() {
		one = 40
	}
	for i, v := range s.Catalog.Vehicles() {
		for n, change := range []func(*catalog.Vehicle){
			func(*catalog.Vehicle) {},
			func(v *catalog.Vehicle) { v.Engine.DisplacementIn3 *= 1.01 },
			func(v *catalog.Vehicle) { v.Engine.DisplacementIn3 *= 1.3 },
			func(v *catalog.Vehicle) { v.Engine.RedlineRPM = new(float64(5555)) },
			func(v *catalog.Vehicle) { v.Site.AltitudeFt += 40 },
			func(v *catalog.Vehicle) { v.Site.AltitudeFt += 4000 },
			func(v *catalog.Vehicle) { v.Fuel.PressurePSI += 0.01 },
			func(v *catalog.Vehicle) { v.Fuel.PressurePSI += 2 },
			func(v *catalog.Vehicle) { v.Fuel.EthanolPercent = min(100, v.Fuel.EthanolPercent+7) },
			func(v *catalog.Vehicle) { v.Fuel.RunLengthIn += 14 },
			func(v *catalog.Vehicle) { v.Fuel.LineEnd = catalog.HoseBarb },
			func(v *catalog.Vehicle) { v.Intake.HoodClearanceIn -= 0.5 },
			func(v *catalog.Vehicle) { v.Intake.StudLengthIn = nil },
			func(v *catalog.Vehicle) { v.AirCleaner.HeightIn += 0.75 },
			func(v *catalog.Vehicle) { v.Throttle.PedalTravelIn += 0.05 },
			func(v *catalog.Vehicle) { v.Electrical.ChokeFeedLengthFt += 0.25 },
			func(v *catalog.Vehicle) { v.Road.EmissionsControlled = !v.Road.EmissionsControlled },
		} {
			next := *v
			next.ID = fmt.Sprintf("v%d-%d", i, n)
			if change(&next); len(next.Validate()) == 0 && i%one == 0 {
				vehicles = append(vehicles, &next)
			}
		}
	}
	for basis, some := range map[kit.Basis][]*catalog.Carburetor{kit.OnSale: carburetors[:14], kit.InStock: carburetors[14:]} {
		stats := compareSweep(t, s, kit.SweepQuery{Vehicles: vehicles, Carburetors: some, Basis: basis})
		if stats.Solved*3 > stats.Resolved*2 {
			t.Errorf("hardly anything was shared: %+v", stats)
		}
	}
}
