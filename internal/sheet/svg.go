package sheet

import (
	"cmp"
	"fmt"
	"html"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"onetrip/internal/kit"
	"onetrip/internal/units"
)

// Drawings are 360 units wide, so that a unit is about a pixel on a phone and a
// quarter of a millimetre in one of two columns on paper.
const drawingWidth = 360

// drawing collects one SVG picture. Everything passes through its methods, which
// escape all text. Whatever shows a figure of the kit carries the figure's place in
// the kit's JSON (RFC 6901) as data-from.
type drawing struct {
	name, title, desc string
	width, height     float64
	body              strings.Builder
}

func newDrawing(name, title string) *drawing {
	return &drawing{name: name, title: title, width: drawingWidth}
}

// html is the finished picture.
func (d *drawing) html() template.HTML {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" id="drawing-%s" class="drawing" viewBox="0 0 %s %s" role="img" aria-labelledby="%s-title %s-desc">`,
		d.name, coordinate(d.width), coordinate(d.height), d.name, d.name)
	fmt.Fprintf(&b, "\n<title id=\"%s-title\">%s</title>\n<desc id=\"%s-desc\">%s</desc>\n", d.name, escape(d.title), d.name, escape(d.desc))
	b.WriteString(d.body.String())
	b.WriteString("</svg>\n")
	return template.HTML(b.String()) // built by the methods below, which escape
}

// escape makes text safe between tags and inside double quotes.
func escape(text string) string { return html.EscapeString(text) }

