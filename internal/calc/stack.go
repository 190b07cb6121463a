package calc

import (
	"fmt"

	"onetrip/internal/units"
)

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

// StudLengthIn returns the least free length of a stud, in inches above the manifold,
// that clamps what it passes through (carburetor flange, spacers, gaskets: not the
// whole carburetor):
//
//	L = clamped + washer + nut height + one diameter
//
// so that a stud turned one diameter into the manifold still reaches. Heights 0 or
// more, not checked. A nut of a size that HexNutFor does not know is reckoned as high
// as its thread is thick: no listed one is higher.
// Source: nut height ASME B18.2.2; one diameter is common practice, no source.
func StudLengthIn(clampedIn, washerIn float64, diameter units.Size) float64 {
	nutIn := diameter.Inches()
	if nut, err := HexNutFor(diameter); err == nil {
		nutIn = nut.Height.Inches()
	}
	return clampedIn + washerIn + nutIn + diameter.Inches()
}
