package calc

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Source: Colebrook-White solved by scipy brentq, laminar 64/Re; tolerance 5e-9
// relative, the table's printed digits.
func TestMoodyTable(t *testing.T) {
	for _, r := range readTable(t, "moody.csv", 23) {
		f, regime, err := DarcyFriction(r.num(t, "reynolds"), r.num(t, "relative_roughness"))
		if err != nil {
			t.Fatal(err)
		}
		what := "Re " + r["reynolds"] + " roughness " + r["relative_roughness"]
		near(t, what, f, r.num(t, "darcy_f"), 5e-9)
		if string(regime) != r["regime"] {
			t.Errorf("%s: %s, want %s", what, regime, r["regime"])
		}
	}
}

// Source: Darcy-Weisbach with the laws above, scipy; tolerance 5e-9 relative. The
// row at Re 3877 lies where no law holds: the loss must be the higher law's, lie
// between both, and be called transitional.
func TestPressureDropTable(t *testing.T) {
	transitional := 0
	for _, r := range readTable(t, "pressure_drop.csv", 8) {
		got := must(LineLoss(Line{
			FlowM3PerS:      r.num(t, "flow_L_per_h") / 1000 / 3600,
			InsideDiameterM: r.num(t, "inside_diameter_mm") / 1000,
			LengthM:         r.num(t, "length_m"),
			DensityKgM3:     r.num(t, "density_kg_m3"),
			ViscosityPaS:    r.num(t, "viscosity_Pa_s"),
			RoughnessM:      r.num(t, "roughness_m"),
		}))
		// The assumed petrol and tube are those of the table.
		near(t, "density", PetrolDensityKgM3, r.num(t, "density_kg_m3"), 0)
		near(t, "viscosity", PetrolViscosityPaS, r.num(t, "viscosity_Pa_s"), 0)
		near(t, "roughness", DrawnTubeRoughnessM, r.num(t, "roughness_m"), 0)
		what := r["flow_L_per_h"] + " L/h in " + r["inside_diameter_mm"] + " mm: "
		near(t, what+"velocity", got.VelocityMPerS, r.num(t, "velocity_m_per_s"), 5e-9)
		near(t, what+"Reynolds", got.Reynolds, r.num(t, "reynolds"), 5e-9)
		near(t, what+"friction", got.DarcyFriction, r.num(t, "darcy_f"), 5e-9)
		near(t, what+"loss", got.LossPa, r.num(t, "dp_Pa"), 5e-9)
		if string(got.Regime) != r["regime"] {
			t.Errorf("%s%s, want %s", what, got.Regime, r["regime"])
		}
		if got.Regime == Transitional {
			transitional++
			laminar, turbulent := r.num(t, "dp_if_laminar_Pa"), r.num(t, "dp_if_colebrook_Pa")
			if got.LossPa < laminar || got.LossPa > turbulent*(1+5e-9) {
				t.Errorf("%sloss %v outside %v..%v", what, got.LossPa, laminar, turbulent)
			}
		}
	}
	if transitional != 1 {
		t.Errorf("%d transitional rows, the table has 1", transitional)
	}
}

// Source: Hagen-Poiseuille, Δp = 128·μ·L·Q/(π·d⁴), a law that names no friction
// factor; GNU units 2.22 for the first:
// '128 * 5e-4 Pa s * 3 m * (20 L/hour) / (pi * (6.5 mm)^4)' to Pa.
func TestLaminarLossIsHagenPoiseuille(t *testing.T) {
	got := must(LineLoss(Line{20e-3 / 3600, 6.5e-3, 3, 740, 5e-4, 1.5e-6}))
	near(t, "20 L/h", got.LossPa, 190.206530731, 1e-11)
	rapid.Check(t, func(t *rapid.T) {
		l := Line{
			InsideDiameterM: rapid.Float64Range(1e-3, 2e-2).Draw(t, "d"),
			LengthM:         rapid.Float64Range(0.01, 10).Draw(t, "L"),
			DensityKgM3:     rapid.Float64Range(600, 1000).Draw(t, "rho"),
			ViscosityPaS:    rapid.Float64Range(1e-4, 1e-2).Draw(t, "mu"),
		}
		re := rapid.Float64Range(1, 2299).Draw(t, "Re")
		l.FlowM3PerS = re * l.ViscosityPaS / l.DensityKgM3 * math.Pi / 4 * l.InsideDiameterM
		got, err := LineLoss(l)
		if err != nil || got.Regime != Laminar {
			t.Fatalf("%+v (%v)", got, err)
		}
		want := 128 * l.ViscosityPaS * l.LengthM * l.FlowM3PerS / (math.Pi * math.Pow(l.InsideDiameterM, 4))
		if math.Abs(got.LossPa-want) > 1e-10*want {
			t.Fatalf("loss %v, Hagen-Poiseuille %v", got.LossPa, want)
		}
	})
}

