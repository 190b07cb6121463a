package catalog

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"onetrip/internal/units"
)

func ptr[T any](v T) *T { return &v }

func goodVehicle() *Vehicle {
	return &Vehicle{
		ID: "marlow-crest-1968", Make: "Marlow", Model: "Crest", Year: 1968,
		Engine:       Engine{DisplacementIn3: 318, Cylinders: 8, Tune: TuneMild, RedlineRPM: ptr(5500.0), VolumetricEfficiency: ptr(0.85), IdleVacuumInHg: ptr(17.0)},
		Intake:       Intake{Flange: SpreadBore, HoodClearanceIn: 9.5, StudLengthIn: ptr(1.5), StudThread: &units.Thread{Major: units.Inches(5, 16), PerInch: 18}},
		Throttle:     Throttle{Kind: ThrottleCable, End: EndBall, BracketOn: BracketOnCarburetor, PedalTravelIn: 2.1},
		Transmission: Transmission{Kind: Automatic, Downshift: ThrottleValveCable, CableTravelIn: ptr(1.2)},
		Fuel:         Fuel{Pump: PumpMechanical, PressurePSI: 6, FreeFlowGPH: ptr(30.0), LineODIn: units.Inches(3, 8), LineEnd: InvertedFlare, RunLengthIn: 24, EthanolPercent: 10},
		Ignition:     Ignition{Advance: AdvancePorted},
		Electrical:   Electrical{NominalVolts: 12, NegativeGround: true, ChokeFeedLengthFt: 6},
		AirCleaner:   AirCleaner{NeckIn: 5.125, HeightIn: 3, StudThread: &units.Thread{Major: units.Inches(1, 4), PerInch: 20}},
		Site:         Site{AltitudeFt: 2500}, Road: Road{OnRoad: true},
	}
}

func goodOffer(sku string) Offer {
	return Offer{SKU: sku, Name: "A name", Finish: FinishPlain, PackQuantity: 1, Price: units.Money{AmountMinor: 1299, Currency: "USD"}, LeadTimeDays: 3}
}

func end(text string) End {
	e, err := ParseEnd(text)
	if err != nil {
		panic(err)
	}
	return e
}

func goodCarburetor() *Carburetor {
	return &Carburetor{
		Offer: goodOffer("CB-500"), Series: "quill", FlowCFM: 500, RatedAtInHg: 1.5, Barrels: 4, Flange: SquareBore, HeightIn: 3.25, NeckIn: 5.125,
		Inlet: Inlet{End: end("inverted_flare 5/8-18 female"), Facing: FacingFront}, MaxFuelPSI: 6.5, NeedleSeatIn: 0.110,
		Choke: Choke{Kind: ChokeElectric, AmpsCold: 3, AmpsSteady: 0.8},
		Ports: []Port{
			{ID: "front-large", Location: LocationFront, HoseIn: units.Inches(3, 8), Signal: SignalManifold, Large: true},
			{ID: "rear-pipe", Location: LocationRear, NPTIn: units.Inches(1, 4), Signal: SignalManifold},
		},
		Throttle:       CarburetorThrottle{Ends: []LinkEnd{EndBall, EndClevis}, CableRadiusIn: 1.4, SwingDeg: 75, TransmissionRadiusIn: ptr(1.1)},
		Jets:           Jets{MainIn: 0.092, SecondaryIn: ptr(0.095), RodCruiseIn: ptr(0.065), RodPowerIn: ptr(0.052)},
		InBox:          []InBox{{Need: "mount.base_gasket", Quantity: 1}, {SKU: "FF-1", Quantity: 2}},
		AirCleanerStud: units.Thread{Major: units.Inches(1, 4), PerInch: 20},
	}
}

// goodPart builds a part of a kind from attributes as text.
func goodPart(kind Kind, attrs map[string]string, ends ...string) *Part {
	spec, ok := kind.Spec()
	if !ok {
		panic(kind)
	}
	p := &Part{Offer: goodOffer("P-1"), Form: &Form{Kind: kind}}
	for _, a := range spec.Attrs {
		text, ok := attrs[a.Name]
		if !ok {
			continue
		}
		v, err := a.ParseValue(text)
		if err != nil {
			panic(err)
		}
		p.Attributes = append(p.Attributes, Attr{a.Name, a.Type, v})
	}
	for _, e := range ends {
		p.Ends = append(p.Ends, end(e))
	}
	if spec.NeedsLength {
		p.LengthIn = 12
	}
	if spec.NeedsHeight {
		p.HeightIn = 1
	}
	return p
}

func fitting(from, to string) *Part {
	return goodPart("fuel_fitting", map[string]string{"shape": "straight", "material": "brass", "max_pressure_psi": "100"}, from, to)
}

func fuelHose() *Part {
	return goodPart("fuel_hose", map[string]string{"bore_in": "3/8", "class": "30R9", "max_pressure_psi": "100", "max_ethanol_percent": "15"}, "hose 3/8", "hose 3/8")
}

func regulator() *Part {
	return goodPart("pressure_regulator", map[string]string{"outlet_min_psi": "4", "outlet_max_psi": "7", "max_inlet_psi": "15", "max_flow_gph": "60", "needs_return": "false"},
		"npt 1/8 female", "npt 1/8 female")
}

func pump(drive, volts string) *Part {
	return goodPart("fuel_pump", map[string]string{"drive": drive, "pressure_psi": "6", "free_flow_gph": "40", "volts": volts, "needs_return": "false"}, "hose_barb 3/8", "hose_barb 3/8")
}

func meteringSet() *Part {
	return goodPart("metering_set", map[string]string{"series": "quill", "jets_in": "0.089 0.092", "rods_in": "0.065"})
}

// refuses checks that exactly one thing is wrong, where, and in which words.
func refuses(t *testing.T, what string, found []Violation, pointer, detail string) {
	t.Helper()
	if len(found) != 1 {
		t.Errorf("%s: %d violations, want 1: %v", what, len(found), found)
		return
	}
	if found[0].Pointer != pointer || found[0].Detail != detail {
		t.Errorf("%s:\n got %s: %s\nwant %s: %s", what, found[0].Pointer, found[0].Detail, pointer, detail)
	}
}

