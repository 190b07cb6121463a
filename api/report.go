package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"unicode/utf8"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/units"
)

// reportWidth is the number of columns text is wrapped to.
const reportWidth = 80

// writeReport prints a kit for a person at a terminal, most pressing first. Every
// outcome is a word; colour only underlines it.
func writeReport(w io.Writer, k *kit.Kit, colour bool) error {
	r := &report{colour: colour}
	r.verdict(k)
	r.missing(k)
	r.needs(k)
	r.lines(k)
	r.checks(k)
	r.vacuum(k)
	r.fuelPath(k)
	r.stack(k)
	r.settings(k)
	r.tools(k)
	r.cautions(k)
	r.questions(k)
	r.alternatives(k)
	r.proof(k)
	_, err := io.WriteString(w, r.out.String())
	return err
}

// report collects the text; a strings.Builder cannot fail, so that only the last
// write can.
type report struct {
	out    strings.Builder
	colour bool
}

var verdictTitles = map[kit.Verdict]string{
	kit.Complete:             "COMPLETE: everything the swap needs is covered",
	kit.CompleteWithWarnings: "COMPLETE, WITH WARNINGS: no part is missing, but do not start before reading on",
	kit.Incomplete:           "INCOMPLETE: do not start before the gaps below are closed",
	kit.Unsuitable:           "UNSUITABLE: this carburetor does not belong on this vehicle",
}

func (r *report) verdict(k *kit.Kit) {
	paint := red
	switch k.Verdict {
	case kit.Complete:
		paint = green
	case kit.CompleteWithWarnings:
		paint = yellow
	}
	r.out.WriteString(r.paint(cmp.Or(verdictTitles[k.Verdict], string(k.Verdict)), bold+paint) + "\n")
	for _, reason := range k.VerdictReasons {
		r.bullet(reason)
	}
	r.out.WriteByte('\n')

	v, c := k.Vehicle, k.Carburetor
	name := strings.Join(strings.Fields(fmt.Sprintf("%s %s %s", yearText(v.Year), v.Make, v.Model)), " ")
	engine := fmt.Sprintf("%s in³, %d cylinders, %s, %s", units.Number(v.Engine.DisplacementIn3), v.Engine.Cylinders, v.Engine.Tune, catalog.Words(v.Intake.Flange))
	if name != "" {
		engine = name + ": " + engine
	}
	r.wrap("Vehicle      ", engine)
	r.wrap("Carburetor   ", fmt.Sprintf("%s %s: %s cfm at %s inHg, %d barrels, %s", c.SKU, c.Name, units.Number(c.FlowCFM), units.Number(c.RatedAtInHg), c.Barrels, catalog.Words(c.Flange)))
	r.wrap("Catalogue    ", fmt.Sprintf("revision %d", k.CatalogueRevision))
}

func yearText(year int) string {
	if year == 0 {
		return ""
	}
	return strconv.Itoa(year)
}

// titled is a need as people call it, with the id that requests name it by.
func titled(need string) string { return kit.NeedTitle(need) + " (" + need + ")" }

func (r *report) missing(k *kit.Kit) {
	r.heading("Missing")
	if len(k.Missing) == 0 && k.Verdict == kit.Unsuitable {
		r.out.WriteString("  No part would help.\n")
	} else if len(k.Missing) == 0 {
		r.out.WriteString("  Nothing.\n")
	}
	for _, m := range k.Missing {
		r.out.WriteString("  " + r.paint(titled(m.Need)+", "+string(m.Severity), severityColour[m.Severity]) + "\n")
		r.wrap("      ", m.Reason)
		if e := k.InStockInstead(m.Need); e != nil {
			r.wrap("      in stock instead: ", e.String())
		}
		for _, n := range m.Nearest {
			r.wrap("      near: ", fmt.Sprintf("%s %s fails %s", n.SKU, n.Name, strings.Join(n.Fails, "; ")))
		}
	}
}

var severityColour = map[kit.Severity]string{kit.Blocking: red, kit.Serious: yellow, kit.Minor: ""}

// groups are the first words of need ids in the order of work, with their titles.
var groups = []struct{ prefix, title string }{
	{"mount", "Mounting"}, {"fuel", "Fuel"}, {"throttle", "Throttle"}, {"transmission", "Transmission"}, {"vacuum", "Vacuum"},
	{"choke", "Choke"}, {"idle", "Idle control"}, {"air", "Air cleaner"}, {"tuning", "Calibration"}, {"shop", "Workshop"},
}

var statusTexts = map[kit.Status]string{
	kit.Filled: "on the pick list", kit.InTheBox: "in the carburetor's box", kit.OnTheShelf: "owner has it", kit.NotThere: "MISSING",
	kit.OutOfStock: "OUT OF STOCK", kit.NotNeeded: "not needed",
}

