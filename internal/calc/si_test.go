package calc

import "testing"

// Source: GNU units 2.22, one unit of the trade each: 'inHg' to kPa, 'psi' to kPa,
// 'ft^3/min' to L/s, 'gallon/hour' to L/hour, 'in^3' to cm^3, 'in^2' to mm^2,
// 'lb/hour' to kg/hour, 'hp' to kW.
func TestSIAgreesWithGNUUnits(t *testing.T) {
	for _, c := range []struct {
		unit, si string
		factor   float64
	}{
		{"in", "mm", 25.4}, {"in2", "mm2", 645.16}, {"in3", "cm3", 16.387064}, {"ft", "m", 0.3048},
		{"cfm", "L/s", 0.4719474432}, {"gph", "L/h", 3.785411784}, {"psi", "kPa", 6.89475729317},
		{"inHg", "kPa", 3.38638864034}, {"lb/h", "kg/h", 0.45359237}, {"hp", "kW", 0.745699871582},
		{"", "", 1}, {"%", "%", 1}, {"V", "V", 1}, {"A", "A", 1}, {"kPa", "kPa", 1},
	} {
		got, unit, err := SI(2, c.unit)
		if err != nil || unit != c.si {
			t.Errorf("%s: %v %s (%v)", c.unit, got, unit, err)
		}
		near(t, c.unit, got, 2*c.factor, 1e-11)
	}
	_, _, err := SI(1, "furlong")
	refuses(t, err, "furlong")
}

func TestConversionsComeBack(t *testing.T) {
	near(t, "psi", PaToPSI(PSIToPa(6)), 6, 1e-15)
	near(t, "gph", M3PerSToGPH(GPHToM3PerS(30)), 30, 1e-15)
	near(t, "30 gph", GPHToM3PerS(30), 3.15450982e-05, 1e-11) // GNU units 2.22, '30 gallon/hour' to m^3/s
	near(t, "in", InToMM(1), InToM(1)*1000, 1e-15)
	near(t, "inHg", InHgToKPa(1.5), 1.5*3.38638864034, 1e-11)
}