// coordinate prints hundredths of a unit.
func coordinate(v float64) string {
	v = math.Round(v*100) / 100
	if v == 0 {
		v = 0 // no minus
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// piece is a run of text; from is the place in the kit's JSON of a figure.
type piece struct{ text, from string }

func say(text string) piece                   { return piece{text: text} }
func figure(from string, value float64) piece { return piece{units.Number(value), from} }
func exactly(from, text string) piece         { return piece{text, from} }

// plainly is lines of text that hold no figures.
func plainly(lines []string) [][]piece {
	out := make([][]piece, len(lines))
	for i, l := range lines {
		out[i] = []piece{say(l)}
	}
	return out
}

// upright writes pieces from bottom to top around a point.
func (d *drawing) upright(x, y float64, pieces ...piece) {
	fmt.Fprintf(&d.body, `<g transform="rotate(-90 %s %s)">`+"\n", coordinate(x), coordinate(y))
	d.text(x, y, "middle small", pieces...)
	d.body.WriteString("</g>\n")
}

// text writes pieces on one line. class holds start, middle or end for the anchor,
// and strong or small.
func (d *drawing) text(x, y float64, class string, pieces ...piece) {
	fmt.Fprintf(&d.body, `<text x="%s" y="%s" class="%s">`, coordinate(x), coordinate(y), class)
	for _, p := range pieces {
		if p.from == "" {
			d.body.WriteString(escape(p.text))
			continue
		}
		fmt.Fprintf(&d.body, `<tspan data-from="%s">%s</tspan>`, escape(p.from), escape(p.text))
	}
	d.body.WriteString("</text>\n")
}

func (d *drawing) line(x1, y1, x2, y2 float64, class string) {
	fmt.Fprintf(&d.body, `<line x1="%s" y1="%s" x2="%s" y2="%s" class="%s"/>`+"\n", coordinate(x1), coordinate(y1), coordinate(x2), coordinate(y2), class)
}

// rect draws a box; from, when given, says which figure its size shows.
func (d *drawing) rect(x, y, width, height float64, class, from string) {
	mark := ""
	if from != "" {
		mark = fmt.Sprintf(` data-from="%s"`, escape(from))
	}
	fmt.Fprintf(&d.body, `<rect x="%s" y="%s" width="%s" height="%s" class="%s"%s/>`+"\n", coordinate(x), coordinate(y), coordinate(width), coordinate(height), class, mark)
}

func (d *drawing) circle(x, y, radius float64, class string) {
	fmt.Fprintf(&d.body, `<circle cx="%s" cy="%s" r="%s" class="%s"/>`+"\n", coordinate(x), coordinate(y), coordinate(radius), class)
}

// arc draws part of a circle clockwise from one point to another.
func (d *drawing) arc(x1, y1, x2, y2, radius float64, large bool) {
	flag := 0
	if large {
		flag = 1
	}
	fmt.Fprintf(&d.body, `<path d="M%s %sA%s %s 0 %d 1 %s %s" class="hair"/>`+"\n",
		coordinate(x1), coordinate(y1), coordinate(radius), coordinate(radius), flag, coordinate(x2), coordinate(y2))
}

// hatch fills a box with slanting lines, which print where grey does not.
func (d *drawing) hatch(x, y, width, height, step float64) {
	for c := step; c < width+height; c += step {
		// The line u+v = c, clipped to the box.
		u1, u2 := min(c, width), max(0, c-height)
		d.line(x+u1, y+c-u1, x+u2, y+c-u2, "hair")
	}
}

// path draws straight lines through points given as x, y, x, y.
func (d *drawing) path(class string, points ...float64) {
	var b strings.Builder
	for i := 0; i < len(points); i += 2 {
		b.WriteString(" " + coordinate(points[i]) + "," + coordinate(points[i+1]))
	}
	fmt.Fprintf(&d.body, `<polyline points="%s" class="%s"/>`+"\n", b.String()[1:], class)
}

// measure draws a dimension between two points of a vertical or a horizontal.
func (d *drawing) measure(x1, y1, x2, y2 float64) {
	const tick = 4
	d.line(x1, y1, x2, y2, "ink")
	if x1 == x2 {
		d.line(x1-tick, y1, x1+tick, y1, "ink")
		d.line(x2-tick, y2, x2+tick, y2, "ink")
		return
	}
	d.line(x1, y1-tick, x1, y1+tick, "ink")
	d.line(x2, y2-tick, x2, y2+tick, "ink")
}

// leading is the distance between lines of text.
const leading = 13

// label is a block of text beside a drawing that belongs to height at. Its first lines
// are bold: one, or as many as heading says.
type label struct {
	at      float64
	lines   [][]piece
	heading int
}

func (l label) height() float64 { return float64(leading*len(l.lines) + 6) }

// labels writes blocks in a column beside x, as near to their heights as they fit
// between low and high without touching, and returns the middle of each in the order
// given.
func (d *drawing) labels(list []label, x float64, anchor string, low, high float64) []float64 {
	order := make([]int, len(list))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(list[a].at, list[b].at) })
	wanted, gaps := make([]float64, len(list)), make([]float64, len(list))
	for i, n := range order {
		gaps[i] = list[n].height()
		wanted[i] = list[n].at - gaps[i]/2
	}
	middles := make([]float64, len(list))
	for i, top := range spread(wanted, gaps, low, high) {
		n := order[i]
		middles[n] = top + gaps[i]/2
		for j, pieces := range list[n].lines {
			class := anchor + " strong"
			if j >= max(1, list[n].heading) {
				class = anchor + " small"
			}
			d.text(x, top+leading*float64(j+1), class, pieces...)
		}
	}
	return middles
}

// spread moves wanted, ascending, apart until each is gap below the one before,
// and keeps all within low and high as far as there is room.
func spread(wanted []float64, gaps []float64, low, high float64) []float64 {
	out := make([]float64, len(wanted))
	next := low
	for i, y := range wanted {
		out[i] = max(y, next)
		next = out[i] + gaps[i]
	}
	limit := high
	for i := len(out) - 1; i >= 0; i-- {
		out[i] = max(low, min(out[i], limit-gaps[i]))
		limit = out[i]
	}
	return out
}

// checked is a check of the kit and its place in the kit's JSON.
type checked struct {
	*kit.Check
	at string
}

func check(k *kit.Kit, id string) (checked, bool) {
	for i := range k.Checks {
		if k.Checks[i].ID == id {
			return checked{&k.Checks[i], "/checks/" + strconv.Itoa(i)}, true
		}
	}
	return checked{}, false
}

// input is a figure the check was computed from, to the four decimals that the kit's
// JSON has: a kit that was saved gets the sheet that it had.
func (c checked) input(name string) (float64, string, bool) {
	for _, in := range c.Inputs {
		if in.Name == name {
			return math.Round(in.Value*1e4) / 1e4, c.at + "/inputs/" + name, true
		}
	}
	return 0, "", false
}
