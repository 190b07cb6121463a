package kit

import (
	"slices"

	"onetrip/internal/calc"
	"onetrip/internal/catalog"
	"onetrip/internal/fit"
	"onetrip/internal/units"
)

// checks are all figures against their limits, in the order of the work.
func (j *job) checks(sel *selection) []Check {
	v, c, f := j.vehicle, j.carburetor, j.figures
	var set, wire *catalog.Form
	if p := sel.part("tuning.metering_set"); p != nil {
		set = p.Form
	}
	if p := sel.part("choke.feed_wire"); p != nil {
		wire = p.Form
	}
	wr := j.writer
	out := wr.airChecks(make([]Check, 0, 16), v, c, f)
	out = wr.altitudeChecks(out, v, c, f, set)
	out = wr.fuelChecks(out, v, c, f, sel.path(), sel.part("fuel.pump"))
	if c.Choke.Kind == catalog.ChokeElectric && j.choke(sel) == catalog.ChokeElectric {
		out = wr.chokeChecks(out, v, f, wire)
	}
	out = wr.stackChecks(out, v, sel, f, j.stackGap, j.owns("mount.studs"))
	return wr.travelChecks(out, v, c, j.travel, sel.part("transmission.tv_geometry"), j.owns("transmission.tv_geometry"))
}

// choke is what choke there is once the kit is fitted: the carburetor's, or what a conversion
// in the kit or the owner's makes of it. One that wants a conversion before it may be fed, and
// gets none, works as none.
func (j *job) choke(sel *selection) catalog.ChokeKind {
	d := j.role("choke.conversion")
	switch p := sel.part("choke.conversion"); {
	case d == nil:
	case p != nil:
		return catalog.ChokeKind(p.Text("to"))
	case d.status == OnTheShelf || d.status == InTheBox:
		return catalog.ChokeKind(d.asked("to"))
	case d.level == Required:
		return catalog.ChokeNone
	}
	return j.carburetor.Choke.Kind
}

// settings are where adjustment starts. They never replace the maker's manual.
// Fuel pressure is what the checks reckon with.
func (j *job) settings(sel *selection, checks []Check) []Setting {
	c := j.carburetor
	const manual = " The carburetor maker's manual decides."
	screws := "each of the two idle mixture screws"
	if c.Barrels == 1 {
		screws = "the idle mixture screw"
	}
	out := append(make([]Setting, 0, 12), []Setting{
		{"idle mixture", "1-1/2 turns out from lightly seated, " + screws, "A starting point from which the engine idles; then lean each screw to the best vacuum. Common practice, no source." + manual},
		{"idle speed", "as the vehicle's emission label or shop manual states", "Set warm, in the gear the manual names, after the ignition timing is right."},
		{"float level", "as shipped; check against the maker's drawing before fitting", "Shipping can bend a float arm: too high floods, too low starves." + manual},
		{"ignition timing", "as the shop manual states, vacuum advance hose off and plugged while setting", "Mixture cannot be set on wrong timing."},
	}...)
	switch j.choke(sel) {
	case catalog.ChokeElectric:
		out = append(out,
			Setting{"choke index", "on the centre mark", "Closes lightly at about 70 °F with the engine cold; richer if it stalls cold, leaner if it smokes. Common practice, no source." + manual},
			Setting{"fast idle", "1,500 to 1,700 rpm on the second step, engine warm", "Enough to run cold without racing. Common practice, no source." + manual})
	case catalog.ChokeManual:
		out = append(out, Setting{"choke cable", "fully open with the knob in, fully closed with the knob out", "A choke that stays partly closed runs rich and washes cylinders." + manual})
	case catalog.ChokeDivorced:
		out = append(out, Setting{"choke rod", "blade just closed at about 70 °F with the engine cold", "The rod from the manifold's spring must neither bind nor hold the blade shut." + manual})
	}
	if usesPort(j.vacuum, "advance") {
		out = append(out, Setting{"vacuum advance", "hose to the " + string(j.vehicle.Ignition.Advance) + " connection", "As the vehicle takes it; ported, above the throttle plates, is usual. Common practice, no source."})
	}
	if p := sel.part("tuning.metering_set"); p != nil {
		if pair, ok := meteringPair(c, j.figures, p.Form); ok {
			out = append(out, Setting{"main metering", j.writer.pairText(pair),
				j.writer.Sayf("Nearest in set %s to the right mixture at %.0f ft, %+.1f %%. Read the plugs after a run; a lean mixture burns valves.", p.SKU, j.vehicle.Site.AltitudeFt, pair.ResidualPercent)})
		}
	}
	for i := range checks {
		if psi, regulated := checks[i].Inputs.named(outletName); regulated {
			out = append(out, Setting{"fuel pressure", j.writer.Sayf("%g psi at the inlet, engine idling; never above %g psi", psi, c.MaxFuelPSI),
				"Above its limit the float valve cannot hold and fuel floods the engine." + manual})
		}
	}
	switch j.vehicle.Transmission.Downshift {
	case catalog.ThrottleValveCable:
		out = append(out, Setting{"throttle-valve cable", "just taut at idle, full travel at wide open; check line pressure with a gauge", "A slack cable lowers line pressure and burns clutches within miles. The transmission maker's procedure decides."})
	case catalog.DetentCable, catalog.KickdownRod:
		out = append(out, Setting{"kickdown linkage", "full travel exactly at wide open throttle", "Too late never downshifts, too early strains the linkage. The vehicle maker's manual decides."})
	}
	return out
}

