package catalog

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"onetrip/internal/units"
)

// Values each enumeration accepts, in contract order.
var (
	Tunes             = []Tune{TuneStock, TuneMild, TuneStrong, TuneRace}
	Flanges           = flanges
	ThrottleKinds     = []ThrottleKind{ThrottleCable, ThrottleRod}
	LinkEnds          = linkEnds
	BracketPlaces     = []BracketOn{BracketOnCarburetor, BracketOnManifold, BracketOnFirewall}
	TransmissionKinds = []TransmissionKind{Manual, Automatic}
	Downshifts        = []Downshift{DownshiftNone, VacuumModulator, DetentCable, KickdownRod, ThrottleValveCable, ElectricSwitch}
	PumpKinds         = []PumpKind{PumpMechanical, PumpElectric}
	Advances          = []Advance{AdvanceNone, AdvancePorted, AdvanceManifold}
	ChokeKinds        = []ChokeKind{ChokeElectric, ChokeManual, ChokeDivorced, ChokeNone}
	Signals           = []Signal{SignalPorted, SignalManifold}
	PortLocations     = []PortLocation{LocationFront, LocationRear, LocationDriver, LocationPassenger}
	Facings           = []Facing{FacingFront, FacingRear, FacingDriver, FacingPassenger}
	Finishes          = []Finish{FinishPlain, FinishBright, FinishBraided}

	// SupplyFamilies are the ways a vehicle's fuel supply line can end.
	SupplyFamilies = []Family{PlainTube, InvertedFlare, ANFlare, HoseBarb, NPT, Hose}
	// InletFamilies are the ways a carburetor's fuel inlet can be made.
	InletFamilies = []Family{InvertedFlare, ANFlare, HoseBarb, NPT, UNFPort, Banjo}
)

// Validate returns everything wrong with the vehicle. Every limit is there to catch
// slips of unit and typing, and is wider than any road vehicle (common practice, no
// source). A vehicle no carburetor suits is valid; one that contradicts itself is not.
func (v *Vehicle) Validate() []Violation {
	var c checker
	if v.ID != "" {
		c.id("/id", v.ID)
	}
	if v.Make != "" {
		c.label("/make", v.Make, 120)
	}
	if v.Model != "" {
		c.label("/model", v.Model, 120)
	}
	if v.Year != 0 {
		c.number("/year", float64(v.Year), limits{low: 1900, high: 2100, hints: []hint{{from: 10, to: 99, text: "{v} looks like the last two digits; write all four: 19{v}", factor: 1}}})
	}

	c.within("/engine", v.Engine.Validate())

	oneOf(&c, "/intake/flange", v.Intake.Flange, Flanges)
	c.number("/intake/hood_clearance_in", v.Intake.HoodClearanceIn, limits{1, 40, "in", []hint{mm(40, 1000),
		{from: 40, to: math.MaxFloat64, text: "without a hood write 40", factor: 1}}})
	c.maybe("/intake/stud_length_in", v.Intake.StudLengthIn, limits{0, 6, "in", []hint{mm(6, 150)}})
	c.maybeThread("/intake/stud_thread", v.Intake.StudThread)

	oneOf(&c, "/throttle/kind", v.Throttle.Kind, ThrottleKinds)
	oneOf(&c, "/throttle/end", v.Throttle.End, LinkEnds)
	oneOf(&c, "/throttle/bracket_on", v.Throttle.BracketOn, BracketPlaces)
	c.number("/throttle/pedal_travel_in", v.Throttle.PedalTravelIn, limits{0.5, 8, "in", []hint{mm(12, 200)}})

	t := v.Transmission
	oneOf(&c, "/transmission/kind", t.Kind, TransmissionKinds)
	if oneOf(&c, "/transmission/downshift", t.Downshift, Downshifts) && t.Kind == Manual && t.Downshift != DownshiftNone {
		c.add("/transmission/downshift", "a manual transmission has no %s; write downshift none, or kind automatic", t.Downshift)
	}
	c.maybe("/transmission/cable_travel_in", t.CableTravelIn, limits{0.2, 8, "in", []hint{mm(8, 200)}})
	if t.CableTravelIn != nil && t.Downshift != DetentCable && t.Downshift != ThrottleValveCable && slices.Contains(Downshifts, t.Downshift) {
		c.add("/transmission/cable_travel_in", "downshift %s has no cable; leave cable_travel_in out, or write downshift %s or %s",
			t.Downshift, DetentCable, ThrottleValveCable)
	}

	f := v.Fuel
	pressure := limits{0.5, 100, "psi", []hint{meant(0.05, 0.5, "bar", "bar", psiPerKPa*100, "psi"), meant(100, 700, "kPa", "kPa", psiPerKPa, "psi")}}
	if oneOf(&c, "/fuel/pump", f.Pump, PumpKinds) && f.Pump == PumpMechanical {
		pressure.high, pressure.unit = 20, "psi of a mechanical pump"
		pressure.hints[1] = meant(20, 140, "kPa", "kPa", psiPerKPa, "psi")
	}
	c.number("/fuel/pressure_psi", f.PressurePSI, pressure)
	c.maybe("/fuel/free_flow_gph", f.FreeFlowGPH, limits{1, 1000, "gph", []hint{meant(1000, 3800, "litres per hour", "L/h", 1/litresPerGallon, "gph")}})
	familyOK := oneOf(&c, "/fuel/line_end", f.LineEnd, SupplyFamilies)
	if c.size("/fuel/line_od_in", f.LineODIn, eighthInch, oneInch) && familyOK {
		if _, err := threadOfSize(f.LineEnd, f.LineODIn); err != nil { // then SupplyEnd builds
			c.add("/fuel/line_od_in", "%s", oneLine(err))
		}
	}
	c.number("/fuel/run_length_in", f.RunLengthIn, limits{1, 300, "in", []hint{mm(300, 7700), meant(0.1, 1, "feet", "ft", 12, "in")}})
	if e := f.EthanolPercent; e > 0 && e < 1 {
		c.add("/fuel/ethanol_percent", "%v looks like a ratio; write percent, %v", e, trim(e*100))
	} else {
		c.number("/fuel/ethanol_percent", e, limits{low: 0, high: 100, unit: "percent"})
	}

	oneOf(&c, "/ignition/advance", v.Ignition.Advance, Advances)

	c.volts("/electrical/nominal_volts", v.Electrical.NominalVolts)
	c.number("/electrical/choke_feed_length_ft", v.Electrical.ChokeFeedLengthFt, limits{0.5, 50, "ft", []hint{meant(50, 600, "inches", "in", 1.0/12, "ft")}})

	c.number("/air_cleaner/neck_in", v.AirCleaner.NeckIn, limits{1, 10, "in", []hint{mm(25, 250)}})
	c.number("/air_cleaner/height_in", v.AirCleaner.HeightIn, limits{0.5, 15, "in", []hint{mm(20, 380)}})
	c.maybeThread("/air_cleaner/stud_thread", v.AirCleaner.StudThread)

	// No hint: an altitude in metres is a plausible altitude in feet.
	c.number("/site/altitude_ft", v.Site.AltitudeFt, limits{low: -1500, high: 20000, unit: "ft"})
	return c.found
}

