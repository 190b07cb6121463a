// Package catalog has the nouns of the trade (vehicle, carburetor, part, bundle)
// and Snapshot, the immutable, indexed state of the catalogue at one revision.
// It imports nothing of ours but units.
package catalog

import (
	"fmt"

	"onetrip/internal/units"
)

// Enumerations of the contract. Each named type is one enum of openapi.yaml.
type (
	Tune             string
	Flange           string
	ThrottleKind     string
	LinkEnd          string
	BracketOn        string
	TransmissionKind string
	Downshift        string
	PumpKind         string
	Advance          string
	ChokeKind        string
	Signal           string
	PortLocation     string
	Facing           string
	Finish           string
)

// Values of the enumerations.
const (
	TuneStock  Tune = "stock"
	TuneMild   Tune = "mild"
	TuneStrong Tune = "strong"
	TuneRace   Tune = "race"

	SquareBore   Flange = "square_bore"
	SpreadBore   Flange = "spread_bore"
	TwoBoreLarge Flange = "two_bore_large"
	TwoBoreSmall Flange = "two_bore_small"

	ThrottleCable ThrottleKind = "cable"
	ThrottleRod   ThrottleKind = "rod"

	EndBall   LinkEnd = "ball"
	EndEyelet LinkEnd = "eyelet"
	EndClevis LinkEnd = "clevis"
	EndPin    LinkEnd = "pin"

	BracketOnCarburetor BracketOn = "carburetor"
	BracketOnManifold   BracketOn = "manifold"
	BracketOnFirewall   BracketOn = "firewall"

	Manual    TransmissionKind = "manual"
	Automatic TransmissionKind = "automatic"

	DownshiftNone      Downshift = "none"
	VacuumModulator    Downshift = "vacuum_modulator"
	DetentCable        Downshift = "detent_cable"
	KickdownRod        Downshift = "kickdown_rod"
	ThrottleValveCable Downshift = "throttle_valve_cable"
	ElectricSwitch     Downshift = "electric_switch"

	PumpMechanical PumpKind = "mechanical"
	PumpElectric   PumpKind = "electric"

	AdvanceNone     Advance = "none"
	AdvancePorted   Advance = "ported"
	AdvanceManifold Advance = "manifold"

	ChokeElectric ChokeKind = "electric"
	ChokeManual   ChokeKind = "manual"
	ChokeDivorced ChokeKind = "divorced"
	ChokeNone     ChokeKind = "none"

	SignalPorted   Signal = "ported"
	SignalManifold Signal = "manifold"

	LocationFront     PortLocation = "front"
	LocationRear      PortLocation = "rear"
	LocationDriver    PortLocation = "driver"
	LocationPassenger PortLocation = "passenger"

	FacingFront     Facing = "front"
	FacingRear      Facing = "rear"
	FacingDriver    Facing = "driver"
	FacingPassenger Facing = "passenger"

	FinishPlain   Finish = "plain"
	FinishBright  Finish = "bright"
	FinishBraided Finish = "braided"
)

// Vehicle is one described car. Pointer fields may be unknown: the answer then
// asks for them and never assumes a value that would hide a safety matter.
type Vehicle struct {
	ID    string `json:"id,omitempty"`
	Make  string `json:"make,omitempty"`
	Model string `json:"model,omitempty"`
	Year  int    `json:"year,omitempty"`

	Engine       Engine       `json:"engine"`
	Intake       Intake       `json:"intake"`
	Throttle     Throttle     `json:"throttle"`
	Transmission Transmission `json:"transmission"`
	Fuel         Fuel         `json:"fuel"`
	Ignition     Ignition     `json:"ignition"`
	Accessories  Accessories  `json:"accessories"`
	Electrical   Electrical   `json:"electrical"`
	AirCleaner   AirCleaner   `json:"air_cleaner"`
	Site         Site         `json:"site"`
	Road         Road         `json:"road"`
}

// Engine: displacement in cubic inches, speeds in rpm, vacuum in inHg.
// VolumetricEfficiency is a ratio (0.85, not 85 %).
type Engine struct {
	DisplacementIn3      float64  `json:"displacement_in3"`
	Cylinders            int      `json:"cylinders"`
	Tune                 Tune     `json:"tune"`
	RedlineRPM           *float64 `json:"redline_rpm,omitempty"`
	VolumetricEfficiency *float64 `json:"volumetric_efficiency,omitempty"`
	IdleVacuumInHg       *float64 `json:"idle_vacuum_inhg,omitempty"`
}

