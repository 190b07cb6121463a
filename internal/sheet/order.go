package sheet

import (
	"cmp"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// step is one stage of the work: what to do and, by SKU or words, with what.
type step struct {
	Title string
	Text  []string
	With  []string
}

// order is the order of work for what is in this kit. It is words for people around
// the needs, and no rule: common practice, no source. The makers' manuals come first.
// marked are the lines after marks; nil when there are none.
func order(k *kit.Kit, marked []kit.CounterLine) []step {
	w := workshop{k: k, marked: marked}
	v, c := k.Vehicle, k.Carburetor

	w.step("Lay everything out", nil,
		"Compare the parts with the pick list, and the new carburetor with the old one: flange, inlet, linkage, ports. Read its maker's manual and the vehicle's.",
		when(k.Verdict == kit.Unsuitable, "Then go no further with this carburetor: see the verdict."),
		when(len(k.Missing) > 0, "Settle what is missing first: a car taken apart cannot fetch parts."))
	w.step("Make it safe", needs{"shop.fender_cover"},
		"Engine cold, brake set, wheels blocked, doors open, no flame or heater near, extinguisher for liquid fuel at hand, eye protection on.",
		"Battery off, ground side first"+choose(v.Electrical.NegativeGround, ".", " (this vehicle's ground side is positive)."),
		when(v.Fuel.Pump == catalog.PumpElectric, "Let the pressure out of the fuel line: pump unplugged, then open the joint under a rag."))
	w.step("Take the old one off", nil,
		"Photograph and tag every hose, wire and link. Air cleaner off, linkage and springs off, catch the fuel when the line comes loose and close it.",
		"Loosen the nuts crosswise and lift straight up. Close the openings at once.")
	w.step("Clean and look", needs{"shop.gasket_scraper"},
		"Every trace of the old gasket off, with the openings closed; wipe, never blow. Look for cracks and a bent flange, and at the state of the fuel line.")
	w.step("Prepare the carburetor on the bench", needs{"vacuum.pipe_plug", "vacuum.nipples", "vacuum.caps", "fuel.inlet_fitting", "shop.thread_sealant", "tuning.metering_set", "throttle.end", "transmission.kickdown_lever", "transmission.tv_geometry", "choke.conversion", "idle.stop_solenoid"},
		"Close its ports as the drawing from above has it, and fit what is easier to reach now.",
		when(w.has("shop.thread_sealant"), "Sealant on pipe threads only, and none on the first two turns."),
		when(w.has("tuning.metering_set"), "Change jets or rods now, to the starting settings, with a screwdriver of full width."),
		when(w.has("throttle.end", "transmission.kickdown_lever", "transmission.tv_geometry"), "Lever ends and transmission lever on now; the shaft must still turn freely."))
	w.step("Build the stack", needs{"mount.studs", "mount.base_gasket", "mount.adapter", "mount.spacer"},
		when(w.has("mount.studs"), "New studs in by hand, to the bottom of their thread, none forced."),
		stackText(k),
		"Nuts crosswise in small steps, to the figure in the carburetor maker's manual. Work the throttle after every round: it must snap shut.")
	w.step("Throttle", needs{"throttle.bracket", "throttle.end", "throttle.return_springs"},
		when(v.Throttle.Kind == catalog.ThrottleCable, "Bracket first, then the cable, without a bend or a pull to the side.")+
			when(v.Throttle.Kind == catalog.ThrottleRod, "Rod and lever in one plane, without a twist."),
		"One person on the pedal, engine off: on the floor the plates stand fully open and nothing strains; let go, and it snaps shut with either spring alone.")
	w.step("Transmission", needs{"transmission.cable_bracket", "transmission.kickdown_lever", "transmission.tv_geometry", "transmission.modulator_hose"}, transmissionText(v.Transmission.Downshift))
	w.step("Vacuum hoses", needs{"vacuum.pcv_hose", "vacuum.booster_hose", "vacuum.advance_hose", "vacuum.egr_hose", "vacuum.purge_hose", "vacuum.cruise_hose", "transmission.modulator_hose", "vacuum.tees", "vacuum.reducers", "vacuum.nipples"},
		when(w.hoses(), "Each hose to its port as drawn, cut square, pushed home, clear of linkage and exhaust."),
		when(v.Accessories.PowerBrakes, "Booster hose: check valve the right way round, no tee. It is a brake part."))
	w.step("Fuel line", needs{"fuel.pump", "fuel.pressure_regulator", "fuel.filter", "fuel.fittings", "fuel.inlet_fitting", "fuel.return_tee", "fuel.hose", "fuel.clamps"},
		"Join it in the order of the drawing: arrow of the filter towards the carburetor, hose pushed over the whole barb, a clamp at each end, clear of exhaust, fan and linkage.",
		"Hold the inlet body with a second wrench while tightening the line.",
		when(w.has("fuel.pressure_regulator"), "Regulator turned down, gauge after it, before any fuel flows."),
		when(w.has("fuel.pump"), "Pump near the tank and below its level if electric; it must stop when the engine does."))
	w.step("Choke", needs{"choke.feed_wire", "choke.ground_wire", "choke.relay", "choke.conversion"},
		when(w.has("choke.feed_wire"), "Feed from a terminal that is live with the ignition only, through its fuse; never from the coil."),
		when(w.has("choke.ground_wire"), "Ground wire from the choke's housing to bare metal of the block."),
		when(c.Choke.Kind == catalog.ChokeManual, "Cable on without a kink: blade shut with the knob out, upright with the knob in."))
	w.step("Idle solenoid", needs{"idle.stop_solenoid"}, when(w.has("idle.stop_solenoid"), "Connect it; with the ignition on it must hold the lever out, off it must let it back."))
	w.step("Air cleaner and hood", needs{"air.neck_adapter", "air.gasket", "air.stud", "air.low_profile"},
		"Drop the cleaner on its gasket and work the throttle once more. A lump of modelling clay on top and the hood lowered gently shows the real room.")
	w.step("Prime and look for leaks", nil,
		"Battery on, live side first. Fill the bowl"+choose(v.Fuel.Pump == catalog.PumpElectric, " by the pump with the engine standing", " by cranking with the ignition disabled")+
			". One person looks at every joint, extinguisher in reach. A single drop: stop, battery off, mend it.")
	w.step("First start", nil,
		"Outdoors, wheels blocked, "+choose(v.Transmission.Kind == catalog.Manual, "neutral", "park or neutral")+", brake set. Look for fuel again cold and again hot; listen for hissing.",
		"Then timing, idle mixture and idle speed, in that order, from the starting settings"+choose(c.Choke.Kind == catalog.ChokeNone, ".", "; the choke last, on a cold engine."))
	w.step("Before the road", nil,
		when(v.Accessories.PowerBrakes, "Brakes: pump the pedal with the engine off, hold it, start: it must sink a little. If not, do not drive."),
		when(v.Transmission.Downshift == catalog.ThrottleValveCable, "Transmission: line pressure on a gauge, as its maker's manual says. Not around the block before that."),
		"Throttle: pedal through its travel hot, engine off; it must snap shut.",
		"A short run near home, then look for leaks, read a plug, and check the nuts once the engine is cold again, without overtightening. Whoever is not trained for a step leaves it to a licensed workshop.")
	w.step("Whatever is left", w.left(), when(len(w.left()) > 0, "Fit it as its maker says."))
	return w.steps
}

// needs are ids of needs.
type needs = []string

// workshop collects the steps and knows what the kit holds.
type workshop struct {
	k      *kit.Kit
	marked []kit.CounterLine
	steps  []step
	named  needs
}

// step adds a stage, with what meets the needs named and the texts that are not
// empty; without any text the kit has nothing to do there.
func (w *workshop) step(title string, with needs, texts ...string) {
	w.named = append(w.named, with...)
	texts = slices.DeleteFunc(texts, func(t string) bool { return t == "" })
	if len(texts) > 0 {
		w.steps = append(w.steps, step{title, texts, w.parts(with)})
	}
}

// parts tells what meets needs: SKUs of the pick list, else where it is.
func (w *workshop) parts(with needs) []string {
	var out []string
	for _, n := range w.k.Needs {
		if !slices.Contains(with, n.ID) {
			continue
		}
		switch n.Status {
		case kit.Filled, kit.OutOfStock:
			for _, sku := range n.Lines {
				if text := w.taken(sku); !slices.Contains(out, text) {
					out = append(out, text)
				}
			}
			for _, a := range n.AtHand {
				out = append(out, cmp.Or(a.SKU, kit.NeedTitle(n.ID))+" from the "+string(a.From))
			}
		case kit.InTheBox:
			out = append(out, kit.NeedTitle(n.ID)+" from the box")
		case kit.OnTheShelf:
			out = append(out, kit.NeedTitle(n.ID)+" from the owner's shelf")
		case kit.NotThere:
			out = append(out, kit.NeedTitle(n.ID)+": MISSING")
		}
	}
	return out
}

// taken says what was taken for a line.
func (w *workshop) taken(sku string) string {
	for i := range w.marked {
		switch l := &w.marked[i]; {
		case l.InPlaceOf == sku:
			return l.SKU
		case l.SKU == sku && l.Mark == kit.LineDeclined:
			return sku + ", declined at the counter"
		}
	}
	return sku
}

// left are the needs of no step so far; rules may raise ones unknown here.
func (w *workshop) left() needs {
	var out needs
	for _, n := range w.k.Needs {
		if !slices.Contains(w.named, n.ID) && w.has(n.ID) {
			out = append(out, n.ID)
		}
	}
	return out
}

// has reports whether one of the needs is met by something to fit.
func (w *workshop) has(ids ...string) bool {
	return slices.ContainsFunc(w.k.Needs, func(n kit.Need) bool {
		return slices.Contains(ids, n.ID) && n.LeftOut() == "" && n.Status != kit.NotNeeded
	})
}

func (w *workshop) hoses() bool {
	return slices.ContainsFunc(w.k.VacuumPorts, func(p kit.PortUse) bool { return p.Use != "cap" && p.Use != "plug" })
}

func when(condition bool, text string) string { return choose(condition, text, "") }

func choose(condition bool, yes, no string) string {
	if condition {
		return yes
	}
	return no
}

// stackText names the layers from the manifold up to the carburetor.
func stackText(k *kit.Kit) string {
	var layers []string
	for _, s := range k.Stack {
		layers = append(layers, s.Item)
		if s.Item == "carburetor" {
			break
		}
	}
	if len(layers) == 0 {
		return "New gasket under every plate and under the carburetor, dry unless its maker says otherwise."
	}
	return "From the manifold up: " + strings.Join(layers, ", ") + ". Gaskets new and dry unless their maker says otherwise."
}

func transmissionText(d catalog.Downshift) string {
	switch d {
	case catalog.ThrottleValveCable:
		return "Throttle-valve cable: just taut at idle, full travel exactly at wide open, by the transmission maker's procedure. A wrong cable burns the clutches."
	case catalog.DetentCable:
		return "Detent cable: full travel exactly at wide open, not before, not after."
	case catalog.KickdownRod:
		return "Kickdown rod: full travel exactly at wide open; it must not hold the throttle open."
	case catalog.VacuumModulator:
		return "Modulator hose on manifold vacuum, tight at both ends: a leak makes every shift hard."
	case catalog.ElectricSwitch:
		return "Kickdown switch: it must close only with the pedal on the floor."
	}
	return ""
}