// Validate returns everything wrong with the engine; pointers are relative to it.
func (e *Engine) Validate() []Violation {
	var c checker
	c.number("/displacement_in3", e.DisplacementIn3, limits{20, 1200, "in³", []hint{
		meant(0.3, 9.9, "litres", "L", in3PerLitre, "in³"), meant(1200, 20000, "cm³", "cm³", in3PerLitre/1000, "in³")}})
	c.number("/cylinders", float64(e.Cylinders), limits{low: 1, high: 16})
	oneOf(&c, "/tune", e.Tune, Tunes)
	c.maybe("/redline_rpm", e.RedlineRPM, limits{500, 15000, "rpm", []hint{meant(0.5, 15, "thousands of rpm", "thousand", 1000, "rpm")}})
	c.maybe("/volumetric_efficiency", e.VolumetricEfficiency, limits{0.3, 1.5, "", []hint{{from: 10, to: 200, text: "{v} looks like percent; write {ours}", factor: 0.01}}})
	c.maybe("/idle_vacuum_inhg", e.IdleVacuumInHg, limits{1, 25, "inHg", []hint{
		meant(25, 90, "kPa", "kPa", inHgPerKPa, "inHg"), meant(90, 700, "mmHg", "mmHg", 1/mmPerIn, "inHg"),
		{from: -25, to: -1, text: "vacuum is written without a sign: {ours}", factor: -1}}})
	return c.found
}

