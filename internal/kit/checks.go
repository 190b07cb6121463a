package kit

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"onetrip/internal/calc"
	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/units"
)

// Inputs are the figures a check was computed from, in reading order; in JSON an
// object of numbers.
type Inputs []Input

// Input is one figure; its name carries the unit.
type Input struct {
	Name  string
	Value float64
}

// named is the figure of a name; false when there is none.
func (in Inputs) named(name string) (float64, bool) {
	for _, v := range in {
		if v.Name == name {
			return v.Value, true
		}
	}
	return 0, false
}

// MarshalJSON writes an object. Names are words of this program, without escapes.
func (in Inputs) MarshalJSON() ([]byte, error) {
	b := make([]byte, 0, 2+40*len(in))
	b = append(b, '{')
	for i, v := range in {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(b, '"')
		b = append(b, v.Name...)
		b = append(b, `":`...)
		b = strconv.AppendFloat(b, round(v.Value, 4), 'f', -1, 64)
	}
	return append(b, '}'), nil
}

// UnmarshalJSON reads what MarshalJSON writes, keeping the order.
func (in *Inputs) UnmarshalJSON(data []byte) error {
	*in = Inputs{}
	dec := json.NewDecoder(bytes.NewReader(data))
	if _, err := dec.Token(); err != nil {
		return err
	}
	for dec.More() {
		name, err := dec.Token()
		if err != nil {
			return err
		}
		text, ok := name.(string)
		if !ok {
			return fmt.Errorf("inputs: %v is not a name", name)
		}
		var value float64
		if err := dec.Decode(&value); err != nil {
			return err
		}
		*in = append(*in, Input{text, value})
	}
	_, err := dec.Token()
	return err
}

const commonPractice = "common practice, no source"

// A writer holds in few pieces of memory what a kit's checks and advice are made of.
type writer struct {
	units.Texts
	numbers []float64
	figures []Input
	si      []SI
}

func newWriter() *writer {
	wr := &writer{numbers: make([]float64, 0, 20), figures: make([]Input, 0, 48), si: make([]SI, 0, 12)}
	wr.Grow(2 << 10)
	return wr
}

func (wr *writer) number(v float64) *float64 {
	n := &lend(&wr.numbers, 1)[0]
	*n = v
	return n
}

func (wr *writer) atLeast(v float64) Limit { return Limit{AtLeast: wr.number(v)} }
func (wr *writer) atMost(v float64) Limit  { return Limit{AtMost: wr.number(v)} }
func (wr *writer) between(low, high float64) Limit {
	return Limit{AtLeast: wr.number(low), AtMost: wr.number(high)}
}

func (wr *writer) inputs(in Inputs) Inputs {
	out := lend(&wr.figures, len(in))
	copy(out, in)
	return out
}

// outcome is Pass within the limit and bad outside it.
func (l Limit) outcome(v float64, bad Outcome) Outcome {
	if l.AtLeast != nil && v < *l.AtLeast || l.AtMost != nil && v > *l.AtMost {
		return bad
	}
	return Pass
}

// siUnits are the units checks print, with the SI unit beside them.
func (wr *writer) withSI(c Check) Check {
	value, unit, err := calc.SI(c.Value, c.Unit)
	if err == nil && unit != c.Unit {
		c.SI = &lend(&wr.si, 1)[0]
		*c.SI = SI{Value: round(value, 2), Unit: unit}
	}
	return c
}

func (wr *writer) airDemandCheck(demand, displacementIn3, redlineRPM, volumetricEfficiency float64) Check {
	return wr.withSI(Check{
		ID: "air.demand", Outcome: Info, Value: round(demand, 1), Unit: "cfm",
		Formula: "displacement_in3 * redline_rpm * volumetric_efficiency / 3456",
		Inputs:  wr.inputs(Inputs{{"displacement_in3", displacementIn3}, {"redline_rpm", redlineRPM}, {"volumetric_efficiency", volumetricEfficiency}}),
		Source:  "Heywood, Internal Combustion Engine Fundamentals; Taylor, The Internal-Combustion Engine in Theory and Practice",
		Text:    wr.Sayf("The engine can draw %.0f cfm of air at %.0f rpm.", demand, redlineRPM),
	})
}