func TestGoodValuesAreValid(t *testing.T) {
	hollow := goodVehicle()
	*hollow = Vehicle{Engine: Engine{DisplacementIn3: 20, Cylinders: 1, Tune: TuneRace}, Intake: Intake{Flange: TwoBoreSmall, HoodClearanceIn: 40},
		Throttle: Throttle{Kind: ThrottleRod, End: EndPin, BracketOn: BracketOnFirewall, PedalTravelIn: 0.5}, Transmission: Transmission{Kind: Manual, Downshift: DownshiftNone},
		Fuel:     Fuel{Pump: PumpElectric, PressurePSI: 60, LineODIn: units.Inches(5, 16), LineEnd: PlainTube, RunLengthIn: 1, EthanolPercent: 85},
		Ignition: Ignition{Advance: AdvanceNone}, Electrical: Electrical{NominalVolts: 6, ChokeFeedLengthFt: 0.5}, AirCleaner: AirCleaner{NeckIn: 2, HeightIn: 0.5}, Site: Site{AltitudeFt: -1300}}
	unlike := goodCarburetor() // a carburetor no rated vehicle would suit is still a carburetor
	unlike.Choke, unlike.Ports, unlike.InBox, unlike.Jets = Choke{Kind: ChokeNone}, nil, nil, Jets{MainIn: 0.05}
	for what, found := range map[string][]Violation{
		"vehicle": goodVehicle().Validate(), "vehicle of unknowns": hollow.Validate(),
		"carburetor": goodCarburetor().Validate(), "bare carburetor": unlike.Validate(),
		"fuel hose": fuelHose().Validate(), "regulator": regulator().Validate(), "metering set": meteringSet().Validate(),
		"electric pump": pump("electric", "12").Validate(), "mechanical pump": pump("mechanical", "0").Validate(),
		"bundle":   (&Bundle{Offer: goodOffer("BN-1"), Contents: []Amount{{"FF-1", 2}, {"FF-2", 1}}}).Validate(),
		"stock":    Stock{SKU: "FF-1", Location: "north", OnHand: 0}.Validate(),
		"location": Location{ID: "north", Name: "North store"}.Validate(),
	} {
		if len(found) > 0 {
			t.Errorf("%s: %v", what, found)
		}
	}
}

