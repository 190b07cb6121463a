package rules

import "onetrip/internal/catalog"

// Facts is all that a rule can read. Names in CEL are the json names: the fields of
// vehicle and carburetor are those of the contract.
type Facts struct {
	Vehicle     *catalog.Vehicle    `json:"vehicle"`
	Carburetor  *catalog.Carburetor `json:"carburetor"`
	Calc        *Calc               `json:"calc"`
	OnHand      OnHand              `json:"on_hand"`
	Preferences Preferences         `json:"preferences"`
}

// OnHand are the need ids and SKUs the owner has.
type OnHand struct {
	Needs []string `json:"needs"`
	SKUs  []string `json:"skus"`
}

// Preferences are those a rule may look at.
type Preferences struct {
	Finish    string `json:"finish"`
	Objective string `json:"objective"`
	Location  string `json:"location"`
}

// Calc are the figures computed before rules are evaluated. Lengths in inches, flow
// in cfm (air) or gph (fuel), pressure in psi, vacuum in inHg.
type Calc struct {
	// air (calc/air.go)
	AirDemandCFM   float64 `json:"air_demand_cfm"`
	SizeRatio      float64 `json:"size_ratio"`
	SizeVerdict    string  `json:"size_verdict" enum:"restrictive marginal_small suits marginal_large over_carbureted"`
	DepressionInHg float64 `json:"depression_inhg"`
	// altitude
	DensityRatio       float64 `json:"density_ratio"`
	EthanolLeanPercent float64 `json:"ethanol_lean_percent"` // how much leaner than petrol the fuel runs on the same jets
	MixtureRichPercent float64 `json:"mixture_rich_percent"` // too rich on the jets as shipped, which are for sea level and up to 10 % ethanol
	JetAreaScale       float64 `json:"jet_area_scale"`
	// fuel
	FuelDemandGPH        float64 `json:"fuel_demand_gph"`
	FloatValveGPH        float64 `json:"float_valve_gph"`
	FloatValvePSI        float64 `json:"float_valve_psi"`        // that the float valve passes the demand at, before line, fittings and filter
	LeastPressurePSI     float64 `json:"least_pressure_psi"`     // wanted at the inlet: 3, or half a psi less than the carburetor takes
	DeliveredPressurePSI float64 `json:"delivered_pressure_psi"` // at demand, through the vehicle's line size
	PumpFlowKnown        bool    `json:"pump_flow_known"`
	PumpFlowShort        bool    `json:"pump_flow_short"`
	// choke; zero unless the carburetor's choke is electric or is converted to electric
	ChokeAmps    float64 `json:"choke_amps"`
	ChokeWireAWG float64 `json:"choke_wire_awg"` // largest AWG number (thinnest wire) that keeps the drop in limit
	ChokeFuseA   float64 `json:"choke_fuse_a"`
	ChokeWireIn  float64 `json:"choke_wire_in"` // one-way length
	// stack, before parts are chosen
	StackTallestIn   float64 `json:"stack_tallest_in"`    // with the tallest adapter that fits and the vehicle's cleaner
	StackShortestIn  float64 `json:"stack_shortest_in"`   // with the lowest adapter that fits and the vehicle's cleaner
	HoodMarginIn     float64 `json:"hood_margin_in"`      // clearance less stack_tallest_in
	BareHoodMarginIn float64 `json:"bare_hood_margin_in"` // clearance less the lowest stack without any cleaner
	StudNeededIn     float64 `json:"stud_needed_in"`      // free stud length for the tallest stack of plates and gaskets
	StudsSuffice     bool    `json:"studs_suffice"`       // false too when the vehicle's stud length is unknown
	AirStudNeededIn  float64 `json:"air_stud_needed_in"`  // cleaner stud length above the air horn
	// travel
	ThrottleTravelIn     float64 `json:"throttle_travel_in"`                     // at the carburetor's lever, idle to wide open
	PedalTravel          string  `json:"pedal_travel" enum:"short reaches over"` // of the pedal against that
	CableTravelKnown     bool    `json:"cable_travel_known"`                     // both the transmission's and the lever's figures are known
	TransmissionTravelIn float64 `json:"transmission_travel_in"`
	TransmissionRadiusIn float64 `json:"transmission_radius_needed_in"` // lever radius that gives the cable its full travel
	CableTravelOK        bool    `json:"cable_travel_ok"`
	// vacuum, after ports are assigned (fit/vacuum.go)
	Hoses      []HoseRun   `json:"hoses"`
	Caps       []SizeCount `json:"caps"`
	Plugs      []SizeCount `json:"plugs"`
	Tees       []SizePair  `json:"tees"`
	Reducers   []SizePair  `json:"reducers"`
	Nipples    []SizePair  `json:"nipples"`
	Unassigned []string    `json:"unassigned"` // vacuum users without a port
}

// Fields tagged unit:"size" print as fractions in because-texts; enum lists the values
// that rules may compare with.

// HoseRun is one vacuum hose: its use (pcv, booster, advance, modulator, purge, egr,
// cruise), bore and length.
type HoseRun struct {
	Use      string  `json:"use" enum:"pcv booster advance modulator purge egr cruise"`
	BoreIn   float64 `json:"bore_in" unit:"size"`
	LengthIn float64 `json:"length_in"`
}

// SizeCount is how many of one size.
type SizeCount struct {
	SizeIn float64 `json:"size_in" unit:"size"`
	Count  int     `json:"count"`
}

// SizePair is how many of one pair of sizes: run and branch of a tee, large and
// small side of a reducer, pipe thread and hose of a nipple.
type SizePair struct {
	LargeIn float64 `json:"large_in" unit:"size"`
	SmallIn float64 `json:"small_in" unit:"size"`
	Count   int     `json:"count"`
}