// airChecks: demand, size ratio and depression.
func (wr *writer) airChecks(out []Check, v *catalog.Vehicle, c *catalog.Carburetor, f *figures) []Check {
	ratio := Check{
		ID: "air.size_ratio", Value: round(f.SizeRatio, 3), Unit: "",
		Limit:   wr.between(0.95, 1.45),
		Formula: "flow_cfm * sqrt(1.5 / rated_at_inhg) / air_demand_cfm",
		Inputs:  wr.inputs(Inputs{{"flow_cfm", c.FlowCFM}, {"rated_at_inhg", c.RatedAtInHg}, {"air_demand_cfm", f.AirDemandCFM}}),
		Source:  "orifice law for restating the rating; the band 0.95 to 1.45 is " + commonPractice,
		Text:    wr.sizeText(calc.Verdict(f.SizeVerdict), f.SizeRatio),
	}
	switch calc.Verdict(f.SizeVerdict) {
	case calc.Suits:
		ratio.Outcome = Pass
	case calc.MarginalSmall, calc.MarginalLarge:
		ratio.Outcome = Warn
	default:
		ratio.Outcome = Fail
	}
	depression := Check{
		ID: "air.depression", Value: round(f.DepressionInHg, 2), Unit: "inHg",
		Limit:   wr.atMost(1.85),
		Formula: "rated_at_inhg * (air_demand_cfm / flow_cfm)^2",
		Inputs:  wr.inputs(Inputs{{"rated_at_inhg", c.RatedAtInHg}, {"air_demand_cfm", f.AirDemandCFM}, {"flow_cfm", c.FlowCFM}}),
		Source:  "orifice law, any fluid mechanics text; the limit is 1.5 inHg over 0.90 squared, " + commonPractice,
		Text:    wr.Sayf("Wide open at redline the manifold is expected at %.2f inHg below the air outside.", f.DepressionInHg),
	}
	depression.Outcome = depression.Limit.outcome(f.DepressionInHg, Warn)
	return append(out, wr.airDemandCheck(f.AirDemandCFM, v.Engine.DisplacementIn3, f.redlineRPM, f.volumetricEfficiency), ratio, wr.withSI(depression))
}

// altitudeChecks: air density, and the mixture with the jets as shipped or, when a
// metering set is in the kit, with its nearest pair.
func (wr *writer) altitudeChecks(out []Check, v *catalog.Vehicle, c *catalog.Carburetor, f *figures, set *catalog.Form) []Check {
	density := Check{
		ID: "altitude.density", Outcome: Info, Value: round(f.DensityRatio, 4), Unit: "",
		Formula: "density(altitude) / density(sea level)",
		Inputs:  wr.inputs(Inputs{{"altitude_ft", v.Site.AltitudeFt}, {"temperature_K", f.air.TemperatureK}, {"pressure_Pa", f.air.PressurePa}}),
		Source:  "ISO 2533 standard atmosphere",
		Text:    wr.Sayf("At %.0f ft the air has %.1f %% of its density at sea level.", v.Site.AltitudeFt, f.DensityRatio*100),
	}
	mixture := Check{
		ID: "altitude.mixture", Value: round(f.MixtureRichPercent, 1), Unit: "%", Limit: wr.between(-reJetPercent, reJetPercent),
		Formula: "(1 / sqrt(density_ratio) / ethanol_leans - 1) * 100",
		Inputs:  wr.inputs(Inputs{{"density_ratio", f.DensityRatio}, {"ethanol_leans", f.ethanolLeans}}),
		Source:  "Taylor, carburetor chapter; ethanol from densities and stoichiometric ratios, Heywood table D.4; jets as shipped for up to 10 % ethanol and a change of 3 % worth a jet are " + commonPractice,
	}
	if pair, ok := meteringPair(c, f, set); ok {
		mixture.Value = round(pair.ResidualPercent, 1)
		mixture.Formula = "(effective jet area chosen / (effective jet area as shipped * sqrt(density_ratio) * ethanol_leans) - 1) * 100"
		mixture.Inputs = wr.inputs(Inputs{{"density_ratio", f.DensityRatio}, {"ethanol_leans", f.ethanolLeans}, {"jet_in", pair.JetIn}, {"rod_in", pair.RodIn}, {"jet_as_shipped_in", c.Jets.MainIn}, {"rod_as_shipped_in", rodAsShipped(c)}})
		mixture.Text = wr.Sayf("As shipped it would run %s here; %s leaves %+.1f %%.", wr.richness(f.MixtureRichPercent, "rich", "lean"), wr.pairText(pair), pair.ResidualPercent)
		mixture.Outcome = mixture.Limit.outcome(pair.ResidualPercent, Warn)
		return append(out, density, mixture)
	}
	mixture.Outcome = mixture.Limit.outcome(f.MixtureRichPercent, Warn)
	mixture.Text = wr.Sayf("With the jets as shipped the mixture is %s than it should be.", wr.richness(f.MixtureRichPercent, "richer", "leaner"))
	return append(out, density, mixture)
}