// Conversions in the details are those of GNU units 2.22 (units -t "5.7 l" in^3).
func TestVehicleRefusals(t *testing.T) {
	for what, c := range map[string]struct {
		spoil           func(*Vehicle)
		pointer, detail string
	}{
		"litres":      {func(v *Vehicle) { v.Engine.DisplacementIn3 = 5.7 }, "/engine/displacement_in3", "5.7 is outside 20 to 1200 in³; 5.7 looks like litres; 5.7 L is 347.8 in³"},
		"cm3":         {func(v *Vehicle) { v.Engine.DisplacementIn3 = 5735 }, "/engine/displacement_in3", "5735 is outside 20 to 1200 in³; 5735 looks like cm³; 5735 cm³ is 350 in³"},
		"15 in3":      {func(v *Vehicle) { v.Engine.DisplacementIn3 = 15 }, "/engine/displacement_in3", "15 is outside 20 to 1200 in³"},
		"NaN":         {func(v *Vehicle) { v.Engine.DisplacementIn3 = math.NaN() }, "/engine/displacement_in3", "NaN is not a number; accepted: 20 to 1200 in³"},
		"infinite":    {func(v *Vehicle) { v.Site.AltitudeFt = math.Inf(1) }, "/site/altitude_ft", "+Inf is not a number; accepted: -1500 to 20000 ft"},
		"no cylinder": {func(v *Vehicle) { v.Engine.Cylinders = 0 }, "/engine/cylinders", "0 is outside 1 to 16"},
		"17 cylinder": {func(v *Vehicle) { v.Engine.Cylinders = 17 }, "/engine/cylinders", "17 is outside 1 to 16"},
		"tune":        {func(v *Vehicle) { v.Engine.Tune = "stok" }, "/engine/tune", `"stok" is not accepted, did you mean stock?; accepted: stock, mild, strong, race`},
		"no tune":     {func(v *Vehicle) { v.Engine.Tune = "" }, "/engine/tune", "is missing; accepted: stock, mild, strong, race"},
		"redline":     {func(v *Vehicle) { v.Engine.RedlineRPM = ptr(5.5) }, "/engine/redline_rpm", "5.5 is outside 500 to 15000 rpm; 5.5 looks like thousands of rpm; 5.5 thousand is 5500 rpm"},
		"VE percent":  {func(v *Vehicle) { v.Engine.VolumetricEfficiency = ptr(85.0) }, "/engine/volumetric_efficiency", "85 is outside 0.3 to 1.5; 85 looks like percent; write 0.85"},
		"vacuum kPa":  {func(v *Vehicle) { v.Engine.IdleVacuumInHg = ptr(57.6) }, "/engine/idle_vacuum_inhg", "57.6 is outside 1 to 25 inHg; 57.6 looks like kPa; 57.6 kPa is 17.01 inHg"},
		"vacuum mmHg": {func(v *Vehicle) { v.Engine.IdleVacuumInHg = ptr(430.0) }, "/engine/idle_vacuum_inhg", "430 is outside 1 to 25 inHg; 430 looks like mmHg; 430 mmHg is 16.93 inHg"},
		"vacuum sign": {func(v *Vehicle) { v.Engine.IdleVacuumInHg = ptr(-17.0) }, "/engine/idle_vacuum_inhg", "-17 is outside 1 to 25 inHg; vacuum is written without a sign: 17"},
		"year":        {func(v *Vehicle) { v.Year = 68 }, "/year", "68 is outside 1900 to 2100; 68 looks like the last two digits; write all four: 1968"},
		"id":          {func(v *Vehicle) { v.ID = "a/b" }, "/id", `"a/b" is not accepted; write 1 to 40 of A-Z a-z 0-9 . _ -, first a letter or digit`},
		"make":        {func(v *Vehicle) { v.Make = "Mar\nlow" }, "/make", `"Mar\nlow" has a line break, tab or other control character; write one plain line`},
		"model":       {func(v *Vehicle) { v.Model = strings.Repeat("ä", 121) }, "/model", "has 121 characters; at most 120 are accepted"},
		"model UTF-8": {func(v *Vehicle) { v.Model = "Caf\xe9" }, "/model", `"Caf\xe9" is not UTF-8; save or send the text as UTF-8`},

		"flange":       {func(v *Vehicle) { v.Intake.Flange = "squarebore" }, "/intake/flange", `"squarebore" is not accepted, did you mean square_bore?; accepted: square_bore, spread_bore, two_bore_large, two_bore_small`},
		"hood mm":      {func(v *Vehicle) { v.Intake.HoodClearanceIn = 241.3 }, "/intake/hood_clearance_in", "241.3 is outside 1 to 40 in; 241.3 looks like mm; 241.3 mm is 9.5 in"},
		"no hood":      {func(v *Vehicle) { v.Intake.HoodClearanceIn = 9999 }, "/intake/hood_clearance_in", "9999 is outside 1 to 40 in; without a hood write 40"},
		"stud length":  {func(v *Vehicle) { v.Intake.StudLengthIn = ptr(38.1) }, "/intake/stud_length_in", "38.1 is outside 0 to 6 in; 38.1 looks like mm; 38.1 mm is 1.5 in"},
		"stud thread":  {func(v *Vehicle) { v.Intake.StudThread = &units.Thread{} }, "/intake/stud_thread", "is missing; write nominal size and threads per inch: 5/16-18"},
		"pipe stud":    {func(v *Vehicle) { v.Intake.StudThread.Taper = true }, "/intake/stud_thread", "5/16-18 NPT is a pipe thread; a stud has a straight one: 5/16-18"},
		"huge stud":    {func(v *Vehicle) { v.AirCleaner.StudThread = &units.Thread{Major: units.Inches(2, 1), PerInch: 8} }, "/air_cleaner/stud_thread", "a stud of 2 in is outside 1/8 to 1 in; write nominal size and threads per inch: 5/16-18"},
		"throttle":     {func(v *Vehicle) { v.Throttle.Kind = "wire" }, "/throttle/kind", `"wire" is not accepted; accepted: cable, rod`},
		"end":          {func(v *Vehicle) { v.Throttle.End = "bal" }, "/throttle/end", `"bal" is not accepted, did you mean ball?; accepted: ball, eyelet, clevis, pin`},
		"bracket":      {func(v *Vehicle) { v.Throttle.BracketOn = "MANIFOLD" }, "/throttle/bracket_on", `"MANIFOLD" is not accepted, did you mean manifold?; accepted: carburetor, manifold, firewall`},
		"pedal travel": {func(v *Vehicle) { v.Throttle.PedalTravelIn = 50.8 }, "/throttle/pedal_travel_in", "50.8 is outside 0.5 to 8 in; 50.8 looks like mm; 50.8 mm is 2 in"},

		"manual with modulator": {func(v *Vehicle) { v.Transmission = Transmission{Kind: Manual, Downshift: VacuumModulator} }, "/transmission/downshift", "a manual transmission has no vacuum_modulator; write downshift none, or kind automatic"},
		"transmission":          {func(v *Vehicle) { v.Transmission.Kind = "auto" }, "/transmission/kind", `"auto" is not accepted, did you mean automatic?; accepted: manual, automatic`},
		"downshift":             {func(v *Vehicle) { v.Transmission = Transmission{Kind: Automatic, Downshift: "kickdown"} }, "/transmission/downshift", `"kickdown" is not accepted, did you mean kickdown_rod?; accepted: none, vacuum_modulator, detent_cable, kickdown_rod, throttle_valve_cable, electric_switch`},
		"travel of no cable":    {func(v *Vehicle) { v.Transmission.Downshift = KickdownRod }, "/transmission/cable_travel_in", "downshift kickdown_rod has no cable; leave cable_travel_in out, or write downshift detent_cable or throttle_valve_cable"},
		"cable travel":          {func(v *Vehicle) { v.Transmission.CableTravelIn = ptr(30.48) }, "/transmission/cable_travel_in", "30.48 is outside 0.2 to 8 in; 30.48 looks like mm; 30.48 mm is 1.2 in"},

		"pump":           {func(v *Vehicle) { v.Fuel.Pump = "electrical" }, "/fuel/pump", `"electrical" is not accepted, did you mean electric?; accepted: mechanical, electric`},
		"pressure kPa":   {func(v *Vehicle) { v.Fuel.PressurePSI = 41.4 }, "/fuel/pressure_psi", "41.4 is outside 0.5 to 20 psi of a mechanical pump; 41.4 looks like kPa; 41.4 kPa is 6.005 psi"},
		"electric kPa":   {func(v *Vehicle) { v.Fuel.Pump, v.Fuel.PressurePSI = PumpElectric, 300 }, "/fuel/pressure_psi", "300 is outside 0.5 to 100 psi; 300 looks like kPa; 300 kPa is 43.51 psi"},
		"pressure bar":   {func(v *Vehicle) { v.Fuel.PressurePSI = 0.4 }, "/fuel/pressure_psi", "0.4 is outside 0.5 to 20 psi of a mechanical pump; 0.4 looks like bar; 0.4 bar is 5.802 psi"},
		"flow L/h":       {func(v *Vehicle) { v.Fuel.FreeFlowGPH = ptr(1500.0) }, "/fuel/free_flow_gph", "1500 is outside 1 to 1000 gph; 1500 looks like litres per hour; 1500 L/h is 396.3 gph"},
		"line mm":        {func(v *Vehicle) { v.Fuel.LineODIn, v.Fuel.LineEnd = units.Inches(8, 1), PlainTube }, "/fuel/line_od_in", "8 in is outside 1/8 to 1 in; 8 looks like mm; 8 mm is 0.315 in, nearest 5/16"},
		"no line":        {func(v *Vehicle) { v.Fuel.LineODIn = units.Size{} }, "/fuel/line_od_in", "is missing; write a size in inches: 5/16"},
		"line end":       {func(v *Vehicle) { v.Fuel.LineEnd = Banjo }, "/fuel/line_end", `"banjo" is not accepted; accepted: plain_tube, inverted_flare, an_flare, hose_barb, npt, hose`},
		"no such flare":  {func(v *Vehicle) { v.Fuel.LineODIn = units.Inches(7, 16) }, "/fuel/line_od_in", "end inverted_flare 7/16: no such size; accepted: 3/16 (3/8-24), 1/4 (7/16-24), 5/16 (1/2-20), 3/8 (5/8-18), 1/2 (3/4-18)"},
		"run mm":         {func(v *Vehicle) { v.Fuel.RunLengthIn = 609.6 }, "/fuel/run_length_in", "609.6 is outside 1 to 300 in; 609.6 looks like mm; 609.6 mm is 24 in"},
		"ethanol ratio":  {func(v *Vehicle) { v.Fuel.EthanolPercent = 0.85 }, "/fuel/ethanol_percent", "0.85 looks like a ratio; write percent, 85"},
		"ethanol":        {func(v *Vehicle) { v.Fuel.EthanolPercent = 101 }, "/fuel/ethanol_percent", "101 is outside 0 to 100 percent"},
		"advance":        {func(v *Vehicle) { v.Ignition.Advance = "port" }, "/ignition/advance", `"port" is not accepted, did you mean ported?; accepted: none, ported, manifold`},
		"charging volts": {func(v *Vehicle) { v.Electrical.NominalVolts = 13.8 }, "/electrical/nominal_volts", "13.8 V is not a nominal voltage; accepted: 6, 12 or 24; 13.8 looks like the voltage while charging: write 12"},
		"volts":          {func(v *Vehicle) { v.Electrical.NominalVolts = 48 }, "/electrical/nominal_volts", "48 V is not a nominal voltage; accepted: 6, 12 or 24"},
		"feed inches":    {func(v *Vehicle) { v.Electrical.ChokeFeedLengthFt = 72 }, "/electrical/choke_feed_length_ft", "72 is outside 0.5 to 50 ft; 72 looks like inches; 72 in is 6 ft"},
		"neck mm":        {func(v *Vehicle) { v.AirCleaner.NeckIn = 127 }, "/air_cleaner/neck_in", "127 is outside 1 to 10 in; 127 looks like mm; 127 mm is 5 in"},
		"cleaner mm":     {func(v *Vehicle) { v.AirCleaner.HeightIn = 76.2 }, "/air_cleaner/height_in", "76.2 is outside 0.5 to 15 in; 76.2 looks like mm; 76.2 mm is 3 in"},
		"altitude":       {func(v *Vehicle) { v.Site.AltitudeFt = 30000 }, "/site/altitude_ft", "30000 is outside -1500 to 20000 ft"},
	} {
		v := goodVehicle()
		c.spoil(v)
		refuses(t, what, v.Validate(), c.pointer, c.detail)
	}
}

