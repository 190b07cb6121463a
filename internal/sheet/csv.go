package sheet

import (
	"encoding/csv"
	"io"
	"slices"
	"strconv"
	"strings"

	"onetrip/internal/kit"
	"onetrip/internal/units"
)

// csvHeader names the columns of the pick list. What a row tells is in the first: line, a
// line of the kit; verdict, the word in name and its reasons in why; missing, a need that
// nothing meets, or that stock does not cover, with its severity in name. Amounts are
// decimal, in the currency beside them; on_hand is at the location, or in all of them when
// that is empty.
var csvHeader = []string{"row", "quantity", "sku", "name", "finish", "fills", "why", "holds", "unit_price", "amount", "currency",
	"location", "on_hand", "enough", "elsewhere", "lead_time_days", "mark", "in_place_of"}

// CSV writes the pick list as text/csv (RFC 4180): the verdict, what is missing, and a row
// for each line of the kit, after marks where marked has them; it is nil for a kit that is
// not saved. Rows with nothing to take have quantity 0. Text that a spreadsheet would run
// as a formula is written with an apostrophe before it. The only errors are the writer's.
func CSV(w io.Writer, k *kit.Kit, marked []kit.CounterLine) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := out.Write(csvHeader); err != nil {
		return err
	}
	told := func(row, name, need, why string) error {
		cells := make([]string, len(csvHeader))
		copy(cells, []string{row, "0", "", name, "", inert(need), inert(why)})
		return out.Write(cells)
	}
	if err := told("verdict", string(k.Verdict), "", strings.Join(reasons(k), "; ")); err != nil {
		return err
	}
	for _, m := range k.Missing {
		if err := told("missing", string(m.Severity), m.Need, m.Reason); err != nil {
			return err
		}
	}
	for _, r := range rows(k, marked) {
		if err := out.Write(lineCells(&r)); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func lineCells(r *row) []string {
	purposes := make([]string, len(r.For))
	for i, p := range r.For {
		purposes[i] = p.Why
	}
	holds := make([]string, len(r.Contents))
	for i, c := range r.Contents {
		holds[i] = strconv.Itoa(c.Quantity) + " x " + c.SKU
	}
	elsewhere := make([]string, len(r.Stock.Elsewhere))
	for i, s := range r.Stock.Elsewhere {
		elsewhere[i] = strconv.Itoa(s.OnHand) + " at " + s.Location
	}
	if r.Mark == kit.LineDeclined {
		r.Quantity, r.Amount.AmountMinor = 0, 0
	}
	cells := []string{
		"line", strconv.Itoa(r.Quantity), inert(r.SKU), inert(r.Name), inert(string(r.Finish)), inert(strings.Join(r.Fills, " ")), inert(strings.Join(purposes, " ")),
		inert(strings.Join(holds, "; ")), decimal(r.UnitPrice), decimal(r.Amount), r.UnitPrice.Currency,
		inert(r.Stock.Location), strconv.Itoa(r.Stock.OnHand), strconv.FormatBool(r.Stock.Enough), inert(strings.Join(elsewhere, "; ")), strconv.Itoa(r.Stock.LeadTimeDays),
		string(r.Mark), inert(r.InPlaceOf),
	}
	if r.Priceless() {
		for _, unknown := range []string{"unit_price", "amount", "on_hand", "enough", "lead_time_days"} {
			cells[slices.Index(csvHeader, unknown)] = ""
		}
	}
	return cells
}

// inert keeps a cell from being run: spreadsheets take text that begins with one of
// these, also after spaces, for a formula.
func inert(text string) string {
	if rest := strings.TrimLeft(text, " '"); rest != "" && strings.ContainsRune("=+-@\t\r\n", rune(rest[0])) {
		return "'" + text
	}
	return text
}

// decimal is an amount without its currency.
func decimal(m units.Money) string {
	text, _, _ := strings.Cut(m.String(), " ")
	return text
}