// Validate returns everything wrong with the carburetor.
func (k *Carburetor) Validate() []Violation {
	var c checker
	c.offer(&k.Offer)
	c.label("/series", k.Series, 40)
	c.number("/flow_cfm", k.FlowCFM, limits{50, 1500, "cfm", []hint{meant(1500, 2600, "m³/h", "m³/h", 1/m3PerHourPerCFM, "cfm")}})
	c.number("/rated_at_inhg", k.RatedAtInHg, limits{0.5, 5, "inHg", []hint{
		meant(5, 12, "kPa", "kPa", inHgPerKPa, "inHg"), meant(12, 70, "inches of water", "inH2O", inHgPerInH2O, "inHg")}})
	c.number("/barrels", float64(k.Barrels), limits{low: 1, high: 4})
	if oneOf(&c, "/flange", k.Flange, Flanges) && k.Barrels > 2 && (k.Flange == TwoBoreLarge || k.Flange == TwoBoreSmall) {
		c.add("/barrels", "%d barrels do not go over a %s flange; write at most 2, or flange %s or %s", k.Barrels, k.Flange, SquareBore, SpreadBore)
	}
	c.number("/height_in", k.HeightIn, limits{1, 12, "in", []hint{mm(25, 300)}})
	c.number("/neck_in", k.NeckIn, limits{1, 10, "in", []hint{mm(25, 250)}})
	c.end("/inlet/end", k.Inlet.End, InletFamilies)
	oneOf(&c, "/inlet/facing", k.Inlet.Facing, Facings)
	c.number("/max_fuel_psi", k.MaxFuelPSI, limits{1, 30, "psi", []hint{meant(30, 200, "kPa", "kPa", psiPerKPa, "psi"), meant(0.05, 1, "bar", "bar", psiPerKPa*100, "psi")}})
	c.number("/needle_seat_in", k.NeedleSeatIn, bore)

	if oneOf(&c, "/choke/kind", k.Choke.Kind, ChokeKinds) {
		if k.Choke.Kind == ChokeElectric {
			amps := limits{low: 0.05, high: 30, unit: "A"}
			cold := c.number("/choke/amps_cold", k.Choke.AmpsCold, amps)
			if c.number("/choke/amps_steady", k.Choke.AmpsSteady, amps) && cold && k.Choke.AmpsSteady > k.Choke.AmpsCold {
				c.add("/choke/amps_steady", "%v A is more than the %v A drawn cold; a choke heater draws less as it warms: exchange the two", k.Choke.AmpsSteady, k.Choke.AmpsCold)
			}
		} else {
			for _, a := range []struct {
				pointer string
				amps    float64
			}{{"/choke/amps_cold", k.Choke.AmpsCold}, {"/choke/amps_steady", k.Choke.AmpsSteady}} {
				if a.amps != 0 {
					c.add(a.pointer, "%v A, but a choke of kind %s draws nothing; write 0, or kind electric", a.amps, k.Choke.Kind)
				}
			}
		}
	}

	ports := map[string]bool{}
	for i, p := range k.Ports {
		at := fmt.Sprintf("/ports/%d", i)
		c.within(at, p.Validate())
		if ports[p.ID] {
			c.add(at+"/id", "%q is the id of two ports; give each its own", p.ID)
		}
		ports[p.ID] = true
	}

	if len(k.Throttle.Ends) == 0 {
		c.add("/throttle/ends", "is empty; name each linkage end the lever takes: %s", joinStrings(LinkEnds))
	}
	for i, e := range k.Throttle.Ends {
		at := fmt.Sprintf("/throttle/ends/%d", i)
		if oneOf(&c, at, e, LinkEnds) && slices.Contains(k.Throttle.Ends[:i], e) {
			c.add(at, "%s is named twice; name it once", e)
		}
	}
	radius := limits{0.2, 4, "in", []hint{mm(5, 100)}}
	c.number("/throttle/cable_radius_in", k.Throttle.CableRadiusIn, radius)
	c.number("/throttle/swing_deg", k.Throttle.SwingDeg, limits{30, 120, "degrees", []hint{meant(0.5, 2.1, "radians", "rad", 180/math.Pi, "degrees")}})
	c.maybe("/throttle/transmission_radius_in", k.Throttle.TransmissionRadiusIn, radius)

	j := k.Jets
	c.number("/jets/main_in", j.MainIn, bore)
	c.maybe("/jets/secondary_in", j.SecondaryIn, bore)
	for _, rod := range []struct {
		pointer string
		in      *float64
	}{{"/jets/rod_cruise_in", j.RodCruiseIn}, {"/jets/rod_power_in", j.RodPowerIn}} {
		if c.maybe(rod.pointer, rod.in, bore) && *rod.in >= j.MainIn {
			c.add(rod.pointer, "a rod of %v in closes the main jet of %v in; write diameters, the rod's below the jet's", *rod.in, j.MainIn)
		}
	}
	if j.RodCruiseIn != nil && j.RodPowerIn != nil && *j.RodPowerIn > *j.RodCruiseIn {
		c.add("/jets/rod_power_in", "%v in is thicker than the cruise step of %v in, which would lean the mixture under power; exchange the two", *j.RodPowerIn, *j.RodCruiseIn)
	}

	for i, b := range k.InBox {
		c.within(fmt.Sprintf("/in_box/%d", i), b.Validate())
	}
	c.thread("/air_cleaner_stud_thread", k.AirCleanerStud)
	return c.found
}

// Validate returns everything wrong with the port; pointers are relative to it.
func (p Port) Validate() []Violation {
	var c checker
	c.id("/id", p.ID)
	oneOf(&c, "/location", p.Location, PortLocations)
	oneOf(&c, "/signal", p.Signal, Signals)
	switch {
	case p.HoseIn.IsZero() && p.NPTIn.IsZero():
		c.add("/hose_in", "neither hose_in nor npt_in is given; write the hose a nipple takes or the pipe thread of a hole")
	case !p.HoseIn.IsZero() && !p.NPTIn.IsZero():
		c.add("/npt_in", "both hose_in and npt_in are given; a port is a nipple or a tapped hole: leave one out")
	case !p.HoseIn.IsZero():
		c.tradeSize("/hose_in", p.HoseIn, oneInch)
	default:
		c.pipe("/npt_in", p.NPTIn)
	}
	return c.found
}