func TestVehicleTellsEverythingWrongAtOnce(t *testing.T) {
	found := (&Vehicle{}).Validate()
	for _, pointer := range []string{"/engine/displacement_in3", "/engine/cylinders", "/engine/tune", "/intake/flange", "/intake/hood_clearance_in", "/throttle/kind", "/throttle/end",
		"/throttle/bracket_on", "/throttle/pedal_travel_in", "/transmission/kind", "/transmission/downshift", "/fuel/pump", "/fuel/pressure_psi", "/fuel/line_end", "/fuel/line_od_in",
		"/fuel/run_length_in", "/ignition/advance", "/electrical/nominal_volts", "/electrical/choke_feed_length_ft", "/air_cleaner/neck_in", "/air_cleaner/height_in"} {
		if n := len(slices.DeleteFunc(slices.Clone(found), func(v Violation) bool { return v.Pointer != pointer })); n != 1 {
			t.Errorf("%s: %d violations", pointer, n)
		}
	}
	for _, v := range found {
		if strings.ContainsAny(v.Detail, "\n\r") {
			t.Errorf("%s: more than one line: %q", v.Pointer, v.Detail)
		}
	}
}

func TestCarburetorRefusals(t *testing.T) {
	for what, c := range map[string]struct {
		spoil           func(*Carburetor)
		pointer, detail string
	}{
		"series":        {func(k *Carburetor) { k.Series = "" }, "/series", "is missing; write 1 to 40 characters"},
		"flow m3/h":     {func(k *Carburetor) { k.FlowCFM = 1700 }, "/flow_cfm", "1700 is outside 50 to 1500 cfm; 1700 looks like m³/h; 1700 m³/h is 1001 cfm"},
		"rated kPa":     {func(k *Carburetor) { k.RatedAtInHg = 5.08 }, "/rated_at_inhg", "5.08 is outside 0.5 to 5 inHg; 5.08 looks like kPa; 5.08 kPa is 1.5 inHg"},
		"rated inH2O":   {func(k *Carburetor) { k.RatedAtInHg = 20.4 }, "/rated_at_inhg", "20.4 is outside 0.5 to 5 inHg; 20.4 looks like inches of water; 20.4 inH2O is 1.501 inHg"},
		"barrels":       {func(k *Carburetor) { k.Barrels = 5 }, "/barrels", "5 is outside 1 to 4"},
		"four over two": {func(k *Carburetor) { k.Flange = TwoBoreLarge }, "/barrels", "4 barrels do not go over a two_bore_large flange; write at most 2, or flange square_bore or spread_bore"},
		"height mm":     {func(k *Carburetor) { k.HeightIn = 88.9 }, "/height_in", "88.9 is outside 1 to 12 in; 88.9 looks like mm; 88.9 mm is 3.5 in"},
		"no inlet":      {func(k *Carburetor) { k.Inlet.End = End{} }, "/inlet/end/family", "is missing; accepted: inverted_flare, an_flare, hose_barb, npt, unf_port, banjo"},
		"hose inlet":    {func(k *Carburetor) { k.Inlet.End = end("hose 3/8") }, "/inlet/end/family", `"hose" is not accepted, did you mean hose_barb?; accepted: inverted_flare, an_flare, hose_barb, npt, unf_port, banjo`},
		"odd inlet":     {func(k *Carburetor) { k.Inlet.End.Size = units.Inches(1, 2) }, "/inlet/end", "inverted_flare 5/8-18 female has size 1/2 and thread 5/8-18, which do not belong together; accepted: size 3/8, thread 5/8-18"},
		"facing":        {func(k *Carburetor) { k.Inlet.Facing = "left" }, "/inlet/facing", `"left" is not accepted; accepted: front, rear, driver, passenger`},
		"fuel kPa":      {func(k *Carburetor) { k.MaxFuelPSI = 41.4 }, "/max_fuel_psi", "41.4 is outside 1 to 30 psi; 41.4 looks like kPa; 41.4 kPa is 6.005 psi"},
		"seat thou":     {func(k *Carburetor) { k.NeedleSeatIn = 110 }, "/needle_seat_in", "110 is outside 0.005 to 0.35 in; 110 looks like thousandths of an inch; 110 thou is 0.11 in"},
		"seat mm":       {func(k *Carburetor) { k.NeedleSeatIn = 2.79 }, "/needle_seat_in", "2.79 is outside 0.005 to 0.35 in; 2.79 looks like mm; 2.79 mm is 0.1098 in"},
		"choke":         {func(k *Carburetor) { k.Choke = Choke{Kind: "electrc"} }, "/choke/kind", `"electrc" is not accepted, did you mean electric?; accepted: electric, manual, divorced, none`},
		"choke amps":    {func(k *Carburetor) { k.Choke.AmpsCold = 0 }, "/choke/amps_cold", "0 is outside 0.05 to 30 A"},
		"choke order":   {func(k *Carburetor) { k.Choke = Choke{ChokeElectric, 0.8, 3} }, "/choke/amps_steady", "3 A is more than the 0.8 A drawn cold; a choke heater draws less as it warms: exchange the two"},
		"manual amps":   {func(k *Carburetor) { k.Choke = Choke{ChokeManual, 3, 0} }, "/choke/amps_cold", "3 A, but a choke of kind manual draws nothing; write 0, or kind electric"},
		"port twice":    {func(k *Carburetor) { k.Ports[1].ID = "front-large" }, "/ports/1/id", `"front-large" is the id of two ports; give each its own`},
		"no port size":  {func(k *Carburetor) { k.Ports[0].HoseIn = units.Size{} }, "/ports/0/hose_in", "neither hose_in nor npt_in is given; write the hose a nipple takes or the pipe thread of a hole"},
		"two sizes":     {func(k *Carburetor) { k.Ports[0].NPTIn = units.Inches(1, 8) }, "/ports/0/npt_in", "both hose_in and npt_in are given; a port is a nipple or a tapped hole: leave one out"},
		"no such pipe":  {func(k *Carburetor) { k.Ports[1].NPTIn = units.Inches(5, 16) }, "/ports/1/npt_in", "end npt 5/16: no such size; accepted: 1/16 (1/16-27), 1/8 (1/8-27), 1/4 (1/4-18), 3/8 (3/8-18), 1/2 (1/2-14)"},
		"port location": {func(k *Carburetor) { k.Ports[0].Location = "frnt" }, "/ports/0/location", `"frnt" is not accepted, did you mean front?; accepted: front, rear, driver, passenger`},
		"port signal":   {func(k *Carburetor) { k.Ports[0].Signal = "" }, "/ports/0/signal", "is missing; accepted: ported, manifold"},
		"no ends":       {func(k *Carburetor) { k.Throttle.Ends = nil }, "/throttle/ends", "is empty; name each linkage end the lever takes: ball, eyelet, clevis, pin"},
		"end twice":     {func(k *Carburetor) { k.Throttle.Ends[1] = EndBall }, "/throttle/ends/1", "ball is named twice; name it once"},
		"swing radians": {func(k *Carburetor) { k.Throttle.SwingDeg = 1.31 }, "/throttle/swing_deg", "1.31 is outside 30 to 120 degrees; 1.31 looks like radians; 1.31 rad is 75.06 degrees"},
		"radius mm":     {func(k *Carburetor) { k.Throttle.CableRadiusIn = 25.4 }, "/throttle/cable_radius_in", "25.4 is outside 0.2 to 4 in; 25.4 looks like mm; 25.4 mm is 1 in"},
		"thick rod":     {func(k *Carburetor) { k.Jets.RodCruiseIn = ptr(0.092) }, "/jets/rod_cruise_in", "a rod of 0.092 in closes the main jet of 0.092 in; write diameters, the rod's below the jet's"},
		"rods swapped":  {func(k *Carburetor) { k.Jets.RodPowerIn = ptr(0.07) }, "/jets/rod_power_in", "0.07 in is thicker than the cruise step of 0.065 in, which would lean the mixture under power; exchange the two"},
		"in box both":   {func(k *Carburetor) { k.InBox[0].SKU = "FF-1" }, "/in_box/0/sku", "both need and sku are given; leave one out"},
		"in box none":   {func(k *Carburetor) { k.InBox[1].SKU = "" }, "/in_box/1/sku", "neither need nor sku is given; write the need it meets or the part it is"},
		"in box need":   {func(k *Carburetor) { k.InBox[0].Need = "gasket" }, "/in_box/0/need", `"gasket" is not the id of a need; write words of a to z and _ joined by a dot: fuel.filter`},
		"in box count":  {func(k *Carburetor) { k.InBox[0].Quantity = 0 }, "/in_box/0/quantity", "0 is outside 1 to 1000 pieces"},
		"no stud":       {func(k *Carburetor) { k.AirCleanerStud = units.Thread{} }, "/air_cleaner_stud_thread", "is missing; write nominal size and threads per inch: 5/16-18"},
	} {
		k := goodCarburetor()
		c.spoil(k)
		refuses(t, what, k.Validate(), c.pointer, c.detail)
	}
}

