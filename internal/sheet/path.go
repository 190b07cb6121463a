package sheet

import (
	"fmt"
	"html/template"
	"strconv"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// pathDrawing is the way of the fuel from the vehicle's line to the carburetor as a
// chain: a box for each part, between two boxes the ends that join.
func pathDrawing(k *kit.Kit) template.HTML {
	d := newDrawing("path", "Fuel path, supply line to carburetor")
	c, v := k.Carburetor, k.Vehicle
	const left, width, columns = 20, 320, 56 // columns: characters in a box

	y := 6.0
	box := func(class string, lines [][]piece) {
		height := float64(leading*len(lines)) + 8
		d.rect(left, y, width, height, class, "")
		for i, pieces := range lines {
			style := "start strong"
			if i > 0 {
				style = "start small"
			}
			d.text(left+10, y+2+leading*float64(i+1), style, pieces...)
		}
		y += height
	}
	// joint writes what meets what; open ones show a gap and say so.
	joint := func(open bool, upper, lower []piece) {
		const height = 32
		x := float64(left + 24)
		if open {
			d.line(x, y, x, y+10, "dash")
			d.line(x, y+height-10, x, y+height, "dash")
		} else {
			d.line(x, y, x, y+height, "pipe")
			d.circle(x, y+height/2, 4, "dot")
		}
		d.text(x+14, y+13, "start small", upper...)
		d.text(x+14, y+13+leading, "start small", lower...)
		y += height
	}
	sized := func(e catalog.End, at string) []piece {
		return []piece{say(familyText(e.Family) + " "), exactly(at+"/size", e.SizeText()), say(threadMark(e))}
	}

	// The contract names the line by its outside diameter; its nut by the thread.
	supply, err := v.Fuel.SupplyEnd()
	line := []piece{say(familyText(v.Fuel.LineEnd) + " "), exactly("/vehicle/fuel/line_od_in", v.Fuel.LineODIn.String()), say(" in")}
	if err == nil && supply.SizeText() != v.Fuel.LineODIn.String() {
		line = append(line, say(" ("+supply.SizeText()+threadMark(supply)+")"))
	}
	inlet := sized(c.Inlet.End, "/carburetor/inlet/end")

	box("body", [][]piece{{say("the vehicle's supply line")}, line})
	above, aboveEnd := line, supply
	sentences := []string{"Supply line: " + spoken(line) + "."}
	for i := range k.FuelPath {
		s := &k.FuelPath[i]
		at := "/fuel_path/" + strconv.Itoa(i)
		joint(!aboveEnd.Mates(s.FromEnd), above, sized(s.FromEnd, at+"/from_end"))
		var lines [][]piece
		if s.SKU == "" {
			lines = plainly(wrap(s.Name, columns, 2))
		} else {
			lines = append([][]piece{{exactly(at+"/sku", s.SKU)}}, plainly(wrap(s.Name, columns, 2))...)
		}
		if s.FromEnd.Family == catalog.Hose && s.LengthIn > 0 {
			lines = append(lines, []piece{say("cut to "), figure(at+"/length_in", s.LengthIn), say(" in")})
		}
		class := "body"
		if s.SKU == "" {
			class = "missing"
		}
		box(class, lines)
		above, aboveEnd = sized(s.ToEnd, at+"/to_end"), s.ToEnd
		sentences = append(sentences, fmt.Sprintf("%s %s, %s to %s.", s.SKU, s.Name, endText(s.FromEnd), endText(s.ToEnd)))
	}
	if len(k.FuelPath) == 0 {
		joint(true, []piece{say("NOTHING JOINS THESE TWO:")}, []piece{say("no chain of parts was found, see what is missing")})
		sentences = append(sentences, "No chain of parts joins it to the carburetor.")
	} else {
		joint(!aboveEnd.Mates(c.Inlet.End), above, inlet)
	}
	box("body", [][]piece{
		{say("carburetor inlet, facing " + catalog.Words(c.Inlet.Facing))},
		append(inlet, say(", up to "), figure("/carburetor/max_fuel_psi", c.MaxFuelPSI), say(" psi")),
	})
	sentences = append(sentences, fmt.Sprintf("Carburetor inlet facing %s: %s.", catalog.Words(c.Inlet.Facing), endText(c.Inlet.End)))
	d.height = y + 6
	d.desc = strings.Join(sentences, " ")
	return d.html()
}

// spoken is pieces as one text.
func spoken(pieces []piece) string {
	var b strings.Builder
	for _, p := range pieces {
		b.WriteString(p.text)
	}
	return b.String()
}
