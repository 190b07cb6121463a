package calc

import (
	"fmt"
	"math"
)

// Properties of petrol and line assumed where the vehicle states none.
const (
	// PetrolDensityKgM3 at 15 °C; EN 228 allows 720 to 775 (from memory). The
	// single figure is common practice, no source.
	PetrolDensityKgM3 = 740.0
	// PetrolViscosityPaS at about 20 °C, dynamic. Common practice, no source.
	PetrolViscosityPaS = 5e-4
	// EthanolDensityKgM3 at 15 °C. Source: OIML R 22 alcoholometric tables (from memory).
	EthanolDensityKgM3 = 793.6
	// Air-fuel ratios by mass at the chemically right mixture. Source: Heywood, Internal
	// Combustion Engine Fundamentals, table D.4 (from memory): petrol 14.6 to 14.7.
	StoichiometricPetrol  = 14.7
	StoichiometricEthanol = 9.0
	// DrawnTubeRoughnessM is the roughness of drawn tubing, 0.0015 mm.
	// Source: Moody, Friction Factors for Pipe Flow, 1944 (from memory).
	DrawnTubeRoughnessM = 1.5e-6
	// FullPowerAirFuelRatio is the mass ratio at full power. Common practice, no
	// source; Heywood gives best power a little rich of 14.6:1.
	FullPowerAirFuelRatio = 12.5
	// SharpOrificeCd is the discharge coefficient of a sharp-edged orifice, the
	// default for a float valve. Textbook value 0.60 to 0.62 (from memory).
	SharpOrificeCd = 0.62
)

// Blend is petrol with ethanol in it.
type Blend struct {
	DensityKgM3           float64
	StoichiometricAirFuel float64 // by mass
	FullPowerAirFuel      float64 // by mass: as rich beside stoichiometric as FullPowerAirFuelRatio is on petrol
	// Leaner is how many times leaner than petrol it runs on the same jets.
	Leaner float64
}

// BlendOf returns the properties of petrol with a share of ethanol, in percent by volume:
// densities mix by volume, stoichiometric ratios by mass. A jet passes fuel mass with the
// root of its density, as an orifice does, so that the mixture leans by
//
//	(AFR petrol · √ρ petrol) / (AFR blend · √ρ blend)
//
// Percent from 0 to 100; else an error. Source: conservation of mass, ideal mixing, which
// misses the density by less than 0.5 %; the constants above.
func BlendOf(ethanolPercent float64) (Blend, error) {
	if !(ethanolPercent >= 0 && ethanolPercent <= 100) {
		return Blend{}, fmt.Errorf("ethanol_percent is %v: give a share from 0 to 100", ethanolPercent)
	}
	petrol, ethanol := (1-ethanolPercent/100)*PetrolDensityKgM3, ethanolPercent/100*EthanolDensityKgM3
	b := Blend{DensityKgM3: petrol + ethanol}
	b.StoichiometricAirFuel = (petrol*StoichiometricPetrol + ethanol*StoichiometricEthanol) / b.DensityKgM3
	richer := StoichiometricPetrol / b.StoichiometricAirFuel
	b.FullPowerAirFuel = FullPowerAirFuelRatio / richer
	b.Leaner = richer * math.Sqrt(PetrolDensityKgM3/b.DensityKgM3)
	return b, nil
}

// FuelDemandLbPerH returns the fuel that an air flow needs, in lb/h:
//
//	ṁ = Q·ρ/AFR
//
// airCFM at density airDensityKgM3 (StandardAtmosphere), airFuelRatio by mass
// (FullPowerAirFuelRatio). Inputs above 0; an error names the input that is not.
// Source: conservation of mass; 1 ft³ = 0.028316846592 m³, 1 lb = 0.45359237 kg.
func FuelDemandLbPerH(airCFM, airDensityKgM3, airFuelRatio float64) (float64, error) {
	if err := firstError(above("air_cfm", airCFM), above("air_density_kg_m3", airDensityKgM3),
		above("air_fuel_ratio", airFuelRatio)); err != nil {
		return 0, err
	}
	kgPerH := airCFM * m3PerFt3 * 60 * airDensityKgM3 / airFuelRatio
	return kgPerH / kgPerLb, nil
}