// richness says by how much a mixture is off, and which way.
func (wr *writer) richness(percent float64, rich, lean string) string {
	if percent < 0 {
		return wr.Sayf("%.1f %% %s", -percent, lean)
	}
	return wr.Sayf("%.1f %% %s", percent, rich)
}

// rodAsShipped is the cruise rod of a carburetor, 0 for none.
func rodAsShipped(c *catalog.Carburetor) float64 {
	if c.Jets.RodCruiseIn == nil {
		return 0
	}
	return *c.Jets.RodCruiseIn
}

// meteringPair is the jet and rod of a metering set that come nearest to the right
// mixture at the site, with its fuel.
func meteringPair(c *catalog.Carburetor, f *figures, set *catalog.Form) (calc.MeteringPair, bool) {
	if set == nil {
		return calc.MeteringPair{}, false
	}
	rod := rodAsShipped(c)
	asShipped, err := calc.JetAreaIn2(c.Jets.MainIn, rod)
	if err != nil {
		return calc.MeteringPair{}, false
	}
	jets, _ := set.Attr("jets_in")
	rods, _ := set.Attr("rods_in")
	rodsIn := rods.Value.Numbers
	if rod == 0 {
		rodsIn = nil // this carburetor has no rods, whatever the set holds for its sisters
	}
	pair, err := calc.NearestPair(jets.Value.Numbers, rodsIn, asShipped*f.JetAreaScale)
	return pair, err == nil
}

func (wr *writer) pairText(p calc.MeteringPair) string {
	if p.RodIn == 0 {
		return wr.Sayf("main jet %.3f", p.JetIn)
	}
	return wr.Sayf("main jet %.3f with rod %.3f", p.JetIn, p.RodIn)
}

// chokeChecks: voltage drop and fuse of an electric choke's feed.
func (wr *writer) chokeChecks(out []Check, v *catalog.Vehicle, f *figures, wire *catalog.Form) []Check {
	limit := v.Electrical.NominalVolts * maxChokeDropFraction
	drop := Check{
		ID: "choke.voltage_drop", Outcome: Fail, Unit: "V", Limit: wr.atMost(limit),
		Formula: "amps_cold * ohm_per_m(awg) * 2 * length",
		Inputs:  wr.inputs(Inputs{{"amps_cold", f.ChokeAmps}, {"length_ft", v.Electrical.ChokeFeedLengthFt}, {"nominal_volts", v.Electrical.NominalVolts}}),
		Source:  "Ohm's law; ASTM B258 and IEC 60028 for copper; 3 % is " + commonPractice,
		Text:    f.wireProblem,
	}
	awg := f.wire.AWG
	if wire != nil {
		awg = int(wire.Num("awg"))
	}
	if awg > 0 {
		volts, err := calc.VoltageDrop(f.ChokeAmps, v.Electrical.ChokeFeedLengthFt, awg)
		if err == nil {
			drop.Value = round(volts, 3)
			drop.Outcome = drop.Limit.outcome(volts, Fail)
			drop.Inputs = append(drop.Inputs, Input{"awg", float64(awg)})
			drop.Text = wr.Sayf("AWG %d out and back over %g ft loses %.2f V of %g V (%.1f %%) when the choke is cold.",
				awg, v.Electrical.ChokeFeedLengthFt, volts, v.Electrical.NominalVolts, volts/v.Electrical.NominalVolts*100)
		}
	}
	fuse := Check{
		ID: "choke.fuse", Outcome: Info, Value: f.ChokeFuseA, Unit: "A", Limit: wr.atLeast(f.ChokeAmps * 1.25),
		Formula: "amps_cold * 1.25, rounded up to a standard rating",
		Inputs:  wr.inputs(Inputs{{"amps_cold", f.ChokeAmps}}),
		Source:  "ISO 8820-3 ratings; 125 % is " + commonPractice,
		Text:    wr.Sayf("Fuse the choke feed at %g A, switched with the ignition and never taken from the coil's primary.", f.ChokeFuseA),
	}
	return append(out, drop, fuse)
}