// Validate returns everything wrong with what the box holds; pointers are relative to it.
func (b InBox) Validate() []Violation {
	var c checker
	switch {
	case b.Need == "" && b.SKU == "":
		c.add("/sku", "neither need nor sku is given; write the need it meets or the part it is")
	case b.Need != "" && b.SKU != "":
		c.add("/sku", "both need and sku are given; leave one out")
	case b.SKU != "":
		c.id("/sku", b.SKU)
	case !isNeedID(b.Need):
		c.add("/need", "%s is not the id of a need; write words of a to z and _ joined by a dot: fuel.filter", quote(b.Need))
	}
	c.number("/quantity", float64(b.Quantity), limits{low: 1, high: 1000, unit: "pieces"})
	return c.found
}

func isNeedID(s string) bool {
	words := strings.Split(s, ".")
	for _, w := range words {
		if w == "" || strings.Trim(w, "abcdefghijklmnopqrstuvwxyz0123456789_") != "" {
			return false
		}
	}
	return len(words) == 2 && len(s) <= 60
}

// Validate returns everything wrong with the part: its offer, and its form against
// what Kinds declares for its kind.
func (p *Part) Validate() []Violation {
	var c checker
	c.offer(&p.Offer)
	c.skus("/requires", p.SKU, p.Requires)
	c.skus("/conflicts", p.SKU, p.Conflicts)
	for i, s := range p.Conflicts {
		if slices.Contains(p.Requires, s) {
			c.add(fmt.Sprintf("/conflicts/%d", i), "%s is required too; take it out of one of the two", quote(s))
		}
	}
	form := p.Form
	if form == nil {
		form = &Form{}
	}
	spec, ok := form.Kind.Spec()
	if !ok {
		names := make([]Kind, len(Kinds))
		for i := range Kinds {
			names[i] = Kinds[i].Kind
		}
		oneOf(&c, "/kind", form.Kind, names)
		return c.found // nothing is known of the other fields
	}
	c.form(form, spec)
	return c.found
}

func (c *checker) form(f *Form, spec *KindSpec) {
	names := make([]string, len(spec.Attrs))
	for i, a := range spec.Attrs {
		names[i] = a.Name
	}
	for i, a := range f.Attributes {
		at := "/attributes/" + a.Name
		declared, ok := spec.Attr(a.Name)
		switch {
		case !ok:
			c.add(at, "a %s has no such attribute%s; accepted: %s", spec.Kind, didYouMean(a.Name, names), strings.Join(names, ", "))
			continue
		case slices.ContainsFunc(f.Attributes[:i], func(b Attr) bool { return b.Name == a.Name }):
			c.add(at, "is given twice; give it once")
			continue
		case a.Type != declared.Type:
			c.add(at, "is a %s; accepted: a %s", a.Type, declared.Type)
			continue
		}
		v, err := declared.ParseValue(a.String())
		if err != nil {
			c.add(at, "%s%s", strings.TrimPrefix(oneLine(err), a.Name+": "), didYouMean(a.Value.Text, declared.Accepted))
			continue
		}
		if !v.Equal(a.Value) {
			c.add(at, "%s does not agree with itself: text %q, number %v; build it with ParseValue", a.String(), a.Value.Text, a.Value.Num)
			continue
		}
		c.attribute(at, a)
	}
	for _, a := range spec.Attrs {
		if !a.Optional && !slices.ContainsFunc(f.Attributes, func(b Attr) bool { return b.Name == a.Name }) {
			c.add("/attributes/"+a.Name, "is missing; a %s needs it: %s", spec.Kind, a.describe())
		}
	}

	if len(f.Ends) != spec.Ends {
		c.add("/ends", "has %d ends; a %s has %d", len(f.Ends), spec.Kind, spec.Ends)
	}
	for i, e := range f.Ends {
		c.end(fmt.Sprintf("/ends/%d", i), e, Families)
	}
	c.dimension("/length_in", f.LengthIn, spec.NeedsLength, spec.Kind, limits{0.01, 3600, "in", nil})
	c.dimension("/height_in", f.HeightIn, spec.NeedsHeight, spec.Kind, limits{0.005, 12, "in", []hint{mm(12, 300)}})
	c.formAgrees(f)
}

// describe says what an attribute takes.
func (a AttrSpec) describe() string {
	switch a.Type {
	case AttrEnum:
		return "one of " + strings.Join(a.Accepted, ", ")
	case AttrSize:
		return "a size such as 5/16"
	case AttrThread:
		return "a thread such as 5/16-18"
	case AttrBool:
		return "true or false"
	case AttrNumbers:
		return "a list of numbers"
	case AttrText:
		return "a text"
	}
	return "a number"
}

