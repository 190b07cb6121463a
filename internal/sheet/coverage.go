package sheet

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strconv"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/coverage"
	"onetrip/internal/kit"
)

// coverageStyle adds to the workshop sheet's what a heat map needs. Every cell has its
// letter; tint and pattern only help the eye.
const coverageStyle = `
.legend { padding: 0; list-style: none; display: flex; flex-wrap: wrap; gap: .2rem 1.2rem; }
.legend svg { vertical-align: -.3rem; }
.wide { overflow-x: auto; }
.wide:focus-visible { outline: 3px solid var(--ink); outline-offset: 2px; }
.heat { width: auto; max-width: none; stroke: none; fill: none; font: 9px "Liberation Sans", Arial, Helvetica, sans-serif; }
.heat rect { stroke: var(--rule); stroke-width: .5; print-color-adjust: exact; -webkit-print-color-adjust: exact; }
.heat .C { fill: #12395c; } .heat .W { fill: #3f7299; } .heat .S { fill: #f3d9a4; } .heat .I { fill: #fff; } .heat .U { fill: #e3e3e0; } .heat .gone { fill: #fff; }
.heat text { fill: var(--ink); text-anchor: middle; }
.heat text.on { fill: #fff; } .heat text.label { text-anchor: end; } .heat text.up { text-anchor: start; }
td.money, th.money { width: auto; }
th.money { white-space: normal; }
th[scope=col]:first-child { width: 46%; }
.gaps th[scope=col]:first-child { width: 28%; } .gaps th.money { width: 15%; }
@media screen and (max-width: 30rem) {
  th[scope=col]:first-child:nth-last-child(n+5) { width: 34%; } /* of five columns and more */
  .gaps thead th, td.money, th.money { padding: .4rem .15rem; font-size: .75rem; letter-spacing: 0; }
}
table + p { margin-top: .6rem; }
@media print { .heat { max-width: 100%; height: auto; } }
`

func percent(share float64) string { return strconv.FormatFloat(100*share, 'f', 1, 64) + " %" }

func beyondStock(v coverage.Verdicts) int { return v.Incomplete.Kits - v.OutOfStock.Kits }

// How much a page shows; the whole is in JSON and CSV, and the page says so.
const (
	pageParts   = 40
	pageGaps    = 60
	mapGroups   = 300
	mapColumns  = 120
	groupNames  = 4
	cellSize    = 16
	labelWidth  = 210
	labelHeight = 70
)

type coverageView struct {
	*coverage.Report
	Style                        template.CSS
	Title, Vehicles, Carburetors string
	Weighed                      string
	Shares, Legend               []cellText
	Alone                        []coverage.Part
	Gaps                         []gapText
	Groups                       []groupText
	Map                          template.HTML
	MapNote                      string
}

// cellText explains a letter of the heat map.
type cellText struct {
	Letter, Word string
	coverage.Share
	Swatch template.HTML
}

type gapText struct {
	coverage.Gap
	Text string
}

type groupText struct {
	Name     string
	Verdicts coverage.Verdicts
}

var cellWords = []struct{ letter, word string }{
	{"C", "complete"}, {"W", "complete, with warnings"}, {"S", "incomplete for want of stock alone"},
	{"I", "incomplete: something is not on sale or does not fit"}, {"U", "unsuitable: the carburetor does not belong there"},
}

// Coverage writes a report as one self-contained page in UTF-8, as HTML does a kit: no
// script, nothing loaded, and text of the catalogue shows as text. A report at work is a
// page that looks again by itself.
func Coverage(w io.Writer, r *coverage.Report) error {
	v := coverageView{Report: r, Style: template.CSS(styleText + coverageStyle)} //nolint:gosec // ours
	v.Title = "What the catalogue covers"
	if r.Question.Basis == kit.InStock {
		v.Title = "What is covered from stock, all locations together"
		if at := r.Question.Location; at != "" {
			v.Title = "What is covered from stock at " + at
		}
	}
	v.Vehicles = filters("all vehicles", "makes ", r.Question.Makes, r.Question.VehicleIDs)
	v.Carburetors = filters("all carburetors", "flanges ", r.Question.Flanges, r.Question.CarburetorSKUs)
	if r.Answer != nil {
		v.answer(r.Answer)
	}
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, "coverage.html", v); err != nil {
		return fmt.Errorf("coverage page: %w", err)
	}
	_, err := io.WriteString(w, Visible(b.String()))
	return err
}

// filters says which things were asked for.
func filters[T ~string](all, what string, groups []T, ids []string) string {
	var out []string
	if len(groups) > 0 {
		texts := make([]string, len(groups))
		for i, g := range groups {
			texts[i] = catalog.Words(g)
		}
		out = append(out, what+strings.Join(texts, ", "))
	}
	if len(ids) > 0 {
		out = append(out, named(ids))
	}
	return cmp.Or(strings.Join(out, "; "), all)
}

// named lists the first of some ids.
func named(ids []string) string {
	if more := len(ids) - groupNames; more > 0 {
		return strings.Join(ids[:groupNames], ", ") + fmt.Sprintf(" and %d more", more)
	}
	return strings.Join(ids, ", ")
}

