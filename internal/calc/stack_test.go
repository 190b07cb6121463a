package calc

import (
	"math"
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
	// thread below: 1 + 4/64 + 17/64 + 20/64 = 1-41/64, arithmetic in sixty-fourths.
	nut := must(HexNutFor(units.Inches(5, 16)))
	near(t, "stud", must(StudLengthIn(1, 1.0/16, nut.Height.Inches(), nut.Nominal.Inches())), 105.0/64, 1e-15)
	for i, name := range []string{"clamped_in", "washer_in", "nut_height_in", "stud_diameter_in"} {
		in := [4]float64{1, 0.06, 0.27, 0.31}
		in[i] = -1
		_, err := StudLengthIn(in[0], in[1], in[2], in[3])
		refuses(t, err, name)
	}
}

func TestStackAndHood(t *testing.T) {
	stack := must(StackHeightIn([]float64{0.0625, 1, 0.0625, 3.375, 2.5}))
	near(t, "stack", stack, 7, 1e-15)
	near(t, "spare", must(HoodSpareIn(8, stack, 0.75)), 0.25, 1e-15)
	near(t, "strikes", must(HoodSpareIn(7, stack, 0.75)), -0.75, 1e-15)
	near(t, "empty", must(StackHeightIn(nil)), 0, 0)
	_, err := StackHeightIn([]float64{1, math.NaN()})
	refuses(t, err, "stack[1]")
	_, err = HoodSpareIn(-1, 1, 1)
	refuses(t, err, "hood_clearance_in")
	_, err = HoodSpareIn(1, -1, 1)
	refuses(t, err, "stack_in")
	_, err = HoodSpareIn(1, 1, -1)
	refuses(t, err, "margin_in")
}