// Limits of attributes by name or by the unit a name ends in; the first that matches holds.
var attributeLimits = []struct {
	suffix string
	limits
}{
	{"max_ethanol_percent", limits{0, 100, "percent", nil}},
	{"drop_psi_at_rated_flow", limits{0, 10, "psi", nil}},
	{"_psi", limits{0.1, 1000, "psi", nil}},
	{"_gph", limits{1, 2000, "gph", nil}},
	{"_cfm", limits{50, 3000, "cfm", nil}},
	{"micron", limits{1, 1000, "micron", nil}},
	{"springs", limits{1, 8, "", nil}},
	{"studs", limits{1, 8, "", nil}},
	{"awg", limits{0, 30, "AWG", nil}},
	{"fuse_a", limits{1, 60, "A", nil}},
	{"max_amps", limits{1, 200, "A", nil}},
	{"orifice_in", bore},
	{"radius_in", limits{0.2, 4, "in", []hint{mm(5, 100)}}},
	{"cable_travel_in", limits{0.2, 8, "in", []hint{mm(8, 200)}}},
	{"neck_in", limits{1, 10, "in", []hint{mm(25, 250)}}},
	{"diameter_in", limits{3, 24, "in", []hint{mm(50, 600)}}},
	{"jets_in", bore},
	{"rods_in", bore},
}

// attribute checks the range of a value that already is of its type.
func (c *checker) attribute(at string, a Attr) {
	switch a.Type {
	case AttrText:
		c.label(at, a.Value.Text, 40)
	case AttrThread:
		t, _ := units.ParseThread(a.Value.Text)
		c.thread(at, t)
	case AttrSize:
		s, _ := units.ParseSize(a.Value.Text)
		if a.Name == "npt_in" {
			c.pipe(at, s)
		} else {
			c.tradeSize(at, s, twoInches)
		}
	case AttrNumber:
		if a.Name == "volts" {
			if a.Value.Num != 0 { // formAgrees says where 0 is right
				c.volts(at, a.Value.Num)
			}
			return
		}
		c.number(at, a.Value.Num, limitsOf(a.Name))
	case AttrNumbers:
		if len(a.Value.Numbers) == 0 {
			c.add(at, "is empty; write at least one number or leave it out")
		}
		for i, n := range a.Value.Numbers {
			c.number(fmt.Sprintf("%s/%d", at, i), n, limitsOf(a.Name))
		}
	}
}

func limitsOf(name string) limits {
	for _, l := range attributeLimits {
		if strings.HasSuffix(name, l.suffix) {
			return l.limits
		}
	}
	return limits{low: 0, high: 1e6}
}

// formAgrees refuses parts whose attributes contradict each other.
func (c *checker) formAgrees(f *Form) {
	voltsWhen := func(electric bool, what string) {
		volts, ok := f.Attr("volts")
		switch {
		case ok && electric && volts.Value.Num == 0:
			c.add("/attributes/volts", "is 0, but %s needs current; accepted: 6, 12 or 24", what)
		case ok && !electric && volts.Value.Num != 0:
			c.add("/attributes/volts", "is %v, but %s takes no current; write 0", volts.Value.Num, what)
		}
	}
	switch f.Kind {
	case "fuel_hose":
		for i, e := range f.Ends {
			if f.Text("bore_in") == "" {
				break
			}
			if e.Family != Hose || e.Size.String() != f.Text("bore_in") {
				c.add(fmt.Sprintf("/ends/%d", i), "%s is not the end of a hose of bore %s; write hose %s", e, f.Text("bore_in"), f.Text("bore_in"))
			}
		}
	case "vacuum_reducer":
		if large, small := f.Num("large_in"), f.Num("small_in"); large <= small && small > 0 && large > 0 {
			c.add("/attributes/small_in", "%s is not smaller than large_in %s; exchange the two", f.Text("small_in"), f.Text("large_in"))
		}
	case "pressure_regulator":
		if low, high := f.Num("outlet_min_psi"), f.Num("outlet_max_psi"); low > high && high > 0 {
			c.add("/attributes/outlet_max_psi", "%v psi is below outlet_min_psi %v psi; exchange the two", high, low)
		}
		if high, inlet := f.Num("outlet_max_psi"), f.Num("max_inlet_psi"); high > inlet && inlet > 0 {
			c.add("/attributes/outlet_max_psi", "%v psi is above max_inlet_psi %v psi; a regulator only lowers pressure: correct one of the two", high, inlet)
		}
	case "fuel_pump":
		switch f.Text("drive") {
		case string(PumpElectric):
			voltsWhen(true, "an electric pump")
		case string(PumpMechanical):
			voltsWhen(false, "a mechanical pump")
		}
	case "choke_conversion":
		switch f.Text("to") {
		case string(ChokeElectric):
			voltsWhen(true, "an electric choke")
		case string(ChokeManual):
			voltsWhen(false, "a manual choke")
		}
		if from := f.Text("from"); from != "" && from == f.Text("to") {
			c.add("/attributes/to", "%s to %s converts nothing; correct one of the two", from, from)
		}
	case "choke_relay":
		voltsWhen(true, "a relay")
	case "idle_solenoid":
		voltsWhen(true, "a solenoid")
	}
}