var placeTexts = map[kit.Place]string{kit.Box: "in the carburetor's box", kit.Shelf: "on the owner's shelf"}

// needs prints needs by group, keeping the kit's order within a group. Rules may
// raise needs of groups unknown here; these come last.
func (r *report) needs(k *kit.Kit) {
	r.heading("What the swap needs")
	left := slices.Clone(k.Needs)
	for _, g := range groups {
		var here []kit.Need
		left = slices.DeleteFunc(left, func(n kit.Need) bool {
			belongs := strings.HasPrefix(n.ID, g.prefix+".")
			if belongs {
				here = append(here, n)
			}
			return belongs
		})
		r.group(g.title, here)
	}
	r.group("Other", left)
}

func (r *report) group(title string, needs []kit.Need) {
	if len(needs) == 0 {
		return
	}
	r.out.WriteString("  " + r.paint(title, bold) + "\n")
	for _, n := range needs {
		status := cmp.Or(n.LeftOut(), statusTexts[n.Status], string(n.Status))
		paint := ""
		if n.Status == kit.NotThere || n.Status == kit.OutOfStock {
			paint = red
		}
		r.out.WriteString("    " + titled(n.ID) + "  " + r.paint(status, paint) + "\n")
		facts := []string{string(n.Level)}
		if n.Quantity > 0 {
			facts = append(facts, quantityText(n.Quantity, n.Unit))
		}
		if len(n.Lines) > 0 {
			facts = append(facts, strings.Join(n.Lines, " "))
		}
		for _, a := range n.AtHand {
			text := quantityText(a.Quantity, n.Unit) + " " + placeTexts[a.From]
			if a.SKU != "" {
				text += " (" + a.SKU + ")"
			}
			facts = append(facts, text)
		}
		r.wrap("      ", strings.Join(facts, ", "))
		for _, b := range n.Because {
			r.wrap("      ", b.Text)
		}
	}
}

func quantityText(quantity float64, unit string) string {
	if unit == "inch" {
		return units.Number(quantity) + " in"
	}
	if quantity == 1 {
		return "1 piece"
	}
	return units.Number(quantity) + " pieces"
}

func (r *report) lines(k *kit.Kit) {
	r.heading("Pick list")
	if k.Verdict == kit.Unsuitable {
		r.wrap("  ", "Not to be picked: whatever parts it gets, this carburetor does not belong on this vehicle. POST /v1/sizing names carburetors of a size that suits it.")
	}
	if len(k.Lines) == 0 {
		r.out.WriteString("  Nothing to buy.\n")
	}
	rows := [][]string{{"qty", "SKU", "each", "amount", "stock"}}
	for _, l := range k.Lines {
		rows = append(rows, []string{strconv.Itoa(l.Quantity) + " x", l.SKU, l.UnitPrice.String(), l.Amount.String(), stockText(l.Stock)})
	}
	// The table is laid out as a whole, so that its columns line up; each row is then
	// followed by what does not fit in a column.
	laidOut := table(rows)
	if len(k.Lines) > 0 {
		r.out.WriteString("  " + laidOut[0] + "\n")
	}
	for i, l := range k.Lines {
		r.out.WriteString("  " + laidOut[i+1] + "\n")
		r.wrap("       ", l.Name+finishText(l))
		if len(l.Fills) > 0 {
			purposes := make([]string, len(l.Fills))
			for i, need := range l.Fills {
				purposes[i] = kit.NeedTitle(need)
			}
			r.wrap("       for ", strings.Join(purposes, ", "))
		}
		if len(l.Contents) > 0 {
			parts := make([]string, len(l.Contents))
			for i, c := range l.Contents {
				parts[i] = fmt.Sprintf("%d x %s", c.Quantity, c.SKU)
			}
			r.wrap("       holds ", strings.Join(parts, ", "))
		}
		if note := elsewhereText(l.Stock); note != "" {
			r.wrap("       ", note)
		}
	}
	r.out.WriteByte('\n')
	totals := [][]string{
		{"required", k.Totals.Required.String()},
		{"recommended", k.Totals.Recommended.String()},
		{"optional", k.Totals.Optional.String()},
		{"all", k.Totals.All.String()},
	}
	for _, row := range table(totals) {
		r.out.WriteString("  " + row + "\n")
	}
}

func finishText(l kit.Line) string {
	if l.Finish == "" {
		return ""
	}
	return " (" + string(l.Finish) + ")"
}