func TestOfferRefusals(t *testing.T) {
	for what, c := range map[string]struct {
		spoil           func(*Offer)
		pointer, detail string
	}{
		"no sku":         {func(o *Offer) { o.SKU = "" }, "/sku", "is missing; write 1 to 40 of A-Z a-z 0-9 . _ -, first a letter or digit"},
		"long sku":       {func(o *Offer) { o.SKU = strings.Repeat("A", 41) }, "/sku", `"` + strings.Repeat("A", 41) + `" is not accepted; write 1 to 40 of A-Z a-z 0-9 . _ -, first a letter or digit`},
		"formula sku":    {func(o *Offer) { o.SKU = "-1" }, "/sku", `"-1" is not accepted; write 1 to 40 of A-Z a-z 0-9 . _ -, first a letter or digit`},
		"no name":        {func(o *Offer) { o.Name = "" }, "/name", "is missing; write 1 to 120 characters"},
		"spaces":         {func(o *Offer) { o.Name = " x" }, "/name", `" x" has spaces at its ends; take them off`},
		"turned":         {func(o *Offer) { o.Name = "Filter\u202E0021" }, "/name", `"Filter\u202e0021" has the invisible character U+202E; take it out`},
		"two lines":      {func(o *Offer) { o.Name = "Filter\u2028fine" }, "/name", `"Filter\u2028fine" has the invisible character U+2028; take it out`},
		"no space":       {func(o *Offer) { o.Name = "Fil\u200Bter" }, "/name", `"Fil\u200bter" has the invisible character U+200B; take it out`},
		"NUL":            {func(o *Offer) { o.Name = "a\x00b" }, "/name", `"a\x00b" has a line break, tab or other control character; write one plain line`},
		"finish":         {func(o *Offer) { o.Finish = "chrome" }, "/finish", `"chrome" is not accepted; accepted: plain, bright, braided`},
		"pack":           {func(o *Offer) { o.PackQuantity = 0 }, "/pack_quantity", "0 is outside 1 to 10000 pieces"},
		"free":           {func(o *Offer) { o.Price.AmountMinor = 0 }, "/price/amount_minor", "is 0; a price is above zero, in the minor unit of the currency: 12.99 is written 1299"},
		"negative":       {func(o *Offer) { o.Price.AmountMinor = -5 }, "/price/amount_minor", "is -5; a price is above zero, in the minor unit of the currency: 12.99 is written 1299"},
		"dear":           {func(o *Offer) { o.Price.AmountMinor = math.MaxInt64 }, "/price/amount_minor", "is 9223372036854775807; at most 100000000 is accepted, in the minor unit of the currency: 12.99 is written 1299"},
		"currency":       {func(o *Offer) { o.Price.Currency = "dollar" }, "/price/currency", `"dollar" is no currency code; write the three capital letters of ISO 4217: USD`},
		"lead time":      {func(o *Offer) { o.LeadTimeDays = -1 }, "/lead_time_days", "-1 is outside 0 to 730 days"},
		"gtin":           {func(o *Offer) { o.GTIN = "6291041500214" }, "/gtin", `"6291041500214": check digit is 4, expected 3; correct the number or the digit that was mistyped`},
		"replaced":       {func(o *Offer) { o.ReplacedBy = "X-2" }, "/replaced_by", "is given, but the article is not discontinued; set discontinued to true or leave replaced_by out"},
		"replaces self":  {func(o *Offer) { o.Discontinued, o.ReplacedBy = true, o.SKU }, "/replaced_by", "is the SKU itself; name another or leave it out"},
		"replaced by sp": {func(o *Offer) { o.Discontinued, o.ReplacedBy = true, "X 2" }, "/replaced_by", `"X 2" is not accepted; write 1 to 40 of A-Z a-z 0-9 . _ -, first a letter or digit`},
	} {
		o := goodOffer("X-1")
		c.spoil(&o)
		refuses(t, what, o.Validate(), c.pointer, c.detail)
		p := fuelHose() // the same words wherever an offer is part of something
		p.Offer = o
		refuses(t, what+" of a part", p.Validate(), c.pointer, c.detail)
	}
}