// Validate returns everything wrong with the bundle.
func (b *Bundle) Validate() []Violation {
	var c checker
	c.offer(&b.Offer)
	if b.PackQuantity != 1 && b.PackQuantity > 0 {
		c.add("/pack_quantity", "is %d; a bundle is sold one at a time: write 1", b.PackQuantity)
	}
	if len(b.Contents) == 0 {
		c.add("/contents", "is empty; a bundle holds at least one part")
	}
	for i, a := range b.Contents {
		at := fmt.Sprintf("/contents/%d", i)
		switch {
		case a.SKU == b.SKU && a.SKU != "":
			c.add(at+"/sku", "the bundle holds itself; name a part or carburetor")
		case slices.ContainsFunc(b.Contents[:i], func(o Amount) bool { return o.SKU == a.SKU }):
			c.add(at+"/sku", "%s is listed twice; list it once with the sum", quote(a.SKU))
		}
		c.within(at, a.Validate())
	}
	return c.found
}

// Validate returns everything wrong with the amount; pointers are relative to it.
func (a Amount) Validate() []Violation {
	var c checker
	c.id("/sku", a.SKU)
	c.number("/quantity", float64(a.Quantity), limits{low: 1, high: 1000, unit: "pieces"})
	return c.found
}

// Validate returns everything wrong with the stock figure.
func (s Stock) Validate() []Violation {
	var c checker
	c.id("/sku", s.SKU)
	c.id("/location", s.Location)
	c.number("/on_hand", float64(s.OnHand), limits{low: 0, high: 1e6, unit: "packs"})
	return c.found
}

// Validate returns everything wrong with the location.
func (l Location) Validate() []Violation {
	var c checker
	c.id("/id", l.ID)
	c.label("/name", l.Name, 120)
	return c.found
}

// Validate returns everything wrong with the offer: names, price, pack and codes.
func (o *Offer) Validate() []Violation {
	var c checker
	c.offer(o)
	return c.found
}

func (c *checker) offer(o *Offer) {
	c.id("/sku", o.SKU)
	c.label("/name", o.Name, 120)
	oneOf(c, "/finish", o.Finish, Finishes)
	c.number("/pack_quantity", float64(o.PackQuantity), limits{low: 1, high: 10000, unit: "pieces"})
	switch price := o.Price.AmountMinor; {
	case price <= 0:
		c.add("/price/amount_minor", "is %d; a price is above zero, in the minor unit of the currency: 12.99 is written 1299", price)
	case price > maxPriceMinor:
		c.add("/price/amount_minor", "is %d; at most %d is accepted, in the minor unit of the currency: 12.99 is written 1299", price, maxPriceMinor)
	}
	if !units.ValidCurrency(o.Price.Currency) {
		c.add("/price/currency", "%s is no currency code; write the three capital letters of ISO 4217: USD", quote(o.Price.Currency))
	}
	c.number("/lead_time_days", float64(o.LeadTimeDays), limits{low: 0, high: 730, unit: "days"})
	if o.GTIN != "" {
		if err := units.ValidateGTIN(o.GTIN); err != nil {
			c.add("/gtin", "%s", strings.TrimPrefix(oneLine(err), "gtin "))
		}
	}
	if o.ReplacedBy != "" {
		c.id("/replaced_by", o.ReplacedBy)
		if o.ReplacedBy == o.SKU {
			c.add("/replaced_by", "is the SKU itself; name another or leave it out")
		}
		if !o.Discontinued {
			c.add("/replaced_by", "is given, but the article is not discontinued; set discontinued to true or leave replaced_by out")
		}
	}
}

// maxPriceMinor catches a price with digits too many; no single article costs a
// million dollars.
const maxPriceMinor = 100_000_000

// Conversions: the inch is 25.4 mm exactly (international yard and pound agreement
// of 1959) and the US gallon 231 in³; pressures from memory of NIST SP 811 B.8.
const (
	mmPerIn         = 25.4
	in3PerLitre     = 1e6 / (mmPerIn * mmPerIn * mmPerIn)
	litresPerGallon = 231 / in3PerLitre
	psiPerKPa       = 0.1450377
	inHgPerKPa      = 0.2952998
	inHgPerInH2O    = 0.0735559
	m3PerHourPerCFM = 1.699011
)

var (
	sixteenthInch = units.Inches(1, 16)
	eighthInch    = units.Inches(1, 8)
	oneInch       = units.Inches(1, 1)
	twoInches     = units.Inches(2, 1)
	fourInches    = units.Inches(4, 1)
)

// bore limits jets, rods, seats and orifices: diameters in inches.
var bore = limits{0.005, 0.35, "in", []hint{meant(0.4, 5, "mm", "mm", 1/mmPerIn, "in"), meant(5, 350, "thousandths of an inch", "thou", 0.001, "in")}}

// checker gathers violations.
type checker struct{ found []Violation }

func (c *checker) add(pointer, format string, args ...any) {
	c.found = append(c.found, Violation{pointer, fmt.Sprintf(format, args...)})
}

// within adds the violations of a member under its pointer.
func (c *checker) within(pointer string, found []Violation) {
	c.found = append(c.found, Under(pointer, found)...)
}

