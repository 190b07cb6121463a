package sheet

import (
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// portUses are the trade's words for what a vacuum port can serve.
var portUses = map[string]string{
	"pcv": "PCV valve", "booster": "brake booster", "advance": "distributor advance", "modulator": "transmission modulator",
	"purge": "canister purge", "egr": "EGR valve", "cruise": "cruise control",
}

func useText(use string) string {
	if text, ok := portUses[use]; ok {
		return text
	}
	return catalog.Words(use)
}

// portsDrawing is the carburetor from above with what goes on each port, as the
// kit's vacuum_ports have it.
func portsDrawing(k *kit.Kit) template.HTML {
	d := newDrawing("ports", "Vacuum ports and fuel inlet from above")
	marks := portMarks(k)
	var left, right float64
	for _, m := range marks {
		if m.onLeft {
			left += m.height()
		} else {
			right += m.height()
		}
	}
	const bodyLeft, bodyRight, half = 138, 222, 62
	const above = half + 50 // with the arrow
	below := half + 10.0
	if slices.ContainsFunc(marks, func(m portMark) bool { return m.edge == catalog.LocationRear }) {
		below = half + 54
	}
	d.height = max(above+below, left+8, right+8)
	middle := above + (d.height-above-below)/2
	top, bottom := middle-half, middle+half

	d.text(drawingWidth/2, top-40, "middle strong", say("FRONT"))
	d.path("solid", drawingWidth/2-8, top-26, drawingWidth/2, top-36, drawingWidth/2+8, top-26, drawingWidth/2-8, top-26)
	d.rect(bodyLeft, top, bodyRight-bodyLeft, bottom-top, "body", "")
	d.circle(drawingWidth/2, middle, 42, "dash")
	for _, b := range barrels(k.Carburetor) {
		d.circle(drawingWidth/2+b.x, middle+b.y, b.radius, "bore")
	}

	// Marks of one edge share it evenly; a leader runs from each to its label.
	edges := map[catalog.PortLocation][]int{}
	for i, m := range marks {
		edges[m.edge] = append(edges[m.edge], i)
	}
	type spot struct{ x, y, dx, dy float64 }
	spots := make([]spot, len(marks))
	for edge, here := range edges {
		for n, i := range here {
			share := (float64(n) + 1) / (float64(len(here)) + 1)
			x, y := bodyLeft+share*(bodyRight-bodyLeft), top+share*(bottom-top)
			switch edge {
			case catalog.LocationFront:
				spots[i] = spot{x, top, 0, -1}
			case catalog.LocationRear:
				spots[i] = spot{x, bottom, 0, 1}
			case catalog.LocationDriver:
				spots[i] = spot{bodyLeft, y, -1, 0}
			default:
				spots[i] = spot{bodyRight, y, 1, 0}
			}
		}
	}
	for _, onLeft := range []bool{true, false} {
		var list []label
		var at []int
		for i, m := range marks {
			if m.onLeft == onLeft {
				m.at = spots[i].y + 26*spots[i].dy
				list, at = append(list, m.label), append(at, i)
			}
		}
		x, anchor, end := 2.0, "start", 120.0
		if !onLeft {
			x, anchor, end = drawingWidth-2, "end", drawingWidth-120
		}
		for n, y := range d.labels(list, x, anchor, 4, d.height-4) {
			s := spots[at[n]]
			d.path("hair", s.x+10*s.dx, s.y+10*s.dy, s.x+16*s.dx, s.y+16*s.dy, end, y)
		}
	}
	var sentences []string
	for i, m := range marks {
		s := spots[i]
		switch { // the stub of a nipple, or the hole
		case m.tapped:
			d.circle(s.x+5*s.dx, s.y+5*s.dy, 5, "bore")
		case s.dx == 0:
			d.rect(s.x-m.wide/2, min(s.y, s.y+10*s.dy), m.wide, 10, "stub", "")
		default:
			d.rect(min(s.x, s.x+10*s.dx), s.y-m.wide/2, 10, m.wide, "stub", "")
		}
		if m.closed { // a bar across it
			d.line(s.x+10*s.dx-7*s.dy, s.y+10*s.dy-7*s.dx, s.x+10*s.dx+7*s.dy, s.y+10*s.dy+7*s.dx, "thick")
		}
		sentences = append(sentences, m.sentence)
	}
	d.desc = "The carburetor seen from above, the front of the vehicle at the top and the driver's side on the left. " + strings.Join(sentences, " ")
	return d.html()
}

// portMark is one connection in the top view.
type portMark struct {
	label
	edge           catalog.PortLocation
	onLeft         bool // where its label stands
	tapped, closed bool
	wide           float64
	sentence       string
}

// portMarks are the vacuum ports in the kit's order, and the fuel inlet. Labels of
// the front and the rear go where there is more room.
func portMarks(k *kit.Kit) []portMark {
	const width = 21 // characters beside the body
	inlet := &k.Carburetor.Inlet
	marks := []portMark{{
		edge: catalog.PortLocation(inlet.Facing), wide: 12,
		label: label{lines: [][]piece{
			{say("fuel inlet")},
			{exactly("/carburetor/inlet/end/size", inlet.End.SizeText()), say(threadMark(inlet.End))},
			{say(familyText(inlet.End.Family))},
		}},
		sentence: fmt.Sprintf("Fuel inlet at the %s: %s.", inlet.Facing, endText(inlet.End)),
	}}
	for i := range k.VacuumPorts {
		u := &k.VacuumPorts[i]
		m := portMark{edge: u.Location, wide: 7, closed: u.Use == "cap" || u.Use == "plug"}
		if n := slices.IndexFunc(k.Carburetor.Ports, func(p catalog.Port) bool { return p.ID == u.Port }); n >= 0 {
			m.tapped = !k.Carburetor.Ports[n].NPTIn.IsZero()
			if k.Carburetor.Ports[n].Large {
				m.wide = 12
			}
		}
		at := "/vacuum_ports/" + strconv.Itoa(i)
		var what string
		switch u.Use {
		case "cap":
			what = " in cap: unused"
		case "plug":
			what = " in pipe plug: unused"
		default:
			what = " in hose, " + catalog.Words(u.Signal)
		}
		title := useText(u.Use)
		if m.closed {
			title = "closed"
		}
		m.lines = plainly(wrap(title, width-3, 2))
		m.heading = len(m.lines)
		m.lines = append(m.lines, []piece{exactly(at+"/hose_in", u.HoseIn), say(what)})
		for _, s := range u.Shared {
			m.lines = append(m.lines, plainly(wrap("and by a tee the "+useText(s), width, 2))...)
		}
		m.lines = append(m.lines, plainly(wrap("at "+u.Port, width, 2))...)
		m.sentence = u.Text + "."
		marks = append(marks, m)
	}
	balance := 0.0 // label height on the left less that on the right
	weigh := func(m *portMark) {
		if m.onLeft {
			balance += m.height()
		} else {
			balance -= m.height()
		}
	}
	for i := range marks {
		switch m := &marks[i]; m.edge {
		case catalog.LocationFront, catalog.LocationRear:
		default:
			m.onLeft = m.edge == catalog.LocationDriver
			weigh(m)
		}
	}
	for _, edge := range []catalog.PortLocation{catalog.LocationFront, catalog.LocationRear} {
		var here []*portMark
		for i := range marks {
			if marks[i].edge == edge {
				here = append(here, &marks[i])
			}
		}
		// Along an edge the first ones go left, so that leaders do not cross.
		left := len(here) / 2
		if len(here)%2 == 1 && balance <= 0 {
			left++
		}
		for i, m := range here {
			m.onLeft = i < left
			weigh(m)
		}
	}
	return marks
}

// threadMark says which side of a threaded joint an end is.
func threadMark(e catalog.End) string {
	if e.Gender == catalog.Neutral {
		return " in"
	}
	return " " + string(e.Gender)
}

// endText is an end as people say it: "inverted flare 5/8-18 female", "hose 3/8 in".
func endText(e catalog.End) string { return familyText(e.Family) + " " + e.SizeText() + threadMark(e) }

type barrel struct{ x, y, radius float64 }

// barrels are the throttle bores from above: primaries in front, and on a spread bore
// small ones in front of large ones.
func barrels(c *catalog.Carburetor) []barrel {
	switch c.Barrels {
	case 1:
		return []barrel{{0, 0, 16}}
	case 2:
		return []barrel{{-18, 0, 14}, {18, 0, 14}}
	}
	front := 14.0
	if c.Flange == catalog.SpreadBore {
		front = 10
	}
	return []barrel{{-18, -18, front}, {18, -18, front}, {-18, 18, 14}, {18, 18, 14}}
}
