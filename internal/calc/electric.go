package calc

import (
	"fmt"
	"math"
)

// copperOhmM is the resistivity of annealed copper at 20 °C, exactly 1/58 Ω·mm²/m.
// Source: IEC 60028.
const copperOhmM = 1e-6 / 58

// WireDiameterMM returns the diameter of solid wire by American wire gauge:
//
//	d = 0.127 mm · 92^((36−n)/39)
//
// Gauges 0 to 36; outside it an error. Source: ASTM B258.
func WireDiameterMM(awg int) (float64, error) {
	if awg < 0 || awg > 36 {
		return 0, fmt.Errorf("awg is %d: give a gauge from 0 to 36", awg)
	}
	return 0.127 * math.Pow(92, float64(36-awg)/39), nil
}

// CopperOhmPerM returns the resistance per metre of one solid annealed copper
// conductor at 20 °C. Stranded wire runs a few per cent and warm wire 0.393 % per
// kelvin higher. Gauges and errors as WireDiameterMM. Source: ASTM B258 for the
// area, IEC 60028 for the copper.
func CopperOhmPerM(awg int) (float64, error) {
	mm, err := WireDiameterMM(awg)
	if err != nil {
		return 0, err
	}
	d := mm / 1000
	return copperOhmM / (math.Pi / 4 * d * d), nil
}

// VoltageDrop returns the volts lost in a copper feed and its return, 20 °C:
//
//	U = I·R·2·L
//
// amps and the one-way length in feet are 0 or more; an error names the input
// that is not. Source: Ohm's law; CopperOhmPerM.
func VoltageDrop(amps, oneWayLengthFt float64, awg int) (float64, error) {
	if err := firstError(notBelow("amps", amps), notBelow("length_ft", oneWayLengthFt)); err != nil {
		return 0, err
	}
	ohmPerM, err := CopperOhmPerM(awg)
	if err != nil {
		return 0, err
	}
	return amps * ohmPerM * 2 * FtToM(oneWayLengthFt), nil
}

// ChassisAmps returns the current a single copper wire in free air may carry
// without overheating, for even gauges 22 to 8; ok is false for others. A fuse
// must not be larger, or the wire burns before the fuse does. The maker's rating
// for the insulation comes first. Source: chassis wiring figures, common practice,
// from memory, no source.
func ChassisAmps(awg int) (amps float64, ok bool) {
	switch awg {
	case 22:
		return 7, true
	case 20:
		return 11, true
	case 18:
		return 16, true
	case 16:
		return 22, true
	case 14:
		return 32, true
	case 12:
		return 41, true
	case 10:
		return 55, true
	case 8:
		return 73, true
	}
	return 0, false
}

// WireChoice is a wire picked for a circuit.
type WireChoice struct {
	AWG          int
	DropVolts    float64
	DropFraction float64 // of nominal volts
	FuseAmps     float64
}

// SmallestWireAWG returns the thinnest stocked gauge (the largest number) whose
// drop out and back stays within maxDropFraction of nominalVolts (0.03 is 3 %) and
// which carries its fuse: a short run may drop little in a wire too thin for it.
// All figures above 0; stockedAWG in any order. An error names the input that is
// out of range, or says what the thickest stocked wire would do when none serves.
// Source: VoltageDrop, FuseAmps, ChassisAmps; 3 % is common practice, no source.
func SmallestWireAWG(amps, oneWayLengthFt, nominalVolts, maxDropFraction float64, stockedAWG []int) (WireChoice, error) {
	if err := firstError(above("amps", amps), above("length_ft", oneWayLengthFt),
		above("nominal_volts", nominalVolts), above("max_drop_fraction", maxDropFraction)); err != nil {
		return WireChoice{}, err
	}
	fuse, err := FuseAmps(amps)
	if err != nil {
		return WireChoice{}, err
	}
	var best, thickest WireChoice
	found := false
	for i, awg := range stockedAWG {
		drop, err := VoltageDrop(amps, oneWayLengthFt, awg)
		if err != nil {
			return WireChoice{}, fmt.Errorf("stocked_awg[%d]: %w", i, err)
		}
		choice := WireChoice{awg, drop, drop / nominalVolts, fuse}
		if i == 0 || awg < thickest.AWG {
			thickest = choice
		}
		carries, known := ChassisAmps(awg)
		if known && carries >= fuse && tidy(choice.DropFraction) <= tidy(maxDropFraction) && (!found || awg > best.AWG) {
			best, found = choice, true
		}
	}
	switch {
	case len(stockedAWG) == 0:
		return WireChoice{}, fmt.Errorf("no stocked gauge feeds %v A over %v ft: no wire is stocked at all; add a gauge", amps, oneWayLengthFt)
	case !found:
		return WireChoice{}, fmt.Errorf("no stocked gauge feeds %v A over %v ft: the thickest, %d AWG, drops %.1f %% of %v V against %.1f %% allowed, fused at %v A; stock a thicker even gauge down to 8 AWG or shorten the run",
			amps, oneWayLengthFt, thickest.AWG, thickest.DropFraction*100, nominalVolts, maxDropFraction*100, fuse)
	}
	return best, nil
}

// fuseRatings are the standard ratings of blade fuses in amperes.
// Source: ISO 8820-3 (from memory).
var fuseRatings = [...]float64{1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40}

// FuseAmps returns the fuse for a continuous current: 125 % of it, rounded up to
// a standard blade rating. amps above 0 and at most 32; else an error.
// Source: ISO 8820-3 ratings; 125 % is common practice, no source.
func FuseAmps(amps float64) (float64, error) {
	if err := above("amps", amps); err != nil {
		return 0, err
	}
	need := tidy(1.25 * amps)
	for _, rating := range fuseRatings {
		if rating >= need {
			return rating, nil
		}
	}
	return 0, fmt.Errorf("amps is %v: needs a %.4g A fuse and the largest blade fuse is 40 A; split the circuit or feed it through a relay of its own", amps, need)
}
