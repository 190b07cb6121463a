package calc

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Source: ISO 2533 by GNU units (stdatmTH, stdatmPH). Tolerance 2e-7 relative: the
// tool derives R from 8.31432/28.9644, ISO 2533 rounds it to 287.05287, and the
// exponent carries that to 1.2e-7 at 5000 m.
func TestStandardAtmosphereTable(t *testing.T) {
	for _, r := range readTable(t, "standard_atmosphere.csv", 36) {
		ft := r.num(t, "altitude_ft")
		if r["basis"] == "m" {
			ft = r.num(t, "altitude_m") / 0.3048 // the round number of the row
		}
		air := must(StandardAtmosphere(ft))
		at := r["altitude_m"] + " m "
		near(t, at+"temperature", air.TemperatureK, r.num(t, "temperature_K"), 2e-7)
		near(t, at+"pressure", air.PressurePa, r.num(t, "pressure_Pa"), 2e-7)
		near(t, at+"density", air.DensityKgM3, r.num(t, "density_kg_m3"), 2e-7)
		near(t, at+"density ratio", air.DensityRatio, r.num(t, "density_ratio"), 2e-7)
		near(t, at+"pressure ratio", air.PressureRatio, r.num(t, "pressure_ratio"), 2e-7)
		near(t, at+"temperature ratio", air.TemperatureRatio, r.num(t, "temperature_K")/288.15, 2e-7)
	}
	near(t, "sea level density", SeaLevelDensityKgM3, 1.225, 1e-7)
}

// Source: GNU units 2.22, `units 'stdatmPH(-2000 m)' Pa`, 'stdatmPH(11000 m)',
// 'stdatmTH(11000 m)'; tolerance for R as above.
func TestStandardAtmosphereEnds(t *testing.T) {
	near(t, "-2000 m", must(StandardAtmosphere(-2000/0.3048)).PressurePa, 127773.735231, 3e-7)
	top := must(StandardAtmosphere(11000 / 0.3048))
	near(t, "11000 m", top.PressurePa, 22632.0342475, 3e-7)
	near(t, "11000 m", top.TemperatureK, 216.65, 1e-12)
	for _, ft := range []float64{-6562, 36090, math.NaN(), math.Inf(1), math.Inf(-1)} {
		_, err := StandardAtmosphere(ft)
		refuses(t, err, "altitude_ft")
	}
}

func TestMixtureAtAltitude(t *testing.T) {
	// At 5000 ft the density ratio is 0.8617 (U.S. Standard Atmosphere 1976, from
	// memory), so the mixture is 1/√0.8617 = 1.0773 times as rich and jets want
	// 0.9283 of their area: arithmetic.
	ratio := must(StandardAtmosphere(5000)).DensityRatio
	near(t, "enrichment", must(MixtureEnrichment(ratio)), 1.0773, 5e-5)
	near(t, "area scale", must(JetAreaScale(ratio)), 0.9283, 5e-5)
	near(t, "sea level", must(MixtureEnrichment(1)), 1, 0)
	for _, bad := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		_, err := MixtureEnrichment(bad)
		refuses(t, err, "density_ratio")
		_, err = JetAreaScale(bad)
		refuses(t, err, "density_ratio")
	}
}

func TestJetArea(t *testing.T) {
	// Source: GNU units 2.22, '(pi/4) * ((0.071 in)^2 - (0.043 in)^2)' to in^2.
	near(t, "annulus", must(JetAreaIn2(0.071, 0.043)), 0.00250699093756, 1e-11)
	near(t, "no rod", must(JetAreaIn2(0.100, 0)), math.Pi/400, 1e-14)
	_, err := JetAreaIn2(0, 0)
	refuses(t, err, "jet_in")
	_, err = JetAreaIn2(0.07, -0.01)
	refuses(t, err, "rod_in")
	_, err = JetAreaIn2(0.07, 0.07)
	refuses(t, err, "rod_in")
}