func stockText(s kit.LineStock) string {
	where := "at " + s.Location
	if s.Location == "" {
		where = "in all locations"
	}
	if !s.Enough {
		return fmt.Sprintf("SHORT, %d %s", s.OnHand, where)
	}
	return fmt.Sprintf("%d %s", s.OnHand, where)
}

// elsewhereText tells where the rest comes from when a location is short.
func elsewhereText(s kit.LineStock) string {
	if s.Enough {
		return ""
	}
	var parts []string
	for _, l := range s.Elsewhere {
		parts = append(parts, fmt.Sprintf("%d at %s", l.OnHand, l.Location))
	}
	if len(parts) > 0 {
		return fmt.Sprintf("elsewhere: %s; to order: %d days", strings.Join(parts, ", "), s.LeadTimeDays)
	}
	return fmt.Sprintf("to order: %d days", s.LeadTimeDays)
}

func (r *report) checks(k *kit.Kit) {
	if len(k.Checks) == 0 {
		return
	}
	r.heading("Checks")
	r.wrap("  ", "A pass is arithmetic on the figures given, not a guarantee of safety: local codes, the vehicle maker's manual and licensed practice come first.")
	for _, c := range k.Checks {
		value := units.Number(c.Value) + unitText(c.Unit)
		if c.SI != nil {
			value += " [" + units.Number(c.SI.Value) + unitText(c.SI.Unit) + "]"
		}
		outcome := fmt.Sprintf("%-4s", strings.ToUpper(string(c.Outcome)))
		r.out.WriteString("  " + r.paint(outcome, outcomeColour[c.Outcome]) + "  " + c.ID + "  " + value + limitText(c.Limit) + "\n")
		r.wrap("        ", c.Text)
		if c.Formula != "" {
			inputs := make([]string, len(c.Inputs))
			for i, in := range c.Inputs {
				inputs[i] = in.Name + " " + units.Short(in.Value)
			}
			r.wrap("        formula: ", strings.Join(append([]string{c.Formula}, inputs...), "; "))
		}
		r.wrap("        source: ", c.Source)
	}
}

var outcomeColour = map[kit.Outcome]string{kit.Pass: green, kit.Warn: yellow, kit.Fail: red, kit.Info: ""}

func unitText(unit string) string {
	if unit == "" {
		return ""
	}
	return " " + unit
}

func limitText(l kit.Limit) string {
	switch {
	case l.AtLeast != nil && l.AtMost != nil:
		return fmt.Sprintf(", limit %s to %s", units.Short(*l.AtLeast), units.Short(*l.AtMost))
	case l.AtLeast != nil:
		return ", limit at least " + units.Short(*l.AtLeast)
	case l.AtMost != nil:
		return ", limit at most " + units.Short(*l.AtMost)
	}
	return ""
}

func (r *report) vacuum(k *kit.Kit) {
	if len(k.VacuumPorts) == 0 {
		return
	}
	r.heading("Vacuum ports")
	rows := [][]string{{"port", "side", "signal", "use", "size"}}
	for _, p := range k.VacuumPorts {
		rows = append(rows, []string{p.Port, string(p.Location), string(p.Signal), strings.Join(append([]string{p.Use}, p.Shared...), " + "), p.HoseIn})
	}
	for i, row := range table(rows) {
		r.out.WriteString("  " + row + "\n")
		if i > 0 {
			r.wrap("      ", k.VacuumPorts[i-1].Text)
		}
	}
}

// fuelPath prints the chain from the supply line to the inlet, one joint a line.
func (r *report) fuelPath(k *kit.Kit) {
	if len(k.FuelPath) == 0 {
		return
	}
	r.heading("Fuel path, supply line to carburetor")
	if end, err := k.Vehicle.Fuel.SupplyEnd(); err == nil {
		r.wrap("  ", "supply line: "+end.String())
	}
	for i, s := range k.FuelPath {
		name := s.SKU + " " + s.Name
		if s.FromEnd.Family == catalog.Hose {
			name += ": " + units.Number(s.LengthIn) + " in of it"
		}
		r.wrap(fmt.Sprintf("  %2d  ", i+1), name)
		r.wrap("      ", s.FromEnd.String()+" -> "+s.ToEnd.String())
	}
	r.wrap("  ", "carburetor inlet: "+k.Carburetor.Inlet.End.String()+", facing "+string(k.Carburetor.Inlet.Facing))
}

func (r *report) stack(k *kit.Kit) {
	if len(k.Stack) == 0 {
		return
	}
	r.heading("Stack on the manifold flange, lowest first")
	rows := [][]string{{"height", "top at", "layer"}}
	var top float64
	for _, s := range k.Stack {
		top += s.HeightIn
		rows = append(rows, []string{fmt.Sprintf("%.3f in", s.HeightIn), fmt.Sprintf("%.3f in", top), strings.TrimSpace(s.Item + " " + s.SKU)})
	}
	for _, row := range table(rows) {
		r.out.WriteString("  " + row + "\n")
	}
	r.wrap("  ", "Flange to the underside of the hood: "+units.Number(k.Vehicle.Intake.HoodClearanceIn)+" in.")
}