// limits of a number, both ends accepted. Of the hints for a number outside, the
// first that fits is told.
type limits struct {
	low, high float64
	unit      string
	hints     []hint
}

// hint is what a number from..to looks like. {v} in text stands for the number and
// {ours} for the number times factor; without text it looks like another unit.
type hint struct {
	from, to           float64
	text               string
	factor             float64
	plural, unit, ours string
}

// meant recognises another unit by its usual values: one of it is factor of ours.
func meant(from, to float64, plural, unit string, factor float64, ours string) hint {
	return hint{from, to, "", factor, plural, unit, ours}
}

func (h hint) tell(v float64) string {
	text := h.text
	if text == "" {
		text = "{v} looks like " + h.plural + "; {v} " + h.unit + " is {ours} " + h.ours
	}
	return strings.NewReplacer("{v}", trim(v), "{ours}", trim(v*h.factor)).Replace(text)
}

func mm(from, to float64) hint { return meant(from, to, "mm", "mm", 1/mmPerIn, "in") }

// number reports whether v is within the limits, and adds a violation when not.
func (c *checker) number(pointer string, v float64, l limits) bool {
	if v >= l.low && v <= l.high {
		return true
	}
	unit := ""
	if l.unit != "" {
		unit = " " + l.unit
	}
	if math.IsNaN(v) || math.IsInf(v, 0) {
		c.add(pointer, "%v is not a number; accepted: %s to %s%s", v, trim(l.low), trim(l.high), unit)
		return false
	}
	detail := fmt.Sprintf("%s is outside %s to %s%s", trim(v), trim(l.low), trim(l.high), unit)
	for _, h := range l.hints {
		if v >= h.from && v <= h.to {
			detail += "; " + h.tell(v)
			break
		}
	}
	c.add(pointer, "%s", detail)
	return false
}

// maybe is number for a field that may be absent; absent is false without a violation.
func (c *checker) maybe(pointer string, v *float64, l limits) bool {
	return v != nil && c.number(pointer, *v, l)
}

func (c *checker) volts(pointer string, v float64) {
	if v == 6 || v == 12 || v == 24 {
		return
	}
	detail := fmt.Sprintf("%s V is not a nominal voltage; accepted: 6, 12 or 24", trim(v))
	for _, charging := range []struct{ low, high, nominal float64 }{{6, 7.6, 6}, {12, 15, 12}, {24, 30, 24}} {
		if v > charging.low && v <= charging.high {
			detail += fmt.Sprintf("; %s looks like the voltage while charging: write %s", trim(v), trim(charging.nominal))
		}
	}
	c.add(pointer, "%s", detail)
}

// oneOf reports whether v is accepted.
func oneOf[T ~string](c *checker, pointer string, v T, accepted []T) bool {
	if slices.Contains(accepted, v) {
		return true
	}
	if v == "" {
		c.add(pointer, "is missing; accepted: %s", joinStrings(accepted))
		return false
	}
	names := make([]string, len(accepted))
	for i, a := range accepted {
		names[i] = string(a)
	}
	c.add(pointer, "%s is not accepted%s; accepted: %s", quote(string(v)), didYouMean(string(v), names), joinStrings(accepted))
	return false
}

func didYouMean(word string, among []string) string {
	if near := Near(word, among, 1); len(near) > 0 {
		return ", did you mean " + near[0] + "?"
	}
	return ""
}

func (c *checker) size(pointer string, s, low, high units.Size) bool {
	if s.IsZero() {
		c.add(pointer, "is missing; write a size in inches: 5/16")
		return false
	}
	if s.Compare(low) >= 0 && s.Compare(high) <= 0 {
		return true
	}
	detail := fmt.Sprintf("%s in is outside %s to %s in", s, low, high)
	if in := s.Inches(); in >= 3 && in <= 26 {
		nearest := units.Inches(int(math.Round(in/mmPerIn*16)), 16)
		detail += fmt.Sprintf("; %s looks like mm; %s mm is %s in, nearest %s", s, s, trim(in/mmPerIn), nearest)
	}
	c.add(pointer, "%s", detail)
	return false
}

// tradeSize checks a size that something is made to, from 1/16 in to high. Tube, hose and
// their fittings are made to binary fractions of an inch, down to sixty-fourths (common
// practice, no source).
func (c *checker) tradeSize(pointer string, s, high units.Size) {
	if !c.size(pointer, s, sixteenthInch, high) {
		return
	}
	if nearest := units.Inches(int(math.Round(s.Inches()*64)), 64); s != nearest {
		c.add(pointer, "%s in is no size of the trade, which has halves, quarters and so on to sixty-fourths; nearest %s", s, nearest)
	}
}

// pipe checks a nominal pipe size against the table of NPT threads.
func (c *checker) pipe(pointer string, s units.Size) {
	if s.IsZero() {
		c.add(pointer, "is missing; write a pipe size in inches: 1/8")
	} else if _, err := NewEnd(NPT, s.String(), Male); err != nil {
		c.add(pointer, "%s", oneLine(err))
	}
}

