package kit_test

import (
	"errors"
	"math"
	"testing"

	"onetrip/internal/calc"
	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

func TestSizingRanksWhatSuitsFirst(t *testing.T) {
	s := demoSnapshot(t)
	sizing, err := kit.Size(s, usual())
	if err != nil {
		t.Fatal(err)
	}
	// 347 in³ at 5,000 rpm and 0.80: 347*5000*0.80/3456 = 401.6 cfm.
	if math.Abs(sizing.AirDemandCFM-401.6) > 0.05 {
		t.Errorf("demand %v", sizing.AirDemandCFM)
	}
	if b := sizing.Band; math.Abs(b.AtLeastCFM-0.95*401.62) > 0.1 || math.Abs(b.AtMostCFM-1.45*401.62) > 0.1 {
		t.Errorf("band %+v", b)
	}
	if n := len(sizing.Carburetors); n != len(s.Catalog.Carburetors()) {
		t.Errorf("%d of %d carburetors", n, len(s.Catalog.Carburetors()))
	}
	rank := map[calc.Verdict]int{calc.Suits: 0, calc.MarginalSmall: 1, calc.MarginalLarge: 1, calc.Restrictive: 2, calc.OverCarbureted: 2}
	middle := math.Sqrt(0.95 * 1.45)
	off := func(c kit.SizedCarburetor) float64 { return math.Abs(math.Log(c.Ratio / middle)) }
	seen := map[calc.Verdict]bool{}
	for i, c := range sizing.Carburetors {
		seen[c.Verdict] = true
		if want := c.FlowCFM * math.Sqrt(1.5/c.RatedAtInHg) / sizing.AirDemandCFM; math.Abs(c.Ratio-want) > 1e-3 {
			t.Errorf("%s: ratio %v, wanted %v", c.SKU, c.Ratio, want)
		}
		if want := c.RatedAtInHg * (sizing.AirDemandCFM / c.FlowCFM) * (sizing.AirDemandCFM / c.FlowCFM); math.Abs(c.DepressionInHg-want) > 0.01 {
			t.Errorf("%s: depression %v, wanted %v", c.SKU, c.DepressionInHg, want)
		}
		if i == 0 {
			continue
		}
		before := sizing.Carburetors[i-1]
		if rank[before.Verdict] > rank[c.Verdict] || rank[before.Verdict] == rank[c.Verdict] && off(before) > off(c)+0.002 {
			t.Errorf("%s (%s, %v) stands before %s (%s, %v)", before.SKU, before.Verdict, before.Ratio, c.SKU, c.Verdict, c.Ratio)
		}
	}
	for _, v := range []calc.Verdict{calc.Suits, calc.Restrictive, calc.OverCarbureted} {
		if !seen[v] {
			t.Errorf("no carburetor of the catalogue is %s", v)
		}
	}
}

func TestSizingCurveEndsAtTheDemand(t *testing.T) {
	sizing, err := kit.Size(demoSnapshot(t), usual())
	if err != nil {
		t.Fatal(err)
	}
	last := sizing.Curve[len(sizing.Curve)-1]
	if last.RPM != 5000 || last.DemandCFM != sizing.AirDemandCFM {
		t.Errorf("the curve ends at %+v", last)
	}
	for i := 1; i < len(sizing.Curve); i++ {
		if sizing.Curve[i].DemandCFM <= sizing.Curve[i-1].DemandCFM {
			t.Errorf("the demand falls at %v rpm", sizing.Curve[i].RPM)
		}
	}
}

func TestSizingAsksForWhatItTookForGranted(t *testing.T) {
	asked := func(v *catalog.Vehicle) map[string]bool {
		sizing, err := kit.Size(demoSnapshot(t), v)
		if err != nil {
			t.Fatal(err)
		}
		out := map[string]bool{}
		for _, q := range sizing.Questions {
			out[q.Field] = true
		}
		return out
	}
	if q := asked(usual()); !q["/vehicle/engine/redline_rpm"] || !q["/vehicle/engine/volumetric_efficiency"] {
		t.Errorf("asked %v", q)
	}
	rpm, efficiency := 4800.0, 0.8
	q := asked(usual(func(v *catalog.Vehicle) { v.Engine.RedlineRPM, v.Engine.VolumetricEfficiency = &rpm, &efficiency }))
	if q["/vehicle/engine/redline_rpm"] || q["/vehicle/engine/volumetric_efficiency"] {
		t.Errorf("asked for what was given: %v", q)
	}
}

func TestSizingRefusesAWrongVehicle(t *testing.T) {
	_, err := kit.Size(demoSnapshot(t), usual(func(v *catalog.Vehicle) { v.Engine.DisplacementIn3 = 0 }))
	var invalid *catalog.InvalidError
	if !errors.As(err, &invalid) || invalid.Violations[0].Pointer != "/vehicle/engine/displacement_in3" {
		t.Errorf("%v", err)
	}
}
