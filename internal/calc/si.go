package calc

import "fmt"

// Exact factors. Source: NIST SP 811 (in, ft, lb, US gal by definition; psi from
// lb and standard gravity). The inch of mercury is the conventional one, mercury
// at 0 °C of 13595.1 kg/m³ under standard gravity.
const (
	mPerIn     = 0.0254
	mPerFt     = 0.3048
	m3PerFt3   = mPerFt * mPerFt * mPerFt
	m3PerGal   = 3.785411784e-3
	kgPerLb    = 0.45359237
	paPerPSI   = kgPerLb * gravityMPerS2 / (mPerIn * mPerIn)
	paPerInHg  = 13595.1 * gravityMPerS2 * mPerIn
	wattPerHP  = 550 * mPerFt * kgPerLb * gravityMPerS2 // mechanical horsepower, 550 ft·lbf/s
	secPerHour = 3600
)

// The conversions below are linear and take any number. Source: the factors above.

// InToM converts inches to metres.
func InToM(in float64) float64 { return in * mPerIn }

// InToMM converts inches to millimetres.
func InToMM(in float64) float64 { return in * mPerIn * 1000 }

// FtToM converts feet to metres.
func FtToM(ft float64) float64 { return ft * mPerFt }

// PSIToPa converts lbf/in² to pascals.
func PSIToPa(psi float64) float64 { return psi * paPerPSI }

// PaToPSI converts pascals to lbf/in².
func PaToPSI(pa float64) float64 { return pa / paPerPSI }

// InHgToKPa converts inches of mercury to kilopascals.
func InHgToKPa(inHg float64) float64 { return inHg * paPerInHg / 1000 }

// CFMToLPerS converts ft³/min to litres per second.
func CFMToLPerS(cfm float64) float64 { return cfm * m3PerFt3 * 1000 / 60 }

// GPHToM3PerS converts US gallons per hour to m³/s.
func GPHToM3PerS(gph float64) float64 { return gph * m3PerGal / secPerHour }

// M3PerSToGPH converts m³/s to US gallons per hour.
func M3PerSToGPH(m3PerS float64) float64 { return m3PerS * secPerHour / m3PerGal }

// GPHToLPerH converts US gallons per hour to litres per hour.
func GPHToLPerH(gph float64) float64 { return gph * m3PerGal * 1000 }

// SI restates a figure in a unit of the trade for print beside it: the value and
// unit in SI, or the same pair where the unit is SI already or a pure number ("").
// An error for a unit it does not know. Source: the factors above.
func SI(value float64, unit string) (float64, string, error) {
	switch unit {
	case "in":
		return InToMM(value), "mm", nil
	case "in2":
		return value * mPerIn * mPerIn * 1e6, "mm2", nil
	case "in3":
		return value * mPerIn * mPerIn * mPerIn * 1e6, "cm3", nil
	case "ft":
		return FtToM(value), "m", nil
	case "cfm":
		return CFMToLPerS(value), "L/s", nil
	case "gph":
		return GPHToLPerH(value), "L/h", nil
	case "psi":
		return PSIToPa(value) / 1000, "kPa", nil
	case "inHg":
		return InHgToKPa(value), "kPa", nil
	case "lb/h":
		return value * kgPerLb, "kg/h", nil
	case "hp":
		return value * wattPerHP / 1000, "kW", nil
	case "", "%", "V", "A", "ohm", "deg", "rpm", "K", "Pa", "kPa", "kg/m3", "m", "mm", "mm2", "cm3", "m/s", "L/s", "L/h", "kg/h", "kW":
		return value, unit, nil
	}
	return 0, "", fmt.Errorf("unit %q has no SI form here: use in, in2, in3, ft, cfm, gph, psi, inHg, lb/h, hp, an SI unit or none", unit)
}
