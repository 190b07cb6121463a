package sheet

import (
	"fmt"
	"html/template"
	"strconv"
	"strings"

	"onetrip/internal/kit"
	"onetrip/internal/units"
)

// stackDrawing is what stands on the manifold flange, to scale under the hood. When
// no stack fits, the lowest that the parts allow is drawn as one block.
func stackDrawing(k *kit.Kit) template.HTML {
	height, ok := check(k, "stack.height")
	if !ok {
		return ""
	}
	margin, marginAt, haveMargin := height.input("margin_in")
	wanted, wantedAt, haveWanted := height.input("margin_wanted_in")
	if !haveMargin || !haveWanted {
		return ""
	}
	clearance := k.Vehicle.Intake.HoodClearanceIn

	d := newDrawing("stack", "Mounting stack under the hood, to scale")
	const top, axis, beside = 24, 92, 182                 // wide fonts need all of the right half
	scaleHeight := max(204, 32*float64(len(k.Stack)+1)-8) // room for a label to each layer
	unit := scaleHeight / max(clearance, height.Value)
	floor := top + scaleHeight
	y := func(in float64) float64 { return floor - unit*in }
	d.height = floor + 28

	// Flange below, hood above, each with the hatching of something solid.
	d.line(12, floor, 172, floor, "thick")
	d.hatch(12, floor, 160, 7, 7)
	d.line(12, y(clearance), 172, y(clearance), "thick")
	d.hatch(12, y(clearance)-7, 160, 7, 7)
	d.text(12, floor+20, "start small", say("manifold flange"))
	d.text(12, y(clearance)-11, "start small", say("underside of the hood"))
	d.measure(24, floor, 24, y(clearance))
	d.upright(18, (floor+y(clearance))/2, figure("/vehicle/intake/hood_clearance_in", clearance), say(" in clear"))

	var list []label
	var spots []float64 // the right edge of each layer
	var sentences []string
	at := 0.0
	for i := range k.Stack {
		s := &k.Stack[i]
		from := "/stack/" + strconv.Itoa(i)
		half := 38.0
		switch {
		case strings.Contains(s.Item, "air cleaner gasket"):
			half = 24
		case strings.Contains(s.Item, "air cleaner"):
			half = 58
		case strings.Contains(s.Item, "carburetor"):
			half = 30
		}
		class := "layer"
		if strings.Contains(s.Item, "gasket") {
			class = "solid"
		}
		d.rect(axis-half, y(at+s.HeightIn), 2*half, unit*s.HeightIn, class, from+"/height_in")
		second := []piece{figure(from+"/height_in", s.HeightIn), say(" in")}
		if s.SKU != "" {
			second = append(second, say(", "), exactly(from+"/sku", s.SKU))
		}
		list = append(list, label{at: y(at + s.HeightIn/2), lines: append(plainly(wrap(s.Item, 24, 1)), second)})
		spots = append(spots, axis+half)
		sentences = append(sentences, fmt.Sprintf("%s, %s in.", s.Item, units.Number(s.HeightIn)))
		at += s.HeightIn
	}
	if len(k.Stack) == 0 {
		d.rect(axis-38, y(height.Value), 76, unit*height.Value, "missing", height.at+"/value")
		list = append(list, label{at: y(height.Value / 2), lines: [][]piece{{say("no stack fits")}, {say("the lowest stands")}, {figure(height.at+"/value", height.Value), say(" in high")}}})
		spots = append(spots, axis+38)
		sentences = append(sentences, fmt.Sprintf("No stack fits; the lowest stands %s in high.", units.Number(height.Value)))
	}
	room := label{at: (y(clearance) + y(height.Value)) / 2, lines: [][]piece{
		{figure(marginAt, margin), say(" in of margin")},
		{say("wanted: "), figure(wantedAt, wanted), say(" in or more")},
	}}
	if margin < 0 {
		room.lines = append([][]piece{{say("STRIKES THE HOOD")}}, room.lines...)
	}
	list, spots = append(list, room), append(spots, axis)
	if margin > 0 {
		d.measure(axis, y(height.Value), axis, y(clearance))
	}
	for i, middle := range d.labels(list, beside, "start", 4, floor) {
		d.path("hair", spots[i]+1, list[i].at, 170, list[i].at, beside-3, middle)
	}
	d.text(beside, floor+20, "start small", say("all of it: "), figure(height.at+"/value", height.Value), say(" in"))
	d.desc = fmt.Sprintf("From the manifold flange up: %s Together %s in under a hood %s in above the flange, which leaves %s in; %s in or more is wanted.",
		strings.Join(sentences, " "), units.Number(height.Value), units.Number(clearance), units.Number(margin), units.Number(wanted))
	return d.html()
}
