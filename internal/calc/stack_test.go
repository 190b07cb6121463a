package calc

import (
	"testing"

	"onetrip/internal/units"
)

// Source: ASME B18.2.2, finished hex nuts, basic width across flats and thickness
// (from memory of the published table).
func TestHexNutTable(t *testing.T) {
	for nominal, want := range map[string][2]string{
		"1/4":  {"7/16", "7/32"},
		"5/16": {"1/2", "17/64"},
		"3/8":  {"9/16", "21/64"},
		"7/16": {"11/16", "3/8"},
		"1/2":  {"3/4", "7/16"},
	} {
		size := must(units.ParseSize(nominal))
		nut := must(HexNutFor(size))
		if nut.AcrossFlats.String() != want[0] || nut.Height.String() != want[1] {
			t.Errorf("%s nut: %v across flats, %v high, want %v", nominal, nut.AcrossFlats, nut.Height, want)
		}
		if wrench := must(WrenchSize(size)); wrench != nut.AcrossFlats {
			t.Errorf("%s nut: wrench %v", nominal, wrench)
		}
	}
	for _, unknown := range []units.Size{{}, units.Inches(9, 16)} {
		_, err := WrenchSize(unknown)
		refuses(t, err, "nut size")
	}
}

func TestStudLength(t *testing.T) {
	// 1 in of flange and spacer, a 1/16 washer, a 5/16 nut 17/64 high and 5/16 of
	// thread: 1 + 4/64 + 17/64 + 20/64 = 1-41/64, arithmetic in sixty-fourths.
	near(t, "5/16", StudLengthIn(1, 1.0/16, units.Inches(5, 16)), 105.0/64, 1e-15)
	near(t, "a nut in no table", StudLengthIn(1, 0, units.Inches(9, 16)), 1+2*9.0/16, 1e-15)
	for _, nut := range hexNuts {
		if nut.Height.Compare(nut.Nominal) > 0 {
			t.Errorf("%v nut is %v high: a nut in no table may be too", nut.Nominal, nut.Height)
		}
	}
}