// FuelGPH turns a mass flow in lb/h into US gal/h at a density in kg/m³. Flow 0 or
// more and density above 0; an error names the input that is not.
// Source: 1 US gal = 3.785411784 L exactly (NIST SP 811).
func FuelGPH(lbPerH, densityKgM3 float64) (float64, error) {
	if err := firstError(notBelow("lb_per_h", lbPerH), above("density_kg_m3", densityKgM3)); err != nil {
		return 0, err
	}
	return lbPerH * kgPerLb / densityKgM3 / m3PerGal, nil
}

// Regime names the kind of flow in a pipe.
type Regime string

// The regimes by Reynolds number. Source: laminar below 2300 and turbulent from
// 4000, the usual textbook limits (White, Fluid Mechanics, from memory).
const (
	Laminar      Regime = "laminar"      // below 2300
	Transitional Regime = "transitional" // 2300 to below 4000: no law holds
	Turbulent    Regime = "turbulent"    // 4000 and above
)

// DarcyFriction returns the Darcy friction factor f (four times Fanning's) and the
// regime, from the Reynolds number and the roughness over the diameter:
//
//	laminar     f = 64/Re
//	turbulent   1/√f = −2·log₁₀(ε/3.7 + 2.51/(Re·√f))
//
// The turbulent law is solved to rounding error, not approximated. Between 2300
// and 4000 no law holds; the turbulent value, the higher, is taken so that loss is
// not understated, and the regime says so. Valid for Re above 0 up to 1e8 and
// relative roughness 0 to 0.05 (the Moody chart); outside an error.
// Source: Hagen-Poiseuille; Colebrook, 1939.
func DarcyFriction(reynolds, relativeRoughness float64) (float64, Regime, error) {
	if !(reynolds > 0 && reynolds <= 1e8) {
		return 0, "", fmt.Errorf("reynolds is %v: the friction laws are known above 0 up to 1e8; check flow, diameter and viscosity", reynolds)
	}
	if !(relativeRoughness >= 0 && relativeRoughness <= 0.05) {
		return 0, "", fmt.Errorf("relative_roughness is %v: the friction laws are known from 0 to 0.05; check roughness and diameter", relativeRoughness)
	}
	switch {
	case reynolds < 2300:
		return 64 / reynolds, Laminar, nil
	case reynolds < 4000:
		return colebrook(reynolds, relativeRoughness), Transitional, nil
	}
	return colebrook(reynolds, relativeRoughness), Turbulent, nil
}

// colebrook solves the Colebrook-White law by Newton's method on x = 1/√f. The
// function is increasing and concave, so any start below the root climbs to it;
// from Haaland's (1983) value four steps reach rounding error over the whole
// range, and the bound only guards the loop.
func colebrook(reynolds, relativeRoughness float64) float64 {
	a, b := relativeRoughness/3.7, 2.51/reynolds
	x := -1.8 * math.Log10(math.Pow(a, 1.11)+6.9/reynolds)
	for range 20 {
		inner := a + b*x
		step := (x + 2*math.Log10(inner)) / (1 + 2/math.Ln10*b/inner)
		x -= step
		if math.Abs(step) < 1e-14*x {
			break
		}
	}
	return 1 / (x * x)
}

// Line is a straight round fuel line and the fuel flowing in it, in SI units.
type Line struct {
	FlowM3PerS      float64
	InsideDiameterM float64
	LengthM         float64
	DensityKgM3     float64
	ViscosityPaS    float64 // dynamic
	RoughnessM      float64
}

// LineFlow is what a Line does.
type LineFlow struct {
	VelocityMPerS float64
	Reynolds      float64
	Regime        Regime
	DarcyFriction float64 // 0 when nothing flows
	LossPa        float64
}

