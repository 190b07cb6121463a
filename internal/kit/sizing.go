package kit

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"onetrip/internal/calc"
	"onetrip/internal/catalog"
)

// Sizing is the answer to "which size suits this engine": the engine's demand and
// every carburetor of the catalogue against it.
type Sizing struct {
	AirDemandCFM float64           `json:"air_demand_cfm"`
	Band         Band              `json:"band"`
	Curve        []CurvePoint      `json:"curve"`
	Carburetors  []SizedCarburetor `json:"carburetors"` // best first
	Checks       []Check           `json:"checks"`
	Questions    []Question        `json:"questions"`
}

// Band is the flow at 1.5 inHg that suits a demand.
type Band struct {
	AtLeastCFM float64 `json:"at_least_cfm"`
	AtMostCFM  float64 `json:"at_most_cfm"`
}

// CurvePoint is the demand at one engine speed.
type CurvePoint struct {
	RPM       float64 `json:"rpm"`
	DemandCFM float64 `json:"demand_cfm"`
}

// SizedCarburetor is one carburetor against the demand. Ratio is its flow restated
// to 1.5 inHg over the demand.
type SizedCarburetor struct {
	SKU            string       `json:"sku"`
	Name           string       `json:"name"`
	FlowCFM        float64      `json:"flow_cfm"`
	RatedAtInHg    float64      `json:"rated_at_inhg"`
	Ratio          float64      `json:"ratio"`
	DepressionInHg float64      `json:"depression_inhg"`
	Verdict        calc.Verdict `json:"verdict"`
	Text           string       `json:"text"`
}

// curvePoints is how many speeds the demand curve is given at.
const curvePoints = 20

// Size ranks every carburetor of the catalogue for a vehicle's engine, which is all that is
// looked at: those that suit first, nearest to the middle of the band, then the marginal,
// then the rest.
func Size(s *Snapshot, v *catalog.Vehicle) (*Sizing, error) {
	if bad := v.Engine.Validate(); len(bad) > 0 {
		return nil, &catalog.InvalidError{What: "vehicle", Violations: catalog.Under("/vehicle/engine", bad)}
	}
	volumetricEfficiency, redlineRPM := engineSpeed(v)
	wr := newWriter()
	var w work
	demand := w.take(calc.AirDemandCFM(v.Engine.DisplacementIn3, redlineRPM, volumetricEfficiency))
	low, high := w.take2(calc.SuitableBandCFM(demand))
	points := make([]calc.CurvePoint, curvePoints)
	w.take(0, calc.DemandCurve(points, v.Engine.DisplacementIn3, redlineRPM, volumetricEfficiency))
	if w.err != nil {
		return nil, w.err
	}
	out := &Sizing{
		AirDemandCFM: round(demand, 1),
		Band:         Band{AtLeastCFM: round(low, 1), AtMostCFM: round(high, 1)},
		Curve:        make([]CurvePoint, len(points)),
		Carburetors:  make([]SizedCarburetor, 0, len(s.Catalog.Carburetors())),
		Checks:       []Check{wr.airDemandCheck(demand, v.Engine.DisplacementIn3, redlineRPM, volumetricEfficiency)},
		Questions:    wr.engineQuestions(v),
	}
	for i, p := range points {
		out.Curve[i] = CurvePoint{RPM: round(p.RPM, 0), DemandCFM: round(p.DemandCFM, 1)}
	}
	for _, c := range s.Catalog.Carburetors() {
		sized, err := wr.sizeOne(c, demand)
		if err != nil {
			return nil, fmt.Errorf("carburetor %s: %w", c.SKU, err)
		}
		out.Carburetors = append(out.Carburetors, sized)
	}
	middle := math.Sqrt(low * high / (demand * demand))
	slices.SortFunc(out.Carburetors, func(a, b SizedCarburetor) int {
		return cmp.Or(
			cmp.Compare(verdictRank[a.Verdict], verdictRank[b.Verdict]),
			cmp.Compare(math.Abs(math.Log(a.Ratio/middle)), math.Abs(math.Log(b.Ratio/middle))),
			cmp.Compare(a.SKU, b.SKU))
	})
	return out, nil
}

var verdictRank = map[calc.Verdict]int{calc.Suits: 0, calc.MarginalSmall: 1, calc.MarginalLarge: 1, calc.Restrictive: 2, calc.OverCarbureted: 2}

func (wr *writer) sizeOne(c *catalog.Carburetor, demandCFM float64) (SizedCarburetor, error) {
	ratio, err := calc.FlowRatio(c.FlowCFM, c.RatedAtInHg, demandCFM)
	if err != nil {
		return SizedCarburetor{}, err
	}
	depression, err := calc.DepressionInHg(c.RatedAtInHg, demandCFM, c.FlowCFM)
	if err != nil {
		return SizedCarburetor{}, err
	}
	verdict := calc.SizeVerdict(ratio)
	return SizedCarburetor{
		SKU: c.SKU, Name: c.Name, FlowCFM: c.FlowCFM, RatedAtInHg: c.RatedAtInHg,
		Ratio: round(ratio, 3), DepressionInHg: round(depression, 2),
		Verdict: verdict, Text: wr.sizeText(verdict, ratio),
	}, nil
}

// sizeText says in the owner's words what a size ratio means.
func (wr *writer) sizeText(v calc.Verdict, ratio float64) string {
	const flow = "flows %.0f %% of what the engine can draw"
	text := "Too large: " + flow + "; expect a lazy response off idle and poor mileage."
	switch v {
	case calc.Suits:
		text = "Suits: " + flow + "."
	case calc.MarginalSmall:
		text = "A little small: " + flow + "; expect some loss at the top of the rev range."
	case calc.MarginalLarge:
		text = "A little large: " + flow + "; expect a softer response just off idle."
	case calc.Restrictive:
		text = "Too small: " + flow + "; it will hold the engine back at the top."
	}
	return wr.Sayf(text, ratio*100)
}

// round keeps so many decimals, for figures shown to people.
func round(v float64, decimals int) float64 {
	p := math.Pow10(decimals)
	return math.Round(v*p) / p
}