func (r *report) settings(k *kit.Kit) {
	if len(k.Settings) == 0 {
		return
	}
	r.heading("Starting settings")
	for _, s := range k.Settings {
		r.wrap("  - ", s.What+": "+s.Value)
		r.wrap("    ", s.Why)
	}
}

func (r *report) tools(k *kit.Kit) {
	if len(k.Tools) == 0 {
		return
	}
	r.heading("Tools")
	for _, t := range k.Tools {
		r.bullet(t.Name + ": " + t.For)
	}
}

func (r *report) cautions(k *kit.Kit) {
	if len(k.Cautions) == 0 {
		return
	}
	r.heading("Cautions")
	for _, c := range k.Cautions {
		r.wrap("  ! ", c.Text)
		r.wrap("    source: ", c.Source)
	}
}

func (r *report) questions(k *kit.Kit) {
	if len(k.Questions) == 0 {
		return
	}
	r.heading("Questions that would sharpen the answer")
	for _, q := range k.Questions {
		r.wrap("  ? ", q.Field+": "+q.Text)
	}
}

func (r *report) alternatives(k *kit.Kit) {
	if len(k.Alternatives) == 0 {
		return
	}
	r.heading("Other ways to choose")
	for _, a := range k.Alternatives {
		stock := "not all in stock"
		if a.Available {
			stock = "all in stock"
		}
		if len(a.Changes) == 0 {
			stock += ", the same lines"
		}
		if !a.Optimal {
			stock += ", NOT PROVEN: the search stopped early"
		}
		r.wrap("  ", fmt.Sprintf("%s: %s (%s), %s", a.Objective, a.Total, a.Delta.Signed(), stock))
		for _, c := range a.Changes {
			r.wrap("      ", fmt.Sprintf("%d -> %d x %s %s, %s", c.From, c.To, c.SKU, c.Name, c.Delta.Signed()))
		}
	}
}

func (r *report) proof(k *kit.Kit) {
	r.heading("Proof")
	p := k.Proof
	cost := p.Cost.String()
	if finish := p.Cost.AmountMinor - k.Totals.All.AmountMinor; finish > 0 {
		cost += fmt.Sprintf(" (of it %s that nobody pays, for %s of parts in another finish)", units.Money{AmountMinor: finish, Currency: p.Cost.Currency}, counted(finish/kit.FinishMismatchMinor, "place"))
	}
	if p.Optimal {
		r.wrap("  ", fmt.Sprintf("No better choice exists under this objective: cost %s, lower bound %s, %s searched.", cost, p.LowerBound, counted(p.Nodes, "node")))
		return
	}
	r.wrap("  ", fmt.Sprintf("NOT PROVEN: the search stopped after %s. Cost %s; a better choice, if there is one, costs at least %s.", counted(p.Nodes, "node"), cost, p.LowerBound))
}

// counted is a number of things: "1 node", "2 nodes".
func counted(n int64, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

func (r *report) heading(text string) {
	r.out.WriteString("\n" + r.paint(strings.ToUpper(text), bold) + "\n")
}

func (r *report) bullet(text string) { r.wrap("  - ", text) }

// wrap prints text after lead, its further lines indented to the end of lead. A
// word longer than the width stands alone; empty text prints nothing.
func (r *report) wrap(lead, text string) {
	indent := strings.Repeat(" ", utf8.RuneCountInString(lead))
	line, empty := lead, true
	for _, word := range strings.Fields(text) {
		if !empty && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > reportWidth {
			r.out.WriteString(line + "\n")
			line, empty = indent, true
		}
		if !empty {
			line += " "
		}
		line += word
		empty = false
	}
	if !empty {
		r.out.WriteString(line + "\n")
	}
}

// table lines up the columns of rows; it returns one line a row.
func table(rows [][]string) []string {
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	for _, row := range rows {
		_, _ = fmt.Fprintln(w, strings.Join(row, "\t"))
	}
	_ = w.Flush() // the builder cannot fail
	lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return lines
}

// ANSI SGR parameters, ECMA-48.
const (
	bold   = "\x1b[1m"
	red    = "\x1b[31m"
	green  = "\x1b[32m"
	yellow = "\x1b[33m"
	plain  = "\x1b[0m"
)

func (r *report) paint(text, codes string) string {
	if !r.colour || codes == "" {
		return text
	}
	return codes + text + plain
}