func TestNearestPairBreaksTiesTowardsTheSmaller(t *testing.T) {
	// 0.3, 0.4, 0.5: a jet of 0.5 with a rod of 0.4 is a plain jet of 0.3; both are
	// exact, so the smaller jet wins whatever the order.
	target := must(JetAreaIn2(0.3, 0))
	for _, jets := range [][]float64{{0.5, 0.3}, {0.3, 0.5}} {
		for _, rods := range [][]float64{{0, 0.4}, {0.4, 0}} {
			got := must(NearestPair(jets, rods, target))
			if got.JetIn != 0.3 || got.RodIn != 0 || math.Abs(got.ResidualPercent) > 1e-10 {
				t.Errorf("jets %v rods %v: %+v", jets, rods, got)
			}
		}
	}
	// Two jets miss by the same amount, one lean and one rich: areas 1 and 3 about 2.
	lean, rich := 2/math.Sqrt(math.Pi), 2*math.Sqrt(3/math.Pi)
	for _, jets := range [][]float64{{lean, rich}, {rich, lean}} {
		got := must(NearestPair(jets, nil, 2))
		if got.JetIn != lean {
			t.Errorf("jets %v: %+v", jets, got)
		}
		near(t, "residual", got.ResidualPercent, -50, 1e-12)
	}
	// One jet, two rods missing by the same amount: 4 - 1 and 4 - 3 about 2.
	for _, rods := range [][]float64{{1, math.Sqrt(3)}, {math.Sqrt(3), 1}} {
		if got := must(NearestPair([]float64{2}, rods, math.Pi/2)); got.RodIn != 1 {
			t.Errorf("rods %v: %+v", rods, got)
		}
	}
	// Same jet, rods doubled up: the smaller of equal rods is a tie with itself.
	if got := must(NearestPair([]float64{0.1, 0.1}, []float64{0.05, 0.05}, 0.005)); got.RodIn != 0.05 {
		t.Errorf("%+v", got)
	}
}

// The oracle recomputes each area by JetAreaIn2 and sorts; no shared search code.
func TestPropertyNearestPairIsNearest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// Thousandths of an inch, as jets are stamped, so that ties do happen.
		thousandths := func(low, high int) *rapid.Generator[float64] {
			return rapid.Map(rapid.IntRange(low, high), func(n int) float64 { return float64(n) / 1000 })
		}
		jets := rapid.SliceOfN(thousandths(50, 120), 1, 12).Draw(t, "jets")
		rods := rapid.SliceOfN(thousandths(20, 80), 0, 12).Draw(t, "rods")
		target := rapid.Float64Range(0.0005, 0.012).Draw(t, "target")
		got, err := NearestPair(jets, rods, target)

		type pair struct{ miss, jet, rod float64 }
		var all []pair
		tried := rods
		if len(tried) == 0 {
			tried = []float64{0}
		}
		for _, j := range jets {
			for _, r := range tried {
				if area, err := JetAreaIn2(j, r); err == nil {
					all = append(all, pair{math.Abs(area - target), j, r})
				}
			}
		}
		if len(all) == 0 {
			if err == nil {
				t.Fatalf("no pair exists, got %+v", got)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Contains(jets, got.JetIn) || !slices.Contains(tried, got.RodIn) {
			t.Fatalf("%+v is not from the set", got)
		}
		least := slices.MinFunc(all, func(a, b pair) int {
			if math.Abs(a.miss-b.miss) > 1e-11*target {
				if a.miss < b.miss {
					return -1
				}
				return 1
			}
			if a.jet != b.jet {
				if a.jet < b.jet {
					return -1
				}
				return 1
			}
			if a.rod < b.rod {
				return -1
			} else if a.rod > b.rod {
				return 1
			}
			return 0
		})
		if gotMiss := math.Abs(got.AreaIn2 - target); gotMiss > least.miss+2e-12*target {
			t.Fatalf("missed by %v, %v with %v misses by %v", gotMiss, least.jet, least.rod, least.miss)
		}
		if math.Abs(got.ResidualPercent-(got.AreaIn2/target-1)*100) > 1e-9 {
			t.Fatalf("residual %v", got.ResidualPercent)
		}
		// The order of the inputs does not matter.
		slices.Reverse(jets)
		slices.Sort(rods)
		if again, err := NearestPair(jets, rods, target); err != nil || again != got {
			t.Fatalf("reordered: %+v, was %+v (%v)", again, got, err)
		}
	})
}

func TestNearestPairRefuses(t *testing.T) {
	_, err := NearestPair(nil, nil, 0.004)
	refuses(t, err, "jets_in")
	_, err = NearestPair([]float64{0.07, -1}, nil, 0.004)
	refuses(t, err, "jet_in")
	_, err = NearestPair([]float64{0.07}, []float64{math.NaN()}, 0.004)
	refuses(t, err, "rod_in")
	_, err = NearestPair([]float64{0.07}, []float64{0.07, 0.08}, 0.004)
	refuses(t, err, "rods_in")
	_, err = NearestPair([]float64{0.07}, nil, 0)
	refuses(t, err, "target_area_in2")
}
