package catalog

import "onetrip/internal/units"

// Carburetor is one that can be chosen. FlowCFM is the maker's rating at
// RatedAtInHg of depression. Series names the maker's own line: metering sets,
// levers and choke parts are made for a series.
type Carburetor struct {
	Offer
	Series             string             `json:"series"`
	FlowCFM            float64            `json:"flow_cfm"`
	RatedAtInHg        float64            `json:"rated_at_inhg"`
	Barrels            int                `json:"barrels"`
	Flange             Flange             `json:"flange"`
	HeightIn           float64            `json:"height_in"` // flange to air horn
	NeckIn             float64            `json:"neck_in"`   // air horn outside diameter
	Inlet              Inlet              `json:"inlet"`
	MaxFuelPSI         float64            `json:"max_fuel_psi"`
	NeedleSeatIn       float64            `json:"needle_seat_in"`
	Choke              Choke              `json:"choke"`
	Ports              []Port             `json:"ports"`
	Throttle           CarburetorThrottle `json:"throttle"`
	Jets               Jets               `json:"jets"`
	InBox              []InBox            `json:"in_box"`
	AirCleanerStud     units.Thread       `json:"air_cleaner_stud_thread"`
	EmissionsCertified bool               `json:"emissions_certified"`
}

// Inlet is where fuel comes in.
type Inlet struct {
	End    End    `json:"end"`
	Facing Facing `json:"facing"`
}

// Choke: currents in amperes at the vehicle's nominal voltage, zero unless electric.
type Choke struct {
	Kind       ChokeKind `json:"kind"`
	AmpsCold   float64   `json:"amps_cold"`
	AmpsSteady float64   `json:"amps_steady"`
}

// Port is one vacuum connection: a nipple for a hose (HoseIn) or a tapped hole
// (NPTIn), one of the two. Large ports are the ones sized for PCV and booster.
type Port struct {
	ID       string       `json:"id"`
	Location PortLocation `json:"location"`
	HoseIn   units.Size   `json:"hose_in,omitzero"`
	NPTIn    units.Size   `json:"npt_in,omitzero"`
	Signal   Signal       `json:"signal"`
	Large    bool         `json:"large"`
}

// CarburetorThrottle is the lever: the ends it takes, the radius its cable or rod
// works at, the swing from idle to wide open, and the radius of the stud for a
// transmission cable when there is one.
type CarburetorThrottle struct {
	Ends                 []LinkEnd `json:"ends"`
	CableRadiusIn        float64   `json:"cable_radius_in"`
	SwingDeg             float64   `json:"swing_deg"`
	TransmissionRadiusIn *float64  `json:"transmission_radius_in,omitempty"`
}

// Jets are bore and rod diameters as shipped, in inches.
type Jets struct {
	MainIn      float64  `json:"main_in"`
	SecondaryIn *float64 `json:"secondary_in,omitempty"`
	RodCruiseIn *float64 `json:"rod_cruise_in,omitempty"`
	RodPowerIn  *float64 `json:"rod_power_in,omitempty"`
}

// InBox is something that ships with the carburetor: either whatever meets a need
// (Need) or a part by SKU, so many pieces of it.
type InBox struct {
	Need     string `json:"need,omitempty"`
	SKU      string `json:"sku,omitempty"`
	Quantity int    `json:"quantity"`
}
