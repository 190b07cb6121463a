package calc

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Source: GNU units 2.22, '2 * 1.25 in * sin(80 degree / 2)' to in; the 60 degree
// chord equals its radius and the 180 degree chord the diameter: Euclid.
func TestTravel(t *testing.T) {
	near(t, "chord", must(ChordTravelIn(1.25, 80)), 1.60696902422, 1e-11)
	near(t, "hexagon", must(ChordTravelIn(1.25, 60)), 1.25, 1e-14)
	near(t, "half turn", must(ChordTravelIn(1.25, 180)), 2.5, 1e-14)
}

func TestPropertyChordIsBelowItsArc(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rapid.Float64Range(0.2, 5).Draw(t, "r")
		deg := rapid.Float64Range(0.1, 180).Draw(t, "deg")
		chord, err := ChordTravelIn(r, deg)
		if arc := r * deg * math.Pi / 180; err != nil || chord > arc {
			t.Fatalf("chord %v, arc %v (%v)", chord, arc, err)
		}
		back, err := LeverRadiusIn(chord, deg)
		if err != nil || math.Abs(back-r) > 1e-12*r {
			t.Fatalf("radius %v came back as %v (%v)", r, back, err)
		}
	})
}

func TestCompareTravel(t *testing.T) {
	for _, c := range []struct {
		available, needed, tolerance float64
		want                         TravelVerdict
	}{
		{2, 2, 0, TravelReaches},
		{1.9, 2, 0.1, TravelReaches}, // 2 - 1.9 is a little more than 0.1 in binary
		{2.1, 2, 0.1, TravelReaches},
		{1.89, 2, 0.1, TravelShort},
		{2.11, 2, 0.1, TravelOver},
	} {
		if got := must(CompareTravel(c.available, c.needed, c.tolerance)); got != c.want {
			t.Errorf("%+v: %s", c, got)
		}
	}
}

func TestTravelRefusesNonsense(t *testing.T) {
	for _, bad := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		_, err := ChordTravelIn(bad, 80)
		refuses(t, err, "radius_in")
		_, err = ChordTravelIn(1, bad)
		refuses(t, err, "swing_deg")
		_, err = LeverRadiusIn(bad, 80)
		refuses(t, err, "travel_in")
		_, err = LeverRadiusIn(1, bad)
		refuses(t, err, "swing_deg")
		_, err = CompareTravel(bad, 1, 0.1)
		refuses(t, err, "available_in")
		_, err = CompareTravel(1, bad, 0.1)
		refuses(t, err, "needed_in")
	}
	_, err := ChordTravelIn(1, 180.1)
	refuses(t, err, "swing_deg")
	_, err = CompareTravel(1, 1, -0.1)
	refuses(t, err, "tolerance_in")
}
