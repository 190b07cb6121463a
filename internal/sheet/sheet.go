// Package sheet prints a kit for the people who fit it: HTML, one page that needs
// nothing beside it and reads on a phone as on paper, and CSV, the pick list for the
// counter's other programs. Both are pure: the same kit gives the same bytes.
package sheet

import (
	"bytes"
	"cmp"
	"embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/units"
)

// Options are what a sheet says beside the kit.
type Options struct {
	Code  string            // short code, in printable ASCII; "" when the kit is not saved, then there is no barcode
	Saved time.Time         // zero when not saved
	Asked time.Time         // of an answer that is not saved, the day whose prices and stock are on it; zero for no day
	Notes []string          // sentences to show at the head of the sheet, each on its own line
	Lines []kit.CounterLine // the kit's lines after their marks; nil when not saved
}

//go:embed *.html
var pageFiles embed.FS

//go:embed sheet.css
var styleText string

// pages are sheet.html and coverage.html, with what both are made of in parts.html.
var pages = template.Must(template.New("").Funcs(template.FuncMap{
	"number": units.Number, "check": checkTitle, "need": kit.NeedTitle, "si": siText, "limit": limitText, "unit": unitText,
	"finish": finishText, "fail": failText, "decimal": decimal, "capital": upperFirst, "percent": percent, "beyondStock": beyondStock,
}).ParseFS(pageFiles, "*.html"))

// HTML writes the sheet as one self-contained page in UTF-8: no script, nothing loaded
// from anywhere. Text of the catalogue or the request shows as text, whatever it
// holds. Nothing is written when there is an error, unless the writer's own.
func HTML(w io.Writer, k *kit.Kit, o Options) error {
	view, err := viewOf(k, o)
	if err != nil {
		return fmt.Errorf("sheet: %w", err)
	}
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, "sheet.html", view); err != nil {
		return fmt.Errorf("sheet: %w", err)
	}
	_, err = io.WriteString(w, Visible(b.String()))
	return err
}

// view is what the template reads.
type view struct {
	Options
	*kit.Kit
	Style      template.CSS
	Title      string
	Vehicle    string // make, model, year; may be empty
	Engine     string
	Rating     string
	Verdict    verdictText
	Reasons    []string      // of the verdict, without what Missing says
	Dangers    []kit.Caution // those that can kill
	Cautions   []kit.Caution // the others
	Rows       []row
	Open       int        // lines that are still to pick
	Totals     kit.Totals // after marks
	Recounted  bool       // marks have changed the totals
	Declined   []row      // of Rows
	Instead    []row      // of Rows, those of substitutes
	Unfit      bool       // the carburetor is unsuitable: there is nothing to pick, fit or do
	HaveIt     []group    // needs that no line fills
	Drawings   []picture
	LongPath   bool // the fuel path is as tall as three other drawings
	Order      []step
	Barcode    template.HTML
	Outcomes   map[kit.Outcome]string
	Severities map[kit.Severity]string
}

type verdictText struct{ Word, Text string }

var verdicts = map[kit.Verdict]verdictText{
	kit.Complete:             {"Complete", "Everything the swap needs is covered."},
	kit.CompleteWithWarnings: {"Complete, with warnings", "No part is missing, but do not start before reading on."},
	kit.Incomplete:           {"Incomplete", "Do not start before the gaps below are closed."},
	kit.Unsuitable:           {"Unsuitable", "This carburetor does not belong on this vehicle."},
}

var outcomeTexts = map[kit.Outcome]string{kit.Pass: "Holds", kit.Warn: "WARNING", kit.Fail: "DOES NOT HOLD", kit.Info: "For information"}

var severityTexts = map[kit.Severity]string{kit.Blocking: "Stops the work", kit.Serious: "Serious", kit.Minor: "Minor"}

// row is a line of the pick list.
type row struct {
	kit.CounterLine
	For []purpose
}

// purpose is a need that a line fills, and why there is one.
type purpose struct{ Need, Why string }

// Done says that nobody has to pick the line any more.
func (r row) Done() bool { return r.Mark != "" }

// Priceless says that the price is not known: the part has left the catalogue.
func (r row) Priceless() bool { return r.UnitPrice.Currency == "" }

// rows are the lines of a kit after marks, if there are any, with what each is for.
func rows(k *kit.Kit, marked []kit.CounterLine) []row {
	out := make([]row, len(k.Lines))
	for i := range k.Lines {
		out[i].Line = k.Lines[i]
		if marked != nil {
			out[i].CounterLine = marked[i]
		}
		for _, need := range out[i].Fills {
			out[i].For = append(out[i].For, purpose{need, why(k, need)})
		}
	}
	return out
}

