package sheet

import (
	"testing"

	"onetrip/internal/coverage"
	"onetrip/internal/kit"
)

func TestWhatAPartFailsIsSaidInWords(t *testing.T) {
	for fails, want := range map[string]string{
		"cleaner_neck_in: 4.25, wanted 3":                  "fits a cleaner neck of 4.25 in, wanted 3",
		"style: worm_drive, wanted fuel_injection":         "is of the worm drive style, wanted fuel injection",
		"needs_return: true, wanted false":                 "needs a return line, wanted false",
		"fuse_a: not stated, wanted at least 5":            "fails fuse a: not stated, wanted at least 5",
		"end: 3/8 hose barb, wanted 5/16 hose barb":        "fails end: 3/8 hose barb, wanted 5/16 hose barb",
		"discontinued: yes, wanted no":                     "fails discontinued: yes, wanted no",
		"quantity: 1 on hand at brindlecote, 3 are wanted": "fails quantity: 1 on hand at brindlecote, 3 are wanted",
	} {
		if got := failText(fails); got != want {
			t.Errorf("%s: %q, want %q", fails, got, want)
		}
	}
}

func TestGapsAreSaidInWords(t *testing.T) {
	for want, gap := range map[string]coverage.Gap{
		"fuel fitting from 5/16 tube to -6 flare that withstands at least 6 psi": {Kind: "fuel_fitting", Cause: kit.NoJoint, From: "5/16 tube", To: "-6 flare",
			Wanted: []coverage.Wanted{{Attribute: "max_pressure_psi", Wanted: "at least 6"}}},
		"vacuum hose that has a bore of 5/32 in and is at least 24 in long": {Kind: "vacuum_hose", Cause: kit.NothingMatches,
			Wanted: []coverage.Wanted{{Attribute: "bore_in", Wanted: "5/32"}, {Attribute: "length_in", Wanted: "at least 24"}}},
		"each part that fits conflicts with others that the kit takes": {Kind: "throttle_bracket", Cause: kit.Conflict},
		"discontinued, and nothing replaces it: ZUD-2A75":              {Kind: "adapter_plate", Cause: kit.Discontinued, SKUs: []string{"ZUD-2A75"}},
	} {
		if got := wanted(&gap); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