// Scripts need characters that show nothing by themselves: Persian the non-joiner, Sinhala the
// joiner (Unicode Standard, 23.2), Arabic the sign before a number.
func TestNamesInEveryScript(t *testing.T) {
	for _, name := range []string{"می\u200cخواهم", "ශ්\u200dරී", "\u0600١٢", "Öl-Filter №\u00a05", "濾清器", "e\u0301"} {
		o := goodOffer("X-1")
		o.Name = name
		if found := o.Validate(); len(found) > 0 {
			t.Errorf("%q: %v", name, found)
		}
	}
}

func TestPartRefusals(t *testing.T) {
	set := func(p *Part, name string, a Attr) {
		for i := range p.Attributes {
			if p.Attributes[i].Name == name {
				p.Attributes[i] = a
			}
		}
	}
	with := func(p *Part, change func(*Part)) *Part { change(p); return p }
	number := func(name string, n float64) Attr { return Attr{name, AttrNumber, Value{Num: n}} }
	for what, c := range map[string]struct {
		part            *Part
		pointer, detail string
	}{
		"no form": {&Part{Offer: goodOffer("P-1")}, "/kind", "is missing; accepted: " + kindNames()},
		"kind":    {&Part{Offer: goodOffer("P-1"), Form: &Form{Kind: "hose_clmp"}}, "/kind", `"hose_clmp" is not accepted, did you mean hose_clamp?; accepted: ` + kindNames()},
		"missing attribute": {with(fuelHose(), func(p *Part) { p.Attributes = p.Attributes[:3] }), "/attributes/max_ethanol_percent",
			"is missing; a fuel_hose needs it: a number"},
		"missing enum": {goodPart("hose_clamp", map[string]string{"hose_in": "3/8"}), "/attributes/style",
			"is missing; a hose_clamp needs it: one of fuel_injection, worm_drive, spring"},
		"unknown attribute": {with(fuelHose(), func(p *Part) { p.Attributes = append(p.Attributes, number("boer_in", 1)) }), "/attributes/boer_in",
			"a fuel_hose has no such attribute, did you mean bore_in?; accepted: bore_in, class, max_pressure_psi, max_ethanol_percent"},
		"attribute twice": {with(fuelHose(), func(p *Part) { p.Attributes = append(p.Attributes, p.Attributes[0]) }), "/attributes/bore_in", "is given twice; give it once"},
		"type":            {with(fuelHose(), func(p *Part) { set(p, "max_pressure_psi", Attr{"max_pressure_psi", AttrText, Value{Text: "50"}}) }), "/attributes/max_pressure_psi", "is a text; accepted: a number"},
		"enum":            {with(fuelHose(), func(p *Part) { set(p, "class", Attr{"class", AttrEnum, Value{Text: "30R8"}}) }), "/attributes/class", `"30R8" is not one of 30R7, 30R9, 30R14, did you mean 30R7?`},
		"NaN":             {with(fuelHose(), func(p *Part) { set(p, "max_pressure_psi", number("max_pressure_psi", math.NaN())) }), "/attributes/max_pressure_psi", `"NaN" is not a number`},
		"two faced size":  {with(fuelHose(), func(p *Part) { set(p, "bore_in", Attr{"bore_in", AttrSize, Value{Num: 0.5, Text: "3/8"}}) }), "/attributes/bore_in", `3/8 does not agree with itself: text "3/8", number 0.5; build it with ParseValue`},
		"no pressure":     {with(fuelHose(), func(p *Part) { set(p, "max_pressure_psi", number("max_pressure_psi", 0)) }), "/attributes/max_pressure_psi", "0 is outside 0.1 to 1000 psi"},
		"ethanol":         {with(fuelHose(), func(p *Part) { set(p, "max_ethanol_percent", number("max_ethanol_percent", 150)) }), "/attributes/max_ethanol_percent", "150 is outside 0 to 100 percent"},
		"bore in mm":      {goodPart("vacuum_cap", map[string]string{"hose_in": "6"}), "/attributes/hose_in", "6 in is outside 1/16 to 2 in; 6 looks like mm; 6 mm is 0.2362 in, nearest 1/4"},
		"pipe":            {goodPart("pipe_plug", map[string]string{"npt_in": "3/16", "drive": "hex_socket"}), "/attributes/npt_in", "end npt 3/16: no such size; accepted: 1/16 (1/16-27), 1/8 (1/8-27), 1/4 (1/4-18), 3/8 (3/8-18), 1/2 (1/2-14)"},
		"stud set":        {goodPart("stud_set", map[string]string{"thread": "5/16-18 NPT", "studs": "4"}), "/attributes/thread", "5/16-18 NPT is a pipe thread; a stud has a straight one: 5/16-18"},
		"relay volts":     {goodPart("choke_relay", map[string]string{"volts": "14.4", "max_amps": "30"}), "/attributes/volts", "14.4 V is not a nominal voltage; accepted: 6, 12 or 24; 14.4 looks like the voltage while charging: write 12"},
		"relay no volts":  {goodPart("choke_relay", map[string]string{"volts": "0", "max_amps": "30"}), "/attributes/volts", "is 0, but a relay needs current; accepted: 6, 12 or 24"},
		"jet":             {with(meteringSet(), func(p *Part) { p.Attributes[1].Value.Numbers[1] = 92 }), "/attributes/jets_in/1", "92 is outside 0.005 to 0.35 in; 92 looks like thousandths of an inch; 92 thou is 0.092 in"},
		"no jets":         {with(meteringSet(), func(p *Part) { p.Attributes[1].Value.Numbers = nil }), "/attributes/jets_in", "is empty; write at least one number or leave it out"},
		"series":          {with(meteringSet(), func(p *Part) { p.Attributes[0].Value.Text = "quill\t" }), "/attributes/series", `"quill\t" has a line break, tab or other control character; write one plain line`},
		"one end":         {with(fuelHose(), func(p *Part) { p.Ends = p.Ends[:1] }), "/ends", "has 1 ends; a fuel_hose has 2"},
		"end of a clamp":  {goodPart("hose_clamp", map[string]string{"hose_in": "3/8", "style": "spring"}, "hose 3/8"), "/ends", "has 1 ends; a hose_clamp has 0"},
		"end size":        {with(fuelHose(), func(p *Part) { p.Ends[1] = end("hose 5/16") }), "/ends/1", "hose 5/16 is not the end of a hose of bore 3/8; write hose 3/8"},
		"odd end":         {fitting("plain_tube 1/4", "hose_barb 9/7"), "/ends/1/size", "1-2/7 in is no size of the trade, which has halves, quarters and so on to sixty-fourths; nearest 1-9/32"},
		"thin end":        {fitting("plain_tube 1/4", "hose 1/1000"), "/ends/1/size", "0.001 in is outside 1/16 to 4 in"},
		"end in mm":       {fitting("plain_tube 7", "hose_barb 1/4"), "/ends/0/size", "7 in is outside 1/16 to 4 in; 7 looks like mm; 7 mm is 0.2756 in, nearest 1/4"},
		"odd thread":      {fitting("unf_port 9/7-20 male", "hose_barb 1/4"), "/ends/0/size", "1-2/7 in is no size of the trade, which has halves, quarters and so on to sixty-fourths; nearest 1-9/32"},
		"odd attribute":   {goodPart("vacuum_cap", map[string]string{"hose_in": "0.3"}), "/attributes/hose_in", "0.3 in is no size of the trade, which has halves, quarters and so on to sixty-fourths; nearest 19/64"},
		"no length":       {with(fuelHose(), func(p *Part) { p.LengthIn = 0 }), "/length_in", "is missing; a fuel_hose needs it, in inches"},
		"negative length": {with(fuelHose(), func(p *Part) { p.LengthIn = -1 }), "/length_in", "-1 is outside 0.01 to 3600 in"},
		"height of hose":  {with(fuelHose(), func(p *Part) { p.HeightIn = 1 }), "/height_in", "1, but a fuel_hose has no such dimension; leave it out"},
		"gasket mm":       {with(goodPart("cleaner_gasket", map[string]string{"neck_in": "5.125"}), func(p *Part) { p.HeightIn = 25.4 }), "/height_in", "25.4 is outside 0.005 to 12 in; 25.4 looks like mm; 25.4 mm is 1 in"},
		"reducer":         {goodPart("vacuum_reducer", map[string]string{"large_in": "1/4", "small_in": "3/8"}), "/attributes/small_in", "3/8 is not smaller than large_in 1/4; exchange the two"},
		"regulator range": {with(regulator(), func(p *Part) { set(p, "outlet_min_psi", number("outlet_min_psi", 9)) }), "/attributes/outlet_max_psi", "7 psi is below outlet_min_psi 9 psi; exchange the two"},
		"regulator inlet": {with(regulator(), func(p *Part) { set(p, "max_inlet_psi", number("max_inlet_psi", 5)) }), "/attributes/outlet_max_psi", "7 psi is above max_inlet_psi 5 psi; a regulator only lowers pressure: correct one of the two"},
		"electric pump":   {pump("electric", "0"), "/attributes/volts", "is 0, but an electric pump needs current; accepted: 6, 12 or 24"},
		"mechanical pump": {pump("mechanical", "12"), "/attributes/volts", "is 12, but a mechanical pump takes no current; write 0"},
		"conversion": {goodPart("choke_conversion", map[string]string{"series": "quill", "from": "electric", "to": "electric", "volts": "12"}), "/attributes/to",
			"electric to electric converts nothing; correct one of the two"},
		"manual conversion": {goodPart("choke_conversion", map[string]string{"series": "quill", "from": "electric", "to": "manual", "volts": "12"}), "/attributes/volts",
			"is 12, but a manual choke takes no current; write 0"},
		"requires itself": {with(fuelHose(), func(p *Part) { p.Requires = []string{"P-1"} }), "/requires/0", "is the part itself; name another or leave it out"},
		"requires twice":  {with(fuelHose(), func(p *Part) { p.Requires = []string{"A", "A"} }), "/requires/1", `"A" is named twice; name it once`},
		"requires form":   {with(fuelHose(), func(p *Part) { p.Requires = []string{"A,B"} }), "/requires/0", `"A,B" is not accepted; write 1 to 40 of A-Z a-z 0-9 . _ -, first a letter or digit`},
		"contradiction":   {with(fuelHose(), func(p *Part) { p.Requires, p.Conflicts = []string{"A"}, []string{"A"} }), "/conflicts/0", `"A" is required too; take it out of one of the two`},
	} {
		refuses(t, what, c.part.Validate(), c.pointer, c.detail)
	}
}

