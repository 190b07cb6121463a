package calc

import "math"

// AirDemandCFM returns the air that a four-stroke engine draws, in ft³/min at
// intake density:
//
//	Q = D·N·VE / 3456
//
// displacementIn3 is the swept volume of all cylinders, rpm the crankshaft speed,
// volumetricEfficiency the ratio of drawn to swept volume (0.85 is 85 %). Each
// cylinder fills once in two turns: 3456 = 2 · 1728 in³/ft³.
// Valid for four-stroke engines and inputs above 0; an error names the input that
// is not. Source: Heywood, Internal Combustion Engine Fundamentals; Taylor, The
// Internal-Combustion Engine in Theory and Practice.
func AirDemandCFM(displacementIn3, rpm, volumetricEfficiency float64) (float64, error) {
	if err := firstError(above("displacement_in3", displacementIn3), above("rpm", rpm),
		above("volumetric_efficiency", volumetricEfficiency)); err != nil {
		return 0, err
	}
	return displacementIn3 * rpm * volumetricEfficiency / 3456, nil
}

// TuneDefaults returns the volumetric efficiency and the redline to assume for a
// state of tune (stock, mild, strong, race) when the vehicle states neither; ok
// is false for any other word. Source: common practice, no source.
func TuneDefaults(tune string) (volumetricEfficiency, redlineRPM float64, ok bool) {
	switch tune {
	case "stock":
		return 0.80, 5000, true
	case "mild":
		return 0.85, 5500, true
	case "strong":
		return 0.92, 6200, true
	case "race":
		return 1.00, 7000, true
	}
	return 0, 0, false
}

// RestateFlowCFM restates a flow rated at one depression at another:
//
//	Q₂ = Q₁·√(Δp₂/Δp₁)
//
// Flows in ft³/min, depressions in inHg, all above 0; an error names the input
// that is not. Valid while the depression is small beside atmospheric pressure
// (a few inHg), where air may be taken as incompressible.
// Source: incompressible orifice law, any fluid mechanics text.
func RestateFlowCFM(flowCFM, ratedAtInHg, atInHg float64) (float64, error) {
	if err := firstError(above("flow_cfm", flowCFM), above("rated_at_inhg", ratedAtInHg), above("at_inhg", atInHg)); err != nil {
		return 0, err
	}
	return flowCFM * math.Sqrt(atInHg/ratedAtInHg), nil
}

// DepressionInHg returns the wide-open manifold depression, in inHg, when an
// engine draws demandCFM through a carburetor rated flowCFM at ratedAtInHg:
//
//	Δp = rated_at·(Q/flow)²
//
// Inputs above 0; an error names the input that is not. Valid range and source as
// RestateFlowCFM.
func DepressionInHg(ratedAtInHg, demandCFM, flowCFM float64) (float64, error) {
	if err := firstError(above("rated_at_inhg", ratedAtInHg), above("demand_cfm", demandCFM), above("flow_cfm", flowCFM)); err != nil {
		return 0, err
	}
	r := demandCFM / flowCFM
	return ratedAtInHg * r * r, nil
}

// ComparisonInHg is the depression at which carburetors are compared with the
// demand. Two-barrel carburetors rated at 3.0 inHg must be restated to it first.
// Source: common practice, no source.
const ComparisonInHg = 1.5

// FlowRatio returns a carburetor's flow at ComparisonInHg over the engine's
// demand, a pure number for SizeVerdict. Inputs above 0; an error names the input
// that is not. Source: RestateFlowCFM.
func FlowRatio(flowCFM, ratedAtInHg, demandCFM float64) (float64, error) {
	if err := above("demand_cfm", demandCFM); err != nil {
		return 0, err
	}
	flow, err := RestateFlowCFM(flowCFM, ratedAtInHg, ComparisonInHg)
	return flow / demandCFM, err
}

// Limits of flow over demand; what suits lies within them. Source: common practice,
// no source.
const (
	RestrictiveBelow    = 0.90
	suitsFrom           = 0.95
	suitsTo             = 1.45
	OverCarburetedAbove = 1.50
)

// Verdict says how a carburetor's size fits an engine's demand.
type Verdict string

// The verdicts, from too small to too large.
const (
	Restrictive    Verdict = "restrictive"     // ratio below 0.90
	MarginalSmall  Verdict = "marginal_small"  // 0.90 to below 0.95
	Suits          Verdict = "suits"           // 0.95 to 1.45, both included
	MarginalLarge  Verdict = "marginal_large"  // above 1.45 to 1.50
	OverCarbureted Verdict = "over_carbureted" // above 1.50
)

// SizeVerdict judges flow over demand (FlowRatio). The ratio is rounded to 1e-9
// first; NaN gives the empty Verdict. Source: common practice, no source.
func SizeVerdict(ratio float64) Verdict {
	switch r := tidy(ratio); {
	case math.IsNaN(r):
		return ""
	case r < RestrictiveBelow:
		return Restrictive
	case r < suitsFrom:
		return MarginalSmall
	case r <= suitsTo:
		return Suits
	case r <= OverCarburetedAbove:
		return MarginalLarge
	}
	return OverCarbureted
}

// SuitableBandCFM returns the least and the greatest flow at ComparisonInHg, in
// cfm, that SizeVerdict calls Suits for a demand. Demand above 0, else an error.
// Source: common practice, no source.
func SuitableBandCFM(demandCFM float64) (low, high float64, err error) {
	if err := above("demand_cfm", demandCFM); err != nil {
		return 0, 0, err
	}
	return suitsFrom * demandCFM, suitsTo * demandCFM, nil
}

// CurvePoint is one point of an engine's demand curve.
type CurvePoint struct{ RPM, DemandCFM float64 }

// DemandCurve fills points with the demand at evenly spaced speeds from the first
// share of redlineRPM up to redlineRPM itself, for a drawing. It holds volumetric
// efficiency constant, so the curve is the straight upper bound and not a
// measured one. Inputs above 0, else an error; an empty slice stays empty.
// Source: AirDemandCFM.
func DemandCurve(points []CurvePoint, displacementIn3, redlineRPM, volumetricEfficiency float64) error {
	for i := range points {
		rpm := redlineRPM * float64(i+1) / float64(len(points))
		demand, err := AirDemandCFM(displacementIn3, rpm, volumetricEfficiency)
		if err != nil {
			return err
		}
		points[i] = CurvePoint{rpm, demand}
	}
	return nil
}