func TestPropertyFrictionSolvesColebrook(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		re := math.Pow(10, rapid.Float64Range(math.Log10(2300), 8).Draw(t, "log Re"))
		roughness := rapid.OneOf(rapid.Just(0.0), rapid.Float64Range(0, 0.05)).Draw(t, "roughness")
		f, regime, err := DarcyFriction(re, roughness)
		if err != nil || (regime == Transitional) != (re < 4000) {
			t.Fatalf("%v %s (%v)", f, regime, err)
		}
		left, right := 1/math.Sqrt(f), -2*math.Log10(roughness/3.7+2.51/(re*math.Sqrt(f)))
		if math.Abs(left-right) > 1e-11*left {
			t.Fatalf("1/√f = %v, the law says %v", left, right)
		}
		// Haaland, 1983, an explicit law of another author, stays within 2 % of
		// Colebrook on its range (White, Fluid Mechanics, from memory).
		if re >= 4000 {
			haaland := math.Pow(-1.8*math.Log10(math.Pow(roughness/3.7, 1.11)+6.9/re), -2)
			if math.Abs(f/haaland-1) > 0.025 {
				t.Fatalf("f %v, Haaland %v", f, haaland)
			}
		}
		if re < 4000 && f < 64/re {
			t.Fatalf("transitional f %v below the laminar %v", f, 64/re)
		}
	})
}

func TestFuelDemand(t *testing.T) {
	// Source: GNU units 2.22, '500 ft^3/min * 1.225 kg/m^3 / 12.5' to lb/hour, the
	// same over 740 kg/m^3 to gallon/hour, '200 lb/hour / (740 kg/m^3)' to gallon/hour.
	lb := must(FuelDemandLbPerH(500, 1.225, FullPowerAirFuelRatio))
	near(t, "500 cfm", lb, 183.538204094, 1e-11)
	near(t, "500 cfm in gph", must(FuelGPH(lb, PetrolDensityKgM3)), 29.7199017199, 1e-11)
	near(t, "200 lb/h in gph", must(FuelGPH(200, 740)), 32.3855208965, 1e-11)
}

func TestNeedleSeatAndMinorLosses(t *testing.T) {
	// Source: GNU units 2.22,
	// '0.62 * (pi/4) * (0.110 in)^2 * sqrt(2 * 6 psi / (740 kg/m^3))' to gallon/hour.
	near(t, "0.110 seat at 6 psi", must(NeedleSeatGPH(0.110, 6, SharpOrificeCd, PetrolDensityKgM3)), 38.225924707, 1e-10)
	near(t, "6 psi for what a 0.110 seat passes at 6 psi", must(NeedleSeatPSI(0.110, 38.225924707, SharpOrificeCd, PetrolDensityKgM3)), 6, 1e-9)
	near(t, "no pressure", must(NeedleSeatGPH(0.110, 0, SharpOrificeCd, PetrolDensityKgM3)), 0, 0)
	// Source: GNU units 2.22, '0.5 * 740 kg/m^3 * 1.5 * (0.5 m/s)^2' to Pa.
	near(t, "K = 1.5", must(MinorLossPa(1.5, 740, 0.5)), 138.75, 1e-14)
}

func TestNoFlowHasNoLoss(t *testing.T) {
	got := must(LineLoss(Line{0, 6.5e-3, 3, 740, 5e-4, 1.5e-6}))
	if got != (LineFlow{Regime: Laminar}) {
		t.Errorf("%+v", got)
	}
}

func TestPropertyLossGrowsWithFlow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := Line{0, rapid.Float64Range(4e-3, 1.2e-2).Draw(t, "d"), 3, 740, 5e-4, 1.5e-6}
		a := rapid.Float64Range(1, 400).Draw(t, "L/h")
		b := a * rapid.Float64Range(1, 3).Draw(t, "times")
		l.FlowM3PerS = a / 3.6e6
		low, err1 := LineLoss(l)
		l.FlowM3PerS = b / 3.6e6
		high, err2 := LineLoss(l)
		if err1 != nil || err2 != nil || high.LossPa < low.LossPa*(1-1e-12) {
			t.Fatalf("%v L/h loses %v, %v L/h loses %v (%v, %v)", a, low.LossPa, b, high.LossPa, err1, err2)
		}
	})
}