// Intake is the manifold: HoodClearanceIn is from its flange to the underside of
// the hood, StudLengthIn the free length of the studs above the flange.
type Intake struct {
	Flange          Flange        `json:"flange"`
	HoodClearanceIn float64       `json:"hood_clearance_in"`
	StudLengthIn    *float64      `json:"stud_length_in,omitempty"`
	StudThread      *units.Thread `json:"stud_thread,omitempty"`
}

// Throttle is the linkage from the pedal; PedalTravelIn is the travel of the
// cable or rod end from idle to the pedal's stop.
type Throttle struct {
	Kind          ThrottleKind `json:"kind"`
	End           LinkEnd      `json:"end"`
	BracketOn     BracketOn    `json:"bracket_on"`
	PedalTravelIn float64      `json:"pedal_travel_in"`
}

// Transmission: CableTravelIn is the full travel of a throttle-valve or detent
// cable, closed to full.
type Transmission struct {
	Kind          TransmissionKind `json:"kind"`
	Downshift     Downshift        `json:"downshift"`
	CableTravelIn *float64         `json:"cable_travel_in,omitempty"`
}

// Fuel is the supply as it ends in the engine bay: LineEnd is the family of the
// end of the supply line, LineODIn its size, RunLengthIn the distance from there
// to the carburetor inlet.
type Fuel struct {
	Pump           PumpKind   `json:"pump"`
	PressurePSI    float64    `json:"pressure_psi"`
	FreeFlowGPH    *float64   `json:"free_flow_gph,omitempty"`
	LineODIn       units.Size `json:"line_od_in"`
	LineEnd        Family     `json:"line_end"`
	RunLengthIn    float64    `json:"run_length_in"`
	ReturnLine     bool       `json:"return_line"`
	EthanolPercent float64    `json:"ethanol_percent"`
}

// Ignition: where the distributor's vacuum advance takes its signal.
type Ignition struct {
	Advance Advance `json:"advance"`
}

// Accessories are the users of vacuum and of idle control.
type Accessories struct {
	AirConditioning  bool  `json:"air_conditioning"`
	IdleStopSolenoid bool  `json:"idle_stop_solenoid"`
	PowerBrakes      bool  `json:"power_brakes"`
	PCV              bool  `json:"pcv"`
	CanisterPurge    *bool `json:"canister_purge,omitempty"`
	EGR              *bool `json:"egr,omitempty"`
	CruiseControl    *bool `json:"cruise_control,omitempty"`
}

// Electrical: ChokeFeedLengthFt is one way, switched supply to choke.
type Electrical struct {
	NominalVolts      float64 `json:"nominal_volts"`
	NegativeGround    bool    `json:"negative_ground"`
	ChokeFeedLengthFt float64 `json:"choke_feed_length_ft"`
}

// AirCleaner is the one on the vehicle: the neck it fits and its height above
// the carburetor's air horn.
type AirCleaner struct {
	NeckIn     float64       `json:"neck_in"`
	HeightIn   float64       `json:"height_in"`
	StudThread *units.Thread `json:"stud_thread,omitempty"`
}

// Site is where the vehicle is driven.
type Site struct {
	AltitudeFt float64 `json:"altitude_ft"`
}

// Road use, for what may lawfully be fitted.
type Road struct {
	OnRoad              bool `json:"on_road"`
	EmissionsControlled bool `json:"emissions_controlled"`
}

// SupplyEnd is the end of the vehicle's supply line as an End. A 45 degree flared
// line carries a male nut, a 37 degree one a female nut, a pipe fitting a male thread.
func (f Fuel) SupplyEnd() (End, error) {
	gender := Neutral
	switch f.LineEnd {
	case InvertedFlare, NPT:
		gender = Male
	case ANFlare:
		gender = Female
	}
	if f.LineODIn.IsZero() {
		return End{}, fmt.Errorf("end %s: its size is missing", f.LineEnd)
	}
	return endOfSize(f.LineEnd, f.LineODIn, gender)
}