// usualStudThread is taken when neither the vehicle's nor the new studs' is known.
var usualStudThread = units.Thread{Major: units.Inches(5, 16), PerInch: 18}

// tools follow from the fasteners in the kit.
func (j *job) tools(sel *selection) []Tool {
	out := make([]Tool, 0, 14)
	add := func(name, purpose string) {
		if !slices.ContainsFunc(out, func(t Tool) bool { return t.Name == name }) {
			out = append(out, Tool{name, purpose})
		}
	}
	thread := usualStudThread
	if j.vehicle.Intake.StudThread != nil {
		thread = *j.vehicle.Intake.StudThread
	}
	if p := sel.part("mount.studs"); p != nil {
		if t := p.Thread(); !t.IsZero() {
			thread = t
		}
	}
	if wrench, err := calc.WrenchSize(thread.Major); err == nil {
		add(j.writer.Sayf("%s in socket and open wrench", wrench), j.writer.Sayf("the %s flange nuts", thread))
	}
	add("torque wrench, inch-pounds", "tightening the flange nuts evenly, crosswise; the maker's manual gives the figure")
	if path := sel.path(); path != nil {
		for _, step := range path.Steps {
			for _, e := range []catalog.End{step.From, step.To} {
				switch e.Family {
				case catalog.InvertedFlare:
					add(j.writer.Sayf("flare-nut wrench for %s", e.Thread), "flare nuts round off under an open wrench")
				case catalog.ANFlare:
					add(j.writer.Sayf("wrench for %s flare nuts", e.SizeText()), "37 degree flare joints; hold the body with a second wrench")
				case catalog.NPT:
					add(j.writer.Sayf("open wrench for %s in pipe fittings", e.Size), "pipe joints, with sealant that withstands fuel")
				case catalog.UNFPort, catalog.Banjo:
					add(j.writer.Sayf("wrench for the %s inlet fitting", e.Thread), "new sealing washers every time")
				case catalog.Hose:
					add("hose cutter", "square cuts; a crushed end leaks")
					add("screwdriver or nut driver for hose clamps", "two clamps to a piece of hose, one at each end")
				}
			}
		}
	}
	if p := sel.part("vacuum.pipe_plug"); p != nil {
		if p.Text("drive") == "hex_socket" {
			add("hex key for the "+p.Text("npt_in")+" in pipe plug", "closing the unused port")
		} else {
			add("wrench for the "+p.Text("npt_in")+" in square-head plug", "closing the unused port")
		}
	}
	if sel.part("choke.feed_wire") != nil {
		add("wire stripper, crimper and test lamp", "the choke feed; find a terminal that is live only with the ignition on")
	}
	if sel.part("tuning.metering_set") != nil {
		add("jet screwdriver of full width", "changing jets without burring them")
	}
	add("gasket scraper and rags to close the intake", "nothing may fall into the engine")
	add("vacuum gauge and tachometer", "setting idle mixture and speed")
	add("timing light", "timing is set before mixture")
	add("safety glasses and a fire extinguisher for petrol (class B)", "within reach before the fuel line is opened")
	return out
}

