package fit

import (
	"onetrip/internal/calc"
	"onetrip/internal/catalog"
)

// Tolerances of linkage travel. Common practice, no source.
const (
	PedalOvertravel  = 0.15   // share of the lever's travel that a pedal stop and cable take up
	CableToleranceIn = 0.0625 // of a transmission cable at wide open
)

// TravelPlan compares what pedal and transmission cable travel with what the
// carburetor's lever gives, in inches.
type TravelPlan struct {
	ThrottleTravelIn float64            // at the lever, idle to wide open
	Pedal            calc.TravelVerdict // short: never wide open; over: more than 15 % beyond it, needs a stop

	// TransmissionTravelIn is what the lever's transmission stud gives, 0 when its
	// radius is unknown; TransmissionRadiusIn the radius that gives the cable its
	// full travel, 0 when that is unknown.
	TransmissionTravelIn float64
	TransmissionRadiusIn float64
	CableTravelKnown     bool // both figures are known
	// CableTravelOK: full travel at wide open within 1/16 in. Unknown is not OK, since
	// low line pressure burns clutches; a transmission without such a cable is.
	CableTravelOK bool
}

// Travel works out the travel of throttle and transmission linkage. An error names
// the figure of vehicle or carburetor that is out of range.
// Source: chord of a circle; tolerances are common practice, no source.
func Travel(v *catalog.Vehicle, c *catalog.Carburetor) (TravelPlan, error) {
	var plan TravelPlan
	var err error
	swing := c.Throttle.SwingDeg
	if plan.ThrottleTravelIn, err = calc.ChordTravelIn(c.Throttle.CableRadiusIn, swing); err != nil {
		return plan, err
	}
	if plan.Pedal, err = calc.CompareTravel(v.Throttle.PedalTravelIn, plan.ThrottleTravelIn, 0); err != nil {
		return plan, err
	}
	if plan.Pedal == calc.TravelOver { // some overtravel is taken up, missing travel is not
		slack := plan.ThrottleTravelIn * PedalOvertravel
		if plan.Pedal, err = calc.CompareTravel(v.Throttle.PedalTravelIn, plan.ThrottleTravelIn, slack); err != nil {
			return plan, err
		}
	}

	radius, cable := c.Throttle.TransmissionRadiusIn, v.Transmission.CableTravelIn
	if radius != nil {
		if plan.TransmissionTravelIn, err = calc.ChordTravelIn(*radius, swing); err != nil {
			return plan, err
		}
	}
	if cable != nil {
		if plan.TransmissionRadiusIn, err = calc.LeverRadiusIn(*cable, swing); err != nil {
			return plan, err
		}
	}
	plan.CableTravelKnown = radius != nil && cable != nil
	switch v.Transmission.Downshift {
	case catalog.ThrottleValveCable, catalog.DetentCable:
		if plan.CableTravelKnown {
			verdict, err := calc.CompareTravel(plan.TransmissionTravelIn, *cable, CableToleranceIn)
			if err != nil {
				return plan, err
			}
			plan.CableTravelOK = verdict == calc.TravelReaches
		}
	default:
		plan.CableTravelOK = true
	}
	return plan, nil
}
