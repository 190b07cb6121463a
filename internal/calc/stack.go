package calc

import (
	"fmt"

	"onetrip/internal/units"
)

// StackHeightIn adds the heights, in inches, of what sits on the manifold flange:
// gaskets, adapters, spacers, carburetor, air cleaner. A height is 0 or more, else
// an error with its place. Source: arithmetic.
func StackHeightIn(heightsIn []float64) (float64, error) {
	sum := 0.0
	for i, h := range heightsIn {
		if err := notBelow("height_in", h); err != nil {
			return 0, fmt.Errorf("stack[%d]: %w", i, err)
		}
		sum += h
	}
	return sum, nil
}

// HoodSpareIn returns the inches left between the top of a stack and the hood once
// a margin for engine movement is kept; below 0 the stack strikes. All inputs 0 or
// more; an error names the input that is not. Source: arithmetic; how much margin
// to keep is common practice, no source.
func HoodSpareIn(hoodClearanceIn, stackIn, marginIn float64) (float64, error) {
	if err := firstError(notBelow("hood_clearance_in", hoodClearanceIn), notBelow("stack_in", stackIn),
		notBelow("margin_in", marginIn)); err != nil {
		return 0, err
	}
	return hoodClearanceIn - stackIn - marginIn, nil
}

// StudLengthIn returns the least overall length of a stud, in inches, that clamps
// a stack:
//
//	L = stack + washer + nut height + engagement
//
// The engagement in the manifold is one nominal diameter. clampedIn is the height
// the stud passes through (carburetor flange, spacers, gaskets), not the whole
// carburetor. washerIn is 0 or more, the rest above 0; an error names the input
// that is not. Source: one diameter of engagement is common practice, no source.
func StudLengthIn(clampedIn, washerIn, nutHeightIn, studDiameterIn float64) (float64, error) {
	if err := firstError(above("clamped_in", clampedIn), notBelow("washer_in", washerIn),
		above("nut_height_in", nutHeightIn), above("stud_diameter_in", studDiameterIn)); err != nil {
		return 0, err
	}
	return clampedIn + washerIn + nutHeightIn + studDiameterIn, nil
}

// HexNut is the finished hex nut of a nominal thread size.
type HexNut struct {
	Nominal     units.Size
	AcrossFlats units.Size // the wrench that fits
	Height      units.Size
}

// hexNuts is ASME B18.2.2, finished hex nuts, basic dimensions (from memory).
var hexNuts = [...]HexNut{
	{units.Inches(1, 4), units.Inches(7, 16), units.Inches(7, 32)},
	{units.Inches(5, 16), units.Inches(1, 2), units.Inches(17, 64)},
	{units.Inches(3, 8), units.Inches(9, 16), units.Inches(21, 64)},
	{units.Inches(7, 16), units.Inches(11, 16), units.Inches(3, 8)},
	{units.Inches(1, 2), units.Inches(3, 4), units.Inches(7, 16)},
}

// HexNutFor returns the hex nut for a nominal thread size from 1/4 to 1/2 in; an
// error lists the sizes known. Source: ASME B18.2.2 (from memory).
func HexNutFor(nominal units.Size) (HexNut, error) {
	for _, nut := range hexNuts {
		if nut.Nominal == nominal {
			return nut, nil
		}
	}
	return HexNut{}, fmt.Errorf("nut size %q: known are 1/4, 5/16, 3/8, 7/16 and 1/2; give the stud's nominal diameter", nominal)
}

// WrenchSize returns the wrench across flats for the hex nut of a nominal thread
// size: a 5/16 nut takes 1/2 in. Errors and source as HexNutFor.
func WrenchSize(nominal units.Size) (units.Size, error) {
	nut, err := HexNutFor(nominal)
	return nut.AcrossFlats, err
}