// filterDropPSI scales a filter's stated drop with the square of the flow.
func filterDropPSI(f *catalog.Form, flowGPH float64) float64 {
	rated := f.Num("rated_flow_gph")
	if rated == 0 {
		return 0
	}
	share := flowGPH / rated
	return f.Num("drop_psi_at_rated_flow") * share * share
}

// outletName is the input of a check that says what a regulator is set to.
const outletName = "outlet_psi"

// fuelChecks: demand, loss along the path chosen (or the vehicle's line when there is
// none), pressure at the inlet and what the float valve passes.
func (wr *writer) fuelChecks(out []Check, v *catalog.Vehicle, c *catalog.Carburetor, f *figures, path *fit.PathOption, pump *catalog.Part) []Check {
	demand := Check{
		ID: "fuel.demand", Outcome: Info, Value: round(f.FuelDemandGPH, 1), Unit: "gph",
		Formula: "air_demand_cfm * air_density / air_fuel_ratio / fuel_density",
		Inputs:  wr.inputs(Inputs{{"air_demand_cfm", f.AirDemandCFM}, {"air_density_kg_m3", calc.SeaLevelDensityKgM3}, {"air_fuel_ratio", f.fuel.FullPowerAirFuel}, {"fuel_density_kg_m3", f.fuel.DensityKgM3}, {"fuel_lb_per_h", f.fuelLbPerH}}),
		Source:  "conservation of mass at sea-level density; full power at 12.5:1 on petrol is " + commonPractice,
		Text:    wr.Sayf("At redline and full throttle the engine burns %.1f gal/h.", f.FuelDemandGPH),
	}
	switch {
	case pump != nil:
		demand.Limit = wr.atMost(pump.Num("free_flow_gph"))
		demand.Outcome = demand.Limit.outcome(f.FuelDemandGPH, Warn)
		demand.Text = wr.Sayf("%s The new pump %s delivers %.0f gal/h into an open can.", demand.Text, pump.SKU, pump.Num("free_flow_gph"))
	case f.PumpFlowKnown:
		demand.Limit = wr.atMost(*v.Fuel.FreeFlowGPH)
		demand.Outcome = demand.Limit.outcome(f.FuelDemandGPH, Warn)
		demand.Text = wr.Sayf("%s The pump delivers %.0f gal/h into an open can.", demand.Text, *v.Fuel.FreeFlowGPH)
	}

	boreIn, fittings, drop := f.lineBoreIn, 0, 0.0
	pressure, regulated := v.Fuel.PressurePSI, false
	if pump != nil {
		pressure = pump.Num("pressure_psi")
	}
	pumpPSI := pressure
	lowestPSI, highestPSI := 0.0, c.MaxFuelPSI // that a regulator can be set to
	if path != nil {
		if !math.IsInf(path.HoseBoreIn, 0) {
			boreIn = path.HoseBoreIn
		}
		for _, s := range path.Steps {
			switch s.Need {
			case "fuel.fittings", "fuel.inlet_fitting":
				fittings++
			case "fuel.filter":
				drop += filterDropPSI(s.Part.Form, f.FuelDemandGPH)
			case "fuel.pressure_regulator":
				if nobodySells(s.Part) {
					continue
				}
				regulated = true
				if most := s.Part.Num("outlet_max_psi"); most > 0 { // the owner's regulator states none
					lowestPSI, highestPSI = s.Part.Num("outlet_min_psi"), min(highestPSI, most)
				}
			}
		}
	}
	var w work
	line := w.take(lineLossPSI(f.FuelDemandGPH, boreIn, v.Fuel.RunLengthIn, f.fuel.DensityKgM3))
	minor := w.take(fittingLossPSI(f.FuelDemandGPH, boreIn, fittings, f.fuel.DensityKgM3))
	total := line + minor + drop
	loss := wr.withSI(Check{
		ID: "fuel.line_loss", Value: round(total, 3), Unit: "psi", Limit: wr.atMost(1),
		Formula: "darcy_f * length/bore * fuel_density*velocity^2/2 + K * fuel_density*velocity^2/2 + filter_drop * (flow/rated_flow)^2",
		Inputs:  wr.inputs(Inputs{{"flow_gph", f.FuelDemandGPH}, {"bore_in", boreIn}, {"length_in", v.Fuel.RunLengthIn}, {"fuel_density_kg_m3", f.fuel.DensityKgM3}, {"fittings", float64(fittings)}, {"friction_psi", line}, {"fittings_psi", minor}, {"filter_psi", drop}}),
		Source:  "Darcy-Weisbach with Colebrook friction, laminar below Re 2300; K 0.9 a fitting (White, Fluid Mechanics, from memory); 1 psi is " + commonPractice,
		Text:    wr.Sayf("Hose, fittings and filter take %.2f psi at full demand.", total),
	})
	loss.Outcome = loss.Limit.outcome(total, Warn)

	// A regulator is set below the limit, nearer only where the float valve is fed by that.
	setPSI := c.MaxFuelPSI - regulatorMarginPSI
	fed := max(f.LeastPressurePSI, f.needleSeatPSI) + total
	if fed = math.Ceil(fed*10) / 10; fed <= highestPSI {
		setPSI = max(setPSI, fed)
	}
	setPSI = min(max(lowestPSI, setPSI), highestPSI, pumpPSI)
	switch {
	case regulated:
		pressure = setPSI
	case pressure > c.MaxFuelPSI:
		pressure = c.MaxFuelPSI
	}
	delivered := pressure - total
	inlet := wr.withSI(Check{
		ID: "fuel.delivered_pressure", Value: round(delivered, 2), Unit: "psi", Limit: wr.between(f.LeastPressurePSI, c.MaxFuelPSI),
		Formula: "min(pump_pressure_psi, outlet_psi when regulated) - line_loss_psi",
		Inputs:  wr.inputs(Inputs{{"pump_pressure_psi", pumpPSI}, {"line_loss_psi", total}}),
		Source:  "the carburetor's stated limit; 3 psi at the inlet, less under a limit below 3.5 psi, is " + commonPractice,
		Text:    wr.Sayf("About %.1f psi reaches the inlet at full demand; the carburetor takes up to %g psi.", max(0, delivered), c.MaxFuelPSI),
	})
	inlet.Outcome = inlet.Limit.outcome(delivered, Warn)
	if regulated {
		inlet.Inputs = append(inlet.Inputs, Input{outletName, setPSI})
	}
	if pumpPSI > c.MaxFuelPSI && !regulated {
		inlet.Value, inlet.Outcome = pumpPSI, Fail
		inlet.Text = wr.Sayf("The pump makes %g psi, the carburetor takes %g psi: without a regulator it floods, and fuel on a hot engine burns.", pumpPSI, c.MaxFuelPSI)
		inlet = wr.withSI(inlet)
	}

	valve := w.take(calc.NeedleSeatGPH(c.NeedleSeatIn, max(0, delivered), calc.SharpOrificeCd, f.fuel.DensityKgM3))
	float := wr.withSI(Check{
		ID: "fuel.float_valve", Value: round(valve, 1), Unit: "gph", Limit: wr.atLeast(round(f.FuelDemandGPH, 1)),
		Formula: "Cd * seat_area * sqrt(2 * delivered_pressure / fuel_density)",
		Inputs:  wr.inputs(Inputs{{"needle_seat_in", c.NeedleSeatIn}, {"delivered_psi", max(0, delivered)}, {"fuel_density_kg_m3", f.fuel.DensityKgM3}, {"Cd", calc.SharpOrificeCd}}),
		Source:  "orifice equation, as ISO 5167-2 without approach velocity; Cd 0.62, textbook value from memory",
		Text:    wr.Sayf("The open float valve passes %.0f gal/h, the engine burns %.0f.", valve, f.FuelDemandGPH),
	})
	if float.Outcome = Pass; valve < f.FuelDemandGPH {
		float.Outcome = Warn
	}
	return append(out, wr.withSI(demand), loss, inlet, float)
}