// cautions are those of the rules that fired, that of a check, and those every swap has.
func (j *job) cautions(checks []Check) []Caution {
	fired := 0
	for i := range j.fired {
		if j.fired[i].Caution != nil {
			fired++
		}
	}
	out := make([]Caution, 0, fired+2)
	add := func(c Caution) {
		if !slices.ContainsFunc(out, func(o Caution) bool { return o.ID == c.ID }) {
			out = append(out, c)
		}
	}
	for i := range j.fired {
		f := &j.fired[i]
		if d := find(j.demands, f.Rule.Need, f.Each); f.Caution != nil && (d == nil || !d.idle()) {
			add(Caution{f.Caution.ID, f.Caution.Text, f.Caution.Source})
		}
	}
	for i := range checks {
		if c := &checks[i]; c.ID == "fuel.float_valve" && c.Outcome == Warn {
			add(Caution{c.ID, c.Text + " At full load for long the bowl runs low and the engine leans out: do not hold full load until a larger needle and seat, or more pressure within the carburetor's limit, feeds it.", c.Source})
		}
	}
	add(Caution{"general.computed", "A passed check is arithmetic on the figures given, not a guarantee of safety. The vehicle maker's manual, the carburetor maker's instructions, local codes and a licensed mechanic's judgement come first.", ""})
	return out
}

// usesPort reports whether a plan serves a user.
func usesPort(p fit.VacuumPlan, use string) bool {
	return slices.ContainsFunc(p.Ports, func(u fit.PortUse) bool { return u.Use == use || slices.Contains(u.Shared, use) })
}

// questions ask for fields that were not given and matter for this pair.
func (j *job) questions() []Question {
	v := j.vehicle
	out := j.writer.engineQuestions(v)
	ask := func(unknown bool, field, text string) {
		if unknown {
			out = append(out, Question{field, text})
		}
	}
	ask(v.Intake.StudLengthIn == nil, "/vehicle/intake/stud_length_in", "How far do the studs stand above the manifold flange? Unknown, new studs are in the kit.")
	ask(v.Intake.StudThread == nil, "/vehicle/intake/stud_thread", "Which thread have the studs? Unknown, 5/16-18 is taken for studs and wrench.")
	ask(v.Fuel.FreeFlowGPH == nil, "/vehicle/fuel/free_flow_gph", j.writer.Sayf("What does the pump deliver into an open can? The engine can burn %.0f gal/h at full power.", j.figures.FuelDemandGPH))
	cable := v.Transmission.Downshift == catalog.ThrottleValveCable || v.Transmission.Downshift == catalog.DetentCable
	ask(cable && v.Transmission.CableTravelIn == nil, "/vehicle/transmission/cable_travel_in", "What is the full travel of the transmission's cable? Until it is known the lever cannot be shown to give it, and wrong travel burns clutches.")
	ask(v.Accessories.CanisterPurge == nil, "/vehicle/accessories/canister_purge", "Is there a charcoal canister with a purge hose? It takes a ported connection.")
	ask(v.Accessories.EGR == nil, "/vehicle/accessories/egr", "Is there an EGR valve? It takes a ported connection, and may be required by law.")
	ask(v.Accessories.CruiseControl == nil, "/vehicle/accessories/cruise_control", "Is there a vacuum cruise control? It takes manifold vacuum and a link to the throttle.")
	ask(v.AirCleaner.StudThread == nil, "/vehicle/air_cleaner/stud_thread", "Which thread has the air cleaner's wing nut? It decides whether the new stud takes it.")
	return out
}

func (wr *writer) engineQuestions(v *catalog.Vehicle) []Question {
	out := make([]Question, 0, 12)
	volumetricEfficiency, redlineRPM, _ := calc.TuneDefaults(string(v.Engine.Tune))
	if v.Engine.RedlineRPM == nil {
		out = append(out, Question{"/vehicle/engine/redline_rpm", wr.Sayf("How fast is the engine turned? %.0f rpm is taken for a %s engine; size follows from it.", redlineRPM, string(v.Engine.Tune))})
	}
	if v.Engine.VolumetricEfficiency == nil {
		out = append(out, Question{"/vehicle/engine/volumetric_efficiency", wr.Sayf("Is the volumetric efficiency known? %.2f is taken for a %s engine.", volumetricEfficiency, string(v.Engine.Tune))})
	}
	if v.Engine.IdleVacuumInHg == nil {
		out = append(out, Question{"/vehicle/engine/idle_vacuum_inhg", "What does a vacuum gauge show at idle? It decides the power valve or step-up spring, and whether power brakes get enough."})
	}
	return out
}
