package catalog

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestNearSuggestsTheLikeliestFirst(t *testing.T) {
	words := []string{"displacement_in3", "cylinders", "tune", "redline_rpm", "cable", "carburetor", "manifold"}
	for word, want := range map[string][]string{
		"displacment_in3": {"displacement_in3"}, // a letter lost
		"cylinedrs":       {"cylinders"},        // two exchanged
		"TUNE":            {"tune"},             // case
		"tune_":           {"tune"},
		"cabel":           {"cable"},
		"redline":         {"redline_rpm"}, // the beginning of it
		"manifodl":        {"manifold"},
		"zzz":             nil,
		"":                nil,
		"x":               nil,
	} {
		if got := Near(word, words, 3); !slices.Equal(got, want) {
			t.Errorf("%q: %q, want %q", word, got, want)
		}
	}
}

func TestNearStopsAtMaxAndNamesEachOnce(t *testing.T) {
	got := Near("K4-1", []string{"K4-3", "K4-2", "K4-2", "K4-12", "K4-1"}, 3)
	if want := []string{"K4-1", "K4-12", "K4-2"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

func TestNearIgnoresHugeWords(t *testing.T) {
	if got := Near(strings.Repeat("x", 1<<20), []string{"x"}, 3); got != nil {
		t.Errorf("%q", got)
	}
}

func TestPropertyNearFindsASlip(t *testing.T) {
	words := []string{"throttle_valve_cable", "vacuum_modulator", "electric_switch", "kickdown_rod", "detent_cable"}
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.SampledFrom(words).Draw(t, "word")
		at := rapid.IntRange(0, len(want)-1).Draw(t, "at")
		slip := rapid.SampledFrom([]string{want[:at] + want[at+1:], want[:at] + "x" + want[at:], want[:at] + "x" + want[at+1:]}).Draw(t, "slip")
		if got := Near(slip, words, 1); len(got) != 1 || got[0] != want {
			t.Fatalf("%q: %q, want %q", slip, got, want)
		}
	})
}

func BenchmarkNearInTenThousandSKUs(b *testing.B) {
	skus := make([]string, 10000)
	for i := range skus {
		skus[i] = fmt.Sprintf("FH-%05d", i)
	}
	b.ReportAllocs()
	for b.Loop() {
		if len(Near("FH-0512", skus, 3)) != 3 {
			b.Fatal("no suggestions")
		}
	}
}