func (v *coverageView) answer(a *coverage.Answer) {
	verdicts := a.Verdicts
	incomplete := verdicts.Incomplete // that lack more than stock
	incomplete.Kits -= verdicts.OutOfStock.Kits
	incomplete.Weight -= verdicts.OutOfStock.Weight
	incomplete.Share -= verdicts.OutOfStock.Share
	shares := []coverage.Share{verdicts.Complete, verdicts.CompleteWithWarnings, verdicts.OutOfStock, incomplete, verdicts.Unsuitable}
	for i, c := range cellWords {
		v.Shares = append(v.Shares, cellText{Letter: c.letter, Word: c.word, Share: shares[i]})
		v.Legend = append(v.Legend, cellText{Letter: c.letter, Word: c.word, Swatch: template.HTML(cell(0, 0, c.letter[0]))}) //nolint:gosec // ours
	}
	v.Weighed = fmt.Sprintf("%d swaps", a.Verdicts.All.Kits)
	if len(v.Question.Weights) > 0 {
		v.Weighed += ", weighted,"
	}
	v.Alone = a.StockNext.Alone[:min(pageParts, len(a.StockNext.Alone))]
	for _, g := range a.Gaps[:min(pageGaps, len(a.Gaps))] {
		v.Gaps = append(v.Gaps, gapText{g, wanted(&g)})
	}
	for _, c := range a.ByVehicle {
		v.Groups = append(v.Groups, groupText{named(c.Vehicles), c.Verdicts})
	}
	v.heatMap(a)
}

// wanted says what a gap asks for.
func wanted(g *coverage.Gap) string {
	asked := make([][2]string, len(g.Wanted))
	for i, w := range g.Wanted {
		asked[i] = [2]string{w.Attribute, w.Wanted}
	}
	that := ""
	if len(asked) > 0 {
		that = " that " + catalog.SaysAll(asked)
	}
	switch g.Cause {
	case kit.ShortOfStock:
		return "not in stock: " + strings.Join(g.SKUs, ", ")
	case kit.Discontinued:
		return "discontinued, and nothing replaces it: " + strings.Join(g.SKUs, ", ")
	case kit.Conflict:
		return "each part that fits conflicts with others that the kit takes"
	case kit.NoPort:
		return "the carburetor has no vacuum port left; no part helps"
	case kit.NotMeasured:
		return "a figure of the vehicle must be measured first; no part helps"
	case kit.NoStack:
		return "nothing stacks up between manifold and hood"
	case kit.NoPath:
		return "no row of parts leads from the supply line to the inlet"
	case kit.NoJoint:
		if g.From != "" {
			return fmt.Sprintf("%s from %s to %s%s", catalog.Words(g.Kind), g.From, g.To, that)
		}
	case kit.NothingMatches:
	}
	return catalog.Words(g.Kind) + that
}

// heatMap draws a cell for each vehicle group and carburetor.
func (v *coverageView) heatMap(a *coverage.Answer) {
	rows := make([]int, len(a.ByVehicle))
	for i := range rows {
		rows[i] = i
	}
	var notes []string
	if len(rows) > mapGroups {
		slices.SortStableFunc(rows, func(x, y int) int { return cmp.Compare(a.ByVehicle[y].Weight, a.ByVehicle[x].Weight) })
		rows = rows[:mapGroups]
		slices.Sort(rows)
		notes = append(notes, fmt.Sprintf("The %d vehicle groups of most weight are drawn, of %d.", mapGroups, len(a.ByVehicle)))
	}
	columns := a.ByCarburetor
	if len(columns) > mapColumns {
		columns = columns[:mapColumns]
		notes = append(notes, fmt.Sprintf("The first %d carburetors are drawn, of %d.", mapColumns, len(a.ByCarburetor)))
	}
	if len(notes) > 0 {
		v.MapNote = strings.Join(append(notes, "All are in the JSON of this report."), " ")
	}
	width, height := labelWidth+cellSize*len(columns), labelHeight+cellSize*len(rows)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" class="drawing heat" width="%d" viewBox="0 0 %d %d" role="img" aria-labelledby="map-title map-desc">`, width, width, height)
	fmt.Fprintf(&b, "\n<title id=\"map-title\">Heat map: %d vehicle groups by %d carburetors</title>\n", len(rows), len(columns))
	b.WriteString("<desc id=\"map-desc\">One cell for each group and carburetor, with its letter. The tables below give the counts.</desc>\n")
	for i, c := range columns {
		x := labelWidth + cellSize*i + cellSize/2 + 3
		fmt.Fprintf(&b, `<text class="up" transform="translate(%d %d) rotate(-90)">%s</text>`+"\n", x, labelHeight-4, escape(clip(c.SKU, 12)))
	}
	for n, row := range rows {
		group := &a.ByVehicle[row]
		y := labelHeight + cellSize*n
		label := ""
		if len(group.Vehicles) > 0 {
			label = group.Vehicles[0]
		}
		if more := len(group.Vehicles) - 1; more > 0 {
			label = clip(label, 28) + fmt.Sprintf(" + %d", more)
		}
		fmt.Fprintf(&b, `<text class="label" x="%d" y="%d">%s</text>`, labelWidth-4, y+12, escape(clip(label, 40)))
		for i := range min(len(columns), len(group.Cells)) {
			b.WriteString(cell(labelWidth+cellSize*i, y, group.Cells[i]))
		}
		b.WriteByte('\n')
	}
	b.WriteString("</svg>\n")
	v.Map = template.HTML(b.String()) //nolint:gosec // all text in it is escaped
}