// why are the reasons for a need in one text.
func why(k *kit.Kit, need string) string {
	var texts []string
	for i := range k.Needs {
		if k.Needs[i].ID == need {
			for _, b := range k.Needs[i].Because {
				texts = append(texts, b.Text)
			}
		}
	}
	return strings.Join(texts, " ")
}

// group is a list of needs that are not to be picked, or not all of them, under a heading.
type group struct {
	Title string
	Needs []had
}

// had is how much of a need is there: Count is "1 of 2" where that is not all.
type had struct{ ID, Count, SKU string }

// haveIt are the needs that are met by what is there, or not at all, in groups.
func haveIt(k *kit.Kit) []group {
	var out []group
	add := func(title string, n had) {
		if i := slices.IndexFunc(out, func(g group) bool { return g.Title == title }); i >= 0 {
			out[i].Needs = append(out[i].Needs, n)
			return
		}
		out = append(out, group{title, []had{n}})
	}
	for _, place := range []struct {
		from   kit.Place
		status kit.Status
		title  string
	}{{kit.Box, kit.InTheBox, "In the carburetor's box"}, {kit.Shelf, kit.OnTheShelf, "The owner has"}} {
		for _, n := range k.Needs {
			for _, a := range n.AtHand {
				if a.From == place.from {
					add(place.title, had{n.ID, countText(&n, a.Quantity), a.SKU})
				}
			}
			if n.Status == place.status && n.AtHand == nil { // saved before kits told how much
				add(place.title, had{ID: n.ID})
			}
		}
	}
	for _, n := range k.Needs {
		if text := n.LeftOut(); text != "" {
			add(upperFirst(text), had{ID: n.ID})
		}
	}
	for _, n := range k.Needs {
		if n.Status == kit.NotNeeded {
			add("Not needed", had{ID: n.ID})
		}
	}
	return out
}

// countText says how much of a need is there, "" for all of it.
func countText(n *kit.Need, there float64) string {
	if there >= n.Quantity {
		return ""
	}
	text := units.Number(there) + " of " + units.Number(n.Quantity)
	if n.Unit == "inch" {
		text += " in"
	}
	return text
}

// picture is a drawing with its heading.
type picture struct {
	ID, Title string
	SVG       template.HTML
}

func viewOf(k *kit.Kit, o Options) (*view, error) {
	v, c := k.Vehicle, k.Carburetor
	barcode, err := codeDrawing(o.Code)
	if err != nil {
		return nil, err
	}
	demand, err := demandDrawing(k)
	if err != nil {
		return nil, err
	}
	year := ""
	if v.Year != 0 {
		year = strconv.Itoa(v.Year)
	}
	name := strings.Join(strings.Fields(year+" "+v.Make+" "+v.Model), " ")
	out := &view{
		Options: o, Kit: k, Style: template.CSS(styleText), Barcode: barcode, // the style is our own file
		Vehicle: name,
		Engine: fmt.Sprintf("%s in³, %d cylinders, %s tune, %s manifold, %s transmission", units.Number(v.Engine.DisplacementIn3), v.Engine.Cylinders,
			v.Engine.Tune, catalog.Words(v.Intake.Flange), v.Transmission.Kind),
		Rating:   fmt.Sprintf("%s cfm at %s inHg, %d barrels, %s", units.Number(c.FlowCFM), units.Number(c.RatedAtInHg), c.Barrels, catalog.Words(c.Flange)),
		Title:    cmp.Or(name, units.Number(v.Engine.DisplacementIn3)+" in³ engine") + " with " + c.Name,
		Verdict:  cmp.Or(verdicts[k.Verdict], verdictText{Word: catalog.Words(k.Verdict)}),
		LongPath: len(k.FuelPath) > 8, Reasons: reasons(k), Order: order(k, o.Lines), Outcomes: outcomeTexts, Severities: severityTexts,
		Drawings: []picture{
			{"demand", "Air demand over engine speed", demand},
			{"ports", "Ports from above", portsDrawing(k)},
			{"path", "Fuel path", pathDrawing(k)},
			{"stack", "Stack under the hood", stackDrawing(k)},
			{"levers", "Lever travel", leversDrawing(k)},
		},
	}
	out.Rows, out.Totals, out.Unfit = rows(k, o.Lines), k.Totals, k.Verdict == kit.Unsuitable
	for _, r := range out.Rows {
		switch r.Mark {
		case "":
			out.Open++
		case kit.LineDeclined:
			out.Declined = append(out.Declined, r)
		case kit.LineSubstituted:
			out.Instead = append(out.Instead, r)
		}
	}
	if out.Recounted = len(out.Declined)+len(out.Instead) > 0; out.Recounted {
		out.Totals = k.TotalsAfter(o.Lines)
	}
	cautions := slices.SortedStableFunc(slices.Values(k.Cautions), func(a, b kit.Caution) int { return danger(a.ID) - danger(b.ID) })
	others := slices.IndexFunc(cautions, func(c kit.Caution) bool { return danger(c.ID) == harmless })
	if others < 0 {
		others = len(cautions)
	}
	out.Dangers, out.Cautions = cautions[:others], cautions[others:]
	out.HaveIt = haveIt(k)
	return out, nil
}