// fittingK is the loss coefficient taken for each fitting. White, Fluid Mechanics:
// 0.9 to 1.5 for threaded elbows, less for unions; from memory.
const fittingK = 0.9

func fittingLossPSI(flowGPH, boreIn float64, fittings int, densityKgM3 float64) (float64, error) {
	bore := calc.InToM(boreIn)
	velocity := calc.GPHToM3PerS(flowGPH) / (math.Pi / 4 * bore * bore)
	pa, err := calc.MinorLossPa(fittingK*float64(fittings), densityKgM3, velocity)
	return calc.PaToPSI(pa), err
}

// inputName makes the name of an input of words.
var inputName = strings.NewReplacer(" ", "_", "-", "_")

// stackChecks: height under the hood and length of the studs, for the stack chosen or
// for the lowest when none fits.
func (wr *writer) stackChecks(out []Check, v *catalog.Vehicle, sel *selection, f *figures, gap *fit.Gap, studsHad bool) []Check {
	total, studNeeded := f.StackShortestIn, f.StudNeededIn
	text := ""
	var layers, clamped Inputs
	if stack := sel.stack(); stack != nil {
		total, studNeeded = stack.TotalIn, stack.StudNeededIn
		clamped = Inputs{{"clamped_in", stack.ClampedIn}, {"washer_nut_and_diameter_in", studNeeded - stack.ClampedIn}}
		layers = lend(&wr.figures, len(stack.Layers))
		for i, l := range stack.Layers {
			layers[i] = Input{inputName.Replace(l.Item) + "_in", l.HeightIn}
		}
	} else if gap != nil {
		text = upperFirst(gap.Text) + "."
	}
	margin := v.Intake.HoodClearanceIn - total
	height := wr.withSI(Check{
		ID: "stack.height", Value: round(total, 3), Unit: "in", Limit: wr.atMost(v.Intake.HoodClearanceIn - fit.HoodMarginIn),
		Formula: "sum of gaskets, plates, carburetor and air cleaner above the manifold flange",
		Inputs:  wr.inputs(append(layers, Inputs{{"hood_clearance_in", v.Intake.HoodClearanceIn}, {"margin_in", margin}, {"margin_wanted_in", fit.HoodMarginIn}}...)),
		Source:  "arithmetic; half an inch for engine movement is " + commonPractice,
		Text:    wr.Sayf("The stack stands %.2f in high and leaves %.2f in under the hood.", total, margin),
	})
	height.Outcome = height.Limit.outcome(total-fit.RoundingIn, Fail)
	studs := wr.withSI(Check{
		ID: "stack.stud_length", Unit: "in", Limit: wr.atLeast(studNeeded),
		Formula: "clamped height + washer + nut height + one diameter",
		Inputs:  wr.inputs(append(clamped, Input{"stud_needed_in", studNeeded})),
		Source:  "nut heights ASME B18.2.2; one diameter of engagement is " + commonPractice,
	})
	switch p := sel.part("mount.studs"); {
	case p != nil:
		studs.Value = p.LengthIn
		studs.Text = wr.Sayf("The new studs stand %g in, %.2f in are needed.", p.LengthIn, studNeeded)
	case studsHad:
		studs.Outcome = Warn
		studs.Text = wr.Sayf("The studs are the owner's: measure them, %.2f in are needed.", studNeeded)
	case v.Intake.StudLengthIn != nil:
		studs.Value = *v.Intake.StudLengthIn
		studs.Text = wr.Sayf("The vehicle's studs stand %g in, %.2f in are needed.", studs.Value, studNeeded)
	default:
		studs.Outcome = Warn
		studs.Text = wr.Sayf("The length of the vehicle's studs is unknown; %.2f in are needed.", studNeeded)
	}
	if studs.Outcome == "" {
		studs.Outcome = studs.Limit.outcome(studs.Value+fit.RoundingIn, Fail)
	}
	if text != "" {
		height.Text = text
	}
	return append(out, height, wr.withSI(studs))
}

