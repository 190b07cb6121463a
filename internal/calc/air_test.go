package calc

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Source: GNU units, the expression stands in each row; tolerance 1e-8 relative,
// the table's printed digits.
func TestAirflowWorkedExamples(t *testing.T) {
	for _, r := range readTable(t, "airflow_worked.csv", 14) {
		var got float64
		switch r["kind"] {
		case "displacement":
			got = must(AirDemandCFM(r.num(t, "displacement_in3"), r.num(t, "rpm"), r.num(t, "volumetric_efficiency")))
		case "orifice":
			got = must(RestateFlowCFM(r.num(t, "rated_flow_cfm"), r.num(t, "rated_dp_inHg"), r.num(t, "restated_dp_inHg")))
		default:
			t.Fatalf("unknown kind %q", r["kind"])
		}
		near(t, r["units_expression"], got, r.num(t, "volume_flow_cfm"), 1e-8)
		near(t, r["units_expression"]+" in L/s", CFMToLPerS(got), r.num(t, "volume_flow_L_per_s"), 1e-8)
	}
}

func TestTwoBarrelRatingRestatesByRootTwo(t *testing.T) {
	near(t, "500 cfm at 3.0 inHg", must(RestateFlowCFM(500, 3.0, 1.5)), 500/math.Sqrt2, 1e-14)
	near(t, "ratio", must(FlowRatio(500, 3.0, 400)), 500/math.Sqrt2/400, 1e-14)
	near(t, "rating depression at rated flow", must(DepressionInHg(1.5, 600, 600)), 1.5, 1e-14)
	near(t, "double the flow", must(DepressionInHg(1.5, 1200, 600)), 6, 1e-14)
}

func TestSizeVerdictLimits(t *testing.T) {
	for ratio, want := range map[float64]Verdict{
		0.1: Restrictive, 0.8999: Restrictive, 0.90: MarginalSmall, 0.9499: MarginalSmall,
		0.95: Suits, 1: Suits, 1.45: Suits, 1.4500000000000002: Suits, 0.9499999999999999: Suits,
		1.4501: MarginalLarge, 1.50: MarginalLarge, 1.5001: OverCarbureted, 9: OverCarbureted,
		math.Inf(1): OverCarbureted,
	} {
		if got := SizeVerdict(ratio); got != want {
			t.Errorf("ratio %v: %s, want %s", ratio, got, want)
		}
	}
	if got := SizeVerdict(math.NaN()); got != "" {
		t.Errorf("NaN: %q", got)
	}
}

// The sizes the trade names. Source: common practice, no source; the middle tunes
// and displacements follow from the same words.
func TestTradeAcceptanceFacts(t *testing.T) {
	verdict := func(flow, in3 float64, tune string) Verdict {
		ve, redline, ok := TuneDefaults(tune)
		if !ok {
			t.Fatalf("no defaults for %q", tune)
		}
		return SizeVerdict(must(FlowRatio(flow, 1.5, must(AirDemandCFM(in3, redline, ve)))))
	}
	// "About" a size is within 5 % of it: sizes come in steps.
	suitsAbout := func(flow, in3 float64, tune string) bool {
		for f := 0.95 * flow; f <= 1.05*flow; f++ {
			if verdict(f, in3, tune) == Suits {
				return true
			}
		}
		return false
	}
	for _, tune := range []string{"stock", "mild"} {
		for in3 := 300.0; in3 < 350; in3++ {
			if !suitsAbout(500, in3, tune) {
				t.Errorf("about 500 cfm does not suit %v in³ %s", in3, tune)
			}
			for _, flow := range []float64{750, 850} {
				if got := verdict(flow, in3, tune); got != OverCarbureted {
					t.Errorf("%v cfm on %v in³ %s: %s", flow, in3, tune, got)
				}
			}
		}
		for in3 := 350.0; in3 <= 454; in3++ {
			if !suitsAbout(600, in3, tune) {
				t.Errorf("about 600 cfm does not suit %v in³ %s", in3, tune)
			}
			if got := verdict(600, in3, tune); got == Restrictive || got == OverCarbureted {
				t.Errorf("600 cfm on %v in³ %s: %s", in3, tune, got)
			}
		}
	}
	for _, tune := range []string{"stock", "mild", "strong"} {
		if got := verdict(850, 300, tune); got != OverCarbureted {
			t.Errorf("850 cfm on 300 in³ %s: %s", tune, got)
		}
	}
	for _, tune := range []string{"stock", "mild", "strong", "race"} {
		if got := verdict(500, 500, tune); got != Restrictive {
			t.Errorf("500 cfm on 500 in³ %s: %s", tune, got)
		}
	}
	// 750 and above belong on highly modified large engines: both named sizes suit
	// the strong 454, and whatever suits the race 454 is above 750.
	for _, flow := range []float64{750, 850} {
		if got := verdict(flow, 454, "strong"); got != Suits {
			t.Errorf("%v cfm on 454 in³ strong: %s", flow, got)
		}
	}
	low, _, err := SuitableBandCFM(must(AirDemandCFM(454, 7000, 1.00)))
	if err != nil || low < 750 {
		t.Errorf("454 in³ race is suited from %v cfm (%v)", low, err)
	}
	if got := verdict(900, 454, "race"); got != Suits {
		t.Errorf("900 cfm on 454 in³ race: %s", got)
	}
	// The least marginal case, stated so that a change of the limits shows.
	near(t, "600 on a stock 350", must(FlowRatio(600, 1.5, must(AirDemandCFM(350, 5000, 0.80)))), 1.481, 1e-3)
	if got := verdict(600, 350, "stock"); got != MarginalLarge {
		t.Errorf("600 cfm on 350 in³ stock: %s", got)
	}
}