func kindNames() string {
	var names []string
	for _, k := range Kinds {
		names = append(names, string(k.Kind))
	}
	return strings.Join(names, ", ")
}

func TestBundleStockAndLocationRefusals(t *testing.T) {
	bundle := func(spoil func(*Bundle)) []Violation {
		b := &Bundle{Offer: goodOffer("BN-1"), Contents: []Amount{{"FF-1", 2}}}
		spoil(b)
		return b.Validate()
	}
	for what, c := range map[string]struct {
		found           []Violation
		pointer, detail string
	}{
		"empty bundle":  {bundle(func(b *Bundle) { b.Contents = nil }), "/contents", "is empty; a bundle holds at least one part"},
		"holds itself":  {bundle(func(b *Bundle) { b.Contents[0].SKU = "BN-1" }), "/contents/0/sku", "the bundle holds itself; name a part or carburetor"},
		"listed twice":  {bundle(func(b *Bundle) { b.Contents = append(b.Contents, b.Contents[0]) }), "/contents/1/sku", `"FF-1" is listed twice; list it once with the sum`},
		"none of it":    {bundle(func(b *Bundle) { b.Contents[0].Quantity = 0 }), "/contents/0/quantity", "0 is outside 1 to 1000 pieces"},
		"pack of two":   {bundle(func(b *Bundle) { b.PackQuantity = 2 }), "/pack_quantity", "is 2; a bundle is sold one at a time: write 1"},
		"minus stock":   {Stock{SKU: "A", Location: "north", OnHand: -1}.Validate(), "/on_hand", "-1 is outside 0 to 1000000 packs"},
		"1e9 stock":     {Stock{SKU: "A", Location: "north", OnHand: 1e9}.Validate(), "/on_hand", "1000000000 is outside 0 to 1000000 packs"},
		"no location":   {Stock{SKU: "A"}.Validate(), "/location", "is missing; write 1 to 40 of A-Z a-z 0-9 . _ -, first a letter or digit"},
		"location name": {Location{ID: "north"}.Validate(), "/name", "is missing; write 1 to 120 characters"},
	} {
		refuses(t, what, c.found, c.pointer, c.detail)
	}
}

