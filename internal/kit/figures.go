package kit

import (
	"fmt"

	"onetrip/internal/calc"
	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/rules"
)

// Limits the checks hold figures against. Common practice, no source, except where
// a check names one.
const (
	maxChokeDropFraction = 0.03 // of nominal volts
	minDeliveredPSI      = 3.0
	regulatorMarginPSI   = 0.5   // that a regulator is set below the carburetor's limit
	fuelLineWallIn       = 0.028 // wall of the steel line, to get its bore from its outside diameter
	reJetPercent         = 3.0   // mixture error worth a jet change
	asSoldEthanolPercent = 10.0  // that petrol may hold for which jets as shipped are right
	fittingsAndFilterPSI = 0.3   // that these take before they are chosen
)

// figures are all numbers that follow from vehicle and carburetor alone: those the
// rules may read, and what the checks print beside them.
type figures struct {
	rules.Calc

	redlineRPM, volumetricEfficiency float64
	bandLowCFM, bandHighCFM          float64
	restatedCFM                      float64
	air                              calc.Air
	fuel                             calc.Blend
	ethanolLeans                     float64 // times, beyond what the jets as shipped are for
	fuelLbPerH                       float64
	lineLossPSI                      float64
	needleSeatPSI                    float64 // at which the float valve passes the demand
	lineBoreIn                       float64
	wire                             calc.WireChoice
	wireProblem                      string
}

// compute works the figures out. It fails only on numbers that no vehicle or
// carburetor accepted by validation has.
func compute(s *Snapshot, v *catalog.Vehicle, c *catalog.Carburetor) (*figures, error) {
	f := &figures{}
	var w work
	f.volumetricEfficiency, f.redlineRPM = engineSpeed(v)

	f.AirDemandCFM = w.take(calc.AirDemandCFM(v.Engine.DisplacementIn3, f.redlineRPM, f.volumetricEfficiency))
	f.SizeRatio = w.take(calc.FlowRatio(c.FlowCFM, c.RatedAtInHg, f.AirDemandCFM))
	f.SizeVerdict = string(calc.SizeVerdict(f.SizeRatio))
	f.DepressionInHg = w.take(calc.DepressionInHg(c.RatedAtInHg, f.AirDemandCFM, c.FlowCFM))
	f.restatedCFM = w.take(calc.RestateFlowCFM(c.FlowCFM, c.RatedAtInHg, calc.ComparisonInHg))
	f.bandLowCFM, f.bandHighCFM = w.take2(calc.SuitableBandCFM(f.AirDemandCFM))

	var err error
	if f.air, err = calc.StandardAtmosphere(v.Site.AltitudeFt); err != nil {
		return nil, err
	}
	f.DensityRatio = f.air.DensityRatio
	if f.fuel, err = calc.BlendOf(v.Fuel.EthanolPercent); err != nil {
		return nil, err
	}
	jetsFor, err := calc.BlendOf(min(v.Fuel.EthanolPercent, asSoldEthanolPercent))
	if err != nil {
		return nil, err
	}
	f.EthanolLeanPercent = (1 - 1/f.fuel.Leaner) * 100
	f.ethanolLeans = f.fuel.Leaner / jetsFor.Leaner
	f.MixtureRichPercent = (w.take(calc.MixtureEnrichment(f.DensityRatio))/f.ethanolLeans - 1) * 100
	f.JetAreaScale = w.take(calc.JetAreaScale(f.DensityRatio)) * f.ethanolLeans

	f.fuelLbPerH = w.take(calc.FuelDemandLbPerH(f.AirDemandCFM, calc.SeaLevelDensityKgM3, f.fuel.FullPowerAirFuel))
	f.FuelDemandGPH = w.take(calc.FuelGPH(f.fuelLbPerH, f.fuel.DensityKgM3))
	f.lineBoreIn = lineBoreIn(v.Fuel)
	f.lineLossPSI = w.take(lineLossPSI(f.FuelDemandGPH, f.lineBoreIn, v.Fuel.RunLengthIn, f.fuel.DensityKgM3))
	f.LeastPressurePSI = min(minDeliveredPSI, c.MaxFuelPSI-regulatorMarginPSI)
	f.DeliveredPressurePSI = v.Fuel.PressurePSI - f.lineLossPSI
	inletPSI := max(0, min(f.DeliveredPressurePSI, c.MaxFuelPSI))
	f.FloatValveGPH = w.take(calc.NeedleSeatGPH(c.NeedleSeatIn, inletPSI, calc.SharpOrificeCd, f.fuel.DensityKgM3))
	f.needleSeatPSI = w.take(calc.NeedleSeatPSI(c.NeedleSeatIn, f.FuelDemandGPH, calc.SharpOrificeCd, f.fuel.DensityKgM3))
	f.FloatValvePSI = f.needleSeatPSI + f.lineLossPSI + fittingsAndFilterPSI
	if v.Fuel.FreeFlowGPH != nil {
		f.PumpFlowKnown = true
		f.PumpFlowShort = *v.Fuel.FreeFlowGPH < f.FuelDemandGPH
	}
	if w.err != nil {
		return nil, w.err
	}
	if c.Choke.Kind == catalog.ChokeElectric {
		f.chokeCircuit(s, v, c)
	}
	return f, nil
}