// LineLoss returns velocity, regime and pressure loss of a straight line:
//
//	Δp = f·(L/d)·½ρv²,  Re = ρ·v·d/μ
//
// Fittings (MinorLossPa) and height are not in it. Flow, length and roughness 0 or
// more, the rest above 0, Re and roughness within DarcyFriction; an error names
// the input that is not. No flow has no loss. Source: Darcy-Weisbach.
func LineLoss(l Line) (LineFlow, error) {
	if err := firstError(notBelow("flow_m3_per_s", l.FlowM3PerS), above("inside_diameter_m", l.InsideDiameterM),
		notBelow("length_m", l.LengthM), above("density_kg_m3", l.DensityKgM3),
		above("viscosity_pa_s", l.ViscosityPaS), notBelow("roughness_m", l.RoughnessM)); err != nil {
		return LineFlow{}, err
	}
	if l.FlowM3PerS == 0 {
		return LineFlow{Regime: Laminar}, nil
	}
	velocity := l.FlowM3PerS / (math.Pi / 4 * l.InsideDiameterM * l.InsideDiameterM)
	reynolds := l.DensityKgM3 * velocity * l.InsideDiameterM / l.ViscosityPaS
	friction, regime, err := DarcyFriction(reynolds, l.RoughnessM/l.InsideDiameterM)
	if err != nil {
		return LineFlow{}, err
	}
	return LineFlow{
		VelocityMPerS: velocity,
		Reynolds:      reynolds,
		Regime:        regime,
		DarcyFriction: friction,
		LossPa:        friction * l.LengthM / l.InsideDiameterM * l.DensityKgM3 * velocity * velocity / 2,
	}, nil
}

// MinorLossPa returns the loss of fittings, bends or a filter with a summed loss
// coefficient:
//
//	Δp = K·½ρv²
//
// lossCoefficient and velocity 0 or more, density above 0; an error names the
// input that is not. Source: textbook definition of K (White, Fluid Mechanics).
func MinorLossPa(lossCoefficient, densityKgM3, velocityMPerS float64) (float64, error) {
	if err := firstError(notBelow("loss_coefficient", lossCoefficient), above("density_kg_m3", densityKgM3),
		notBelow("velocity_m_per_s", velocityMPerS)); err != nil {
		return 0, err
	}
	return lossCoefficient * densityKgM3 * velocityMPerS * velocityMPerS / 2, nil
}

// NeedleSeatGPH returns what a fully open float valve passes, in US gal/h:
//
//	Q = Cd·A·√(2·Δp/ρ)
//
// seatIn is the seat's bore in inches, pressurePSI the fuel pressure at the inlet
// (the bowl is vented), cd the discharge coefficient (SharpOrificeCd when none is
// known), at most 1. Pressure 0 or more, the rest above 0; an error names the
// input that is not. Source: orifice equation, as ISO 5167-2 without approach
// velocity.
func NeedleSeatGPH(seatIn, pressurePSI, cd, densityKgM3 float64) (float64, error) {
	if err := firstError(above("needle_seat_in", seatIn), notBelow("pressure_psi", pressurePSI),
		above("discharge_coefficient", cd), above("density_kg_m3", densityKgM3)); err != nil {
		return 0, err
	}
	if cd > 1 {
		return 0, fmt.Errorf("discharge_coefficient is %v: no orifice passes more than 1; give 0.6 to 0.98", cd)
	}
	d := InToM(seatIn)
	return M3PerSToGPH(cd * math.Pi / 4 * d * d * math.Sqrt(2*PSIToPa(pressurePSI)/densityKgM3)), nil
}

// NeedleSeatPSI returns the fuel pressure, in psi, at which a fully open float valve passes
// flowGPH; see NeedleSeatGPH, of which it is the inverse. Flow 0 or more, the rest above
// 0, cd at most 1; an error names the input that is not. Source: orifice equation, as ISO
// 5167-2 without approach velocity.
func NeedleSeatPSI(seatIn, flowGPH, cd, densityKgM3 float64) (float64, error) {
	if err := notBelow("flow_gph", flowGPH); err != nil {
		return 0, err
	}
	atOnePSI, err := NeedleSeatGPH(seatIn, 1, cd, densityKgM3)
	if err != nil {
		return 0, err
	}
	share := flowGPH / atOnePSI
	return share * share, nil
}
