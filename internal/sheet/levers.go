package sheet

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/units"
)

// lever is one lever on the throttle shaft and the travels that must agree.
type lever struct {
	title    string
	radius   float64
	radiusAt string
	bars     []bar
	outcome  kit.Outcome
}

// bar is a travel in inches, drawn to the scale of the lever above it.
type bar struct {
	text  string
	value float64
	from  string
}

// leversDrawing shows the throttle lever and, when the transmission hangs on it by a
// cable, the transmission's, both to one scale: radius, swing, and travel as the chord
// between closed and wide open.
func leversDrawing(k *kit.Kit) template.HTML {
	throttle, ok := check(k, "throttle.travel")
	if !ok {
		return ""
	}
	c, v := k.Carburetor, k.Vehicle
	d := newDrawing("levers", "Throttle and transmission lever travel, to scale")
	swing := c.Throttle.SwingDeg
	needed, neededAt, _ := throttle.input("lever_travel_in")
	levers := []lever{{
		title: "Throttle lever", radius: c.Throttle.CableRadiusIn, radiusAt: "/carburetor/throttle/cable_radius_in", outcome: throttle.Outcome,
		bars: []bar{{"the lever takes", needed, neededAt}, {"the pedal gives", throttle.Value, throttle.at + "/value"}},
	}}
	if cable, ok := check(k, "transmission.cable_travel"); ok {
		l := lever{title: "Transmission lever", outcome: cable.Outcome}
		var known bool
		if l.radius, l.radiusAt, known = cable.input("geometry_radius_in"); known {
			l.title = "Geometry lever"
		} else if r := c.Throttle.TransmissionRadiusIn; r != nil {
			l.radius, l.radiusAt = *r, "/carburetor/throttle/transmission_radius_in"
		}
		if cable.Value > 0 {
			l.bars = append(l.bars, bar{"the lever gives", cable.Value, cable.at + "/value"})
		}
		if want := v.Transmission.CableTravelIn; want != nil {
			l.bars = append(l.bars, bar{"the cable needs", *want, "/vehicle/transmission/cable_travel_in"})
		}
		levers = append(levers, l)
	}

	const panel, reach = drawingWidth / 2, 140.0
	half := swing * math.Pi / 360
	longest, highest := 0.0, 0.0 // inches across and up that must fit
	for _, l := range levers {
		longest, highest = max(longest, 2*l.radius*math.Sin(min(half, math.Pi/2))), max(highest, l.radius)
		for _, b := range l.bars {
			longest = max(longest, b.value)
		}
	}
	scale := min(reach/longest, 84/highest)
	pivot := 30 + scale*highest + 10 - scale*highest*min(0, math.Cos(half))

	var sentences []string
	for i, l := range levers {
		x := float64(panel*i) + panel/2
		d.text(x, 14, "middle strong", say(l.title))
		if l.radius == 0 {
			d.text(x, pivot, "middle small", say("no lever for a cable"))
		} else {
			px, py := scale*l.radius*math.Sin(half), scale*l.radius*math.Cos(half)
			d.arc(x-px, pivot-py, x+px, pivot-py, scale*l.radius, swing > 180)
			d.line(x, pivot, x-px, pivot-py, "bold")
			d.line(x, pivot, x+px, pivot-py, "dash")
			d.line(x-px, pivot-py, x+px, pivot-py, "ink")
			d.circle(x, pivot, 4, "dot")
			d.circle(x-px, pivot-py, 3, "dot")
			d.circle(x+px, pivot-py, 3, "bore")
			d.text(x-panel/2+4, pivot-py+17, "start small", say("closed"))
			d.text(x+panel/2-4, pivot-py+17, "end small", say("open"))
			d.text(x, pivot+20, "middle small", say("radius "), figure(l.radiusAt, l.radius), say(" in, swing "), figure("/carburetor/throttle/swing_deg", swing), say("°"))
			sentences = append(sentences, fmt.Sprintf("%s: radius %s in, swing %s degrees.", l.title, units.Number(l.radius), units.Number(swing)))
		}
		y := pivot + 38
		for _, b := range l.bars {
			d.text(x-reach/2, y, "start small", say(b.text+" "), figure(b.from, b.value), say(" in"))
			d.rect(x-reach/2, y+4, scale*b.value, 7, "layer", b.from)
			sentences = append(sentences, fmt.Sprintf("%s %s in.", upperFirst(b.text), units.Number(b.value)))
			y += 30
		}
		d.text(x-reach/2, y, "start strong", say(outcomeTexts[l.outcome]))
		d.height = max(d.height, y+8)
	}
	d.line(panel, 4, panel, d.height-4, "hair")
	if len(levers) == 1 {
		x := float64(panel) + panel/2
		d.text(x, 14, "middle strong", say("Transmission"))
		for i, line := range wrap(noCableText(v.Transmission), 26, 4) {
			d.text(x, 44+leading*float64(i), "middle small", say(line))
		}
		sentences = append(sentences, noCableText(v.Transmission))
	}
	d.desc = "Each lever closed, as a full line, and wide open, dashed; the straight line between its ends is the travel. " + strings.Join(sentences, " ")
	return d.html()
}

// noCableText says why there is no transmission lever to draw.
func noCableText(t catalog.Transmission) string {
	switch t.Downshift {
	case catalog.KickdownRod:
		return "A kickdown rod: full travel exactly at wide open, set by the vehicle maker's manual."
	case catalog.VacuumModulator:
		return "A vacuum modulator: a hose, no cable on the throttle."
	case catalog.ElectricSwitch:
		return "An electric kickdown switch: no cable on the throttle."
	case catalog.ThrottleValveCable, catalog.DetentCable:
		return "A cable whose travel was not checked."
	}
	return "Nothing of the transmission hangs on the throttle."
}
