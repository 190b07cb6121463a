package units

import "testing"

func TestNumberHasNoMoreDigitsThanPeopleNeed(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 318: "318", 5000: "5000", 5.125: "5.125", 0.92887: "0.9289", -0.00001: "0", -0.07: "-0.07", 1.00004: "1", 0.0625: "0.0625"} {
		if got := Number(v); got != want {
			t.Errorf("%v prints as %s, want %s", v, got, want)
		}
	}
	for v, want := range map[float64]string{368.05555: "368.06", 0.084639: "0.084639", 92500: "92500", 5: "5"} {
		if got := Short(v); got != want {
			t.Errorf("%v prints as %s, want %s", v, got, want)
		}
	}
}