// Every pointer must lead to the field it names in the JSON of the value, or to
// where a missing one would be.
func TestPointersFollowTheJSON(t *testing.T) {
	v := goodVehicle()
	v.Engine.DisplacementIn3, v.Fuel.EthanolPercent, v.Transmission.CableTravelIn = 5.7, 101, ptr(50.0)
	k := goodCarburetor()
	k.Ports[1].Signal, k.Throttle.Ends[0], k.InBox[1].Quantity, k.Price.AmountMinor = "x", "y", -1, -1
	for _, c := range []struct {
		value any
		found []Violation
	}{{v, v.Validate()}, {k, k.Validate()}} {
		blob, err := json.Marshal(c.value)
		if err != nil {
			t.Fatal(err)
		}
		var doc any
		if err := json.Unmarshal(blob, &doc); err != nil {
			t.Fatal(err)
		}
		if len(c.found) < 3 {
			t.Errorf("%d violations", len(c.found))
		}
		for _, violation := range c.found {
			at := doc
			for _, token := range strings.Split(violation.Pointer, "/")[1:] {
				switch x := at.(type) {
				case map[string]any:
					at = x[token]
				case []any:
					at = x[int(token[0]-'0')]
				}
			}
			if at == nil {
				t.Errorf("%s leads nowhere", violation.Pointer)
			}
		}
	}
}

func TestValidVehicleCostsNoAllocations(t *testing.T) {
	v := goodVehicle()
	if n := testing.AllocsPerRun(100, func() {
		if len(v.Validate()) > 0 {
			t.Error("refused")
		}
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}
