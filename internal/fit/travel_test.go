package fit

import (
	"math"
	"testing"

	"onetrip/internal/calc"
	"onetrip/internal/catalog"
)

func linkage(pedalIn float64, downshift catalog.Downshift, cableIn, stud *float64) (*catalog.Vehicle, *catalog.Carburetor) {
	v := &catalog.Vehicle{Throttle: catalog.Throttle{PedalTravelIn: pedalIn}, Transmission: catalog.Transmission{Downshift: downshift, CableTravelIn: cableIn}}
	c := &catalog.Carburetor{Throttle: catalog.CarburetorThrottle{CableRadiusIn: 1.5, SwingDeg: 60, TransmissionRadiusIn: stud}}
	return v, c
}

// A lever of 1.5 in that swings 60 degrees moves its cable 2 x 1.5 x sin 30 = 1.5 in.
func TestPedalReachesWideOpenWithoutOvertravel(t *testing.T) {
	for pedalIn, want := range map[float64]calc.TravelVerdict{
		1.4: calc.TravelShort, 1.499: calc.TravelShort, 1.5: calc.TravelReaches, 1.725: calc.TravelReaches, 1.726: calc.TravelOver, 3: calc.TravelOver,
	} {
		plan, err := Travel(linkage(pedalIn, catalog.DownshiftNone, nil, nil))
		if err != nil || plan.Pedal != want || math.Abs(plan.ThrottleTravelIn-1.5) > 1e-12 {
			t.Errorf("pedal of %g in: %s at %g in (%v), want %s", pedalIn, plan.Pedal, plan.ThrottleTravelIn, err, want)
		}
	}
}

func TestTransmissionCableNeedsFullTravelAtWideOpen(t *testing.T) {
	for _, c := range []struct {
		name          string
		downshift     catalog.Downshift
		cableIn, stud *float64
		known, ok     bool
		radiusIn      float64
	}{
		{"exact", catalog.ThrottleValveCable, new(1.25), new(1.25), true, true, 1.25},
		{"a sixteenth short", catalog.ThrottleValveCable, new(1.3125), new(1.25), true, true, 1.3125},
		{"more than a sixteenth short", catalog.ThrottleValveCable, new(1.32), new(1.25), true, false, 1.32},
		{"more than a sixteenth over", catalog.ThrottleValveCable, new(1.18), new(1.25), true, false, 1.18},
		{"detent cable short", catalog.DetentCable, new(1.5), new(1.25), true, false, 1.5},
		{"cable unknown", catalog.ThrottleValveCable, nil, new(1.25), false, false, 0},
		{"stud unknown", catalog.ThrottleValveCable, new(1.25), nil, false, false, 1.25},
		{"no cable", catalog.VacuumModulator, nil, nil, false, true, 0},
	} {
		plan, err := Travel(linkage(1.5, c.downshift, c.cableIn, c.stud))
		if err != nil {
			t.Fatal(err)
		}
		if plan.CableTravelKnown != c.known || plan.CableTravelOK != c.ok || math.Abs(plan.TransmissionRadiusIn-c.radiusIn) > 1e-12 {
			t.Errorf("%s: %+v", c.name, plan)
		}
		if c.stud != nil && math.Abs(plan.TransmissionTravelIn-*c.stud) > 1e-12 {
			t.Errorf("%s: stud travels %g", c.name, plan.TransmissionTravelIn)
		}
	}
}

func TestTravelRefusesImpossibleLevers(t *testing.T) {
	v, c := linkage(1.5, catalog.DownshiftNone, nil, nil)
	c.Throttle.SwingDeg = 0
	if _, err := Travel(v, c); err == nil {
		t.Error("a lever that does not swing was accepted")
	}
	v, c = linkage(0, catalog.DownshiftNone, nil, nil)
	if _, err := Travel(v, c); err == nil {
		t.Error("a pedal that does not move was accepted")
	}
	if _, err := Travel(linkage(1.5, catalog.ThrottleValveCable, new(-1.0), new(1.0))); err == nil {
		t.Error("a cable of negative travel was accepted")
	}
}
