package kit_test

import (
	"slices"

	"pgregory.net/rapid"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/units"
)

// anyVehicle draws a vehicle that validation accepts, with optional fields now and
// then unknown.
func anyVehicle(t *rapid.T) *catalog.Vehicle {
	for {
		v := drawVehicle(t)
		if len(v.Validate()) == 0 {
			return v
		}
	}
}

func drawVehicle(t *rapid.T) *catalog.Vehicle {
	number := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
	maybe := func(name string, low, high float64) *float64 {
		if !rapid.Bool().Draw(t, name+" known") {
			return nil
		}
		n := number(name, low, high)
		return &n
	}
	yes := func(name string) bool { return rapid.Bool().Draw(t, name) }
	perhaps := func(name string) *bool {
		if !yes(name + " known") {
			return nil
		}
		b := yes(name)
		return &b
	}
	thread := func(name string) *units.Thread {
		if !yes(name + " known") {
			return nil
		}
		th := rapid.SampledFrom([]units.Thread{{Major: units.Inches(5, 16), PerInch: 18}, {Major: units.Inches(1, 4), PerInch: 20}, {Major: units.Inches(3, 8), PerInch: 16}}).Draw(t, name)
		return &th
	}
	v := &catalog.Vehicle{
		Engine: catalog.Engine{
			DisplacementIn3: number("displacement", 60, 600), Cylinders: rapid.SampledFrom([]int{4, 6, 8}).Draw(t, "cylinders"),
			Tune:       oneOf(t, "tune", catalog.TuneStock, catalog.TuneMild, catalog.TuneStrong, catalog.TuneRace),
			RedlineRPM: maybe("redline", 3500, 8500), VolumetricEfficiency: maybe("ve", 0.6, 1.1), IdleVacuumInHg: maybe("idle vacuum", 6, 21),
		},
		Intake: catalog.Intake{
			Flange:          oneOf(t, "flange", catalog.SquareBore, catalog.SpreadBore, catalog.TwoBoreLarge, catalog.TwoBoreSmall),
			HoodClearanceIn: number("hood", 3, 14), StudLengthIn: maybe("stud", 0.75, 4), StudThread: thread("stud thread"),
		},
		Throttle: catalog.Throttle{
			Kind: oneOf(t, "throttle", catalog.ThrottleCable, catalog.ThrottleRod), End: oneOf(t, "end", catalog.EndBall, catalog.EndEyelet, catalog.EndClevis, catalog.EndPin),
			BracketOn: oneOf(t, "bracket", catalog.BracketOnCarburetor, catalog.BracketOnManifold, catalog.BracketOnFirewall), PedalTravelIn: number("pedal", 0.8, 3),
		},
		Transmission: catalog.Transmission{Kind: catalog.Manual, Downshift: catalog.DownshiftNone, CableTravelIn: nil},
		Fuel: catalog.Fuel{
			Pump: oneOf(t, "pump", catalog.PumpMechanical, catalog.PumpElectric), PressurePSI: number("psi", 2, 15), FreeFlowGPH: maybe("flow", 10, 150),
			LineODIn:    rapid.SampledFrom([]units.Size{units.Inches(1, 4), units.Inches(5, 16), units.Inches(3, 8), units.Inches(1, 2)}).Draw(t, "line"),
			LineEnd:     oneOf(t, "line end", catalog.PlainTube, catalog.InvertedFlare, catalog.ANFlare, catalog.HoseBarb, catalog.NPT, catalog.Hose),
			RunLengthIn: number("run", 6, 60), ReturnLine: yes("return"), EthanolPercent: number("ethanol", 0, 85),
		},
		Ignition: catalog.Ignition{Advance: oneOf(t, "advance", catalog.AdvanceNone, catalog.AdvancePorted, catalog.AdvanceManifold)},
		Accessories: catalog.Accessories{
			AirConditioning: yes("ac"), IdleStopSolenoid: yes("solenoid"), PowerBrakes: yes("brakes"), PCV: yes("pcv"),
			CanisterPurge: perhaps("purge"), EGR: perhaps("egr"), CruiseControl: perhaps("cruise"),
		},
		Electrical: catalog.Electrical{NominalVolts: rapid.SampledFrom([]float64{6, 12}).Draw(t, "volts"), NegativeGround: yes("negative"), ChokeFeedLengthFt: number("feed", 1, 20)},
		AirCleaner: catalog.AirCleaner{NeckIn: rapid.SampledFrom([]float64{2.3125, 2.625, 4.25, 5.125}).Draw(t, "neck"), HeightIn: number("cleaner", 1.5, 6), StudThread: thread("cleaner thread")},
		Site:       catalog.Site{AltitudeFt: number("altitude", 0, 12000)},
		Road:       catalog.Road{OnRoad: yes("road"), EmissionsControlled: yes("emissions")},
	}
	if yes("automatic") {
		v.Transmission = catalog.Transmission{Kind: catalog.Automatic, CableTravelIn: maybe("cable", 0.8, 2.2),
			Downshift: oneOf(t, "downshift", catalog.DownshiftNone, catalog.VacuumModulator, catalog.DetentCable, catalog.KickdownRod, catalog.ThrottleValveCable, catalog.ElectricSwitch)}
	}
	return v
}

func oneOf[T any](t *rapid.T, name string, of ...T) T { return rapid.SampledFrom(of).Draw(t, name) }

func anyRequest(t *rapid.T, s *kit.Snapshot) *kit.Request {
	r := &kit.Request{
		Vehicle:       anyVehicle(t),
		CarburetorSKU: rapid.SampledFrom(s.Catalog.Carburetors()).Draw(t, "carburetor").SKU,
		Preferences: kit.Preferences{
			Objective: oneOf(t, "objective", kit.ByPrice, kit.ByStock, kit.ByFewest),
			Finish:    oneOf(t, "finish", "", catalog.FinishPlain, catalog.FinishBright, catalog.FinishBraided),
			Levels:    []kit.Level{kit.Required, kit.Recommended, kit.Optional},
		},
	}
	if rapid.Bool().Draw(t, "at a location") {
		r.Preferences.Location = rapid.SampledFrom(s.Catalog.Locations).Draw(t, "location").ID
	}
	for range rapid.IntRange(0, 3).Draw(t, "on hand") {
		if rapid.Bool().Draw(t, "by need") {
			h := kit.OnHand{Need: rapid.SampledFrom(s.Rules.Needs()).Draw(t, "need"), Quantity: rapid.IntRange(0, 4).Draw(t, "pieces")}
			if slices.Contains(kit.Uncounted, h.Need) {
				h.Quantity = 0
			}
			r.OnHand = append(r.OnHand, h)
		} else {
			r.OnHand = append(r.OnHand, kit.OnHand{SKU: rapid.SampledFrom(s.Catalog.Parts()).Draw(t, "part").SKU, Quantity: rapid.IntRange(1, 4).Draw(t, "pieces")})
		}
	}
	return r
}