// The table is part of the contract: a check prints these figures as its inputs.
// Source: common practice, no source.
func TestTuneDefaults(t *testing.T) {
	for tune, want := range map[string][2]float64{
		"stock": {0.80, 5000}, "mild": {0.85, 5500}, "strong": {0.92, 6200}, "race": {1.00, 7000},
	} {
		if ve, redline, ok := TuneDefaults(tune); !ok || ve != want[0] || redline != want[1] {
			t.Errorf("%s: %v at %v rpm (%v), want %v", tune, ve, redline, ok, want)
		}
	}
	if _, _, ok := TuneDefaults("warm"); ok {
		t.Error("a tune that does not exist has defaults")
	}
}

func TestPropertySuitableBandIsWhatSuits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		demand := rapid.Float64Range(20, 2000).Draw(t, "demand")
		low, high, err := SuitableBandCFM(demand)
		if err != nil {
			t.Fatal(err)
		}
		share := rapid.Float64Range(0, 1).Draw(t, "share")
		inside := low + share*(high-low)
		for flow, want := range map[float64]bool{low: true, inside: true, high: true, low * 0.999: false, high * 1.001: false} {
			ratio, err := FlowRatio(flow, ComparisonInHg, demand)
			if err != nil {
				t.Fatal(err)
			}
			if (SizeVerdict(ratio) == Suits) != want {
				t.Fatalf("%v cfm for %v: %s", flow, demand, SizeVerdict(ratio))
			}
		}
		// Flow over demand and the depression are one law seen from two sides.
		depression, err := DepressionInHg(ComparisonInHg, demand, inside)
		if err != nil {
			t.Fatal(err)
		}
		restated, err := RestateFlowCFM(inside, ComparisonInHg, depression)
		if err != nil || math.Abs(restated-demand) > 1e-9*demand {
			t.Fatalf("at %v inHg flows %v, demand %v (%v)", depression, restated, demand, err)
		}
	})
}

func TestDemandCurveEndsAtRedline(t *testing.T) {
	points := make([]CurvePoint, 10)
	if err := DemandCurve(points, 350, 6000, 0.85); err != nil {
		t.Fatal(err)
	}
	for i, p := range points {
		near(t, "rpm", p.RPM, 600*float64(i+1), 1e-14)
		near(t, "demand", p.DemandCFM, 516.493056*float64(i+1)/10, 1e-8) // airflow_worked.csv, first row
	}
	if err := DemandCurve(nil, 350, 6000, 0.85); err != nil {
		t.Error(err)
	}
	refuses(t, DemandCurve(points, 0, 6000, 0.85), "displacement_in3")
}

func TestAirRefusesNonsense(t *testing.T) {
	for _, bad := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		_, err := AirDemandCFM(bad, 5000, 0.8)
		refuses(t, err, "displacement_in3")
		_, err = AirDemandCFM(350, bad, 0.8)
		refuses(t, err, "rpm")
		_, err = AirDemandCFM(350, 5000, bad)
		refuses(t, err, "volumetric_efficiency")
		_, err = RestateFlowCFM(bad, 3, 1.5)
		refuses(t, err, "flow_cfm")
		_, err = RestateFlowCFM(500, bad, 1.5)
		refuses(t, err, "rated_at_inhg")
		_, err = RestateFlowCFM(500, 3, bad)
		refuses(t, err, "at_inhg")
		_, err = DepressionInHg(bad, 400, 500)
		refuses(t, err, "rated_at_inhg")
		_, err = DepressionInHg(1.5, bad, 500)
		refuses(t, err, "demand_cfm")
		_, err = DepressionInHg(1.5, 400, bad)
		refuses(t, err, "flow_cfm")
		_, err = FlowRatio(500, 1.5, bad)
		refuses(t, err, "demand_cfm")
		_, err = FlowRatio(bad, 1.5, 400)
		refuses(t, err, "flow_cfm")
		_, _, err = SuitableBandCFM(bad)
		refuses(t, err, "demand_cfm")
	}
}