func TestFuelRefusesNonsense(t *testing.T) {
	good := Line{20e-3 / 3600, 6.5e-3, 3, 740, 5e-4, 1.5e-6}
	for _, bad := range []float64{-1, math.NaN(), math.Inf(1)} {
		for name, set := range map[string]func(*Line){
			"flow_m3_per_s":     func(l *Line) { l.FlowM3PerS = bad },
			"inside_diameter_m": func(l *Line) { l.InsideDiameterM = bad },
			"length_m":          func(l *Line) { l.LengthM = bad },
			"density_kg_m3":     func(l *Line) { l.DensityKgM3 = bad },
			"viscosity_pa_s":    func(l *Line) { l.ViscosityPaS = bad },
			"roughness_m":       func(l *Line) { l.RoughnessM = bad },
		} {
			l := good
			set(&l)
			_, err := LineLoss(l)
			refuses(t, err, name)
		}
		_, err := FuelDemandLbPerH(bad, 1.2, 12.5)
		refuses(t, err, "air_cfm")
		_, err = FuelDemandLbPerH(400, bad, 12.5)
		refuses(t, err, "air_density_kg_m3")
		_, err = FuelDemandLbPerH(400, 1.2, bad)
		refuses(t, err, "air_fuel_ratio")
		_, err = FuelGPH(bad, 740)
		refuses(t, err, "lb_per_h")
		_, err = FuelGPH(100, bad)
		refuses(t, err, "density_kg_m3")
		_, err = NeedleSeatGPH(bad, 6, 0.62, 740)
		refuses(t, err, "needle_seat_in")
		_, err = NeedleSeatGPH(0.11, bad, 0.62, 740)
		refuses(t, err, "pressure_psi")
		_, err = NeedleSeatGPH(0.11, 6, bad, 740)
		refuses(t, err, "discharge_coefficient")
		_, err = NeedleSeatGPH(0.11, 6, 0.62, bad)
		refuses(t, err, "density_kg_m3")
		_, err = MinorLossPa(bad, 740, 1)
		refuses(t, err, "loss_coefficient")
		_, err = MinorLossPa(1, bad, 1)
		refuses(t, err, "density_kg_m3")
		_, err = MinorLossPa(1, 740, bad)
		refuses(t, err, "velocity_m_per_s")
		_, _, err = DarcyFriction(bad, 0)
		refuses(t, err, "reynolds")
		_, _, err = DarcyFriction(5000, bad)
		refuses(t, err, "relative_roughness")
	}
	_, err := NeedleSeatGPH(0.11, 6, 1.01, 740)
	refuses(t, err, "discharge_coefficient")
	_, _, err = DarcyFriction(1.01e8, 0)
	refuses(t, err, "reynolds")
	rough := good
	rough.RoughnessM = 0.06 * rough.InsideDiameterM
	_, err = LineLoss(rough)
	refuses(t, err, "relative_roughness")
}

// Stoichiometric ratios by mass of blends on sale: E10 14.1, E85 9.8; Heywood, table D.4, for
// petrol and ethanol alone. E85 weighs 0.78 to 0.79 kg/L (ASTM D5798 blends). All from memory.
func TestBlendsAreThoseOnSale(t *testing.T) {
	for _, c := range []struct{ percent, airFuel, density float64 }{
		{0, 14.7, 740}, {10, 14.1, 745}, {85, 9.8, 785}, {100, 9, 794},
	} {
		b, err := BlendOf(c.percent)
		if err != nil || math.Abs(b.StoichiometricAirFuel-c.airFuel) > 0.05 || math.Abs(b.DensityKgM3-c.density) > 1 {
			t.Errorf("%v %%: %+v, %v; wanted %v:1 and %v kg/m³", c.percent, b, err, c.airFuel, c.density)
		}
		// Lambda is the same on the same jets, once they pass so much more: an outside check
		// by the orifice equation alone.
		petrol, blend := 1*math.Sqrt(PetrolDensityKgM3), b.Leaner*math.Sqrt(b.DensityKgM3)
		if got, want := blend*b.StoichiometricAirFuel, petrol*StoichiometricPetrol; math.Abs(got/want-1) > 1e-12 {
			t.Errorf("%v %%: jets %v times as large leave the mixture at %v", c.percent, b.Leaner, got/want)
		}
		if math.Abs(b.FullPowerAirFuel/b.StoichiometricAirFuel-12.5/14.7) > 1e-12 {
			t.Errorf("%v %%: full power at %v", c.percent, b.FullPowerAirFuel)
		}
	}
	for _, bad := range []float64{-1, 101, math.NaN()} {
		_, err := BlendOf(bad)
		refuses(t, err, "ethanol_percent")
	}
}
