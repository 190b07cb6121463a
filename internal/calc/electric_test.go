package calc

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Source: ASTM B258 by GNU units (awg), tolerance 5e-9 relative, the table's
// printed digits. Its resistivity is 1.7241e-8 ohm m, IEC 60028's 1/58 rounded to
// five digits: 2.2e-5 relative lower, hence 3e-5.
func TestWireGaugeTable(t *testing.T) {
	for _, r := range readTable(t, "wire_gauge.csv", 15) {
		awg := int(r.num(t, "awg"))
		mm := must(WireDiameterMM(awg))
		near(t, r["awg"]+" AWG diameter", mm, r.num(t, "diameter_mm"), 5e-9)
		near(t, r["awg"]+" AWG area", math.Pi/4*mm*mm, r.num(t, "area_mm2"), 5e-9)
		near(t, r["awg"]+" AWG resistance", must(CopperOhmPerM(awg)), r.num(t, "resistance_20C_ohm_per_m"), 3e-5)
		near(t, r["awg"]+" AWG resistance at 1.7241e-8", must(CopperOhmPerM(awg))*1.7241e-8*58e6, r.num(t, "resistance_20C_ohm_per_m"), 5e-9)
	}
}

// Source: the two defining points of ASTM B258, 36 AWG is 0.0050 in and 0000 AWG
// 0.4600 in (from memory); GNU units 2.22 'awg(0)' to mm gives 8.25146280217.
func TestWireGaugeDefinition(t *testing.T) {
	near(t, "36 AWG", must(WireDiameterMM(36)), 0.005*25.4, 1e-14)
	near(t, "0 AWG", must(WireDiameterMM(0)), 8.25146280217, 1e-11)
	for _, awg := range []int{-1, 37} {
		_, err := WireDiameterMM(awg)
		refuses(t, err, "awg")
		_, err = CopperOhmPerM(awg)
		refuses(t, err, "awg")
	}
}

// Source: GNU units 2.22,
// '2 * (12 ft) * 8 A * (1/58) ohm mm^2/m / (pi awg(16)^2 / 4)' to V.
func TestVoltageDropGoesOutAndBack(t *testing.T) {
	near(t, "8 A, 12 ft, 16 AWG", must(VoltageDrop(8, 12, 16)), 0.770991363423, 1e-11)
	near(t, "no current", must(VoltageDrop(0, 12, 16)), 0, 0)
	_, err := VoltageDrop(-1, 12, 16)
	refuses(t, err, "amps")
	_, err = VoltageDrop(8, math.NaN(), 16)
	refuses(t, err, "length_ft")
	_, err = VoltageDrop(8, 12, 99)
	refuses(t, err, "awg")
}

func TestSmallestWire(t *testing.T) {
	// 8 A over 12 ft on 12 V: 16 AWG drops 0.771 V (above), 14 AWG 0.485 V, 12 AWG
	// 0.305 V, and 3 % is 0.36 V.
	got := must(SmallestWireAWG(8, 12, 12, 0.03, []int{10, 18, 12, 14, 16}))
	if got.AWG != 12 || got.FuseAmps != 10 {
		t.Errorf("%+v", got)
	}
	near(t, "drop", got.DropFraction, got.DropVolts/12, 1e-14)
	// A foot of 22 AWG drops little at 8 A, yet would burn before a 10 A fuse.
	if got := must(SmallestWireAWG(8, 1, 12, 0.03, []int{22, 20, 18})); got.AWG != 20 {
		t.Errorf("short run: %+v", got)
	}
	// A limit hit exactly is kept.
	exact := must(VoltageDrop(8, 12, 16)) / 12
	if got := must(SmallestWireAWG(8, 12, 12, exact, []int{16, 14})); got.AWG != 16 {
		t.Errorf("exact limit: %+v", got)
	}
	_, err := SmallestWireAWG(8, 200, 6, 0.03, []int{18, 14})
	refuses(t, err, "14 AWG")
	if err != nil && !strings.Contains(err.Error(), "thicker") {
		t.Errorf("error %q does not say how to mend it", err)
	}
	_, err = SmallestWireAWG(8, 12, 12, 0.03, nil)
	refuses(t, err, "no wire is stocked") // people read this where a catalogue has none
	_, err = SmallestWireAWG(8, 12, 12, 0.03, []int{18, 99})
	refuses(t, err, "stocked_awg[1]")
	_, err = SmallestWireAWG(0, 12, 12, 0.03, []int{18})
	refuses(t, err, "amps")
	_, err = SmallestWireAWG(8, 0, 12, 0.03, []int{18})
	refuses(t, err, "length_ft")
	_, err = SmallestWireAWG(8, 12, 0, 0.03, []int{18})
	refuses(t, err, "nominal_volts")
	_, err = SmallestWireAWG(8, 12, 12, 0, []int{18})
	refuses(t, err, "max_drop_fraction")
	_, err = SmallestWireAWG(33, 1, 12, 0.03, []int{8})
	refuses(t, err, "40 A")
}

func TestPropertySmallestWireIsSmallest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		amps := rapid.Float64Range(0.5, 30).Draw(t, "amps")
		length := rapid.Float64Range(0.5, 40).Draw(t, "ft")
		stocked := rapid.SliceOfN(rapid.IntRange(6, 24), 1, 8).Draw(t, "stocked")
		serves := func(awg int) bool {
			carries, ok := ChassisAmps(awg)
			return ok && carries >= must(FuseAmps(amps)) && must(VoltageDrop(amps, length, awg)) <= 0.36
		}
		want := -1
		for _, awg := range stocked {
			if serves(awg) {
				want = max(want, awg)
			}
		}
		got, err := SmallestWireAWG(amps, length, 12, 0.03, stocked)
		if (err == nil) != (want >= 0) || err == nil && got.AWG != want {
			t.Fatalf("got %+v (%v), want %d AWG", got, err, want)
		}
	})
}

// Source: ISO 8820-3 ratings (from memory); 125 % is common practice, no source.
func TestFuseRoundsUpToAStandardRating(t *testing.T) {
	for amps, want := range map[float64]float64{
		0.1: 1, 0.8: 1, 0.81: 2, 1.6: 2, 3: 4, 3.2: 4, 4: 5, 4.1: 7.5, 6: 7.5, 8: 10, 8.1: 15, 12: 15, 16: 20, 20: 25, 24: 30, 28: 35, 32: 40,
	} {
		if got := must(FuseAmps(amps)); got != want {
			t.Errorf("%v A: fuse %v, want %v", amps, got, want)
		}
	}
	for _, amps := range []float64{0, -1, 32.1, math.NaN(), math.Inf(1)} {
		_, err := FuseAmps(amps)
		refuses(t, err, "amps")
	}
}

// Source: chassis wiring figures, common practice, from memory, no source. A
// thicker wire must carry more, or the table has a slip.
func TestChassisAmps(t *testing.T) {
	last := 0.0
	for i, want := range []float64{7, 11, 16, 22, 32, 41, 55, 73} {
		awg := 22 - 2*i
		amps, ok := ChassisAmps(awg)
		if !ok || amps != want || amps <= last {
			t.Errorf("%d AWG: %v A (%v) after %v A, want %v", awg, amps, ok, last, want)
		}
		last = amps
	}
	for _, awg := range []int{24, 21, 6} {
		if amps, ok := ChassisAmps(awg); ok {
			t.Errorf("%d AWG: %v A from a table that does not hold it", awg, amps)
		}
	}
}
