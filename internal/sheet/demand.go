package sheet

import (
	"fmt"
	"html/template"
	"math"

	"onetrip/internal/calc"
	"onetrip/internal/kit"
	"onetrip/internal/units"
)

// demandDrawing is air demand over engine speed against the band of ratings that
// suit, both as the checks air.demand and air.size_ratio have them. "" without these.
func demandDrawing(k *kit.Kit) (template.HTML, error) {
	demand, ok := check(k, "air.demand")
	if !ok {
		return "", nil
	}
	ratio, ok := check(k, "air.size_ratio")
	if !ok || ratio.Limit.AtLeast == nil || ratio.Limit.AtMost == nil {
		return "", nil
	}
	redline, redlineAt, ok := demand.input("redline_rpm")
	if !ok {
		return "", nil
	}
	c := k.Carburetor
	flow, err := calc.RestateFlowCFM(c.FlowCFM, c.RatedAtInHg, calc.ComparisonInHg)
	if err != nil {
		return "", fmt.Errorf("carburetor %s: %w", c.SKU, err)
	}
	exact, _, ok := ratio.input("air_demand_cfm") // not rounded as the check's value is
	if !ok {
		exact = demand.Value
	}
	low, high := *ratio.Limit.AtLeast*exact, *ratio.Limit.AtMost*exact
	least, greatest := calc.RestrictiveBelow*exact, calc.OverCarburetedAbove*exact
	tenth := func(v float64) string { return units.Number(math.Round(v*10) / 10) }

	d := newDrawing("demand", "Air demand over engine speed")
	d.height = 238
	const left, right, top, bottom, beside = 36, 192, 16, 200, 206
	most := max(greatest*1.12, flow*1.1)
	x := func(rpm float64) float64 { return left + (right-left)*rpm/redline }
	y := func(cfm float64) float64 { return bottom - (bottom-top)*cfm/most }

	// The zones: clear where the carburetor suits, hatched where it should not be,
	// sparsely where it is marginal.
	d.hatch(left, top, right-left, y(greatest)-top, 8)
	d.hatch(left, y(greatest), right-left, y(high)-y(greatest), 24)
	d.hatch(left, y(low), right-left, y(least)-y(low), 24)
	d.hatch(left, y(least), right-left, bottom-y(least), 8)
	d.line(left, y(high), right, y(high), "dash")
	d.line(left, y(low), right, y(low), "dash")

	d.line(left, bottom, right, bottom, "ink")
	d.line(left, top, left, bottom, "ink")
	for _, rpm := range ticks(redline, 4) {
		d.line(x(rpm), bottom, x(rpm), bottom+4, "ink")
		d.text(x(rpm), bottom+15, "middle small", say(units.Number(rpm)))
	}
	for _, cfm := range ticks(most, 6) {
		d.line(left-4, y(cfm), left, y(cfm), "ink")
		d.text(left-6, y(cfm)+3.5, "end small", say(units.Number(cfm)))
	}
	d.text((left+right)/2, bottom+31, "middle small", say("engine speed, rpm"))
	d.text(left+4, top-4, "start small", say("cfm"))

	d.line(left, bottom, right, y(exact), "bold")
	d.circle(right, y(exact), 3.5, "dot")
	d.line(left, y(flow), right, y(flow), "double")
	d.line(left, y(flow), right, y(flow), "core")

	rating := [][]piece{{say("this carburetor")}, {figure("/carburetor/flow_cfm", c.FlowCFM), say(" cfm")}}
	if c.RatedAtInHg != calc.ComparisonInHg {
		rating = [][]piece{
			{say("this carburetor")},
			{figure("/carburetor/flow_cfm", c.FlowCFM), say(" cfm at "), figure("/carburetor/rated_at_inhg", c.RatedAtInHg), say(" inHg,")},
			{say(fmt.Sprintf("%s at %s inHg", tenth(flow), units.Number(calc.ComparisonInHg)))},
		}
	}
	list := []label{
		{at: (top + y(greatest)) / 2, lines: [][]piece{{say("too large")}, {say("above " + tenth(greatest) + ": lazy off idle")}}},
		{at: (y(low) + y(high)) / 2, lines: [][]piece{{say("suits")}, {say(tenth(low) + " to " + tenth(high) + " cfm,")}, {say("marginal just outside")}}},
		{at: (y(least) + bottom) / 2, lines: [][]piece{{say("too small")}, {say("below " + tenth(least) + ": holds back")}}},
		{at: y(flow), lines: rating},
		{at: y(exact), lines: [][]piece{{say("the engine draws")}, {figure(demand.at+"/value", demand.Value), say(" cfm at "), figure(redlineAt, redline), say(" rpm")}}},
	}
	for i, middle := range d.labels(list, beside, "start", 0, d.height) {
		d.line(right+2, list[i].at, beside-3, middle, "hair")
	}
	d.desc = fmt.Sprintf("A straight line rises from nothing at standstill to %s cfm at %s rpm, the air the engine can draw. Ratings from %s to %s cfm at %s inHg suit it. "+
		"Below %s is too small and holds the engine back at the top, above %s is too large and lazy off idle; between these and what suits is marginal. "+
		"This carburetor flows %s cfm at %s inHg, which is %s cfm at %s inHg. %s",
		units.Number(demand.Value), units.Number(redline), tenth(low), tenth(high), units.Number(calc.ComparisonInHg), tenth(least), tenth(greatest),
		units.Number(c.FlowCFM), units.Number(c.RatedAtInHg), tenth(flow), units.Number(calc.ComparisonInHg), ratio.Text)
	return d.html(), nil
}

// ticks are round numbers from 0 to most, about count of them.
func ticks(most float64, count int) []float64 {
	step := math.Pow10(int(math.Floor(math.Log10(most / float64(count)))))
	for _, times := range []float64{1, 2, 5, 10} {
		if most/(step*times) <= float64(count) {
			step *= times
			break
		}
	}
	var out []float64
	for v := 0.0; v <= most+step/1e6; v += step {
		out = append(out, v)
	}
	return out
}
