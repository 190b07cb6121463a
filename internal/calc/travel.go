package calc

import (
	"fmt"
	"math"
)

// ChordTravelIn returns how far a cable pinned to a lever moves, in inches, when
// the lever swings evenly about square to the cable:
//
//	s = 2·r·sin(θ/2)
//
// Radius in inches above 0, swing in degrees above 0 up to 180; else an error.
// Source: chord of a circle.
func ChordTravelIn(radiusIn, swingDeg float64) (float64, error) {
	if err := checkLever(radiusIn, swingDeg); err != nil {
		return 0, err
	}
	return 2 * radiusIn * math.Sin(swingDeg*math.Pi/360), nil
}

// LeverRadiusIn returns the pin radius, in inches, at which a lever swinging
// swingDeg moves a pinned cable by travelIn: the inverse of ChordTravelIn. Travel
// above 0, swing above 0 up to 180; else an error. Source: chord of a circle.
func LeverRadiusIn(travelIn, swingDeg float64) (float64, error) {
	if err := firstError(above("travel_in", travelIn), checkLever(1, swingDeg)); err != nil {
		return 0, err
	}
	return travelIn / (2 * math.Sin(swingDeg*math.Pi/360)), nil
}

func checkLever(radiusIn, swingDeg float64) error {
	if err := above("radius_in", radiusIn); err != nil {
		return err
	}
	if !(swingDeg > 0 && swingDeg <= 180) {
		return fmt.Errorf("swing_deg is %v: give an angle above 0 up to 180", swingDeg)
	}
	return nil
}

// TravelVerdict says how the travel that is there compares with the travel that
// is needed.
type TravelVerdict string

// The verdicts of CompareTravel.
const (
	TravelShort   TravelVerdict = "short"
	TravelReaches TravelVerdict = "reaches"
	TravelOver    TravelVerdict = "over"
)

// CompareTravel judges the travel of a pedal against the lever it pulls, or of a
// carburetor lever against the throttle-valve cable it pulls, within a tolerance,
// all in inches; a difference of exactly the tolerance still reaches.
//
//   - Pedal: short never reaches wide open; over strains cable and lever at wide
//     open and needs a stop.
//   - Throttle-valve cable: short leaves line pressure low at wide open, and low
//     line pressure burns clutches, so callers must treat anything but reaches as
//     blocking. The transmission maker's adjustment comes first.
//
// Travels above 0, tolerance 0 or more; an error names the input that is not.
// Source: geometry; tolerances are common practice, no source.
func CompareTravel(availableIn, neededIn, toleranceIn float64) (TravelVerdict, error) {
	if err := firstError(above("available_in", availableIn), above("needed_in", neededIn),
		notBelow("tolerance_in", toleranceIn)); err != nil {
		return "", err
	}
	switch difference := tidy(availableIn - neededIn); {
	case difference < -tidy(toleranceIn):
		return TravelShort, nil
	case difference > tidy(toleranceIn):
		return TravelOver, nil
	}
	return TravelReaches, nil
}