// cell draws one cell of the heat map.
func cell(x, y int, letter byte) string {
	class, ink := string(letter), ""
	switch letter {
	case 'C', 'W':
		ink = ` class="on"`
	case 'S', 'I', 'U':
	default:
		class = "gone"
	}
	return fmt.Sprintf(`<rect x="%d" y="%d" width="%d" height="%d" class="%s"/><text x="%d" y="%d"%s>%s</text>`,
		x, y, cellSize, cellSize, class, x+cellSize/2, y+12, ink, escape(string(letter)))
}

// clip shortens text to so many characters.
func clip(text string, most int) string {
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	return string(runes[:most-1]) + "…"
}

// coverageHeader names the columns of a report's CSV. Rows of table total, vehicle_group
// and carburetor fill the verdicts; need the statuses; gap, alone and best_set what kits
// and weight they block or complete.
var coverageHeader = []string{"table", "id", "text", "kits", "weight", "complete", "complete_with_warnings", "incomplete", "out_of_stock", "unsuitable",
	"filled", "in_box", "missing", "only_gap", "price", "currency", "on_hand", "lead_time_days"}

// CoverageCSV writes the tables of a finished report one after another, as text/csv
// (RFC 4180). Counts are kits. Text that a spreadsheet would run as a formula is written
// with an apostrophe before it. The only errors are the writer's.
func CoverageCSV(w io.Writer, a *coverage.Answer) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	row := func(table, id, text string, n coverage.Count, rest map[string]string) error {
		cells := make([]string, len(coverageHeader))
		copy(cells, []string{table, inert(id), inert(text), strconv.Itoa(n.Kits), strconv.FormatInt(n.Weight, 10)})
		for i, name := range coverageHeader {
			if value, ok := rest[name]; ok {
				cells[i] = value
			}
		}
		return out.Write(cells)
	}
	byVerdict := func(v *coverage.Verdicts) map[string]string {
		return map[string]string{
			"complete": strconv.Itoa(v.Complete.Kits), "complete_with_warnings": strconv.Itoa(v.CompleteWithWarnings.Kits),
			"incomplete": strconv.Itoa(v.Incomplete.Kits), "out_of_stock": strconv.Itoa(v.OutOfStock.Kits), "unsuitable": strconv.Itoa(v.Unsuitable.Kits),
		}
	}
	if err := out.Write(coverageHeader); err != nil {
		return err
	}
	if err := row("total", "", "", a.Verdicts.All, byVerdict(&a.Verdicts)); err != nil {
		return err
	}
	for i, c := range a.ByVehicle {
		if err := row("vehicle_group", strconv.Itoa(i+1), strings.Join(c.Vehicles, " "), c.Verdicts.All, byVerdict(&c.Verdicts)); err != nil {
			return err
		}
	}
	for _, c := range a.ByCarburetor {
		if err := row("carburetor", c.SKU, c.Name, c.Verdicts.All, byVerdict(&c.Verdicts)); err != nil {
			return err
		}
	}
	for _, n := range a.ByNeed {
		if err := row("need", n.ID, "", n.Raised, map[string]string{"filled": strconv.Itoa(n.Filled.Kits), "in_box": strconv.Itoa(n.InBox.Kits),
			"out_of_stock": strconv.Itoa(n.OutOfStock.Kits), "missing": strconv.Itoa(n.Missing.Kits)}); err != nil {
			return err
		}
	}
	for _, g := range a.Gaps {
		if err := row("gap", g.Need, wanted(&g), g.Blocks, map[string]string{"only_gap": strconv.Itoa(g.OnlyGap.Kits)}); err != nil {
			return err
		}
	}
	for _, list := range []struct {
		table string
		parts []coverage.Part
	}{{"alone", a.StockNext.Alone}, {"best_set", a.StockNext.BestSet}} {
		for _, p := range list.parts {
			rest := map[string]string{}
			if p.Price != nil {
				rest["price"], rest["currency"], rest["lead_time_days"] = decimal(*p.Price), inert(p.Price.Currency), strconv.Itoa(p.LeadTimeDays)
			}
			if p.OnHand != nil {
				rest["on_hand"] = strconv.Itoa(*p.OnHand)
			}
			if err := row(list.table, strings.Join(append([]string{p.SKU}, p.Interchangeable...), " "), cmp.Or(p.Wanted, p.Name), p.Completes, rest); err != nil {
				return err
			}
		}
	}
	out.Flush()
	return out.Error()
}
