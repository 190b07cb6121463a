package calc

import (
	"fmt"
	"math"
)

// Constants of the ISO 2533 standard atmosphere, troposphere layer.
const (
	seaLevelTemperatureK = 288.15
	seaLevelPressurePa   = 101325.0
	lapseKPerM           = 0.0065
	gravityMPerS2        = 9.80665
	gasConstantJPerKgK   = 287.05287

	lowestAltitudeM  = -2000.0
	highestAltitudeM = 11000.0
)

// SeaLevelDensityKgM3 is the density of the standard atmosphere at altitude 0.
// Source: ISO 2533.
const SeaLevelDensityKgM3 = seaLevelPressurePa / (gasConstantJPerKgK * seaLevelTemperatureK)

// Air is the state of the standard atmosphere at an altitude; ratios are to sea
// level.
type Air struct {
	TemperatureK, PressurePa, DensityKgM3         float64
	TemperatureRatio, PressureRatio, DensityRatio float64
}

// StandardAtmosphere returns the ISO 2533 atmosphere at an altitude in feet:
//
//	T = 288.15 K − 0.0065 K/m · H
//	p = 101325 Pa · (T/288.15 K)^(g/(R·0.0065 K/m))
//	ρ = p/(R·T)
//
// Valid from −2000 m to 11000 m (−6561.7 ft to 36089 ft); outside it an error. H
// is geopotential altitude; a map's altitude read as H moves the pressure by less
// than 0.1 % up to 5000 m. Source: ISO 2533; the same figures as U.S. Standard
// Atmosphere 1976.
func StandardAtmosphere(altitudeFt float64) (Air, error) {
	h := FtToM(altitudeFt)
	// Two centimetres of grace let a limit written in tenths of a foot pass.
	if !(h >= lowestAltitudeM-0.02 && h <= highestAltitudeM+0.02) {
		return Air{}, fmt.Errorf("altitude_ft is %v: the standard atmosphere is known from -6561 to 36089 ft; give an altitude between", altitudeFt)
	}
	temperature := seaLevelTemperatureK - lapseKPerM*h
	theta := temperature / seaLevelTemperatureK
	delta := math.Pow(theta, gravityMPerS2/(gasConstantJPerKgK*lapseKPerM))
	pressure := seaLevelPressurePa * delta
	return Air{
		TemperatureK:     temperature,
		PressurePa:       pressure,
		DensityKgM3:      pressure / (gasConstantJPerKgK * temperature),
		TemperatureRatio: theta,
		PressureRatio:    delta,
		DensityRatio:     delta / theta,
	}, nil
}

// MixtureEnrichment returns how many times richer (fuel to air, by mass) a
// carburetor set up at sea level runs at a density ratio:
//
//	enrichment = 1/√σ
//
// Fuel and air both follow the same depression, but fuel mass goes with √Δp and
// air mass with √(ρ·Δp). Density ratio above 0, else an error. Source: Taylor,
// The Internal-Combustion Engine in Theory and Practice, carburetor chapter;
// Heywood, simple carburetor.
func MixtureEnrichment(densityRatio float64) (float64, error) {
	if err := above("density_ratio", densityRatio); err != nil {
		return 0, err
	}
	return 1 / math.Sqrt(densityRatio), nil
}

// JetAreaScale returns the factor on jet area that restores the sea-level mixture
// at a density ratio: √σ. Valid range, errors and source as MixtureEnrichment.
func JetAreaScale(densityRatio float64) (float64, error) {
	if err := above("density_ratio", densityRatio); err != nil {
		return 0, err
	}
	return math.Sqrt(densityRatio), nil
}

// JetAreaIn2 returns the effective area in in² of a round jet with a round rod in
// it, the annulus
//
//	A = π/4·(jet² − rod²)
//
// Diameters in inches; rodIn 0 means no rod. An error when the jet is not above 0
// or the rod is negative or fills the jet. Source: geometry; the flow coefficient
// is taken as equal for the jets of one family.
func JetAreaIn2(jetIn, rodIn float64) (float64, error) {
	if err := firstError(above("jet_in", jetIn), notBelow("rod_in", rodIn)); err != nil {
		return 0, err
	}
	if rodIn >= jetIn {
		return 0, fmt.Errorf("rod_in %v fills jet_in %v: give a rod thinner than its jet", rodIn, jetIn)
	}
	return math.Pi / 4 * (jetIn - rodIn) * (jetIn + rodIn), nil
}

// MeteringPair is a jet and rod chosen for a wanted area.
type MeteringPair struct {
	JetIn, RodIn float64 // RodIn is 0 when the set has no rods
	AreaIn2      float64
	// ResidualPercent is how far the area misses the wanted one; above 0 is rich.
	ResidualPercent float64
}

// NearestPair returns the jet and rod whose effective area comes closest to
// targetAreaIn2, by trying every pair. Diameters in inches; rods may be empty,
// and a rod that fills a jet is not a pair. Misses equal to within 1e-12 of the
// target go to the smaller jet, then the smaller rod, so the order of the inputs
// does not matter. An error when the target or a diameter is out of range or no
// rod fits any jet. Source: exhaustive search over JetAreaIn2.
func NearestPair(jetsIn, rodsIn []float64, targetAreaIn2 float64) (MeteringPair, error) {
	if err := above("target_area_in2", targetAreaIn2); err != nil {
		return MeteringPair{}, err
	}
	if len(jetsIn) == 0 {
		return MeteringPair{}, fmt.Errorf("jets_in is empty: give at least one jet diameter")
	}
	for _, jet := range jetsIn {
		if err := above("jet_in", jet); err != nil {
			return MeteringPair{}, err
		}
	}
	for _, rod := range rodsIn {
		if err := notBelow("rod_in", rod); err != nil {
			return MeteringPair{}, err
		}
	}
	noRod := [1]float64{}
	if len(rodsIn) == 0 {
		rodsIn = noRod[:]
	}
	var best MeteringPair
	bestMiss := math.Inf(1)
	for _, jet := range jetsIn {
		for _, rod := range rodsIn {
			if rod >= jet {
				continue
			}
			area := math.Pi / 4 * (jet - rod) * (jet + rod)
			residual := area/targetAreaIn2 - 1
			miss := math.Round(math.Abs(residual) * 1e12)
			smaller := jet < best.JetIn || jet == best.JetIn && rod < best.RodIn
			if miss < bestMiss || miss == bestMiss && smaller {
				best = MeteringPair{jet, rod, area, residual * 100}
				bestMiss = miss
			}
		}
	}
	if best.JetIn == 0 {
		return MeteringPair{}, fmt.Errorf("rods_in: every rod fills every jet; give a rod thinner than a jet")
	}
	return best, nil
}