// reasons are the verdict's, without those that repeat what is missing; a check
// and a need are called by their titles.
func reasons(k *kit.Kit) []string {
	var out []string
	for _, r := range k.VerdictReasons {
		if slices.ContainsFunc(k.Missing, func(m kit.Missing) bool { return r == m.Need+": "+m.Reason }) {
			continue
		}
		if id, text, ok := strings.Cut(r, ": "); ok {
			_, isCheck := check(k, id)
			switch {
			case isCheck:
				r = checkTitle(id) + ": " + text
			case slices.ContainsFunc(k.Needs, func(n kit.Need) bool { return n.ID == id }):
				r = upperFirst(kit.NeedTitle(id)) + ": " + text
			}
		}
		out = append(out, r)
	}
	return out
}

// dangers are the beginnings of ids of cautions that are shown before everything
// else, in this order.
var dangers = []string{"fuel.fire", "brakes.", "transmission.", "throttle.", "fuel."}

var harmless = len(dangers)

func danger(id string) int {
	n := slices.IndexFunc(dangers, func(start string) bool { return strings.HasPrefix(id, start) })
	if n < 0 {
		return harmless
	}
	return n
}

// failText is "cleaner_neck_in: 4.25, wanted 3" as people say it: "fits a cleaner neck of
// 4.25 in, wanted 3"; what is no attribute stays as it is.
func failText(text string) string {
	name, rest, _ := strings.Cut(text, ": ")
	is, want, _ := strings.Cut(rest, ", wanted ")
	if is != "not stated" {
		if says, known := catalog.Says(name, is); known {
			return says + ", wanted " + catalog.Words(want)
		}
	}
	return "fails " + catalog.Words(text)
}

var checkTitles = map[string]string{
	"air.demand":                "Air the engine can draw",
	"air.size_ratio":            "Size of the carburetor",
	"air.depression":            "Vacuum left at full throttle",
	"altitude.density":          "Air at this altitude",
	"altitude.mixture":          "Mixture at this altitude",
	"fuel.demand":               "Fuel at full power",
	"fuel.line_loss":            "Pressure lost in the line",
	"fuel.delivered_pressure":   "Pressure at the inlet",
	"fuel.float_valve":          "What the float valve passes",
	"choke.voltage_drop":        "Voltage lost in the choke feed",
	"choke.fuse":                "Fuse of the choke feed",
	"stack.height":              "Height under the hood",
	"stack.stud_length":         "Length of the studs",
	"throttle.travel":           "Travel of the throttle",
	"transmission.cable_travel": "Travel of the transmission's cable",
}

func checkTitle(id string) string { return cmp.Or(checkTitles[id], catalog.Words(id)) }

func unitText(unit string) string {
	if unit == "" {
		return ""
	}
	return " " + unit
}

func siText(si *kit.SI) string {
	if si == nil {
		return ""
	}
	return " (" + units.Number(si.Value) + unitText(si.Unit) + ")"
}

func limitText(l kit.Limit, unit string) string {
	switch {
	case l.AtLeast != nil && l.AtMost != nil:
		return units.Short(*l.AtLeast) + " to " + units.Short(*l.AtMost) + unitText(unit)
	case l.AtLeast != nil:
		return "at least " + units.Short(*l.AtLeast) + unitText(unit)
	case l.AtMost != nil:
		return "at most " + units.Short(*l.AtMost) + unitText(unit)
	}
	return ""
}

func upperFirst(s string) string {
	r, size := utf8.DecodeRuneInString(s)
	if size == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[size:]
}

// finishText is a finish worth telling: plain ones are not.
func finishText(f catalog.Finish) string {
	if f == "" || f == catalog.FinishPlain {
		return ""
	}
	return string(f)
}