// travelChecks: pedal against lever, and the transmission's cable against its lever or
// the geometry lever in the kit.
func (wr *writer) travelChecks(out []Check, v *catalog.Vehicle, c *catalog.Carburetor, t fit.TravelPlan, lever *catalog.Part, leverHad bool) []Check {
	throttle := wr.withSI(Check{
		ID: "throttle.travel", Outcome: Pass, Value: round(v.Throttle.PedalTravelIn, 3), Unit: "in",
		Limit:   wr.between(round(t.ThrottleTravelIn, 3), round(t.ThrottleTravelIn*(1+fit.PedalOvertravel), 3)),
		Formula: "2 * cable_radius_in * sin(swing_deg / 2)",
		Inputs:  wr.inputs(Inputs{{"cable_radius_in", c.Throttle.CableRadiusIn}, {"swing_deg", c.Throttle.SwingDeg}, {"lever_travel_in", t.ThrottleTravelIn}}),
		Source:  "chord of a circle; 15 % of overtravel is " + commonPractice,
		Text:    wr.Sayf("The lever needs %.2f in, the pedal gives %.2f in.", t.ThrottleTravelIn, v.Throttle.PedalTravelIn),
	})
	switch t.Pedal {
	case calc.TravelShort:
		throttle.Outcome = Warn
		throttle.Text += " The throttle will not open fully: use a hole nearer the shaft or adjust the linkage."
	case calc.TravelOver:
		throttle.Outcome = Warn
		throttle.Text += " Set a pedal stop, or the cable strains the lever at wide open."
	}
	out = append(out, throttle)
	downshift := v.Transmission.Downshift
	if downshift != catalog.ThrottleValveCable && downshift != catalog.DetentCable {
		return out
	}
	cable := Check{
		ID: "transmission.cable_travel", Value: round(t.TransmissionTravelIn, 3), Unit: "in",
		Formula: "2 * transmission_radius_in * sin(swing_deg / 2)",
		Inputs:  wr.inputs(Inputs{{"swing_deg", c.Throttle.SwingDeg}}),
		Source:  "chord of a circle; 1/16 in of tolerance is " + commonPractice,
	}
	if c.Throttle.TransmissionRadiusIn != nil {
		cable.Inputs = append(cable.Inputs, Input{"transmission_radius_in", *c.Throttle.TransmissionRadiusIn})
	}
	if want := v.Transmission.CableTravelIn; want != nil {
		cable.Limit = wr.between(*want-fit.CableToleranceIn, *want+fit.CableToleranceIn)
		cable.Inputs = append(cable.Inputs, Input{"cable_travel_in", *want})
	}
	switch {
	case lever != nil && v.Transmission.CableTravelIn != nil:
		radius := lever.Num("radius_in")
		travel, err := calc.ChordTravelIn(radius, c.Throttle.SwingDeg)
		if err == nil {
			cable.Value = round(travel, 3)
			cable.Formula = "2 * geometry_radius_in * sin(swing_deg / 2)"
			cable.Inputs = append(cable.Inputs, Input{"geometry_radius_in", radius})
			cable.Outcome = cable.Limit.outcome(travel, Fail)
			cable.Text = wr.Sayf("With geometry lever %s the cable travels %.2f in of its %.2f in. Check line pressure before driving.", lever.SKU, travel, *v.Transmission.CableTravelIn)
		}
	case leverHad && v.Transmission.CableTravelIn != nil:
		cable.Outcome = Warn
		cable.Text = wr.Sayf("The geometry lever is the owner's: with it the cable must travel %.2f in, where the carburetor's own lever gives %.2f in; %s.", *v.Transmission.CableTravelIn, t.TransmissionTravelIn, outOfTravel(downshift))
	case !t.CableTravelKnown:
		cable.Outcome = Fail
		cable.Text = wr.Sayf("The cable's travel or the lever's radius is unknown, so full travel at wide open cannot be shown: measure before driving; %s.", outOfTravel(downshift))
	case t.CableTravelOK:
		cable.Outcome = Pass
		cable.Text = wr.Sayf("The lever moves the cable %.2f in of its %.2f in.", t.TransmissionTravelIn, *v.Transmission.CableTravelIn)
	default:
		cable.Outcome = Fail
		end := "the cable is not pulled all the way at wide open"
		if t.TransmissionTravelIn > *v.Transmission.CableTravelIn {
			end = "the cable is at its end before the throttle is wide open, and holds it back"
		}
		cable.Text = wr.Sayf("The lever moves the cable %.2f in where it needs %.2f in: %s. %s; do not drive before lever or bracket give it its travel.", t.TransmissionTravelIn, *v.Transmission.CableTravelIn, end, upperFirst(outOfTravel(downshift)))
	}
	return append(out, wr.withSI(cable))
}

// outOfTravel says what a downshift cable of wrong travel does.
func outOfTravel(d catalog.Downshift) string {
	if d == catalog.ThrottleValveCable {
		return "a throttle-valve cable out of travel gives the wrong line pressure and burns clutches"
	}
	return "a detent cable out of travel shifts down too early or not at all"
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