// chokeCircuit picks the thinnest stocked wire for the cold draw.
func (f *figures) chokeCircuit(s *Snapshot, v *catalog.Vehicle, c *catalog.Carburetor) {
	f.ChokeAmps = c.Choke.AmpsCold
	f.ChokeWireIn = v.Electrical.ChokeFeedLengthFt * 12
	if amps, err := calc.FuseAmps(f.ChokeAmps); err == nil {
		f.ChokeFuseA = amps
	}
	wire, err := calc.SmallestWireAWG(f.ChokeAmps, v.Electrical.ChokeFeedLengthFt, v.Electrical.NominalVolts, maxChokeDropFraction, s.wireGauges)
	if err != nil {
		f.wireProblem = err.Error()
		return
	}
	f.wire = wire
	f.ChokeWireAWG = float64(wire.AWG)
}

// engineSpeed is the volumetric efficiency and redline given, or those of the tune.
func engineSpeed(v *catalog.Vehicle) (volumetricEfficiency, redlineRPM float64) {
	volumetricEfficiency, redlineRPM, _ = calc.TuneDefaults(string(v.Engine.Tune))
	if v.Engine.VolumetricEfficiency != nil {
		volumetricEfficiency = *v.Engine.VolumetricEfficiency
	}
	if v.Engine.RedlineRPM != nil {
		redlineRPM = *v.Engine.RedlineRPM
	}
	return volumetricEfficiency, redlineRPM
}

// lineBoreIn is the inside diameter of the supply: a hose is named by its bore, a
// tube by its outside diameter.
func lineBoreIn(f catalog.Fuel) float64 {
	if f.LineEnd == catalog.Hose || f.LineEnd == catalog.HoseBarb {
		return f.LineODIn.Inches()
	}
	return f.LineODIn.Inches() - 2*fuelLineWallIn
}

// lineLossPSI takes the viscosity of petrol. Ethanol's is twice that, which adds some
// hundredths of a psi in lines that are large enough.
func lineLossPSI(flowGPH, boreIn, lengthIn, densityKgM3 float64) (float64, error) {
	flow, err := calc.LineLoss(calc.Line{
		FlowM3PerS: calc.GPHToM3PerS(flowGPH), InsideDiameterM: calc.InToM(boreIn), LengthM: calc.InToM(lengthIn),
		DensityKgM3: densityKgM3, ViscosityPaS: calc.PetrolViscosityPaS, RoughnessM: calc.DrawnTubeRoughnessM,
	})
	return calc.PaToPSI(flow.LossPa), err
}

// work collects the first error of a row of computations.
type work struct{ err error }

func (w *work) take(value float64, err error) float64 {
	if err != nil && w.err == nil {
		w.err = fmt.Errorf("computation refused its input: %w", err)
	}
	return value
}

func (w *work) take2(a, b float64, err error) (float64, float64) {
	return w.take(a, err), b
}

func (f *figures) addTravel(t fit.TravelPlan) {
	f.ThrottleTravelIn, f.PedalTravel = t.ThrottleTravelIn, string(t.Pedal)
	f.CableTravelKnown = t.CableTravelKnown
	f.CableTravelOK = t.CableTravelOK
	f.TransmissionTravelIn = t.TransmissionTravelIn
	f.TransmissionRadiusIn = t.TransmissionRadiusIn
}

func (f *figures) addVacuum(p fit.VacuumPlan) {
	for _, h := range p.Hoses {
		f.Hoses = append(f.Hoses, rules.HoseRun{Use: h.Use, BoreIn: h.Bore.Inches(), LengthIn: h.LengthIn})
	}
	counts := func(list []fit.SizeCount) (out []rules.SizeCount) {
		for _, c := range list {
			out = append(out, rules.SizeCount{SizeIn: c.Size.Inches(), Count: c.Count})
		}
		return out
	}
	pairs := func(list []fit.SizePair) (out []rules.SizePair) {
		for _, c := range list {
			out = append(out, rules.SizePair{LargeIn: c.Large.Inches(), SmallIn: c.Small.Inches(), Count: c.Count})
		}
		return out
	}
	f.Caps, f.Plugs = counts(p.Caps), counts(p.Plugs)
	f.Tees, f.Reducers, f.Nipples = pairs(p.Tees), pairs(p.Reducers), pairs(p.Nipples)
	for _, u := range p.Unassigned {
		f.Unassigned = append(f.Unassigned, u.Use)
	}
}

func (f *figures) addStack(s fit.StackFigures) {
	f.StackTallestIn, f.StackShortestIn = s.TallestIn, s.ShortestIn
	f.HoodMarginIn, f.BareHoodMarginIn = s.HoodMarginIn, s.BareHoodMarginIn
	f.StudNeededIn, f.StudsSuffice, f.AirStudNeededIn = s.StudNeededIn, s.StudsSuffice, s.AirStudNeededIn
}