func (c *checker) thread(pointer string, t units.Thread) {
	switch {
	case t.IsZero():
		c.add(pointer, "is missing; write nominal size and threads per inch: 5/16-18")
	case t.Taper:
		c.add(pointer, "%s is a pipe thread; a stud has a straight one: 5/16-18", t)
	case t.Major.Compare(eighthInch) < 0 || t.Major.Compare(oneInch) > 0:
		c.add(pointer, "a stud of %s in is outside 1/8 to 1 in; write nominal size and threads per inch: 5/16-18", t.Major)
	}
}

func (c *checker) maybeThread(pointer string, t *units.Thread) {
	if t != nil {
		c.thread(pointer, *t)
	}
}

// end checks that an End is one NewEnd would build, of an accepted family.
func (c *checker) end(pointer string, e End, accepted []Family) {
	if !oneOf(c, pointer+"/family", e.Family, accepted) {
		return
	}
	built, err := NewEnd(e.Family, e.SizeText(), e.Gender)
	switch {
	case err != nil:
		c.add(pointer, "%s", oneLine(err))
	case built != e:
		c.add(pointer, "%s has size %s and thread %s, which do not belong together; accepted: size %s, thread %s",
			e, e.Size, orNone(e.Thread), built.Size, orNone(built.Thread))
	default:
		c.tradeSize(pointer+"/size", e.Size, fourInches) // the families without a table of sizes take any
	}
}

func orNone(t units.Thread) string {
	if t.IsZero() {
		return "none"
	}
	return t.String()
}

func (c *checker) dimension(pointer string, v float64, needed bool, kind Kind, l limits) {
	switch {
	case v == 0 && needed:
		c.add(pointer, "is missing; a %s needs it, in inches", kind)
	case v != 0 && !needed:
		c.add(pointer, "%s, but a %s has no such dimension; leave it out", trim(v), kind)
	case needed:
		c.number(pointer, v, l)
	}
}

// id checks the form of SKUs and ids: fit for a path, a file name and a bar code.
func (c *checker) id(pointer, s string) {
	const accepted = "write 1 to 40 of A-Z a-z 0-9 . _ -, first a letter or digit"
	switch {
	case s == "":
		c.add(pointer, "is missing; %s", accepted)
	case len(s) > 40 || strings.ContainsFunc(s, func(r rune) bool { return !isIDRune(r) }) || strings.IndexByte("._-", s[0]) >= 0:
		c.add(pointer, "%s is not accepted; %s", quote(s), accepted)
	}
}

func isIDRune(r rune) bool {
	return r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '.' || r == '_' || r == '-'
}

func (c *checker) skus(pointer, own string, list []string) {
	for i, s := range list {
		at := fmt.Sprintf("%s/%d", pointer, i)
		switch {
		case s == own && s != "":
			c.add(at, "is the part itself; name another or leave it out")
		case slices.Contains(list[:i], s):
			c.add(at, "%s is named twice; name it once", quote(s))
		default:
			c.id(at, s)
		}
	}
}

// label checks a text for people: one line, trimmed, not longer than max characters.
func (c *checker) label(pointer, s string, max int) {
	switch {
	case s == "":
		c.add(pointer, "is missing; write 1 to %d characters", max)
	case !utf8.ValidString(s):
		c.add(pointer, "%s is not UTF-8; save or send the text as UTF-8", quote(s))
	case strings.ContainsFunc(s, unicode.IsControl):
		c.add(pointer, "%s has a line break, tab or other control character; write one plain line", quote(s))
	case strings.ContainsFunc(s, Unseen):
		c.add(pointer, "%s has the invisible character %U; take it out", quote(s), []rune(s[strings.IndexFunc(s, Unseen):])[0])
	case strings.TrimSpace(s) != s:
		c.add(pointer, "%s has spaces at its ends; take them off", quote(s))
	case utf8.RuneCountInString(s) > max:
		c.add(pointer, "has %d characters; at most %d are accepted", utf8.RuneCountInString(s), max)
	}
}

// Unseen reports whether a character shows nothing and yet changes what is seen: it turns the
// direction of text (Unicode Standard Annex 9), breaks the line, or has a text look like
// another (Unicode Technical Standard 39). Joiners, which some scripts need, are not among them.
func Unseen(r rune) bool {
	return unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp) && !unicode.In(r, unicode.Join_Control, unicode.Prepended_Concatenation_Mark)
}

// quote prints foreign text safely on one line, clipped.
func quote(s string) string {
	if utf8.RuneCountInString(s) > 60 {
		s = string([]rune(s)[:60]) + "…"
	}
	return strconv.Quote(s)
}

func oneLine(err error) string { return strings.ReplaceAll(err.Error(), "\n", " ") }

// trim prints a number with four significant digits, whole numbers in full.
func trim(v float64) string {
	if v == math.Trunc(v) && math.Abs(v) < 1e15 {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return strconv.FormatFloat(v, 'g', 4, 64)
}
